"""A strip of high scores along a stream is told from a halo that a stream happens to cross."""

import numpy as np
import pytest
import shapely

from geochem.targets.along_lines import along_margin, follows


@pytest.fixture(scope="module")
def ground():
    rng = np.random.default_rng(4)
    i, j = np.divmod(np.arange(30 * 40), 40)
    xy = np.column_stack([i * 200.0, j * 100.0]) + rng.normal(0, 5, (1200, 2))
    stream = shapely.LineString([(0, 1500), (2500, 2000), (5800, 2600)])
    return xy, stream, rng.normal(size=1200)


def nearest(xy, score):
    return xy[int(np.argmax(score))]


def test_a_strip_follows_its_stream(ground):
    xy, stream, noise = ground
    beside = shapely.distance(shapely.points(xy), stream)
    along = np.abs(xy[:, 0] - 2600.0)
    score = noise + 4.0 * np.exp(-((beside / 90.0) ** 2)) * (along < 900.0)
    assert along_margin(xy, score, np.array([2600.0, 2020.0]), 141.0, stream) > 2.0


def test_a_halo_on_the_stream_does_not(ground):
    xy, stream, noise = ground
    away = np.hypot(*(xy - (2600.0, 2020.0)).T)
    score = noise + 3.0 * np.exp(-0.5 * (away / 280.0) ** 2)
    assert along_margin(xy, score, np.array([2600.0, 2020.0]), 141.0, stream) < -2.0


def test_far_from_any_line_nothing_is_said(ground):
    xy, stream, noise = ground
    margin = along_margin(xy, noise, np.array([2600.0, 3700.0]), 141.0, stream)
    assert np.isnan(margin)
    margin, words = follows(xy, noise, np.array([2600.0, 3700.0]), 141.0, {"a stream": stream})
    assert np.isnan(margin)
    assert words == ""


def test_the_better_line_is_named(ground):
    xy, stream, noise = ground
    road = shapely.LineString([(0, 2900), (5800, 1000)])
    beside = shapely.distance(shapely.points(xy), stream)
    score = noise + 4.0 * np.exp(-((beside / 90.0) ** 2)) * (np.abs(xy[:, 0] - 2600.0) < 900.0)
    lines = {"a road": road, "a stream": stream}
    margin, words = follows(xy, score, np.array([2600.0, 2020.0]), 141.0, lines)
    assert margin > 2.0
    assert words == "a stream"
