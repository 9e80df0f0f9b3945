"""What water washed down a slope is told from a halo, by elevations of hand-held receivers."""

import numpy as np
import pytest
import shapely

from geochem.targets.along_lines import gain_of
from geochem.targets.down_slope import BEGINS, RUNS, STEP, WIDTHS, _strip_gain, washed_margins

SPACING = 141.0


@pytest.fixture(scope="module")
def hills():
    """Samples on lines 200 m apart, stations 100 m; a valley that bends, known to 4 m."""
    rng = np.random.default_rng(11)
    i, j = np.divmod(np.arange(30 * 60), 60)
    xy = np.column_stack([i * 200.0, j * 100.0]) + rng.normal(0, 5, (1800, 2))
    middle = 2900.0 + 500.0 * np.sin(xy[:, 1] / 1500.0)
    height = 500.0 + 0.03 * xy[:, 1] + 40.0 * ((xy[:, 0] - middle) / 1000.0) ** 2
    return xy, height + rng.normal(0, 4, 1800), middle, rng.normal(size=1800)


def margin_of(xy, height, score, summit):
    return washed_margins(
        xy, height, score[:, None], np.array([0]), np.array([summit], dtype=float), SPACING
    )[0]


def washed_down(xy, middle):
    """Begin at northing 4000 in the valley and fade within 1500 m downhill, to the south."""
    beside = np.abs(xy[:, 0] - middle)
    run = (4000.0 - xy[:, 1]) / 1500.0
    return 5.0 * np.exp(-((beside / 130.0) ** 2)) * np.clip(1.0 - run, 0.0, 1.0) * (run >= 0)


def test_waste_in_a_valley_is_washed(hills):
    xy, height, middle, noise = hills
    summit = (2900.0 + 500.0 * np.sin(3900.0 / 1500.0), 3900.0)
    assert margin_of(xy, height, noise + washed_down(xy, middle), summit) > 2.0


def test_a_halo_in_the_same_valley_is_not(hills):
    xy, height, _, noise = hills
    summit = np.array([2900.0 + 500.0 * np.sin(3900.0 / 1500.0), 3900.0])
    halo = 3.0 * np.exp(-0.5 * ((xy - summit) ** 2).sum(axis=1) / 280.0**2)
    assert margin_of(xy, height, noise + halo, summit) < -2.0


def test_a_strip_across_the_slope_is_not_washed(hills):
    # a vein along a contour
    xy, height, _, noise = hills
    strip = 4.0 * np.exp(-(((xy[:, 1] - 3900.0) / 100.0) ** 2)) * (np.abs(xy[:, 0] - 3400) < 1200)
    assert margin_of(xy, height, noise + strip, (3400.0, 3900.0)) < 0.0


def test_nothing_is_said_without_elevations(hills):
    xy, height, middle, noise = hills
    score, summit = noise + washed_down(xy, middle), (3100.0, 3900.0)
    assert np.isnan(margin_of(xy, np.full(1800, np.nan), score, summit))
    half = np.where(np.arange(1800) % 2 == 0, height, np.nan)
    assert np.isnan(margin_of(xy, half, score, summit))
    some = np.where(np.arange(1800) % 10 == 0, np.nan, height)
    assert margin_of(xy, some, score, summit) == pytest.approx(
        margin_of(xy, height, score, summit), abs=3.0
    )


def test_background_looks_washed_seldom(hills):
    xy, height, _, noise = hills
    inner = np.flatnonzero((np.abs(xy - (2900, 3000)) < 1800).all(axis=1))
    peaks = xy[inner[np.argsort(-noise[inner])[:40]]]
    margin = washed_margins(xy, height, noise[:, None], np.zeros(40, dtype=int), peaks, SPACING)
    # an outline is struck out above 1.5
    assert (margin > 1.5).mean() <= 0.05


def test_strips_equal_a_slow_search():
    rng = np.random.default_rng(8)
    xy, score = rng.uniform(0, 20, (500, 2)), rng.normal(size=500)
    up = np.array([[10.0, 12.0], [10.2, 12.4], [10.4, 12.9]])
    down = np.array([[10.0, 12.0], [9.9, 11.5], [9.6, 11.1], [9.2, 10.8]])
    line = shapely.LineString([*up[::-1], *down[1:]])
    best = 0.0
    for width in WIDTHS:
        for begin in BEGINS:
            for run in RUNS:
                shape = np.zeros(500)
                for i, point in enumerate(shapely.points(xy)):
                    along = line.project(point) - 2 * STEP
                    if along >= begin - STEP:
                        fade = min(max(1.0 - (along - begin) / run, 0.0), 1.0)
                        shape[i] = fade * np.exp(-((point.distance(line) / width) ** 2))
                best = max(best, gain_of(score, shape))
    assert _strip_gain(xy, score, up, down) == pytest.approx(best, rel=1e-3)
