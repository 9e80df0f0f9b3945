import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem.errors import WrongCall
from geochem.stats import robust, robust_columns

# Analytical Methods Committee 2001, AMC Technical Brief No. 6
AMC = [4.5, 4.9, 5.6, 4.2, 6.2, 5.2, 9.9]
# copper in wholemeal flour, AMC 1989, Analyst 114:1693 (R package MASS, `chem`)
CHEM = [
    2.20, 2.20, 2.40, 2.40, 2.50, 2.70, 2.80, 2.90, 3.03, 3.03, 3.10, 3.37, 3.40, 3.40, 3.40,
    3.50, 3.60, 3.70, 3.70, 3.70, 3.70, 3.77, 5.28, 28.95,
]  # fmt: skip
# nickel in SY-3 syenite (R package MASS, `abbey`)
ABBEY = [
    5.2, 6.5, 6.9, 7, 7, 7, 7.4, 8, 8, 8, 8, 8.5, 9, 9, 10, 11, 11, 12, 12, 13.7, 14, 14, 14, 16,
    17, 17, 18, 24, 28, 34, 125,
]  # fmt: skip


@pytest.mark.published
def test_median_and_mad():
    assert robust.median(AMC) == 5.2
    assert robust.mad(AMC, scaled=False) == pytest.approx(0.7)
    assert robust.mad(AMC) == pytest.approx(1.03782)
    assert robust.mad(CHEM) == pytest.approx(0.526323)  # MASS::huber documentation
    assert robust.mad(ABBEY) == pytest.approx(4.4478)  # R mad()


@pytest.mark.published
def test_qn():
    # R package robustbase 0.95, Qn with its corrections for small n
    assert robust.qn(AMC) == pytest.approx(1.334012, abs=1e-4)
    assert robust.qn(CHEM) == pytest.approx(0.6330338, abs=1e-6)
    x = np.random.default_rng(0).normal(5, 2, 9001)
    assert robust.qn(x) == pytest.approx(2, abs=0.06)
    assert np.isnan(robust.qn([1.0]))


@pytest.mark.parametrize("n", [19_999, 20_000, 50_001])
def test_median_of_many_is_exact(n):
    rng = np.random.default_rng(n)
    hard = np.repeat([1.0, 2.0, 9.0], [n // 2, 1, n - n // 2 - 1])
    for x in (rng.lognormal(3, 1, n), np.sort(rng.normal(size=n)), hard, np.zeros(n),
              rng.integers(0, 3, n).astype(float), np.tile([0.0, 1.0], n)[:n]):  # fmt: skip
        x = x.copy()
        x[::7] = np.nan
        middle, spread = robust_columns.median_mad_columns(np.column_stack([x, x]))
        assert middle[1] == np.nanmedian(x)
        assert spread[0] == robust.MAD_SCALE * np.nanmedian(np.abs(x - np.nanmedian(x)))


@pytest.mark.published
def test_huber_and_algorithm_a():
    # R MASS::hubers and MASS::huber
    assert robust.huber_proposal_2(AMC) == pytest.approx((5.386139, 1.144555), abs=1e-5)
    assert robust.huber_proposal_2(CHEM) == pytest.approx((3.205498, 0.673652), abs=1e-6)
    assert robust.huber_proposal_2(ABBEY) == pytest.approx((11.73151, 5.258487), abs=1e-5)
    assert robust.huber(AMC) == pytest.approx(5.359455, abs=1e-5)
    assert robust.huber(CHEM) == pytest.approx(3.206724, abs=1e-6)
    # ISO 13528 Algorithm A, own arithmetic of the check list
    assert robust.algorithm_a(AMC) == pytest.approx((5.386489, 1.145957), abs=1e-5)
    assert robust.algorithm_a(CHEM) == pytest.approx((3.205566, 0.674150), abs=1e-5)


@pytest.mark.published
@pytest.mark.parametrize(
    ("values", "expected"),
    # R robustbase::mc
    [
        (CHEM, -0.4502281),
        ([1, 2, 3, 4, 5], 0),
        ([1, 2, 3, 4, 10], 0),
        ([1, 2, 7, 9, 10], -1 / 3),
        ([0, 0.8, 1, 1.2, 1.3, 1.3, 1.4, 1.8, 2.4, 4.6], 0.125),
    ],
)
def test_medcouple(values, expected):
    assert robust.medcouple(values) == pytest.approx(expected, abs=1e-6)


def test_medcouple_agrees_with_statsmodels():
    from statsmodels.stats.stattools import medcouple

    x = np.random.default_rng(1).lognormal(size=401).round(1)
    assert robust.medcouple(x) == pytest.approx(float(medcouple(x)), abs=1e-9)


@given(
    st.lists(st.tuples(st.integers(-50, 50), st.integers(1, 4)), min_size=1, max_size=25),
    st.sampled_from([0.0, 0.1, 0.25, 0.5, 0.8, 1.0]),
)
@settings(max_examples=60, deadline=None)
def test_whole_number_weights_are_repetitions(pairs, q):
    x = np.array([p[0] for p in pairs], dtype=float)
    w = np.array([p[1] for p in pairs])
    n, total = len(x), int(w.sum())
    repeated = np.repeat(x, w)
    got = float(robust.weighted_quantile(x, q, w))
    # interpolation positions differ between n and the sum of weights except where all agree
    if np.ptp(w) == 0:
        assert got == pytest.approx(float(np.quantile(x, q)))
    assert np.quantile(repeated, max(0, q - 1 / n - 1 / total), method="lower") - 1e-9 <= got
    assert got <= np.quantile(repeated, min(1, q + 1 / n + 1 / total), method="higher") + 1e-9


def test_row_order_and_tiny_weights():
    rng = np.random.default_rng(3)
    x, w = rng.normal(size=500).round(2), rng.random(500)
    p = rng.permutation(500)
    assert robust.median(x, w) == robust.median(x[p], w[p])
    assert robust.mad(x, w) == robust.mad(x[p], w[p])
    assert robust.median([1, 2, 3, 99], [1, 1, 1, 0]) == 2


def test_quartiles_are_of_type_7():
    x = [8, 9, 10, 10, 11, 12, 12, 13, 14, 15, 16, 18, 20, 25, 40, 150]
    assert robust.quartiles(x) == (10.75, 13.5, 18.5)


def test_columns_and_groups_agree_with_the_plain_functions():
    rng = np.random.default_rng(0)
    x = rng.lognormal(size=(301, 3))
    x[5, 1] = np.nan
    g = rng.integers(0, 4, 301)
    middle, spread = robust_columns.median_mad_columns(x)
    by_middle, by_spread = robust_columns.median_mad_groups(x, g, 5)
    for j in range(3):
        assert middle[j] == robust.median(x[:, j])
        assert spread[j] == pytest.approx(robust.mad(x[:, j]))
        assert by_middle[2, j] == robust.median(x[g == 2, j])
        assert by_spread[2, j] == pytest.approx(robust.mad(x[g == 2, j]))
    assert np.isnan(by_middle[4]).all()


def test_refuses_what_makes_no_sense():
    with pytest.raises(WrongCall, match="one weight per value"):
        robust.median([1, 2], [1])
    with pytest.raises(WrongCall, match="negative or missing"):
        robust.median([1, 2], [1, -1])
    with pytest.raises(WrongCall, match="between 0 and 1"):
        robust.weighted_quantile([1], 1.5)
    assert np.isnan(robust.median([]))
