import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats import censored, censored_normal

# summer dissolved iron, Hughes & Millard 1988, as in Helsel 2005 and the R package NADA
IRON = [20, 10, 10, 10, 10, 7, 3, 3, 3]
BELOW = [False, True, True, True, True, False, False, True, True]


@pytest.mark.published
def test_kaplan_meier_of_iron():
    # R NADA censtats: 3.000000, 5.777778, 6.776867
    got = censored.kaplan_meier(IRON, BELOW)
    assert (got.median, got.mean) == pytest.approx((3.0, 5.777778), abs=1e-6)
    assert got.sd_from_error == pytest.approx(6.776867, abs=1e-6)
    assert got.sd == pytest.approx(5.286834, abs=1e-6)  # moments of the distribution
    assert got.cdf.tolist() == pytest.approx([2 / 3, 8 / 9, 1])


@pytest.mark.published
def test_order_statistics_of_iron():
    # R NADA censtats: 2.763843, 4.667484, 6.138230; imputed values after Helsel & Cohn 1988
    got = censored.order_statistics(IRON, BELOW)
    assert (got.median, got.mean, got.sd) == pytest.approx(
        (2.763843, 4.667484, 6.138230), abs=1e-6
    )
    assert got.values[[0, 2]].tolist() == pytest.approx([0.605649, 1.201975], abs=1e-6)
    assert got.cdf[[0, 2]].tolist() == pytest.approx([0.148148, 0.296296], abs=1e-6)


@pytest.mark.published
def test_likelihood_of_iron():
    # R NADA censtats: 3.131899, 5.211599, 6.931668
    got = censored_normal.lognormal_likelihood(IRON, BELOW)
    assert (got.median, got.mean, got.sd) == pytest.approx(
        (3.131899, 5.211599, 6.931668), abs=1e-5
    )
    fit = censored_normal.fit_censored_normal(np.log(IRON), BELOW)
    assert (fit.mean, fit.sd) == pytest.approx((1.14163950, 1.00920489), abs=1e-7)


def test_uncensored_values_give_the_plain_estimates():
    x = np.random.default_rng(0).normal(3, 2, 200)
    fit = censored_normal.fit_censored_normal(x)
    assert fit.mean == pytest.approx(x.mean())
    assert fit.sd == pytest.approx(x.std())
    assert np.sqrt(fit.covariance[0, 0]) == pytest.approx(x.std() / np.sqrt(200))
    steps, cdf, mass = censored.kaplan_meier_steps(x)
    assert mass.sum() == pytest.approx(1)
    assert cdf[99] == pytest.approx(0.5)
    assert steps[0] == x.min()


def test_fit_agrees_with_an_obvious_optimiser_on_both_sides():
    from scipy.optimize import minimize
    from scipy.stats import norm

    rng = np.random.default_rng(4)
    x = rng.normal(1, 0.5, 300)
    low, high = x < 0.8, x > 1.9
    x = np.clip(x, 0.8, 1.9)
    w = rng.uniform(0.5, 2, 300)

    def loss(t):
        m, s = t[0], np.exp(t[1])
        terms = np.where(
            low, norm.logcdf(x, m, s), np.where(high, norm.logsf(x, m, s), norm.logpdf(x, m, s))
        )
        return -(w * terms).sum()

    slow = minimize(
        loss, [0.5, 0.0], method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10}
    )
    fit = censored_normal.fit_censored_normal(x, low, high, w)
    assert (fit.mean, fit.sd) == pytest.approx((slow.x[0], np.exp(slow.x[1])), abs=1e-5)


def test_recovers_a_population_three_quarters_hidden():
    rng = np.random.default_rng(1)
    x = rng.normal(0, 1, 20000)
    fit = censored_normal.fit_censored_normal(np.maximum(x, 0.674), x < 0.674)
    error = np.sqrt(np.diag(fit.covariance))
    assert abs(fit.mean) < 4 * error[0] < 0.2
    assert abs(fit.sd - 1) < 4 * error[1]


def test_what_cannot_be_said():
    assert censored_normal.fit_censored_normal([1, 1, 2, 3], [0, 0, 0, 1]) is None
    assert np.isnan(censored.kaplan_meier([5, 5], [True, True]).mean)
    assert np.isnan(censored.kaplan_meier([5, 5, 5, 9], [True, True, True, False]).median)
    with pytest.raises(WrongCall, match="one per value"):
        censored.kaplan_meier([1, 2], [True])


@pytest.mark.published
def test_mean_below_a_limit():
    # Palarea-Albaladejo & Martin-Fernandez 2013: mu = 1, sigma = 0.5, limit e
    assert np.exp(censored_normal.mean_below(1.0, 0.5, 1.0)) == pytest.approx(1.82404711, abs=1e-8)
    far = censored_normal.mean_below(100.0, 1.0, 0.0)
    assert -0.1 < far < 0
