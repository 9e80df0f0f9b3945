"""Grids of known spacing and direction are measured back; random points are not called a grid."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem.errors import WrongCall
from geochem.stats.spacing import measure_grid, number_lines


def simulate(
    lines, stations, line, station, azimuth, *, jitter=0.0, staggered=False, missing=0.0, seed=1
):
    """Lay a grid, turn it, shake it, lose some samples; large coordinates as in the field."""
    rng = np.random.default_rng(seed)
    i, j = np.meshgrid(np.arange(lines), np.arange(stations), indexing="ij")
    across = (i * line).ravel().astype(float)
    along = (j * station + (0.5 * station * (i % 2) if staggered else 0.0)).ravel()
    return place(across, along, azimuth, jitter=jitter, missing=missing, rng=rng)


def place(across, along, azimuth, *, jitter, missing, rng):
    turn = np.radians(azimuth)
    x = across * np.cos(turn) + along * np.sin(turn) + rng.normal(0, jitter, across.size)
    y = -across * np.sin(turn) + along * np.cos(turn) + rng.normal(0, jitter, across.size)
    keep = rng.random(across.size) >= missing
    return 512_345.6 + x[keep], 7_654_321.0 + y[keep]


def angle_between(a, b):
    """Smallest angle between two directions without sense; [degrees]."""
    return abs((a - b + 90.0) % 180.0 - 90.0)


@settings(max_examples=40, deadline=None)
@given(
    line=st.sampled_from([50.0, 100.0, 200.0, 400.0, 800.0]),
    ratio=st.sampled_from([1.0, 1.5, 2.0, 4.0, 10.0]),
    azimuth=st.floats(0.0, 179.9),
    lines=st.integers(5, 15),
    stations=st.integers(10, 30),
    jitter=st.sampled_from([0.0, 0.02, 0.1]),
    staggered=st.booleans(),
    missing=st.sampled_from([0.0, 0.1]),
    seed=st.integers(0, 1000),
)
def test_known_grid_is_measured_back(
    line, ratio, azimuth, lines, stations, jitter, staggered, missing, seed
):
    station = line / ratio
    x, y = simulate(
        lines, stations, line, station, azimuth,
        jitter=jitter * station, staggered=staggered, missing=missing, seed=seed,
    )  # fmt: skip
    found = measure_grid(x, y)
    assert found.regular
    assert found.n == x.size
    if ratio >= 1.5:  # else the two directions of a square grid are equally good
        assert angle_between(found.azimuth, azimuth) < 3.0
        assert found.line_spacing == pytest.approx(line, rel=0.05)
        assert found.station_spacing == pytest.approx(station, rel=0.05)
    elif not staggered:
        assert min(angle_between(found.azimuth, azimuth + a) for a in (0, 90)) < 3.0
        assert found.line_spacing == pytest.approx(line, rel=0.05)
    if missing == 0:
        # samples times line spacing times station spacing
        assert found.area == pytest.approx(x.size * line * station, rel=0.12)


@pytest.mark.parametrize("station", [25.0, 50.0])
def test_gps_scatter_of_five_metres(station):
    x, y = simulate(12, 40, 100.0, station, 31.0, jitter=5.0, seed=3)
    found = measure_grid(x, y)
    assert found.regular
    assert found.line_spacing == pytest.approx(100.0, rel=0.02)
    assert found.station_spacing == pytest.approx(station, rel=0.03)
    assert angle_between(found.azimuth, 31.0) < 1.0


@pytest.mark.parametrize(("line", "station"), [(100.0, 25.0), (200.0, 50.0), (50.0, 50.0)])
def test_infill_does_not_hide_the_reconnaissance_grid(line, station):
    rng = np.random.default_rng(5)
    p, s = np.meshgrid(np.arange(0, 6400, 400.0), np.arange(0, 6000, 100.0), indexing="ij")
    q, t = np.meshgrid(np.arange(1200, 2801, line), np.arange(2000, 3601, station), indexing="ij")
    across, along = np.r_[p.ravel(), q.ravel()], np.r_[s.ravel(), t.ravel()]
    x, y = place(across, along, 63.0, jitter=3.0, missing=0.0, rng=rng)
    found = measure_grid(x, y)
    assert (round(found.line_spacing / 5) * 5, round(found.station_spacing)) == (400, 100)
    assert found.area / 1e6 == pytest.approx(6.4 * 6.0, rel=0.03)


def test_two_grids_that_are_not_aligned():
    x1, y1 = simulate(8, 20, 100, 25, 30.0, jitter=2.0, seed=1)
    x2, y2 = simulate(8, 20, 100, 25, 30.0, jitter=2.0, seed=2)
    found = measure_grid(np.r_[x1, x2 + 1537], np.r_[y1, y2 + 411])
    assert found.line_spacing == pytest.approx(100, rel=0.03)
    assert found.station_spacing == pytest.approx(25, rel=0.03)


@pytest.mark.parametrize("n", [12, 40, 150, 1000])
def test_random_points_are_no_grid(n):
    called = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        found = measure_grid(rng.uniform(0, 3000, n), rng.uniform(0, 2000, n))
        called += found.regular
        assert found.regular or (found.line_spacing == found.station_spacing == found.nearest)
    assert called <= 2


def test_nearest_distance_of_random_points():
    # median of the nearest-neighbour distance of a Poisson process: sqrt(ln 2 / (pi density)),
    # from its distribution 1 - exp(-density pi r^2) (Clark & Evans 1954, Ecology 35:445-453)
    rng = np.random.default_rng(8)
    n = 4000
    found = measure_grid(rng.uniform(0, 1000, n), rng.uniform(0, 1000, n))
    density = n / 1e6
    assert found.nearest == pytest.approx(np.sqrt(np.log(2) / (np.pi * density)), rel=0.03)
    assert found.area == pytest.approx(1e6, rel=0.05)
    assert np.isnan(found.azimuth)


def test_nearest_distance_agrees_with_a_slow_twin():
    rng = np.random.default_rng(2)
    xy = rng.uniform(0, 500, (60, 2))
    apart = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    # places are rounded to 5 cm
    assert measure_grid(*xy.T).nearest == pytest.approx(np.median(apart.min(axis=1)), abs=0.1)


def test_one_line_and_a_wandering_stream_are_no_grid():
    assert not measure_grid(np.arange(30) * 50.0, np.zeros(30)).regular
    rng = np.random.default_rng(0)
    turn = np.cumsum(rng.normal(0, 0.3, 200))
    found = measure_grid(np.cumsum(300 * np.cos(turn)), np.cumsum(300 * np.sin(turn)))
    assert not found.regular
    assert found.nearest == pytest.approx(300, rel=0.05)


@pytest.mark.parametrize("n", [0, 1, 2, 3, 5])
def test_few_places(n):
    found = measure_grid(np.arange(n) * 40.0, np.arange(n) * 30.0)
    assert found.n == n
    assert not found.regular
    assert (found.nearest == pytest.approx(50.0)) if n > 1 else np.isnan(found.nearest)


def test_places_count_once_and_bad_positions_not_at_all():
    x, y = simulate(6, 10, 100, 25, 10)
    twice = measure_grid(np.r_[x, x, np.nan], np.r_[y, y, 5.0])
    assert twice == measure_grid(x, y)


def test_row_order_does_not_matter():
    x, y = simulate(9, 14, 120, 40, 77, jitter=4, missing=0.1)
    order = np.random.default_rng(0).permutation(x.size)
    assert measure_grid(x, y) == measure_grid(x[order], y[order])


def test_lines_are_numbered():
    x, y = simulate(5, 12, 100, 25, 40, jitter=3)
    number = number_lines(x, y, azimuth=40.0, line_spacing=100.0)
    assert number.tolist() == np.repeat(np.arange(5), 12).tolist()
    with pytest.raises(WrongCall, match="above 0"):
        number_lines(x, y, azimuth=40.0, line_spacing=0.0)


def test_arrays_of_unlike_length():
    with pytest.raises(WrongCall, match="one pair per sample"):
        measure_grid([1.0, 2.0], [1.0])
