import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.blocks import block_numbers, draw_blocks


def _grid(n):
    x, y = np.meshgrid(np.arange(n) * 50.0, np.arange(n) * 50.0)
    return np.column_stack([x.ravel(), y.ravel()])


def test_about_the_root_of_the_number():
    for n in (10, 30, 70):
        numbers = block_numbers(_grid(n))
        assert np.unique(numbers).size == pytest.approx(n, rel=0.35)
        counts = np.bincount(numbers)
        assert counts.max() <= 2.5 * n
    xy = _grid(10)
    xy[3] = np.nan
    assert (block_numbers(xy) == block_numbers(xy)[3]).sum() == 1
    assert np.unique(block_numbers(np.zeros((50, 2)))).size == 1
    assert np.unique(block_numbers(np.column_stack([np.arange(100.0), np.zeros(100)]))).size > 5
    with pytest.raises(WrongCall, match=r"shape \(n, 2\)"):
        block_numbers([1.0, 2.0])


def test_drawn_blocks_are_whole():
    blocks = np.array([0, 0, 1, 1, 1, 2])
    for rows in draw_blocks(blocks, 20, seed=1):
        counts = np.bincount(rows, minlength=6)
        assert counts[0] == counts[1]
        assert counts[2] == counts[3] == counts[4]
        assert counts[0] + counts[2] + counts[5] == 3
