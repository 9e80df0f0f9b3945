"""A rise of arsenic with copper is mineralisation, one with iron and vanadium is ironstone."""

import numpy as np
import pytest

from geochem.anomalies.residuals import Field, residuals_of
from geochem.anomalies.rivals import _together, explain, known_rivals, mixture
from geochem.elements import SYMBOLS
from geochem.model.evidence import Association

ELEMENTS = ("K", "Ca", "Ti", "V", "Cr", "Mn", "Fe", "Ni", "Cu", "Zn", "As", "Rb", "Zr", "Mo")
WANTED = (
    Association("copper", "Copper", {"Cu": 1.0, "As": 0.6, "Mo": 0.8}),
    Association("zinc", "Zinc", {"Zn": 1.0, "As": 0.4}),
)


@pytest.fixture(scope="module")
def ground():
    """Two units, three bumps: mineralisation, ironstone, and the other unit's rock unmapped."""
    rng = np.random.default_rng(1)
    i, j = np.divmod(np.arange(50 * 40), 40)
    metres = np.column_stack([i * 100.0, j * 100.0])
    unit = np.where(i < 25, "slate", "basalt").astype(object)
    basalt = {"Ti": 0.3, "V": 0.35, "Cr": 0.4, "Ni": 0.4, "Cu": 0.25, "K": -0.4, "Rb": -0.5}
    ore = {"Cu": 0.45, "As": 0.3, "Mo": 0.3}
    iron = {"Fe": 0.3, "As": 0.3, "V": 0.2, "Mo": 0.2, "K": -0.1, "Ca": -0.1}
    bumps = [((800, 900), ore), ((1500, 2900), iron), ((900, 2200), basalt)]
    logs = {}
    for e in ELEMENTS:
        z = 0.15 * rng.normal(size=len(i)) + np.where(unit == "basalt", basalt.get(e, 0.0), 0.0)
        for at, rise in bumps:
            shape = np.exp(-0.5 * ((metres - at) ** 2).sum(axis=1) / 250.0**2)
            z = z + rise.get(e, 0.0) * shape
        logs[e] = 2.0 + z
    n = len(i)
    left = residuals_of(
        logs, dict.fromkeys(logs, 1.0), unit, np.full(n, "", object),
        (Field(np.arange(n), metres, 100.0),), np.ones(n),
    )  # fmt: skip
    told = explain(WANTED, left, unit, np.zeros(n, dtype=bool))

    def at(place):
        return int(((metres - place) ** 2).sum(axis=1).argmin())

    return told, [at(b[0]) for b in bumps]


def test_mineralisation_wins_where_it_is(ground):
    told, (ore, _, _) = ground
    assert told.association_gain[ore] > told.rival_gain[ore] + 3.0
    assert told.association_gain[ore] > 5.0


def test_ironstone_and_an_unmapped_unit_win_where_they_are(ground):
    told, (_, iron, rock) = ground
    assert told.rival_gain[iron] > told.association_gain[iron] + 2.0
    assert "iron oxides" in told.rival[iron]
    assert told.rival_gain[rock] > told.association_gain[rock] + 2.0
    assert told.rival[rock] == "the rock of basalt"


def test_background_is_explained_by_nothing_in_particular(ground):
    told, _ = ground
    assert np.median(told.association_gain) < 1.5
    assert np.median(told.rival_gain) < 1.5


def test_the_data_file_names_elements_and_sources():
    names = [r.name for r in known_rivals()]
    assert len(names) == len(set(names)) >= 5
    for r in known_rivals():
        assert set(r.weights) <= set(SYMBOLS)
        assert "from memory" in r.source
        assert any(ch.isdigit() for ch in r.source)


def test_an_association_beside_a_rival_explains_both_parts():
    """Least squares on two orthogonal directions: half of 3 x 3 + 4 x 4 (exact)."""
    y, ones = np.array([[3.0, 4.0, 0.0], [-3.0, 4.0, 0.0]]), np.ones((2, 3))
    wanted, rival = np.array([[1.0, 0.0, 0.0]]), np.array([[0.0, 1.0, 0.0]] * 2)
    got = _together(y, ones, wanted, rival)
    assert got == pytest.approx([12.5, 0.0])  # the second would need a negative strength


def test_a_tenth_of_another_soil_is_a_mixture_of_contents():
    here, other = np.log10([4.0, 200.0]), np.log10([120.0, 180.0])
    got = mixture(here / 0.2, other / 0.2, np.array([0.2, 0.2]), 0.1)
    assert 10 ** (0.2 * got) == pytest.approx([0.9 * 4 + 12, 0.9 * 200 + 18])
    assert mixture(here, other, np.ones(2), 1.0) == pytest.approx(other)


def test_soil_creeping_from_another_unit_is_no_mineralisation(ground):
    """Granite with a little basalt: nickel, chromium and copper rise, potassium hardly falls."""
    rng = np.random.default_rng(2)
    i, j = np.divmod(np.arange(50 * 40), 40)
    metres = np.column_stack([i * 100.0, j * 100.0])
    unit = np.where(i < 25, "granite", "basalt").astype(object)
    basalt = {"Cr": 1.4, "Ni": 1.3, "Cu": 0.9, "V": 0.9, "Zn": 0.3, "K": -0.6, "Rb": -0.8}
    creep = 0.15 * np.exp(-0.5 * ((metres - (800, 1500)) ** 2).sum(axis=1) / 250.0**2)
    logs = {}
    for e in ELEMENTS:
        step = basalt.get(e, 0.0)
        mixed = np.log10((1 - creep) + creep * 10**step)
        logs[e] = 2.0 + 0.12 * rng.normal(size=len(i)) + np.where(unit == "basalt", step, mixed)
    n = len(i)
    left = residuals_of(
        logs, dict.fromkeys(logs, 1.0), unit, np.full(n, "", object),
        (Field(np.arange(n), metres, 100.0),), np.ones(n),
    )  # fmt: skip
    nickel = Association("nickel", "Nickel", {"Ni": 1.0, "Cu": 1.0, "Cr": 0.4})
    told = explain((*WANTED, nickel), left, unit, np.zeros(n, dtype=bool))
    here = int(((metres - (800, 1500)) ** 2).sum(axis=1).argmin())
    assert told.rival_gain[here] > 5.0
    assert told.rival_gain[here] > told.association_gain[here]
    assert told.rival[here] == "the rock of basalt"
