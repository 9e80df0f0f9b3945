import numpy as np
import pytest

from geochem.background import MedianMad, MovingWindow
from geochem.errors import WrongCall


def _drift(n_side=40, seed=0):
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.arange(n_side) * 100.0, np.arange(n_side) * 100.0)
    xy = np.column_stack([x.ravel(), y.ravel()])
    level = 3 + 1.5 * xy[:, 0] / xy[:, 0].max()
    return xy, level, np.exp(level + 0.2 * rng.standard_normal(len(xy)))


def test_follows_the_drift():
    xy, level, v = _drift()
    got = MovingWindow().fit(v, coordinates=xy)
    inner = (xy.min(axis=1) > 600) & (xy.max(axis=1) < 3300)
    truth = np.exp(level + 2 * 0.2)
    assert np.abs(np.log(got.local / truth))[inner].mean() < 0.05
    assert np.mean(v >= got.local) == pytest.approx(0.0228, abs=0.015)
    # one threshold for all flags only where the background is high
    flat = v >= MedianMad(log=True).fit(v).value
    assert flat[xy[:, 0] < 2000].sum() == 0


def test_rows_in_any_order_and_missing_ones():
    xy, _, v = _drift(20)
    v[7] = np.nan
    p = np.random.default_rng(1).permutation(len(v))
    a, b = MovingWindow().fit(v, coordinates=xy), MovingWindow().fit(v[p], coordinates=xy[p])
    assert np.array_equal(a.local[p], b.local, equal_nan=True)
    assert (a.value, a.low, a.high) == (b.value, b.low, b.high)
    assert np.isnan(a.local[7])
    assert a.low <= a.value <= a.high


def test_needs_room():
    xy, _, v = _drift(20)
    with pytest.raises(WrongCall, match="needs coordinates"):
        MovingWindow().fit(v)
    small = MovingWindow().fit(v[:150], coordinates=xy[:150])
    assert small.method == "percentile"
    assert "fewer than two windows" in small.warnings[0]
