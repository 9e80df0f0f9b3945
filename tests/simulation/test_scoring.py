import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import Point, box


@pytest.fixture(scope="module")
def truth():
    """Two bodies of 1 km2 with cores of 0.25 km2, and a false body."""
    halos = [box(0, 0, 1000, 1000), box(5000, 0, 6000, 1000), box(0, 5000, 1000, 6000)]
    cores = [box(250, 250, 750, 750), box(5250, 250, 5750, 750), halos[2]]
    frame = gpd.GeoDataFrame(
        {"name": ["A", "B", "F"], "kind": ["mineralisation", "mineralisation", "false body"]},
        geometry=halos, crs="EPSG:32735",
    )  # fmt: skip
    return frame.assign(core=gpd.GeoSeries(cores, crs="EPSG:32735"))


def test_outlines_are_scored_as_counted_by_hand(scoring, truth):
    outlines = gpd.GeoDataFrame(
        geometry=[
            box(100, 5100, 900, 5900),  # on the false body
            box(0, 0, 1000, 500),  # half of A's core
            box(3000, 3000, 3400, 3400),  # nothing
            box(450, 450, 550, 550),  # small, inside A's core
        ],
        crs="EPSG:32735",
    )
    points = [Point(500, 300), Point(950, 5800), Point(500, 5500), Point(8000, 8000)]
    got = scoring.score_outlines(outlines, truth, 50e6, points=points)
    assert scoring.hits(outlines, truth) == [(), ("A",), (), ("A",)]
    assert got["recall"] == 0.5
    assert got["precision"] == 0.5
    assert got["first_hit"] == 2
    # overlaps count once
    assert got["area_km2"] == pytest.approx(0.64 + 0.5 + 0.16 + 0.005)
    assert got["false_targets"] == 2
    assert got["false_per_100km2"] == 4.0
    assert got["on_false_bodies"] == 0.5
    assert scoring.on_something(outlines, truth) == [True, True, False, True]
    assert got["sample_fdp"] == 0.5  # the second lies beside an outline, the last in none
    assert scoring.score_outlines(outlines, truth, 50e6, first=1)["recall"] == 0


def test_an_edge_is_no_hit_and_one_hull_can_find_two(scoring, truth):
    edge = box(0, 0, 1000, 320)  # 14 % of the core, and far more outside than inside
    both = box(-500, -500, 6500, 1500)
    assert scoring.hits([edge, both], truth) == [(), ("A", "B")]


def test_nothing_found_and_barren_ground(scoring, truth):
    none = scoring.score_outlines([], truth, 1e8)
    assert none["recall"] == 0
    assert none["area_km2"] == 0
    assert np.isnan(none["first_hit"])
    assert np.isnan(none["precision"])
    barren = truth[truth["kind"] != "mineralisation"]
    got = scoring.score_outlines([box(0, 0, 100, 100), box(0, 5000, 900, 5900)], barren, 2e8)
    assert np.isnan(got["recall"])
    assert got["false_per_100km2"] == 1.0
    assert got["on_false_bodies"] == 0.5


def test_order_of_outlines_decides_who_is_looked_at(scoring, truth):
    far = [box(8000, 8000 + 300 * i, 8200, 8200 + 300 * i) for i in range(10)]
    good = box(200, 200, 800, 800)
    assert scoring.score_outlines([*far, good], truth, 1e8)["recall"] == 0
    assert scoring.score_outlines([good, *far], truth, 1e8)["recall"] == 0.5


def test_brier_and_reliability_against_an_independent_library(scoring):
    # scikit-learn's brier_score_loss and calibration_curve as the outside reference
    from sklearn.calibration import calibration_curve
    from sklearn.metrics import brier_score_loss

    rng = np.random.default_rng(2)
    said = rng.uniform(0, 1, 400)
    came = rng.random(400) < said**2
    assert scoring.brier(said, came) == pytest.approx(brier_score_loss(came, said))
    table = scoring.reliability(said, came)
    share, mean = calibration_curve(came, said, n_bins=5)
    assert np.allclose(table["came"], share)
    assert np.allclose(table["said"], mean)
    assert table["n"].sum() == 400
    # a certain prophecy is counted in the last class
    assert scoring.reliability([1.0], [True])["n"].tolist() == [0, 0, 0, 0, 1]


def test_coverage_of_normal_intervals(scoring):
    rng = np.random.default_rng(3)
    x = rng.normal(0, 1, 20_000)
    # 1.959964: standard normal tables, 95 %
    assert scoring.coverage(x - 1.959964, x + 1.959964, 0 * x) == pytest.approx(0.95, abs=0.006)
    assert scoring.coverage([0, np.nan], [1, 1], [2, 0.5]) == 0
    assert np.isnan(scoring.coverage([np.nan], [1], [0]))


def test_proportions_and_alarms(scoring):
    flagged = np.array([1, 1, 1, 0, 0], bool)
    true = np.array([1, 0, 0, 1, 0], bool)
    assert scoring.false_discovery_proportion(flagged, true) == pytest.approx(2 / 3)
    assert scoring.false_discovery_proportion(~flagged & flagged, true) == 0
    assert scoring.alarm_rates(flagged, true) == {
        "detection": 0.5, "false_alarm": pytest.approx(2 / 3)
    }  # fmt: skip
    assert np.isnan(scoring.alarm_rates(flagged, 0 * flagged)["detection"])


def test_summary_gives_mean_and_its_monte_carlo_error(scoring):
    rows = [
        {"settings": "s", "method": m, "seed": i, "recall": v, "brier": b}
        for m, i, v, b in [("x", 1, 0.2, np.nan), ("x", 2, 0.6, np.nan), ("y", 1, 1.0, 0.3)]
    ]
    got = scoring.summarise(rows).set_index(["method", "measure"])
    assert got.loc[("x", "recall"), "mean"] == pytest.approx(0.4)
    # standard deviation 0.283 over the root of two
    assert got.loc[("x", "recall"), "error"] == pytest.approx(0.2)
    assert ("x", "brier") not in got.index
    text = scoring.as_text(scoring.summarise(rows))
    assert "0.40 +- 0.20" in text
    assert "seed" not in text
    assert isinstance(scoring.summarise(rows), pd.DataFrame)
