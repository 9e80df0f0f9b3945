"""A line through pairs below detection: recovered, and better than leaving them out."""

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import multivariate_normal, norm

from geochem.errors import WrongCall
from geochem.stats.censored_line import _cost, censored_line
from geochem.stats.regression import york


def ground(seed, *, n=250, share=0.7, slope=1.0, rich=0.0, share_y=0.0):
    rng = np.random.default_rng(seed)
    true = rng.normal(1.0, 0.35, n) + 0.8 * (rng.random(n) < rich)
    x = (true - 0.05) / slope + rng.normal(0, 0.1, n)
    y = true + rng.normal(0, 0.05, n)
    low_x, low_y = np.quantile(x, share), np.quantile(y, share_y) if share_y else -np.inf
    return (
        np.maximum(x, low_x), np.maximum(y, low_y), np.full(n, 0.1), np.full(n, 0.05),
        x < low_x, y < low_y,
    )  # fmt: skip


@pytest.mark.parametrize(
    "given", [{}, {"rich": 0.08}, {"slope": 1.3}, {"share": 0.4, "share_y": 0.3}]
)
def test_slopes_come_back_where_leaving_out_bends_them(given):
    slopes, plain, held = [], [], 0
    true = given.get("slope", 1.0)
    for seed in range(12):
        x, y, sx, sy, under, over = ground(seed, **given)
        line = censored_line(x, y, sx, sy, under, over)
        slopes.append(line.slope)
        held += abs(line.slope - true) < 1.645 * line.slope_se
        k = ~under & ~over
        plain.append(york(x[k], y[k], sx[k], sy[k]).slope)
    assert np.mean(slopes) == pytest.approx(true, rel=0.03)
    assert np.mean(plain) > 1.05 * true
    assert held >= 8  # of 12; 90 % intervals


def test_the_likelihood_is_that_of_two_normals():
    # slow twin: bivariate normal densities and distribution functions of scipy, pair by pair
    x, y, sx, sy, under, over = ground(3, n=40, share=0.5, share_y=0.4)
    assert (under & over).any()
    assert (under & ~over).any()
    theta = np.array([0.1, 0.02, 0.9, np.log(0.4), np.log(0.03)])
    b, true, extra = np.exp(0.1), 0.4**2, 0.03**2
    total = 0.0
    for i in range(40):
        mean = np.array([0.9, 0.02 + b * 0.9])
        cov = np.array(
            [[true + sx[i] ** 2 + extra, b * true], [b * true, b**2 * true + sy[i] ** 2 + extra]]
        )
        pair = np.array([x[i], y[i]])
        if under[i] and over[i]:
            total -= np.log(multivariate_normal(mean, cov, abseps=1e-9, releps=1e-9).cdf(pair))
        elif not under[i] and not over[i]:
            # constants are left out
            total -= multivariate_normal(mean, cov).logpdf(pair) + np.log(2 * np.pi)
        else:
            h, m = (0, 1) if under[i] else (1, 0)
            total -= norm.logpdf(pair[m], mean[m], np.sqrt(cov[m, m])) + 0.5 * np.log(2 * np.pi)
            given = mean[h] + cov[h, m] / cov[m, m] * (pair[m] - mean[m])
            left = np.sqrt(cov[h, h] - cov[h, m] ** 2 / cov[m, m])
            total -= norm.logcdf((pair[h] - given) / left)
    assert _cost(theta, (x, y, sx, sy, under, over)) == pytest.approx(total, rel=1e-5)


def test_without_limits_it_is_the_structural_line():
    # known further error: Fuller 1987, section 1.3, by the closed form of both variances
    x, y, sx, sy, under, over = ground(5, n=4000, share=0.0)
    line = censored_line(x, y, sx, sy, under, over)
    cov = np.cov(x, y)
    ratio = 0.05**2 / 0.1**2
    gap = cov[1, 1] - ratio * cov[0, 0]
    deming = (gap + np.sqrt(gap**2 + 4 * ratio * cov[0, 1] ** 2)) / (2 * cov[0, 1])
    assert line.slope == pytest.approx(deming, abs=0.01)
    assert line.n_below == 0
    best = minimize(
        lambda t: _cost(t, (x, y, sx, sy, under, over)),
        [np.log(line.slope), line.at(0.0), x.mean(), np.log(0.35), -5.0], method="Nelder-Mead",
        options={"maxiter": 3000, "xatol": 1e-6, "fatol": 1e-8},
    )  # fmt: skip
    assert np.exp(best.x[0]) == pytest.approx(line.slope, rel=1e-3)


def test_too_little_is_refused():
    x, y, sx, sy, under, over = ground(1, n=20, share=0.8)
    assert censored_line(x, y, sx, sy, under, over) is None
    with pytest.raises(WrongCall, match="above zero"):
        censored_line(x, y, 0 * sx, sy, under, over)
