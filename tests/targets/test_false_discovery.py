"""Rates of false discoveries and probabilities from known barren surveys."""

import numpy as np
import pytest

from geochem.targets.false_discovery import (
    CREDIT,
    CREDIT_LIMITS,
    association_chance,
    credited,
    passing_share,
    probabilities,
    q_values,
)
from geochem.targets.null import Barren


def barren(peaks, draws, strongest=None):
    strongest = np.zeros(draws) if strongest is None else np.asarray(strongest)
    return Barren(draws, strongest, np.sort(np.asarray(peaks, dtype=float)))


def test_q_value_is_expected_over_found():
    # 10 surveys; 2 barren outlines at 5 or more, 6 at 4 or more, 20 at 3 or more
    null = barren([5.0] * 2 + [4.0] * 4 + [3.0] * 14, 10)
    q = q_values([6.0, 4.5, 3.0], null)
    assert q == pytest.approx([0.0, (2 / 10) / 2, (20 / 10) / 3])


def test_conditions_that_barren_surveys_lack_thin_them():
    null = barren([5.0] * 2 + [4.0] * 4 + [3.0] * 14, 10)
    assert q_values([6.0, 4.5, 3.0], null, 0.5) == pytest.approx([0.0, 0.05, 1 / 3])
    every = np.array([3.1] * 30 + [5.0] * 3)
    assert passing_share(every, every[10:]) == pytest.approx(22 / 32)
    assert passing_share(np.array([5.0]), np.array([])) == 1.0


def test_q_value_never_falls_with_strength():
    null = barren([5.0] * 5, 10)
    # the second is just below the first and shares its expected number: both 0.5 / 2
    assert q_values([4.9, 4.8], null) == pytest.approx([0.25, 0.25])


def test_probability_is_the_share_of_barren_surveys_beaten():
    null = barren([], 100, np.arange(100) / 10)
    p = probabilities([5.0], [0.0], null, seed=1)
    assert p[0] == pytest.approx(0.50, abs=0.011)
    noisy = probabilities([9.0, 5.0], [2.0, 2.0], null, seed=1)
    assert 0 < noisy[1] < noisy[0] < 1


def test_credit_equals_a_slow_count_of_credited_barren_outlines():
    rng = np.random.default_rng(3)
    null = barren(rng.gumbel(2.8, 0.4, 400), 40)
    strength = np.concatenate([rng.uniform(3.0, 3.8, 12), [4.0, 4.0, 5.0]])
    margin = np.concatenate([rng.normal(-1.0, 1.5, 12), [-6.0, 1.0, np.nan]])
    q = q_values(strength, null, 0.5, margin)
    low, high = CREDIT_LIMITS
    weak = margin[:12] / strength[:12] ** 2
    mine = [
        s if np.isnan(m) else s + CREDIT * min(max(-m, low), high)
        for s, m in zip(strength, margin, strict=True)
    ]
    rate = []
    for own in mine:
        beyond = sum(
            peak + CREDIT * min(max(-r * peak**2, low), high) >= own
            for peak in null.peaks
            for r in weak
        )
        found = sum(other >= own for other in mine)
        rate.append(0.5 * beyond / (40 * 12) / found)
    slow = [min(1.0, *(r for r, m in zip(rate, mine, strict=True) if m <= own)) for own in mine]
    assert q == pytest.approx(slow)


def test_of_two_as_strong_the_better_explained_is_kept():
    rng = np.random.default_rng(3)
    null = barren(rng.gumbel(2.8, 0.4, 400), 40)
    strength = np.concatenate([rng.uniform(3.0, 3.8, 12), [4.2, 4.2]])
    margin = np.concatenate([rng.normal(-0.5, 0.5, 12), [-5.0, 1.0]])
    q = q_values(strength, null, 0.5, margin)
    plain = q_values(strength, null, 0.5)
    assert q[-2] < plain[-2] == plain[-1] < q[-1]


def test_where_all_are_explained_alike_credit_changes_little():
    rng = np.random.default_rng(5)
    null = barren(rng.gumbel(2.8, 0.4, 4000), 400)
    strength = np.concatenate([rng.uniform(3.0, 3.8, 30), [4.5, 5.0]])
    q = q_values(strength, null, 1.0, -0.1 * strength**2)
    assert q == pytest.approx(q_values(strength, null, 1.0), rel=0.05, abs=0.003)


def test_margins_count_less_than_they_say():
    assert credited([4.0], [0.0]).tolist() == [4.0]
    chance = association_chance([-3.0, 0.0, 3.0, np.nan])
    assert chance == pytest.approx([1 / (1 + np.exp(-2.1)), 0.5, 1 / (1 + np.exp(2.1)), 1.0])
