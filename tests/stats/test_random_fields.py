"""Simulated fields have the variance and covariance that was asked for."""

import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.random_fields import MODELS, simulate_fields
from geochem.stats.variogram import experimental_variogram, fit_variogram, model_value


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("nugget", [0.0, 0.4])
def test_covariance_is_recovered(model, nugget):
    line = np.column_stack([np.linspace(0, 2500, 26) + 5e5, np.full(26, 7e6)])
    n = 20_000
    fields = simulate_fields(
        line, nugget=nugget, sill=1.0, range_m=700.0, model=model, n_fields=n, rng=3
    )
    found = (fields.T @ fields / n)[0]
    wanted = 1.0 - model_value(model, line[:, 0] - line[0, 0], nugget, 1.0, 700.0)
    # Monte-Carlo error of a covariance is about 1 / sqrt(n), of the 1,024 waves about 0.02
    assert found == pytest.approx(wanted, abs=0.045)


def test_quantiles_are_gaussian():
    from scipy.stats import kstest

    fields = simulate_fields(
        [[0.0, 0.0], [300.0, 0.0]], nugget=0.1, sill=1.0, range_m=300.0, n_fields=4000, rng=1
    )
    assert kstest(fields[:, 0], "norm").pvalue > 0.001


def test_variogram_fit_finds_the_range_again():
    rng = np.random.default_rng(11)
    xy = rng.random((1500, 2)) * 10_000
    fields = simulate_fields(
        xy, nugget=0.5, sill=2.0, range_m=500.0, model="exponential", n_fields=8, rng=rng
    )
    fits = [
        fit_variogram(experimental_variogram(xy, f, cutoff=3000.0), "exponential") for f in fields
    ]
    assert np.median([f.range_m for f in fits]) == pytest.approx(500.0, rel=0.25)
    assert np.median([f.nugget / f.sill for f in fits]) == pytest.approx(0.25, abs=0.12)


def test_anisotropy_is_longer_along_the_azimuth():
    xy = [[0.0, 0.0], [300.0, 0.0], [0.0, 300.0]]
    fields = simulate_fields(
        xy, nugget=0.0, sill=1.0, range_m=600.0, n_fields=8000, rng=2, anisotropy=(90.0, 0.25)
    )
    east = np.corrcoef(fields[:, 0], fields[:, 1])[0, 1]
    north = np.corrcoef(fields[:, 0], fields[:, 2])[0, 1]
    assert east == pytest.approx(np.exp(-0.5), abs=0.05)
    assert north == pytest.approx(np.exp(-2.0), abs=0.05)


def test_same_seed_same_fields_and_bad_calls_are_refused():
    kwargs = {"nugget": 0.1, "sill": 1.0, "range_m": 50.0, "n_fields": 3}
    xy = np.random.default_rng(0).random((20, 2)) * 100
    assert np.array_equal(
        simulate_fields(xy, rng=4, **kwargs), simulate_fields(xy, rng=4, **kwargs)
    )
    with pytest.raises(WrongCall, match="Did you mean"):
        simulate_fields(xy, rng=4, model="exponentail", **kwargs)
    with pytest.raises(WrongCall, match="total"):
        simulate_fields(xy, rng=4, nugget=2.0, sill=1.0, range_m=5.0, n_fields=1)


def test_single_precision_gives_the_same_fields_far_from_the_origin():
    xy = np.random.default_rng(0).random((300, 2)) * 50_000 + (5e5, 7e6)
    kwargs = {"nugget": 0.3, "sill": 1.0, "range_m": 150.0, "n_fields": 5, "n_waves": 128}
    double = simulate_fields(xy, rng=4, **kwargs)
    single = simulate_fields(xy, rng=4, single=True, **kwargs)
    assert single.dtype == np.float32
    assert single == pytest.approx(double, abs=2e-5)
