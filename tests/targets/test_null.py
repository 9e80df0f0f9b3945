import numpy as np
import pytest

from geochem.targets.barren import _outline_peaks
from geochem.targets.null import (
    CUT,
    Background,
    Part,
    describe_background,
)


def test_barren_outlines_equal_a_slow_search():
    rng = np.random.default_rng(4)
    n = 12
    x, y = np.meshgrid(np.arange(n), np.arange(n), indexing="ij")
    x, y = x.ravel(), y.ravel()
    edges = [
        (i, j)
        for i in range(n * n)
        for j in range(i + 1, n * n)
        if np.hypot(x[i] - x[j], y[i] - y[j]) <= 1.6
    ]
    top = rng.normal(1.0, 1.0, (n * n, 5))
    one = np.ones(1)
    part = Part("", np.column_stack([x, y]) * 1.0, np.ones(n * n), np.zeros((n * n, 1)),
                Background(one, one, one, one, np.eye(1)), [], np.array(edges), x,
                np.zeros((n * n, 1), dtype=int))  # fmt: skip
    draw, peak = _outline_peaks(part, top)
    expected = []
    around = {i: [] for i in range(n * n)}
    for i, j in edges:
        around[i].append(j)
        around[j].append(i)
    for d in range(5):
        left = {i for i in range(n * n) if top[i, d] >= CUT}
        while left:
            group, front = set(), [left.pop()]
            while front:
                i = front.pop()
                group.add(i)
                new = [j for j in around[i] if j in left]
                left -= set(new)
                front += new
            if len(group) >= 3 and len({x[i] for i in group}) >= 2:
                expected.append((d, max(top[i, d] for i in group)))
    assert sorted(zip(draw.tolist(), peak.tolist(), strict=True)) == sorted(expected)


def test_background_ignores_a_rich_tail():
    rng = np.random.default_rng(2)
    xy = rng.uniform(0, 4000, (1500, 2))
    clean = rng.standard_normal((1500, 1))
    rich = clean.copy()
    rich[:40] += 30.0  # scattered, so that they are no continuity
    none = np.zeros(1500, dtype=bool)
    one = describe_background(xy, clean, 100.0, none)
    two = describe_background(xy, rich, 100.0, none)
    assert two.spread[0] == pytest.approx(one.spread[0], rel=0.15)
    assert one.spread[0] == pytest.approx(1.0, abs=0.1)
    assert min(one.nugget[0], two.nugget[0]) > 0.8
