"""Normal scores go there and back, and means come out of them."""

import numpy as np
import pytest
from scipy.stats import lognorm, norm

from geochem.errors import WrongCall
from geochem.stats.normal_scores import normal_scores


def test_there_and_back_ties_and_weights():
    rng = np.random.default_rng(1)
    x = np.round(rng.lognormal(3, 0.8, 400), 1)
    found = normal_scores(x)
    scores = found.forward(x)
    np.testing.assert_allclose(found.backward(scores), x, rtol=1e-12)
    assert abs(scores.mean()) < 0.01
    assert scores.std() == pytest.approx(1.0, abs=0.02)
    # two samples at half weight count as one
    doubled = normal_scores(
        np.r_[x, x[:50]], weights=np.r_[np.full(50, 0.5), np.ones(350), np.full(50, 0.5)]
    )
    np.testing.assert_allclose(doubled.scores, found.scores, atol=1e-12)
    assert found.low >= 0
    assert found.backward([-9.0, 9.0]).tolist() == [found.low, found.high]


def test_expectation_and_quantile_of_a_lognormal():
    # scipy's lognormal as the reference: exp of a normal with mean 0.4 and variance 0.25
    probability = (np.arange(20000) + 0.5) / 20000
    found = normal_scores(lognorm(1.0).ppf(probability))
    assert found.mean(0.4, 0.25)[0] == pytest.approx(
        lognorm(0.5, scale=np.exp(0.4)).mean(), rel=2e-3
    )
    got = float(found.quantile(0.9, 0.4, 0.25))
    assert got == pytest.approx(lognorm(0.5, scale=np.exp(0.4)).ppf(0.9), rel=2e-3)
    assert float(found.quantile(0.5, 0.4, 9.9)) == pytest.approx(np.exp(0.4), rel=1e-3)


def test_scores_of_ten_values_are_plotting_positions():
    x = np.arange(10.0)
    np.testing.assert_allclose(normal_scores(x).scores, norm.ppf((np.arange(10) + 0.5) / 10))


def test_one_value_is_refused():
    with pytest.raises(WrongCall, match="two different"):
        normal_scores([3.0, 3.0, np.nan])
