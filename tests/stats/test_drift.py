import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.drift import (
    bracket,
    change_point,
    grouped_lines,
    left_out_brackets,
    left_out_line,
)


@pytest.mark.published
def test_the_nile_changes_in_1898():
    # Cobb 1978, Biometrika 65:243-251: the flow drops after 1898. Data: statsmodels.
    nile = pytest.importorskip("statsmodels.datasets.nile").load_pandas().data
    first, shift, p = change_point(nile["volume"].to_numpy())
    assert nile["year"].iloc[first] == 1899
    assert -300 < shift < -200
    assert p < 1e-6


def test_a_change_point_rings_no_more_than_its_p_says():
    rng = np.random.default_rng(4)
    rang = sum(change_point(rng.standard_normal(40))[2] < 0.05 for _ in range(800))
    assert rang / 800 < 0.06


def test_grouped_lines_equal_one_regression_per_group():
    # Independent package: statsmodels WLS with a slope and a level per group has pooled scatter.
    sm = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(5)
    group = np.repeat([0, 1, 2], [4, 6, 9])
    time, weight = rng.uniform(0, 9, 19), rng.uniform(0.5, 2, 19)
    value = 0.1 * group * time + rng.standard_normal(19)
    lines = grouped_lines(group, time, value, weight, [0, 0, 0])
    design = np.zeros((19, 6))
    design[np.arange(19), group] = 1
    design[np.arange(19), 3 + group] = time - lines.middle[group]
    fit = sm.WLS(value, design, weights=weight).fit()
    np.testing.assert_allclose(lines.slope, fit.params[3:])
    np.testing.assert_allclose(lines.level, fit.params[:3])
    np.testing.assert_allclose(lines.slope_se, fit.bse[3:])
    np.testing.assert_allclose(lines.p_slope(), fit.pvalues[3:])
    assert lines.freedom.tolist() == [13, 13, 13]


def test_one_time_has_no_slope():
    lines = grouped_lines([0, 0, 0, 1, 1, 1], [2, 2, 2, 0, 1, 2], range(6), [1] * 6, [0, 1])
    assert np.isnan(lines.slope[0])
    assert lines.slope[1] == pytest.approx(1)


def test_left_out_predictions_equal_the_slow_way():
    rng = np.random.default_rng(6)
    t, y = np.sort(rng.uniform(0, 8, 7)), rng.standard_normal(7)
    slow = []
    for i in range(7):
        keep = np.arange(7) != i
        slope, level = np.polyfit(t[keep], y[keep], 1)
        slow.append(level + slope * t[i])
    np.testing.assert_allclose(left_out_line(t, y), slow)


def test_brackets_left_out_come_from_both_sides():
    guess = left_out_brackets([0, 0.1, 4, 8], [1.0, 1.2, 9.0, 3.0], 0.5)
    assert guess.tolist() == pytest.approx([9.0, 9.0, 1.1 + (4 - 0.05) / 7.95 * 1.9, 9.0])
    with pytest.raises(WrongCall, match="two of them"):
        left_out_brackets([0, 0.1], [1, 2], 0.5)
    with pytest.raises(WrongCall, match="one reading"):
        bracket([], [], [1], 0.5)
