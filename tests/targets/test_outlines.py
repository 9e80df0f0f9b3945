import numpy as np
import pytest
import shapely

from geochem.model.layers import Spacing
from geochem.targets.ground import Ground, line_numbers, rows_of
from geochem.targets.null import Filtered
from geochem.targets.outlines import find_groups, open_sides
from geochem.targets.polygons import around_few, around_places


def ground(lines=16, stations=16, azimuth=0.0):
    x, y = np.meshgrid(np.arange(lines) * 1.0, np.arange(stations) * 1.0, indexing="ij")
    places = np.column_stack([x.ravel(), y.ravel()])
    places -= (places.max(axis=0) + places.min(axis=0)) / 2
    n = len(places)
    gap = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    i, j = np.nonzero(np.triu(gap <= 1.6, 1))
    spacing = Spacing("soil", "A", n, 100.0, 200.0, 100.0, azimuth, True, 1.0)
    index = np.arange(n)
    return Ground("soil", "A", spacing, index, places, np.array([5e5, 7e6]), index, places,
                  np.ones(n), np.column_stack([i, j]))  # fmt: skip


def bump(g, x, y, height, width=1.5):
    return height * np.exp(-0.5 * ((g.places - [x, y]) ** 2).sum(axis=1) / width**2)


def groups(g, field):
    values = field[:, None]
    return find_groups(g, Filtered(values, np.zeros_like(values, dtype=int)), values)


def test_halos_joined_by_a_bridge_are_two_outlines():
    g = ground()
    bridge = 2.5 * (np.abs(g.places[:, 1] - 0.5) < 0.1) * (np.abs(g.places[:, 0]) < 5)
    field = np.maximum(bump(g, -4.5, 0.5, 7) + bump(g, 4.5, 0.5, 6), bridge)
    found = groups(g, field)
    assert [round(f.strength) for f in found] == [7, 6]
    assert not set(found[0].places) & set(found[1].places)
    assert all(f.enough for f in found)


def test_a_shallow_saddle_does_not_split():
    g = ground()
    assert len(groups(g, bump(g, -1.5, 0.5, 7) + bump(g, 1.5, 0.5, 7))) == 1


def test_one_line_is_not_enough():
    g = ground()
    field = 5.0 * (g.places[:, 0] == 0.5) * (np.abs(g.places[:, 1]) < 3)
    (found,) = groups(g, field)
    assert not found.enough
    assert "one line" in found.reason


def test_three_samples_must_carry_it():
    g = ground()
    field = bump(g, 0.5, 0.5, 6)
    spike = np.where(field == field.max(), 3.0, 0.0)
    found = find_groups(
        g, Filtered(field[:, None], np.zeros((len(field), 1), dtype=int)), spike[:, None]
    )
    assert not found[0].enough
    assert "1 samples carry it" in found[0].reason


def test_too_large_groups_are_drawn_in():
    g = ground(40, 40)
    (found,) = groups(g, bump(g, 0.5, 0.5, 9, width=9))
    assert len(found.places) * g.cell_area <= 1.5e6


@pytest.mark.parametrize("azimuth", [0.0, 30.0, 110.0])
def test_polygon_reaches_half_a_spacing_and_is_valid(azimuth):
    g = ground(azimuth=azimuth)
    places = np.flatnonzero((np.abs(g.places) < 1.6).all(axis=1))  # 4 x 4
    shape = around_places(g, places)
    assert shape.is_valid
    assert shape.geom_type == "Polygon"
    assert shape.covers(shapely.MultiPoint(g.to_map(g.places[places])))
    # 3 x 3 cells and half a spacing around, with round corners, in 200 m x 100 m cells
    assert shape.area == pytest.approx((9 + 4 * 3 * 0.5 + np.pi * 0.25) * 2e4, rel=0.02)
    back = g.to_scaled(g.to_map(g.places))
    assert np.allclose(back, g.places, atol=1e-9)


def test_lead_is_no_wider_than_asked():
    points = np.array([[0.0, 0.0], [0.0, 100.0], [5.0, 200.0]])
    shape = around_few(points, 100.0)
    box = shapely.minimum_rotated_rectangle(shape)
    corner = np.asarray(box.exterior.coords)
    assert min(np.hypot(*np.diff(corner[:3], axis=0).T)) <= 100.0 + 5.0


def test_open_sides_are_named_by_the_compass():
    g = ground(azimuth=0.0)
    corner = np.flatnonzero((g.places[:, 0] > 5) & (g.places[:, 1] < -5))
    assert [s for s, _ in open_sides(g, corner, None)] == ["E", "S"]
    middle = np.flatnonzero((np.abs(g.places) < 2).all(axis=1))
    assert open_sides(g, middle, None) == []
    # beyond the boundary nothing can be sampled, so the side is not open
    edge = shapely.box(*g.to_map(g.places).min(axis=0), *g.to_map(g.places).max(axis=0))
    assert open_sides(g, corner, edge) == []


def test_rows_of_irregular_sampling():
    rng = np.random.default_rng(1)
    row = np.column_stack([np.linspace(0, 4, 6), np.linspace(0, 4, 6) + rng.normal(0, 0.02, 6)])
    assert rows_of(row, regular=False) == 1
    assert rows_of(rng.uniform(0, 3, (6, 2)), regular=False) >= 2
    assert line_numbers([0.0, 1.0, 0.1, 2.0]).tolist() == [0, 1, 0, 2]


def test_a_field_that_rises_nowhere_has_no_outline():
    g = ground()
    assert groups(g, np.full(len(g.places), -1.0)) == []
