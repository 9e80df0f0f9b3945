"""Graphs: known grids, ties, repeated positions, islands, row order."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem.errors import WrongCall
from geochem.stats import neighbours


def grid(nx, ny, dx=1.0, dy=1.0):
    x, y = np.meshgrid(np.arange(nx) * dx, np.arange(ny) * dy, indexing="ij")
    return x.ravel(), y.ravel()


def test_scaling_makes_a_turned_stretched_grid_square():
    across, along = grid(6, 9, 200.0, 50.0)
    angle = np.deg2rad(30.0)  # lines run 30 degrees east of north
    east = 512_345.0 + across * np.cos(angle) + along * np.sin(angle)
    north = 7_654_321.0 - across * np.sin(angle) + along * np.cos(angle)
    xy = neighbours.scaled_coordinates(east, north, 30.0, 200.0, 50.0)
    graph = neighbours.within(xy, 1.01)
    degree = np.diff(graph.indptr).reshape(6, 9)
    assert (degree[1:-1, 1:-1] == 4).all()
    assert degree[0, 0] == 2
    assert (np.diff(neighbours.within(xy, 1.5).indptr).reshape(6, 9)[1:-1, 1:-1] == 8).all()


def test_scaling_refuses_a_spacing_of_zero():
    with pytest.raises(WrongCall, match="positive"):
        neighbours.scaled_coordinates([0.0, 1.0], [0.0, 1.0], 0.0, 0.0, 50.0)


def test_nearest_includes_ties_so_row_order_is_irrelevant():
    x, y = grid(5, 5)
    xy = np.column_stack([x, y])
    order = np.random.default_rng(3).permutation(len(xy))
    first = neighbours.nearest(xy, 3).toarray()
    second = neighbours.nearest(xy[order], 3).toarray()
    assert np.array_equal(first[np.ix_(order, order)], second)
    assert first[12].sum() == 4  # four neighbours tie for the third place


def test_nearest_many_ties_are_looked_up():
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    xy = np.vstack([[0.0, 0.0], np.column_stack([np.cos(angle), np.sin(angle)]).round(12)])
    assert neighbours.nearest(xy, 3).toarray()[0].sum() == 40


def test_repeated_positions_count_as_one_place():
    xy = np.array([[0.0, 0], [0, 0], [0, 0], [1, 0], [5, 0]])
    dense = neighbours.nearest(xy, 1).toarray()
    assert dense[0].tolist() == [0, 1, 1, 1, 0]
    assert dense[3].tolist() == [1, 1, 1, 0, 0]
    triangles = neighbours.delaunay(np.vstack([xy, [[2.0, 3.0]]])).toarray()
    assert triangles[0, 1] == triangles[0, 3] == triangles[1, 3] == 1


def test_islands_are_empty_rows_even_with_self():
    xy = [[0, 0], [1, 0], [30, 0]]
    assert neighbours.islands(neighbours.within(xy, 2.0)).tolist() == [2]
    assert neighbours.islands(neighbours.within(xy, 2.0, include_self=True)).tolist() == [2]


def test_delaunay_of_samples_on_one_line_is_a_chain():
    xy = np.column_stack([[3.0, 0, 1, 2], [6.0, 0, 2, 4]])
    dense = neighbours.delaunay(xy).toarray()
    assert dense.sum() == 6
    assert dense[1, 2] == dense[2, 3] == dense[3, 0] == 1


def test_delaunay_leaves_long_edges_out():
    xy = np.vstack([np.column_stack(grid(4, 4)), np.column_stack(grid(4, 4)) + np.r_[50.0, 0.0]])
    graph = neighbours.delaunay(xy, 1.6).toarray()
    assert graph[:16, 16:].sum() == 0
    assert (graph == graph.T).all()


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 6))
def test_nearest_equals_a_slow_twin(seed, k):
    xy = np.random.default_rng(seed).integers(0, 6, size=(25, 2)).astype(float)
    distance = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    expected = np.zeros((25, 25))
    for i in range(25):
        places = np.unique(xy, axis=0)
        d = np.sort(np.hypot(*(places - xy[i]).T))
        limit = d[min(k, len(d) - 1)]
        expected[i] = distance[i] <= limit + 1e-9
        expected[i, i] = 0
    assert np.array_equal(neighbours.nearest(xy, k).toarray(), expected)


def test_empty_and_single_and_missing():
    assert neighbours.nearest(np.empty((0, 2)), 3).shape == (0, 0)
    assert neighbours.within(np.empty((0, 2)), 1.0).shape == (0, 0)
    assert neighbours.nearest([[1.0, 2.0]], 3, include_self=True).toarray().tolist() == [[1.0]]
    with pytest.raises(WrongCall, match="missing"):
        neighbours.nearest([[np.nan, 1.0]], 1)
