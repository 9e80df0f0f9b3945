"""Shifts of groups: against ordinary least squares, recovery, no harm where there is nothing."""

import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.levelling import group_shifts

#: twice the log-likelihood ratio that chance exceeds once in a hundred (half of chi-square, 1)
BEYOND_CHANCE = 5.41


def readings(shifts, n_blocks, noise, rng, *, wild=0.0):
    groups = len(shifts)
    block = np.repeat(np.arange(n_blocks), groups)
    group = np.tile(np.arange(groups), n_blocks)
    error = noise * rng.standard_normal(block.size)
    error[rng.random(block.size) < wild] += 10 * noise
    return rng.normal(0, 1, n_blocks)[block] + shifts[group] + error, block, group


@pytest.mark.published
def test_differences_are_those_of_least_squares():
    # reference: ordinary least squares with block and group effects, statsmodels
    from statsmodels.api import OLS

    rng = np.random.default_rng(3)
    y, block, group = readings(np.array([0.0, 0.1, -0.2, 0.05]), 60, 0.02, rng)
    keep = rng.random(y.size) < 0.7
    y, block, group = y[keep], block[keep], group[keep]
    design = np.hstack([np.eye(60)[block], np.eye(4)[group][:, 1:]])
    reference = OLS(y, design).fit()
    expected = np.concatenate([[0.0], reference.params[60:]])
    found = group_shifts(y, block, group, n_groups=4)
    # robust weights differ from one for a few large residuals only
    np.testing.assert_allclose(found.raw - found.raw[0], expected, atol=0.25 * 0.02 / np.sqrt(40))
    np.testing.assert_allclose(found.shift, found.raw, atol=1e-3)


def test_groups_without_a_link_are_told_apart():
    y = np.array([1.0, 1.1, 2.0, 2.1, 3.0, 3.1, 1.0, 1.1, 5.0, 6.0, 7.0, 9.0])
    block = [0, 0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6]
    group = [0, 1, 0, 1, 0, 1, 0, 1, 2, 3, 4, 5]
    found = group_shifts(y, block, group, n_groups=7)
    assert found.tied.tolist() == [0, 0, -1, 1, 1, -1, -1]
    # one common block: the difference is known, its error is not
    assert np.isnan(found.shift[3:5]).all()
    np.testing.assert_allclose(np.diff(found.shift[:2]), 0.1, atol=1e-6)


def test_the_weighted_mean_stays_where_it_was():
    rng = np.random.default_rng(5)
    weights = np.array([100.0, 10.0, 1.0])
    y, block, group = readings(np.array([0.0, 0.2, -0.4]), 20, 0.01, rng)
    found = group_shifts(y, block, group, n_groups=3, weights=weights)
    assert abs(weights @ found.shift) < 1e-9
    assert abs(found.shift[0]) < 0.02


def test_order_of_rows_changes_nothing_and_outliers_little():
    rng = np.random.default_rng(8)
    truth = np.array([-0.1, 0.0, 0.1])
    y, block, group = readings(truth, 40, 0.01, rng, wild=0.05)
    found = group_shifts(y, block, group, n_groups=3)
    turned = rng.permutation(y.size)
    again = group_shifts(y[turned], block[turned], group[turned], n_groups=3)
    np.testing.assert_array_equal(found.shift, again.shift)
    np.testing.assert_allclose(found.shift, truth, atol=0.01)


@pytest.mark.parametrize(("groups", "blocks"), [(2, 12), (25, 3)])
def test_recovery_and_no_harm(groups, blocks):
    inside, false, better = [], [], []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        nothing = readings(np.zeros(groups), blocks, 0.02, rng)
        false.append(group_shifts(*nothing, n_groups=groups).ratio[0] > BEYOND_CHANCE)
        truth = rng.normal(0, 0.06, groups)
        truth -= truth.mean()
        found = group_shifts(*readings(truth, blocks, 0.02, rng), n_groups=groups)
        inside.append(np.mean(np.abs(found.raw - truth) <= 1.645 * found.raw_error))
        if found.ratio[0] > BEYOND_CHANCE:
            better.append(np.mean((found.shift - truth) ** 2) / np.mean(truth**2))
    assert 0.82 <= np.mean(inside) <= 0.97
    assert np.mean(false) <= 0.07
    assert np.mean(better) < 0.35


def test_wrong_calls():
    with pytest.raises(WrongCall, match="one shape"):
        group_shifts([1.0], [0, 1], [0], n_groups=1)
    with pytest.raises(WrongCall, match="missing"):
        group_shifts([np.nan], [0], [0], n_groups=1)
    with pytest.raises(WrongCall, match="numbered"):
        group_shifts([1.0], [0], [3], n_groups=2)
