"""Estimators, directions, nested and anisotropic fits against independent packages."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.random_fields import simulate_fields
from geochem.stats.variogram import (
    Structure,
    Variogram,
    directional_variograms,
    experimental_variogram,
    fit_anisotropy,
    fit_variogram,
)


@pytest.fixture(scope="module")
def gstat():
    table = {}
    with (Path(__file__).parent / "gstat" / "gstat_variograms.csv").open() as file:
        for row in csv.DictReader(file):
            numbers = [float(row[c]) for c in ("pairs", "distance", "gamma")]
            table.setdefault(row["case"], []).append(numbers)
    return {case: np.array(rows) for case, rows in table.items()}


@pytest.mark.published
@pytest.mark.parametrize(
    ("case", "options"),
    [
        ("classical", {}),
        ("classical", {"tier": "numba"}),
        ("robust", {"estimator": "cressie_hawkins"}),
        ("robust", {"estimator": "cressie_hawkins", "tier": "numba"}),
        ("towards 0", {"azimuth": 0.0}),
        ("towards 45", {"azimuth": 45.0}),
        ("towards 90", {"azimuth": 90.0}),
        ("towards 135", {"azimuth": 135.0}),
    ],
)
def test_bins_as_in_gstat(meuse, gstat, case, options):
    # R package gstat 2.1-0 on log(zinc) of meuse; gstat/make_table.R made the stored table
    if options.get("tier") == "numba":
        pytest.importorskip("numba")
    found = experimental_variogram(meuse[["x", "y"]], np.log(meuse["zinc"]), **options)
    assert found.pairs.tolist() == gstat[case][:, 0].tolist()
    np.testing.assert_allclose(found.distance, gstat[case][:, 1], rtol=1e-10)
    np.testing.assert_allclose(found.gamma, gstat[case][:, 2], rtol=1e-10)


@pytest.mark.published
def test_residuals_of_a_drift_as_in_gstat(meuse, gstat):
    # exponential fit to the residuals of log(zinc) ~ sqrt(dist): gstat 2.1-0 gives nugget
    # 0.05712231, partial sill 0.17641559, range 340.3201
    z, dist = np.log(meuse["zinc"].to_numpy()), np.sqrt(meuse["dist"].to_numpy())
    residual = z - np.polyval(np.polyfit(dist, z, 1), dist)
    found = experimental_variogram(meuse[["x", "y"]], residual)
    np.testing.assert_allclose(found.gamma, gstat["residual of dist"][:, 2], rtol=1e-9)
    fit = fit_variogram(found, "exponential")
    assert fit.nugget == pytest.approx(0.05712231, rel=1e-2)
    assert fit.partial_sill == pytest.approx(0.17641559, rel=1e-2)
    assert fit.range_m == pytest.approx(340.3201, rel=1e-2)


@pytest.mark.parametrize("estimator", ["matheron", "dowd"])
def test_bins_as_in_scikit_gstat(meuse, estimator):
    skgstat = pytest.importorskip("skgstat")
    xy, z = meuse[["x", "y"]].to_numpy(float), np.log(meuse["zinc"].to_numpy())
    theirs = skgstat.Variogram(
        xy, z, estimator=estimator, n_lags=15, maxlag=1497.3, bin_func="even", fit_method=None
    )
    found = experimental_variogram(xy, z, cutoff=1497.3, estimator=estimator)
    np.testing.assert_allclose(found.edges[1:], theirs.bins, rtol=1e-12)
    np.testing.assert_allclose(found.gamma, theirs.experimental, rtol=1e-10)


def exact(model, n_bins=20, reach=1000.0):
    h = (np.arange(n_bins) + 0.5) * reach / n_bins
    bins = experimental_variogram(np.random.default_rng(1).random((50, 2)) * 2000, np.zeros(50))
    return type(bins)(h, model.gamma(h), np.full(n_bins, 500), bins.edges, "matheron", 500, 1.0)


def test_nested_structures_and_bounds_are_met():
    truth = Variogram("spherical", 0.2, 1.5, 90.0, extra=(Structure("spherical", 0.8, 700.0),))
    fit = fit_variogram(exact(truth), "spherical", structures=2, weighting="n")
    assert [s.range_m for s in fit.structures] == pytest.approx([90.0, 700.0], rel=0.03)
    assert [s.partial_sill for s in fit.structures] == pytest.approx([0.5, 0.8], rel=0.05)
    assert fit.sill == pytest.approx(1.5, rel=0.01)
    bounded = fit_variogram(
        exact(truth), "spherical", nugget=(0.3, 0.35), max_range=300.0, max_sill=0.9
    )
    assert 0.3 <= bounded.nugget <= 0.35
    assert bounded.range_m <= 300.0 + 1e-9
    assert bounded.partial_sill <= 0.9 + 1e-12
    assert fit_variogram(exact(truth), nugget=0.1).nugget == 0.1
    with pytest.raises(WrongCall, match="lower <= upper"):
        fit_variogram(exact(truth), nugget=(0.4, 0.1))


def test_bounds_that_do_not_bind_change_nothing():
    truth = Variogram("exponential", 0.2, 1.0, 150.0)
    free = fit_variogram(exact(truth), "exponential")
    loose = fit_variogram(exact(truth), "exponential", nugget=(0.0, 5.0), max_sill=9.0)
    assert [loose.nugget, loose.sill, loose.range_m] == pytest.approx(
        [free.nugget, free.sill, free.range_m], rel=1e-4
    )


def test_anisotropy_is_found_where_it_is_and_not_where_it_is_not():
    rng = np.random.default_rng(5)
    xy = rng.random((700, 2)) * 6000 + np.array([6e5, 7.4e6])
    kwargs = {"nugget": 0.2, "sill": 1.0, "range_m": 900.0, "model": "spherical", "rng": 4}
    long = simulate_fields(xy, n_fields=5, anisotropy=(60.0, 0.35), **kwargs)
    fits = [
        fit_anisotropy(directional_variograms(xy, z, cutoff=1800.0), "spherical") for z in long
    ]
    believed = [f for f in fits if not f.isotropic]
    assert len(believed) >= 4
    assert np.median([f.azimuth for f in believed]) == pytest.approx(60.0, abs=12.0)
    assert np.median([f.ratio for f in believed]) == pytest.approx(0.35, abs=0.15)
    round_ = simulate_fields(xy, n_fields=8, **kwargs)
    fits = [
        fit_anisotropy(directional_variograms(xy, z, cutoff=1800.0), "spherical") for z in round_
    ]
    assert sum(not f.isotropic for f in fits) <= 2


def test_every_pair_has_one_direction_and_a_shift_changes_nothing():
    rng = np.random.default_rng(2)
    xy, z = rng.integers(0, 20, (150, 2)) * 25.0, rng.normal(size=150)
    whole = experimental_variogram(xy, z, cutoff=200.0, n_bins=8)
    parts = directional_variograms(xy, z, cutoff=200.0, n_bins=8, n_directions=4)
    assert sum(p.pairs.sum() for p in parts) == whole.pairs.sum()
    moved = experimental_variogram(xy + np.array([6e5, 7.4e6]), z, cutoff=200.0, n_bins=8)
    np.testing.assert_allclose(moved.gamma, whole.gamma, rtol=1e-12)
    narrow = experimental_variogram(xy, z, cutoff=200.0, azimuth=0.0, bandwidth=1.0)
    assert narrow.pairs.sum() < parts[0].pairs.sum()
