"""Order of elements in a halo, slope of the ground, usual sizes: criteria that can be seen."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem.anomalies.presets import presets
from geochem.targets.criteria import judge
from geochem.targets.surroundings import Surroundings, slope_of
from geochem.targets.zoning import Zoning, zoning_of

COPPER = next(p.association for p in presets() if p.association.name == "porphyry_copper")


def grid(n=13, step=0.35):
    """Samples around a middle; distances in radii of the target."""
    east, north = np.meshgrid(np.arange(n) - n // 2, np.arange(n) - n // 2)
    return np.hypot(east, north).ravel() * step


def test_copper_in_the_middle_and_zinc_lead_manganese_around_it():
    # zoning of porphyry copper: Lowell and Guilbert 1970, Economic Geology 65:373-408 (from memory)
    r, rng = grid(), np.random.default_rng(1)
    noise = {e: rng.normal(0, 1, len(r)) for e in ("Cu", "Mo", "Zn", "Pb", "Mn")}
    middle, ring = 4 * np.exp(-((r / 0.7) ** 2)), 3 * np.exp(-(((r - 1.0) / 0.25) ** 2))
    z = {"Cu": middle, "Mo": middle, "Zn": ring, "Pb": ring, "Mn": ring}
    found = zoning_of({e: z[e] + 0.5 * noise[e] for e in z}, r, COPPER.weights, COPPER.rim)
    assert set(found.falling) == {"Cu", "Mo"}
    assert set(found.ringed) == {"Zn", "Pb", "Mn"}
    assert found.share == 1.0
    # the other way round nothing is in order
    turned = {e: (middle if e in COPPER.rim else ring) + 0.5 * noise[e] for e in z}
    assert zoning_of(turned, r, COPPER.weights, COPPER.rim).share == 0.0


def test_what_is_not_raised_is_not_held_against_a_target_but_a_disorder_is():
    r, rng = grid(), np.random.default_rng(2)
    z = {"Cu": 4 * np.exp(-(r**2)) + rng.normal(0, 0.5, len(r)), "Zn": rng.normal(0, 1, len(r))}
    z["Mo"] = 3 * np.exp(-(((r - 1.0) / 0.25) ** 2)) + rng.normal(0, 0.5, len(r))
    z["As"] = rng.normal(0, 1, len(r))  # not raised: no order to be judged
    found = zoning_of(z, r, COPPER.weights, COPPER.rim)
    assert found == Zoning(falling=("Cu",), against=("Mo",))
    assert str(found) == "fall outward: Cu; neither: Mo"


def test_background_is_rarely_called_ordered():
    r, rng = grid(), np.random.default_rng(3)
    found = [zoning_of({"Cu": rng.normal(size=len(r))}, r, {"Cu": 1.0}) for _ in range(600)]
    # raised by chance one time in ten (two rings, 5 % each), and then falling less than always
    assert np.mean([f.judged for f in found]) < 0.16
    assert np.mean([len(f.falling) for f in found]) < 0.06


def test_depletion_is_turned_round():
    r = grid()
    sodium = -3 * np.exp(-(r**2)) + np.random.default_rng(4).normal(0, 0.3, len(r))
    assert zoning_of({"Na": sodium}, r, {"Na": -0.5}).falling == ("Na",)
    assert zoning_of({"Na": -sodium}, r, {"Na": -0.5}).judged == 0


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(-5, 5), min_size=3, max_size=40), st.integers(0, 9))
def test_order_and_scale_of_the_samples_do_not_matter(values, seed):
    rng = np.random.default_rng(seed)
    score, r = np.array(values), rng.uniform(0, 2.4, len(values))
    score[rng.random(len(values)) < 0.1] = np.nan
    mixed = rng.permutation(len(values))
    first = zoning_of({"Cu": score}, r, {"Cu": 1.0})
    assert zoning_of({"Cu": score[mixed]}, r[mixed], {"Cu": 1.0}) == first
    assert zoning_of({"Cu": 8.0 * score}, r, {"Cu": 1.0}) == first


def sloping(toward, degrees, n=30):
    rng = np.random.default_rng(n)
    east, north = rng.uniform(0, 400, (2, n))
    fall = np.tan(np.radians(degrees))
    height = 900 - fall * (east * np.sin(np.radians(toward)) + north * np.cos(np.radians(toward)))
    return gpd.GeoDataFrame(
        {"elevation": height + rng.normal(0, 0.5, n)},
        geometry=gpd.points_from_xy(east, north), crs="EPSG:32735",
    )  # fmt: skip


@pytest.mark.parametrize(("toward", "degrees"), [(0, 5), (90, 12), (135, 30), (270, 20)])
def test_slope_and_where_it_falls_to(toward, degrees):
    slope, downhill = slope_of(sloping(toward, degrees), np.arange(30))
    assert slope == pytest.approx(degrees, abs=0.3)
    assert (downhill - toward + 180) % 360 - 180 == pytest.approx(0, abs=2)


def test_a_slope_that_cannot_be_known_is_not_made_up():
    few = sloping(90, 10)
    assert slope_of(few, np.arange(5)) == (None, None)
    assert slope_of(few.drop(columns="elevation"), np.arange(30)) == (None, None)
    line = few.copy()
    line.geometry = gpd.points_from_xy(few.geometry.x, 2 * few.geometry.x)
    assert slope_of(line, np.arange(30)) == (None, None)


def criteria(**changed):
    around = {
        "chips": 0, "chips_high": 0, "chip_text": "", "transported": None, "residual": None,
        "workings": None, "drilled": None, "holes_inside": 0, "keep_out": 0.0, "quality": None,
        **{k: v for k, v in changed.items() if k in ("road", "slope", "downhill", "keep_out")},
    }  # fmt: skip
    rest = {k: v for k, v in changed.items() if k not in around}
    given_area = {"area_km2": 0.4, **rest}
    made = judge(
        strength=5.0, noise=0.5, anomalous_share=0.6, samples=20, elements=3, sent=0, confirmed=0,
        n_open=0, around=Surroundings(**around), **given_area,
    )  # fmt: skip
    return {c.criterion: c for c in made}


def test_size_is_judged_by_the_type_sought():
    assert criteria(area_km2=0.05)["size"].scaled == pytest.approx(1 - np.log10(2))
    assert criteria(area_km2=0.05, size_km2=(0.01, 0.5))["size"].scaled == 1.0
    assert criteria(area_km2=5.0, size_km2=(0.01, 0.5))["size"].scaled == 0.0
    assert "usual for the type" in criteria(size_km2=(0.01, 0.5))["size"].statement


def test_every_preset_has_a_usual_size():
    for p in presets():
        low, high = p.association.size_km2
        assert 0.005 <= low < high <= 50


def test_what_is_not_known_has_no_part_in_the_score():
    made = criteria()
    for name in ("zoning", "slope", "access", "cover"):
        assert np.isnan(made[name].scaled), name
    assert made["keep_out"].scaled == 1.0


def test_steep_and_far_ground_counts_less():
    made = criteria(slope=22.5, downhill=135.0, road=2750.0, keep_out=0.25)
    assert made["slope"].scaled == pytest.approx(0.5)
    assert made["access"].scaled == pytest.approx(0.5)
    assert made["keep_out"].scaled == pytest.approx(0.75)
    assert "toward 135" in made["slope"].statement
