import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.declustering import cell_weights, effective_n, reconnaissance_spacing
from geochem.stats.robust import median


def _grid(step, x0, y0, nx, ny):
    x, y = np.meshgrid(x0 + step * np.arange(nx), y0 + step * np.arange(ny))
    return np.column_stack([x.ravel(), y.ravel()])


def test_even_grid_has_even_weights():
    w = cell_weights(_grid(200, 500_000, 7_000_000, 12, 9), 200)
    assert w == pytest.approx(np.ones(108))


def test_infill_does_not_lift_the_median():
    wide = _grid(200, 0, 0, 10, 10)
    dense = _grid(25, 1810, 1810, 16, 16)
    xy = np.vstack([wide, dense])
    value = np.append(np.linspace(10, 20, 100), np.full(256, 90.0))
    spacing = reconnaissance_spacing(xy)
    assert spacing == pytest.approx(200)
    w = cell_weights(xy, spacing)
    assert median(value) == 90
    assert median(value, w) < 16.5
    assert w.mean() == pytest.approx(1)


def test_order_and_shift():
    rng = np.random.default_rng(0)
    xy = rng.uniform(0, 1000, (300, 2))
    p = rng.permutation(300)
    assert cell_weights(xy, 90)[p].tolist() == cell_weights(xy[p], 90).tolist()
    assert cell_weights(xy + 4e6, 90) == pytest.approx(cell_weights(xy, 90), abs=1e-6)


def test_spacing_ignores_one_lost_sample():
    xy = np.vstack([_grid(100, 0, 0, 10, 10), [[1e6, 1e6]]])
    assert reconnaissance_spacing(xy) == pytest.approx(100)
    assert np.isnan(reconnaissance_spacing([[0, 0], [1, 1]]))


def test_effective_n():
    assert effective_n(np.ones(7)) == 7
    assert effective_n([1, 0, 0]) == 1


def test_refusals():
    with pytest.raises(WrongCall, match="shape"):
        cell_weights([1, 2, 3], 10)
    with pytest.raises(WrongCall, match="positive length"):
        cell_weights([[0, 0]], 0)
    assert cell_weights([[0, 0], [np.nan, 1]], 10).tolist() == [1, 0]
