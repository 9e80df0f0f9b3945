import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem.errors import WrongCall
from geochem.stats.precision import (
    MEDIAN_DIFFERENCE_TO_SD,
    half_absolute_relative_difference,
    horwitz_rsd_pct,
    method_detection_limit,
    pair_cv,
    precision_chart,
    rms_cv,
    rms_cv_interval,
    sign_test,
    thompson_howarth,
)

A, B = [10, 20, 50, 100, 200], [12, 19, 55, 90, 210]


@pytest.mark.published
def test_rms_cv_and_hard():
    # Formula: Stanley, Lawie 2007, Exploration and Mining Geology 16:265-274; numbers: arithmetic.
    assert rms_cv(A, B) == pytest.approx(7.630063, abs=1e-6)
    assert pair_cv(A, B) == pytest.approx(
        [12.856487, 3.626189, 6.734350, 7.443229, 3.449301], abs=1e-5
    )
    assert pair_cv(A, B).mean() == pytest.approx(6.821911, abs=1e-6)
    assert half_absolute_relative_difference(A, B) == pytest.approx(
        [9.090909, 2.564103, 4.761905, 5.263158, 2.439024], abs=1e-6
    )


@pytest.mark.published
def test_thompson_howarth_recovers_the_line():
    # Factor 1.04836: Stanley, Lawie 2008; the design gives s = 1.0 + 0.05 c exactly.
    assert pytest.approx(1.04836, abs=5e-6) == MEDIAN_DIFFERENCE_TO_SD
    mean = np.arange(10.0, 551.0, 10.0)
    gap = (1.0 + 0.05 * mean) / MEDIAN_DIFFERENCE_TO_SD
    found = thompson_howarth(mean - gap / 2, mean + gap / 2)
    assert found.s0 == pytest.approx(1.0, abs=1e-9)
    assert found.k == pytest.approx(0.05, abs=1e-9)
    assert found.means == pytest.approx((60, 170, 280, 390, 500))
    assert found.practical_limit == pytest.approx(2.2222, abs=1e-4)
    assert found.precision_pct(10) == pytest.approx(30)
    assert found.precision_pct(100) == pytest.approx(12)


def test_thompson_howarth_needs_fifty():
    with pytest.raises(WrongCall, match="Use precision_chart"):
        thompson_howarth(A, B)


@pytest.mark.published
def test_horwitz():
    # Horwitz, Kamps, Boyer 1980; the table of RSD by mass fraction.
    c = [1, 0.1, 0.01, 1e-3, 1e-4, 1e-6, 1e-9]
    assert horwitz_rsd_pct(c) == pytest.approx([2, 2.8284, 4, 5.6569, 8, 16, 45.2548], abs=1e-4)


@pytest.mark.published
def test_method_detection_limit():
    # 40 CFR Part 136 Appendix B: t(6, 0.99) = 3.143; 3.142668 unrounded.
    low = [2.1, 1.8, 2.4, 2.0, 2.2, 1.9, 2.3]
    assert method_detection_limit(low) == pytest.approx(0.678894, abs=1e-6)


@pytest.mark.published
def test_sign_test_is_the_exact_binomial():
    from scipy.stats import binomtest

    for up, down in [(9, 1), (5, 5), (0, 6), (13, 4)]:
        assert sign_test(up, down) == pytest.approx(binomtest(up, up + down).pvalue)
    assert sign_test(0, 0) == 1.0


def test_rms_cv_is_unbiased_and_its_interval_covers():
    rng = np.random.default_rng(1)
    hits, total = 0, []
    for _ in range(500):
        truth = 10 ** rng.normal(2, 0.4, 25)
        a, b = (truth * (1 + 0.08 * rng.standard_normal(25)) for _ in range(2))
        cv = rms_cv(a, b)
        low, high = rms_cv_interval(cv, 25)
        hits += low <= 8 <= high
        total.append(cv**2)
    assert np.sqrt(np.mean(total)) == pytest.approx(8, rel=0.02)
    assert 0.87 <= hits / 500 <= 0.93


@pytest.mark.published
def test_lines_of_the_precision_chart():
    # Thompson, Howarth 1978, Journal of Geochemical Exploration 9:23-30: for 10 % precision the 90 %
    # line is 0.116309 c and the 99 % line 0.182139 c; arithmetic of the normal distribution.
    c = np.full(20, 100.0)
    for slope, at in ((0.116309, 0), (0.182139, 1)):
        for factor, over in ((0.999, 0.0), (1.001, 1.0)):
            gap = slope * factor * c
            assert precision_chart(c - gap / 2, c + gap / 2, required_pct=10)[at] == over


def test_precision_chart_tells_good_from_bad():
    rng = np.random.default_rng(2)
    truth = rng.uniform(50, 500, 40)
    good = [truth * (1 + 0.05 * rng.standard_normal(40)) for _ in range(2)]
    bad = [truth * (1 + 0.15 * rng.standard_normal(40)) for _ in range(2)]
    assert precision_chart(*good, required_pct=10)[2]
    assert not precision_chart(*bad, required_pct=10)[2]


@settings(max_examples=30, deadline=None)
@given(
    pairs=st.lists(st.tuples(st.floats(0.1, 1e5), st.floats(0.1, 1e5)), min_size=1, max_size=20),
    scale=st.floats(0.01, 100),
)
def test_rms_cv_knows_no_unit_and_no_order(pairs, scale):
    a, b = np.array(pairs).T
    assert rms_cv(b * scale, a * scale) == pytest.approx(rms_cv(a, b), rel=1e-9)
