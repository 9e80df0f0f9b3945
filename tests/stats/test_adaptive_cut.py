import numpy as np
import pytest
from scipy.stats import chi2

from geochem.stats.adaptive_cut import adaptive_cut, critical_excess


@pytest.mark.parametrize(("n", "p"), [(200, 3), (1000, 8), (500, 20)])
def test_clean_data_are_seldom_flagged(n, p):
    # one clean data set in a hundred, by the reflection principle; here by simulation
    rng = np.random.default_rng(n + p)
    flagged = [np.isfinite(adaptive_cut(rng.chisquare(p, n), p)) for _ in range(400)]
    assert np.mean(flagged) <= 0.03
    assert critical_excess(4 * n) == pytest.approx(critical_excess(n) / 2)


@pytest.mark.parametrize("share", [0.05, 0.15, 0.3])
def test_what_is_added_to_the_tail_is_cut_off(share):
    rng = np.random.default_rng(1)
    n, p = 2000, 6
    far = int(share * n)
    d = np.r_[rng.chisquare(p, n - far), 60 + rng.chisquare(p, far)]
    flagged = d > adaptive_cut(d, p)
    assert flagged[n - far :].mean() > 0.9
    assert flagged[: n - far].mean() < 0.01


def test_never_below_the_fixed_cut():
    d = np.full(100, 50.0)
    assert adaptive_cut(d, 3) >= chi2.ppf(0.975, 3)
    assert adaptive_cut(np.zeros(50), 3) == np.inf
