"""Conditional fields honour the samples; their mean and spread are those of kriging."""

import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.conditional_simulation import simulate_conditional
from geochem.stats.kriging import krige
from geochem.stats.variogram import Structure, Variogram


@pytest.mark.parametrize(
    "model",
    [
        Variogram("exponential", 0.1, 1.0, 200.0),
        Variogram("spherical", 0.1, 1.2, 150.0, extra=(Structure("exponential", 0.4, 400.0),),
                  azimuth=40.0, ratio=0.5),
    ],
)  # fmt: skip
@pytest.mark.parametrize("mean", [None, 0.2])
def test_samples_mean_and_variance(model, mean):
    rng = np.random.default_rng(2)
    xy, z = rng.uniform(0, 600, (50, 2)), rng.normal(0.2, 1, 50)
    where = np.vstack([xy[:5], rng.uniform(0, 600, (30, 2))])
    fields = simulate_conditional(
        xy, z, where, model, n_fields=1500, rng=4, mean=mean, n_waves=2048
    )
    np.testing.assert_allclose(fields[:, :5], np.tile(z[:5], (1500, 1)), atol=1e-8)
    found = krige(xy, z, where, model, kind="ordinary" if mean is None else "simple", mean=mean)
    np.testing.assert_allclose(fields.mean(axis=0), found.values, atol=0.11)
    ratio = fields[:, 5:].var(axis=0) / found.variance[5:]
    assert ratio.mean() == pytest.approx(1.0, abs=0.05)


def test_neighbouring_cells_vary_together_and_uncertain_samples_are_not_honoured():
    xy, z = np.array([[0.0, 0.0], [1000.0, 0.0]]), np.array([1.0, -1.0])
    where = np.array([[500.0, 0.0], [505.0, 0.0], [0.0, 0.0]])
    model = Variogram("gaussian", 0.0, 1.0, 200.0)
    fields = simulate_conditional(xy, z, where, model, n_fields=400, rng=1)
    assert np.corrcoef(fields[:, 0], fields[:, 1])[0, 1] > 0.99
    unsure = simulate_conditional(
        xy, z, where, model, n_fields=400, rng=1, error_variance=[0.5, 0.0]
    )
    assert unsure[:, 2].std() > 0.2
    again = simulate_conditional(xy, z, where, model, n_fields=400, rng=1)
    assert np.array_equal(fields, again)
    with pytest.raises(WrongCall, match="negative"):
        simulate_conditional(xy, z, where, model, n_fields=-1, rng=1)
