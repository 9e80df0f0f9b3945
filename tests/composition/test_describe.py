import numpy as np
import pandas as pd
import pytest

from geochem.composition import describe_composition

ELEMENTS = ["Fe", "Cu", "Zn", "As", "Pb", "Mo"]


def _samples(n=200, seed=0):
    rng = np.random.default_rng(seed)
    common = rng.standard_normal((n, 2))
    log = common @ rng.normal(0, 0.4, (2, 6)) + 0.3 * rng.standard_normal((n, 6))
    x = np.exp(log + np.log([40000, 40, 80, 8, 20, 2]))
    x[:10, 1] *= 40  # ten samples rich in copper
    frame = pd.DataFrame({f"{e}_ppm": x[:, j] for j, e in enumerate(ELEMENTS)})
    frame.insert(0, "sample_id", [f"S{i:04d}" for i in range(n)])
    frame.insert(1, "medium", "soil")
    low = frame["As_ppm"] < frame["As_ppm"].quantile(0.1)
    frame["As_ppm_below"] = low
    frame.loc[low, "As_ppm"] = frame["As_ppm"].quantile(0.1)
    frame["Mo_ppm_below"] = np.arange(n) % 5 < 2
    return frame


def test_describes_and_flags_the_rich_ones():
    got, findings = describe_composition(_samples(), ELEMENTS, medium="soil")
    assert got.parts == ("Fe", "Cu", "Zn", "As", "Pb")
    assert got.dropped == {"Mo": "40 % of its values are below detection"}
    assert (
        "Mo (40 %" in next(f for f in findings if f.code == "composition-parts-left-out").message
    )
    assert got.replaced_share == pytest.approx(0.02)
    assert got.clr.sum(axis=1) == pytest.approx(np.zeros(200), abs=1e-9)
    assert got.loadings.shape == (5, 4)
    assert got.loadings.sum(axis=0) == pytest.approx(np.zeros(4), abs=1e-12)
    assert got.loadings.T @ got.loadings == pytest.approx(np.eye(4), abs=1e-9)
    largest = got.loadings[np.abs(got.loadings).argmax(axis=0), np.arange(4)]
    assert (largest > 0).all()
    assert got.explained.sum() == pytest.approx(1)
    assert (np.diff(got.explained) <= 0).all()
    rich = np.isin(got.sample_id, [f"S{i:04d}" for i in range(10)])
    assert (got.distance[rich] > got.distance_cut).all()
    assert (got.distance[~rich] > got.distance_cut).mean() < 0.08
    assert got.distance_cut == pytest.approx(3.338156, abs=1e-6)  # chi-square table, 4 coordinates


def test_row_and_column_order_change_nothing():
    frame = _samples()
    mixed = frame.sample(frac=1, random_state=3)[frame.columns[::-1]]
    a, _ = describe_composition(frame, ELEMENTS, medium="soil")
    b, _ = describe_composition(mixed, ELEMENTS[::-1], medium="soil")
    assert a.sample_id.tolist() == b.sample_id.tolist()
    assert a.parts == b.parts
    assert a.distance.tolist() == b.distance.tolist()
    assert a.scores.tolist() == b.scores.tolist()


def test_species_never_enter_and_incomplete_samples_are_named():
    frame = _samples()
    frame["LOI_ppm"] = 5.0
    frame["C_inorganic_ppm"] = 100.0 + np.arange(200)
    frame.loc[3, "Zn_ppm"] = np.nan
    before = frame.copy()
    got, findings = describe_composition(frame, [*ELEMENTS, "LOI", "C_inorganic"], medium="soil")
    pd.testing.assert_frame_equal(frame, before)
    assert got.dropped["LOI"] == got.dropped["C_inorganic"] == "not an element"
    assert "S0003" not in got.sample_id
    assert "S0003" in next(f for f in findings if f.code == "composition-incomplete").message


def test_a_part_measured_in_few_samples_leaves_rather_than_the_samples():
    frame = _samples()
    frame.loc[frame.index % 8 != 0, "Pb_ppm"] = np.nan
    got, _ = describe_composition(frame, ELEMENTS, medium="soil")
    assert "Pb" not in got.parts
    assert len(got.sample_id) == 200
    assert got.dropped["Pb"].startswith("missing in 8")


def test_too_few_samples_give_a_finding():
    got, findings = describe_composition(_samples(12), ELEMENTS, medium="soil")
    assert got is None
    assert findings[-1].code == "composition-not-described"
    none, _ = describe_composition(_samples(), ELEMENTS, medium="rock")
    assert none is None


def test_a_tied_part_is_named():
    frame = _samples()
    frame["Zn_ppm"] = np.where(np.arange(200) < 190, 80.0, frame["Zn_ppm"])
    frame["Pb_ppm"] = frame["Zn_ppm"] * 2
    got, findings = describe_composition(frame, ELEMENTS, medium="soil")
    assert got is None
    assert findings[-1].code == "composition-singular"
    assert "Zn" in findings[-1].message
