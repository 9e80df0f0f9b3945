"""Routes: every point once, near the shortest, no better move of two."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.route import shortest_walk


def length(xy, order, start=None, *, back=False):
    way = xy[list(order)]
    way = way if start is None else np.vstack([start, way])
    way = np.vstack([way, way[:1]]) if back else way
    return np.hypot(*np.diff(way, axis=0).T).sum()


@pytest.mark.parametrize("back", [False, True])
def test_against_all_orders_of_seven_points(back):
    for seed in range(12):
        xy = np.random.default_rng(seed).uniform(0, 1000, (7, 2))
        start = (0.0, 0.0)
        best = min(length(xy, p, start, back=back) for p in permutations(range(7)))
        walk = shortest_walk(xy, start=start, back=back)
        assert walk.length == pytest.approx(length(xy, walk.order, start, back=back))
        assert walk.length <= 1.06 * best


@pytest.mark.published
def test_three_hundred_random_points():
    # Beardwood, Halton & Hammersley 1959: the shortest tour of n random points tends to
    # 0.7124 sqrt(n A) (constant: Johnson & McGeoch 1996); edges of the square add about
    # 0.7124 * 0.33 / sqrt(n) of it (from memory)
    xy = np.random.default_rng(1).uniform(0, 1000, (300, 2))
    walk = shortest_walk(xy, back=True)
    assert sorted(walk.order) == list(range(300))
    assert walk.length < 1.15 * 0.7124 * np.sqrt(300 * 1e6)


def test_a_line_is_walked_along():
    x = np.random.default_rng(2).permutation(30) * 10.0
    walk = shortest_walk(np.column_stack([x, np.zeros(30)]))
    assert walk.length == pytest.approx(290)
    assert np.all(np.diff(x[walk.order]) > 0)


def test_none_one_and_too_many():
    assert shortest_walk(np.empty((0, 2))).length == 0
    assert shortest_walk([[3.0, 4.0]], start=(0, 0)).length == pytest.approx(5.0)
    with pytest.raises(WrongCall, match="at most 300 points, got 301"):
        shortest_walk(np.zeros((301, 2)))
    with pytest.raises(WrongCall, match="some are missing"):
        shortest_walk([[0, 0], [np.nan, 1]])
