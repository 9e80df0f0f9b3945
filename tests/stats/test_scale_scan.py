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
    assert z.mean() == pytest.approx(0.0, abs=0.12)
    assert z.std() == pytest.approx(1.0, abs=0.06)
    assert (z > 2).mean() == pytest.approx(0.0228, abs=0.012)
    # the analytic statistic on independent values would call many times as many hot
    assert (z > 3).mean() < 0.005


def test_variance_of_one_sum_equals_the_double_sum_over_pairs():
    xy, scaled = scattered(2)
    around = scale_scan.neighbourhoods(scaled, xy, (1.5,))
    model = Variogram("spherical", 0.3, 1.0, 600.0)
    score = np.random.default_rng(1).normal(size=len(xy))
    z, _ = scale_scan.scale_scores(score, around, model)
    for i in (0, 333, 800, 960):
        members = around.index[i][: around.size[0][i]]
        h = np.hypot(*(xy[members, None] - xy[None, members]).transpose(2, 0, 1))
        # the nugget belongs to the sample, not to the place
        c = (1 - model.gamma(np.where(h == 0, 1e-9, h))) * (1 - np.eye(len(members)))
        expected = score[members].sum() / np.sqrt(c.sum() + len(members))
        assert z[0, i] == pytest.approx(expected, rel=0.03)


def test_narrow_and_broad_halos_are_both_found():
    xy, scaled = grid()
    around = scale_scan.neighbourhoods(scaled, xy)
    model = Variogram("exponential", 0.5, 1.0, 150.0)
    noise = simulate_fields(xy, nugget=0.5, sill=1.0, range_m=150.0, n_fields=1, rng=8)[0]
    for radius, rise in ((1.2, 3.0), (4.0, 1.5)):
        near = np.hypot(*(scaled - scaled[525]).T) <= radius
        z = scale_scan.coherence(np.clip(noise + rise * near, -4, 4), around, model)
        assert near[int(np.nanargmax(z))]
        assert z[525] > 4.0


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
