"""Coherence: halos stand out, barren ground and spikes do not, other media get none."""

import numpy as np
import pytest

from geochem.anomalies import spatial
from geochem.model.layers import Spacing
from geochem.stats.random_fields import simulate_fields


def places(lines=20, stations=40, azimuth=35.0):
    i, j = np.divmod(np.arange(lines * stations), stations)
    across, along = i * 200.0, j * 50.0
    a = np.deg2rad(azimuth)
    x = 4e5 + across * np.cos(a) + along * np.sin(a)
    y = 6e6 - across * np.sin(a) + along * np.cos(a)
    return x, y


def ground_of(x, y, azimuth=35.0, medium="soil"):
    n = len(x)
    media = np.full(n, medium, dtype=object)
    grids = np.full(n, "G", dtype=object)
    spacing = Spacing(medium, "G", n, 50.0, 200.0, 50.0, azimuth, True, n * 0.01)
    return spatial.grounds(media, grids, x, y, [spacing])


def test_barren_ground_has_few_hot_spots_and_a_planted_halo_is_the_hottest():
    x, y = places()
    (ground,) = ground_of(x, y)
    fields = simulate_fields(
        np.column_stack([x, y]), nugget=0.5, sill=1.0, range_m=250.0, n_fields=12, rng=4
    )
    hot, best = [], []
    halo = 2.8 * np.exp(-((x - x[420]) ** 2 + (y - y[420]) ** 2) / 260.0**2)
    for field in fields:
        barren, _ = spatial.ground_coherence(field, ground)
        hot.append((barren > 3).mean())
        planted, _ = spatial.ground_coherence(field + halo, ground)
        best.append(halo[int(np.nanargmax(planted))] > 0.6)
    assert np.mean(hot) < 0.005
    assert np.mean(best) >= 0.75


def test_spikes_are_no_halos():
    x, y = places()
    (ground,) = ground_of(x, y)
    score = np.random.default_rng(2).normal(size=len(x))
    score[[100, 333, 612]] = 60.0
    z, _ = spatial.ground_coherence(score, ground)
    assert z[[100, 333, 612]].max() < 3.5


def test_a_regional_slope_is_taken_out():
    x, y = places()
    (ground,) = ground_of(x, y)
    noise = np.random.default_rng(3).normal(size=len(x))
    slope = 3.0 * (x - x.min()) / np.ptp(x)
    z, _ = spatial.ground_coherence(noise + slope, ground)
    assert (z > 3).mean() < 0.01
    left = spatial.remove_trend(noise + slope, ground.scaled)
    assert abs(np.polyfit(slope, left, 1)[0]) < 0.1


def test_only_soil_and_till_grids_are_judged():
    x, y = places(5, 10)
    assert ground_of(x, y, medium="stream sediment") == ()
    assert ground_of(x, y, medium="rock") == ()
    assert len(ground_of(x, y, medium="till")) == 1
    assert ground_of(x[:10], y[:10]) == ()


def test_an_irregular_grid_without_spacing_is_scaled_by_its_nearest_distance():
    rng = np.random.default_rng(5)
    x, y = rng.random(100) * 1000, rng.random(100) * 1000
    (ground,) = spatial.grounds(
        np.full(100, "soil", dtype=object), np.full(100, None, dtype=object), x, y, []
    )
    assert ground.scaled.max() == pytest.approx(
        max(np.ptp(x), np.ptp(y)) / 2 / np.median(_nearest(x, y)), rel=1e-6
    )


def _nearest(x, y):
    d = np.hypot(x[:, None] - x, y[:, None] - y)
    np.fill_diagonal(d, np.inf)
    return d.min(axis=1)
