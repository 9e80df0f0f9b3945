"""Benjamini-Hochberg on the example of the paper, and the rate it promises."""

import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.false_discovery import adjusted_p, rejected

P = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262,
     0.5719, 0.6528, 0.7590, 1.0]  # fmt: skip


@pytest.mark.published
def test_example_of_benjamini_and_hochberg():
    # Benjamini and Hochberg 1995, J. R. Statist. Soc. B 57:289: the first four are rejected at
    # 0.05; the adjusted values were checked with statsmodels
    assert rejected(P, 0.05).sum() == 4
    expected = [0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.06385714, 0.06385714, 0.0645, 0.0765,
                0.486, 0.58118182, 0.714875, 0.75323077, 0.81321429, 1.0]  # fmt: skip
    assert adjusted_p(P) == pytest.approx(expected, abs=1e-8)
    # the more cautious method rejects three (computed, statsmodels agrees)
    assert rejected(P, 0.05, "by").sum() == 3


def test_missing_tests_do_not_count():
    with_gap = [*P[:7], float("nan"), *P[7:]]
    out = adjusted_p(with_gap)
    assert np.isnan(out[7])
    assert np.delete(out, 7) == pytest.approx(adjusted_p(P))
    assert not rejected(with_gap)[7]
    assert np.isnan(adjusted_p([float("nan")])).all()


def test_false_discoveries_stay_under_the_rate():
    from scipy.stats import norm

    rng = np.random.default_rng(1)
    shares = []
    for _ in range(200):
        z = rng.normal(size=300)
        z[:30] += 3.0
        hit = rejected(norm.sf(z), 0.10)
        shares.append(hit[30:].sum() / max(hit.sum(), 1))
    assert np.mean(shares) < 0.11


def test_outside_zero_to_one_is_refused():
    with pytest.raises(WrongCall, match="between 0 and 1"):
        adjusted_p([0.5, 1.2])
