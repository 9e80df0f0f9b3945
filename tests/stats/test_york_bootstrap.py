import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.regression import york
from geochem.stats.york_bootstrap import _york_rows, york_bootstrap


def test_rows_equal_the_single_fit():
    rng = np.random.default_rng(1)
    x = rng.uniform(1, 9, (5, 30))
    y = 2 + 0.7 * x + rng.normal(0, 0.3, x.shape)
    sx, sy = rng.uniform(0.1, 0.4, x.shape), rng.uniform(0.1, 0.4, x.shape)
    slope, intercept = _york_rows(x, y, 1 / sx**2, 1 / sy**2)
    for i in range(5):
        line = york(x[i], y[i], sx[i], sy[i])
        assert slope[i] == pytest.approx(line.slope, rel=1e-7)
        assert intercept[i] == pytest.approx(line.intercept, rel=1e-7)


def test_the_interval_holds_the_line_and_narrows():
    rng = np.random.default_rng(2)
    widths = []
    for n in (20, 320):
        true = rng.uniform(0, 10, n)
        x, y = true + rng.normal(0, 0.5, n), true + rng.normal(0, 0.5, n)
        (low, high), _ = york_bootstrap(x, y, 0.5, 0.5)
        assert low < york(x, y, [0.5] * n, [0.5] * n).slope < high
        widths.append(high - low)
    assert widths[1] < 0.4 * widths[0]
    with pytest.raises(WrongCall, match="at least 5"):
        york_bootstrap([1, 2, 3], [1, 2, 3], 0.1, 0.1)
