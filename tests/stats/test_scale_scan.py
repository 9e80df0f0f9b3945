"""The closed-form null of the scan against simulated fields, and what it finds."""

import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats import scale_scan
from geochem.stats.neighbours import scaled_coordinates
from geochem.stats.random_fields import simulate_fields
from geochem.stats.variogram import Variogram


def grid(lines=20, stations=50):
    i, j = np.divmod(np.arange(lines * stations), stations)
    xy = np.column_stack([i * 200.0, j * 50.0])
    return xy, scaled_coordinates(*xy.T, 0.0, 200.0, 50.0)


def scattered(seed=0):
    """Irregular points with dense infill and repeated positions."""
    rng = np.random.default_rng(seed)
    xy = np.vstack([rng.random((700, 2)) * 6000, 2500 + rng.random((250, 2)) * 600])
    xy = np.vstack([xy, xy[:15]])
    return xy, scaled_coordinates(*xy.T, np.nan, 224.0, 224.0)


@pytest.mark.parametrize("places", [grid, scattered])
@pytest.mark.parametrize(("nugget", "reach"), [(1.0, 1.0), (0.5, 300.0), (0.2, 500.0)])
def test_barren_autocorrelated_ground_gives_a_standard_normal(places, nugget, reach):
    xy, scaled = places()
    around = scale_scan.neighbourhoods(scaled, xy)
    model = Variogram("exponential", nugget, 1.0, reach)
    fields = simulate_fields(xy, nugget=nugget, sill=1.0, range_m=reach, n_fields=60, rng=5)
    z = np.array([scale_scan.coherence(f, around, model) for f in fields])
    assert z.mean() == pytest.approx(0.0, abs=0.2)
    assert z.std() == pytest.approx(1.0, abs=0.08)
    assert (z > 2).mean() == pytest.approx(0.0228, abs=0.012)
    # the analytic statistic on independent values would call many times as many hot
    assert (z > 3).mean() < 0.005


def test_filters_equal_generalised_least_squares_on_ring_sums():
    xy, scaled = scattered(2)
    around = scale_scan.neighbourhoods(scaled, xy)
    model = Variogram("spherical", 0.4, 1.0, 600.0)
    score = np.random.default_rng(1).normal(size=len(xy))
    z, _ = scale_scan.size_scores(score, around, model, (2.0,))
    for i in (0, 333, 800, 960):
        members = around.index[i][: around.size[-1][i]]
        d = np.hypot(*(scaled[members] - scaled[i]).T)
        ring = np.array([(d <= b + 1e-9) & (d > a + 1e-9) for a, b in
                         zip((-1.0, 1.5, 2.6), scale_scan.RINGS, strict=True)], dtype=float)  # fmt: skip
        h = np.hypot(*(xy[members, None] - xy[None, members]).transpose(2, 0, 1))
        # the nugget belongs to the sample, not to the place
        c = (1 - model.gamma(np.where(h == 0, 1e-9, h))) * (1 - np.eye(len(members)))
        c = ring @ (c + np.eye(len(members))) @ ring.T
        keep = ring.any(axis=1)
        c, ring = c[np.ix_(keep, keep)], ring[keep]
        w = np.linalg.solve(c, ring @ np.exp(-((d / 2.0) ** 2)))
        assert z[0, i] == pytest.approx(w @ (ring @ score[members]) / np.sqrt(w @ c @ w), abs=0.06)


@pytest.mark.parametrize(
    ("reach", "radius", "rise"), [(100.0, 1.5, 4.0), (100.0, 4.0, 2.0), (1500.0, 2.0, 2.5)]
)
def test_halos_of_several_sizes_are_found_on_rough_and_smooth_ground(reach, radius, rise):
    xy, scaled = grid()
    around = scale_scan.neighbourhoods(scaled, xy)
    model = Variogram("exponential", 0.4, 1.0, reach)
    noise = simulate_fields(xy, nugget=0.4, sill=1.0, range_m=reach, n_fields=10, rng=8)
    away = np.hypot(*(scaled - scaled[525]).T)
    found = []
    for field in noise:
        halo = rise * np.exp(-((away / radius) ** 2))
        z = scale_scan.coherence(np.clip(field + halo, -4, 4), around, model)
        found.append(away[int(np.nanargmax(z))] <= radius + 1.5)
    assert np.mean(found) >= 0.7


def test_a_single_spike_is_no_halo():
    xy, scaled = grid()
    around = scale_scan.neighbourhoods(scaled, xy)
    score = np.zeros(len(xy))
    score[525] = 4.0
    z = scale_scan.coherence(score, around, Variogram("exponential", 1.0, 1.0, 1.0))
    assert z.max() < 2.0


def test_lone_samples_and_missing_scores():
    xy, scaled = grid(6, 12)
    xy, scaled = np.vstack([xy, [[9e4, 9e4]]]), np.vstack([scaled, [[500.0, 500.0]]])
    around = scale_scan.neighbourhoods(scaled, xy)
    score = np.random.default_rng(0).normal(size=len(xy))
    score[::5] = np.nan
    z = scale_scan.coherence(score, around, Variogram("exponential", 0.5, 1.0, 100.0))
    assert np.isnan(z[-1])
    assert np.isfinite(z[:-1]).all()
    empty = scale_scan.neighbourhoods(np.empty((0, 2)), np.empty((0, 2)))
    assert scale_scan.coherence([], empty, Variogram("exponential", 0.5, 1.0, 9.0)).size == 0


def test_wrong_radii_are_refused():
    xy, scaled = grid(3, 3)
    with pytest.raises(WrongCall, match="ascending"):
        scale_scan.neighbourhoods(scaled, xy, (2.0, 1.0))
