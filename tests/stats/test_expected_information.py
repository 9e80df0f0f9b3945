import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal, norm

from geochem.errors import WrongCall
from geochem.stats.expected_information import Choice, Step, believe, expected_gain, within_budget


@pytest.mark.parametrize(("u", "rho"), [(0.0, 0.3), (1.2, 0.5), (-0.7, 0.9), (2.5, 0.1)])
def test_gain_is_the_bivariate_normal_integral(u, rho):
    # scipy's own integral: E[p'^2] is the chance that two fields that share the news both exceed
    both = multivariate_normal([0, 0], [[1, rho], [rho, 1]]).cdf([u, u])
    assert expected_gain(u, rho) == pytest.approx(both - norm.cdf(u) ** 2, abs=1e-7)


def test_gain_is_what_happens_on_average():
    # draw the news, update, compare p (1 - p) before and after
    rng = np.random.default_rng(1)
    mean, sd, share = 0.4, 1.3, 0.6
    news = mean + sd * np.sqrt(share) * rng.standard_normal(400_000)
    after = norm.cdf(news / (sd * np.sqrt(1 - share)))
    p = norm.cdf(mean / sd)
    assert expected_gain(mean / sd, share) == pytest.approx(
        p * (1 - p) - (after * (1 - after)).mean(), abs=5e-4
    )


def test_belief_is_simple_kriging():
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern

    rng = np.random.default_rng(2)
    known, values, places = (
        rng.uniform(0, 5, (20, 2)),
        rng.normal(size=20),
        rng.uniform(0, 5, (9, 2)),
    )
    kernel = ConstantKernel(2.0) * Matern(length_scale=1.5, nu=0.5)
    other = GaussianProcessRegressor(kernel, alpha=0.3, optimizer=None).fit(known, values)
    mean, covariance = other.predict(places, return_cov=True)
    got = believe(known, values, places, sill=2.0, reach=1.5, noise=0.3)
    assert got.mean == pytest.approx(mean)
    assert got.covariance == pytest.approx(covariance, abs=1e-8)
    with pytest.raises(WrongCall, match="above zero"):
        believe(known, values, places, sill=2.0, reach=1.5, noise=0.0)


def _case(seed, n=14):
    rng = np.random.default_rng(seed)
    known = rng.uniform(0, 6, (15, 2))
    values = 3 * np.exp(-((known - 3) ** 2).sum(axis=1) / 3) + 0.3 * rng.normal(size=15)
    cells = np.stack(np.meshgrid(np.arange(7.0), np.arange(7.0)), -1).reshape(-1, 2)
    points = rng.uniform(0, 6, (n, 2))
    lines = rng.integers(0, 4, n)
    belief = believe(known, values, np.vstack([cells, points]), sill=2.0, reach=1.5, noise=0.3)
    return belief, cells, points, lines, known, values


@given(st.integers(0, 10_000), st.integers(0, 12))
@settings(max_examples=25, deadline=None)
def test_two_on_each_line_and_within_the_number(seed, most):
    belief, cells, _, lines, _, _ = _case(seed)
    steps = Choice(belief, np.ones(len(cells)), 1.5, lines).go_on(most)
    taken = [j for s in steps for j in s.points]
    assert len(taken) <= most
    assert len(set(taken)) == len(taken)
    _, each = np.unique(lines[taken], return_counts=True)
    assert (each >= 2).all()
    assert all(s.gain > 0 for s in steps)


def _gain_of_set(case, taken):
    """Take a set at once: variances from a second kriging that knows those places."""
    belief, cells, points, _, known, values = case
    more = believe(
        np.vstack([known, points[taken]]), np.r_[values, np.zeros(len(taken))], cells, sill=2.0,
        reach=1.5, noise=0.3,
    )  # fmt: skip
    before = np.diag(belief.covariance)[: len(cells)]
    share = 1 - np.diag(more.covariance) / before
    return expected_gain((belief.mean[: len(cells)] - 1.5) / np.sqrt(before), share).sum()


def test_summed_gains_are_those_of_the_set():
    case = _case(5)
    steps = Choice(case[0], np.ones(len(case[1])), 1.5, case[3]).go_on(6)
    taken = [j for s in steps for j in s.points]
    assert sum(s.gain for s in steps) == pytest.approx(_gain_of_set(case, taken), rel=1e-6)


def test_better_than_points_at_random():
    better = 0
    for seed in range(15):
        case = _case(seed, 24)
        chosen = Choice(case[0], np.ones(len(case[1])), 1.5, np.arange(24) // 6).go_on(6)
        by_chance = np.random.default_rng(seed).choice(24, 6, replace=False)
        better += sum(s.gain for s in chosen) > _gain_of_set(case, by_chance)
    assert better >= 13


def test_a_budget_goes_to_the_larger_gain():
    one = [Step((0, 1), 2.0), Step((2,), 0.9)]
    two = [Step((0, 1), 0.2)]
    assert within_budget([one, two], 3) == [2, 0]
    assert within_budget([one, two], 9) == [2, 1]
    assert within_budget([one, two], 1) == [0, 0]
