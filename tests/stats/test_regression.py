import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.regression import (
    deming,
    excess_scatter,
    passing_bablok,
    reduced_major_axis,
    theil_sen,
    york,
)

# Pearson 1901, Philosophical Magazine 2:559-572, with the weights of York 1966, Canadian Journal
# of Physics 44:1079-1086; data as printed in York et al. 2004 (from memory).
X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
WX = np.array([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0])
WY = np.array([1.0, 1.8, 4, 8, 20, 20, 70, 70, 100, 500])


@pytest.mark.published
def test_york_pearson_data():
    line = york(X, Y, WX**-0.5, WY**-0.5)
    # York et al. 2004, Am. J. Phys. 72:367-375: slope -0.4805, intercept 5.4799; standard errors
    # 0.0580 and 0.2950 and S/(n-2) = 1.4833 from memory of the same paper.
    assert line.slope == pytest.approx(-0.4805, abs=5e-5)
    assert line.intercept == pytest.approx(5.4799, abs=5e-5)
    assert line.slope_se == pytest.approx(0.0580, abs=5e-5)
    assert line.intercept_se == pytest.approx(0.2950, abs=5e-5)
    assert line.chi2_reduced == pytest.approx(1.4833, abs=5e-5)


@pytest.mark.published
def test_york_agrees_with_an_independent_optimiser():
    # Slow twin: minimise the same chi-square over slope and intercept.
    from scipy.optimize import minimize

    def chi2(p):
        return np.sum((Y - p[0] - p[1] * X) ** 2 / (1 / WY + p[1] ** 2 / WX))

    best = minimize(
        chi2, [5.0, -0.5], method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12}
    )
    line = york(X, Y, WX**-0.5, WY**-0.5)
    assert [line.intercept, line.slope] == pytest.approx(best.x, abs=1e-6)


@pytest.mark.published
def test_orthogonal_line_of_pearson():
    # Pearson 1901: best-fitting line of the same points y = 5.784 - 0.546 x (from memory).
    line = deming(X, Y)
    assert line.slope == pytest.approx(-0.546, abs=5e-4)
    assert line.intercept == pytest.approx(5.784, abs=5e-4)


@pytest.mark.published
def test_deming_is_york_with_equal_errors():
    line = york(X, Y, np.full(10, 0.3), np.full(10, 0.3))
    assert line.slope == pytest.approx(deming(X, Y).slope, rel=1e-9)


@pytest.mark.published
def test_reduced_major_axis_numbers():
    # Arithmetic of the published formulas (Davis 1986; Abzalov 2008, formula from memory).
    line = reduced_major_axis([10, 20, 50, 100, 200], [12, 19, 55, 90, 210])
    assert line.slope == pytest.approx(1.03685806, abs=1e-8)
    assert line.intercept == pytest.approx(-1.60121220, abs=1e-8)
    assert line.slope_se == pytest.approx(0.04038194, abs=1e-8)
    assert line.intercept_se == pytest.approx(4.38984841, abs=1e-8)


@pytest.mark.published
def test_deming_number():
    # Arithmetic: Deming slope with equal error variances.
    assert deming([10, 20, 50, 100, 200], [12, 19, 55, 90, 210]).slope == pytest.approx(
        1.03700113, abs=1e-8
    )


@pytest.mark.published
def test_theil_sen_of_sen_1968():
    # Sen 1968, Journal of the American Statistical Association 63:1379-1389, worked example: slope 4
    # (data from memory); slow twin: the median of all 21 slopes.
    x = np.array([1.0, 2, 3, 4, 10, 12, 18])
    y = np.array([9.0, 15, 19, 20, 45, 55, 78])
    line = theil_sen(x, y)
    assert line.slope == pytest.approx(4.0)
    every = [(y[j] - y[i]) / (x[j] - x[i]) for i in range(7) for j in range(i + 1, 7)]
    assert line.slope == pytest.approx(np.median(every))
    assert line.intercept == pytest.approx(np.median(y - 4 * x))
    assert line.slope_low < 4 < line.slope_high


@pytest.mark.published
def test_passing_bablok_step_by_step():
    # Passing, Bablok 1983, J. Clin. Chem. Clin. Biochem. 21:709-720, equations 1 to 5, in plain loops
    # on Pearson's points mirrored to a rising line.
    from math import sqrt

    x, y = X, 8 - Y
    slopes = []
    for i in range(10):
        for j in range(i + 1, 10):
            if x[i] == x[j] and y[i] == y[j]:
                continue
            s = np.inf if x[i] == x[j] else (y[j] - y[i]) / (x[j] - x[i])
            if s != -1:
                slopes.append(s)
    slopes.sort()
    n, shift = len(slopes), sum(s < -1 for s in slopes)
    if n % 2:
        middle = slopes[(n + 1) // 2 + shift - 1]
    else:
        middle = (slopes[n // 2 + shift - 1] + slopes[n // 2 + shift]) / 2
    first = round((n - 1.959964 * sqrt(10 * 9 * 25 / 18)) / 2)
    line = passing_bablok(x, y, confidence=0.95)
    assert line.slope == pytest.approx(middle)
    assert line.intercept == pytest.approx(np.median(y - middle * x))
    assert line.slope_low == pytest.approx(slopes[first + shift - 1])
    assert line.slope_high == pytest.approx(slopes[n - first + shift])


@pytest.mark.published
def test_deming_against_total_least_squares():
    # scipy.odr, an independent implementation of errors on both sides (ODRPACK).
    odr = pytest.importorskip("scipy.odr")
    ratio = 4.0
    data = odr.RealData(X, Y, sx=np.full(10, 0.2), sy=np.full(10, 0.4))
    found = odr.ODR(data, odr.unilinear, beta0=[-0.5, 5.5]).run()
    line = deming(X, Y, ratio=ratio)
    assert [line.slope, line.intercept] == pytest.approx(found.beta, rel=1e-6)


def test_robust_lines_ignore_wild_pairs():
    rng = np.random.default_rng(3)
    x = np.sort(rng.uniform(1, 100, 60))
    y = 3 + 1.2 * x + rng.normal(0, 1, 60)
    y[::7] += 200
    assert theil_sen(x, y).slope == pytest.approx(1.2, abs=0.1)
    assert passing_bablok(x, y).slope == pytest.approx(1.2, abs=0.1)
    found = theil_sen(x, y)
    assert found.slope_low < 1.2 < found.slope_high


def test_passing_bablok_is_symmetric():
    rng = np.random.default_rng(4)
    x = rng.uniform(1, 100, 41)
    y = 1.1 * x + rng.normal(0, 2, 41)
    assert passing_bablok(x, y).slope == pytest.approx(1 / passing_bablok(y, x).slope, rel=1e-9)


def test_excess_scatter_finds_what_was_added():
    rng = np.random.default_rng(5)
    true = rng.uniform(0, 3, 4000)
    x = true + rng.normal(0, np.hypot(0.02, 0.05), 4000)
    y = 0.2 + 0.9 * true + rng.normal(0, np.hypot(0.03, 0.05), 4000)
    extra = excess_scatter(x, y, np.full(4000, 0.02), np.full(4000, 0.03))
    assert extra == pytest.approx(0.05, rel=0.05)
    assert excess_scatter(x, y, np.full(4000, 0.2), np.full(4000, 0.2)) == 0.0


def test_york_intervals_cover():
    """90 % intervals of the slope hold the truth in about 90 % of 400 draws."""
    rng = np.random.default_rng(6)
    hits = 0
    for _ in range(400):
        true = rng.uniform(1, 10, 30)
        sx, sy = rng.uniform(0.1, 0.4, (2, 30))
        line = york(
            true + sx * rng.normal(size=30), 1 + 0.8 * true + sy * rng.normal(size=30), sx, sy
        )
        hits += abs(line.slope - 0.8) < 1.645 * line.slope_se
    assert 0.86 <= hits / 400 <= 0.94


def test_wrong_calls_say_what_to_do():
    with pytest.raises(WrongCall, match="error above zero on both sides"):
        york([1, 2, 3], [1, 2, 3], [0, 1, 1], [1, 1, 1])
    with pytest.raises(WrongCall, match="all x are the same"):
        deming([1, 1, 1], [1, 2, 3])
    with pytest.raises(WrongCall, match="2 pairs came"):
        theil_sen([1, 2], [1, 2])
