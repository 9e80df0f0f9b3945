"""A strip of high scores along a stream is told from a halo that a stream happens to cross."""

import numpy as np
import pytest
import shapely

from geochem.targets.along_lines import SEARCHED, along_margin, follows, strip_margin


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


def test_a_strip_in_an_unknown_direction_is_told_from_a_halo(ground):
    xy, _, noise = ground
    peak = np.array([2600.0, 2000.0])
    turned = (xy - peak) @ np.array([[0.8, -0.6], [0.6, 0.8]])
    strip = noise + 5.0 * np.exp(-((turned[:, 1] / 80.0) ** 2)) * (np.abs(turned[:, 0]) < 900)
    halo = noise + 3.0 * np.exp(-0.5 * (np.hypot(*(xy - peak).T) / 280.0) ** 2)
    long = noise + 3.0 * np.exp(-0.5 * ((turned / (420.0, 190.0)) ** 2).sum(axis=1))
    assert strip_margin(xy, strip, peak, 141.0) > 1.0
    assert strip_margin(xy, halo, peak, 141.0) < -2.0
    assert strip_margin(xy, long, peak, 141.0) < -2.0


def test_noise_is_no_strip_once_the_search_is_paid(ground):
    xy, _, noise = ground
    peaks = [np.array([x, y]) for x in (1800.0, 3000.0, 4200.0) for y in (1300.0, 2600.0)]
    margins = [strip_margin(xy, noise, p, 141.0) for p in peaks]
    assert np.median(margins) < 0.0 < SEARCHED
