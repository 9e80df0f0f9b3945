"""Layouts: properties that hold for every ground, spacing and direction."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geochem.errors import DataRefused, WrongCall
from geochem.planning.ground import sampling_ground
from geochem.planning.layouts import KINDS, lay_out

AREAL = [k for k in KINDS if k not in ("ridges", "streams")]


def places(layout):
    return layout.points[["easting", "northing"]].to_numpy()


def spaced(kind, line, station):
    return {"line_spacing": line, "station_spacing": line if kind == "square" else station}


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    kind=st.sampled_from(AREAL), line=st.floats(40, 400), station=st.floats(25, 200),
    azimuth=st.floats(0, 360),
)  # fmt: skip
def test_points_stand_on_the_ground_and_fill_it(ground, kind, line, station, azimuth):
    layout = lay_out(ground, kind, **spaced(kind, line, station), azimuth=azimuth, north="grid")
    xy = places(layout)
    # positions are rounded to a centimetre
    assert shapely.contains_xy(ground.shape.buffer(0.02), xy[:, 0], xy[:, 1]).all()
    assert layout.points["planned_id"].is_unique
    assert layout.points["order"].tolist() == list(range(1, len(xy) + 1))
    # as many as the area asks for, give or take what an edge can change
    cell = layout.line_spacing * layout.station_spacing
    edge = ground.shape.length * (layout.line_spacing + layout.station_spacing)
    assert abs(len(xy) * cell - ground.shape.area) <= edge
    steps = np.hypot(*np.diff(xy, axis=0).T)
    assert layout.walking_km == pytest.approx(steps.sum() / 1000)


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    kind=st.sampled_from(["square", "rectangular", "staggered", "lines"]),
    line=st.floats(60, 300), station=st.floats(30, 150), azimuth=st.floats(0, 180),
)  # fmt: skip
def test_lines_run_along_the_azimuth_at_the_spacing(ground, kind, line, station, azimuth):
    layout = lay_out(ground, kind, **spaced(kind, line, station), azimuth=azimuth, north="grid")
    turn = math.radians(azimuth)
    xy = places(layout)
    along = xy @ (math.sin(turn), math.cos(turn))
    across = xy @ (math.cos(turn), -math.sin(turn))
    by_line = layout.points.assign(t=along, s=across).groupby("line")
    assert (by_line["s"].max() - by_line["s"].min()).max() < 0.03
    gaps = np.diff(np.sort(by_line["s"].mean().to_numpy())) / layout.line_spacing
    assert np.allclose(gaps, np.rint(gaps), atol=0.001)
    if kind != "lines":
        for _, one in by_line:
            steps = np.diff(np.sort(one["t"].to_numpy())) / layout.station_spacing
            assert np.allclose(steps, np.rint(steps), atol=0.002)
            assert (steps > 0.5).all()


def test_every_second_line_is_shifted(ground):
    layout = lay_out(ground, "staggered", line_spacing=100, station_spacing=60)
    first = layout.points.groupby("line")["northing"].min()
    phase = np.mod((first - first.iloc[0]) / 60, 1.0)
    assert np.allclose(np.abs(np.mod(phase.to_numpy()[1::2], 1.0) - 0.5), 0, atol=0.002)
    assert np.allclose(np.abs(np.mod(phase.to_numpy()[::2] + 0.5, 1.0) - 0.5), 0, atol=0.002)


def test_a_grid_goes_on_from_an_older_one(ground):
    old = lay_out(
        ground, "rectangular", line_spacing=200, station_spacing=50, azimuth=20, north="grid"
    )
    here = tuple(places(old)[7])
    new = lay_out(
        ground, "rectangular", line_spacing=100, station_spacing=50, azimuth=20, north="grid",
        origin=here,
    )  # fmt: skip
    from scipy.spatial import cKDTree

    distance, _ = cKDTree(places(new)).query(places(old))
    assert distance.max() < 0.05


def test_stratified_is_even_at_the_edge_and_repeats(frame):
    # a wedge: cells that are half outside must give a point half of the time
    wedge = sampling_ground(
        frame(shapely.Polygon([(500000, 7e6), (504000, 7e6), (500000, 7002000)]))
    )
    counts = [
        len(lay_out(wedge, "stratified", line_spacing=100, station_spacing=100, seed=s).points)
        for s in range(40)
    ]
    assert np.mean(counts) == pytest.approx(400, abs=4 * np.std(counts) / math.sqrt(40) + 1)
    one, two = (
        lay_out(wedge, "stratified", line_spacing=80, station_spacing=80, seed=3) for _ in range(2)
    )
    assert one.points.equals(two.points)


def test_streams_set_points_off_the_junction(ground, frame):
    main = shapely.LineString([(500300, 7000200), (501500, 7000400), (503000, 7000400)])
    side = shapely.LineString([(501500, 7000400), (501000, 7001800)])
    lines = frame(main, side)
    layout = lay_out(ground, "streams", station_spacing=300, follow=lines)
    xy = places(layout)
    network = shapely.union_all([main, side])
    off = [network.distance(shapely.Point(p)) for p in xy]
    assert max(off) < 0.02
    from_junction = np.sort(np.hypot(*(xy - (501500, 7000400)).T))
    # one on each of the three arms, 50 m off, and none nearer
    assert from_junction[:3] == pytest.approx([50, 50, 50], abs=0.1)
    assert from_junction[3] > 200
    ridges = lay_out(ground, "ridges", station_spacing=300, follow=lines)
    assert len(ridges.points) < len(layout.points)


def test_the_other_norths(ground):
    from pyproj import Geod, Transformer

    kw = {"line_spacing": 200, "station_spacing": 100}
    true = lay_out(ground, "lines", azimuth=40, north="true", **kw)
    magnetic = lay_out(ground, "lines", azimuth=40, north="magnetic", declination=-12, **kw)
    assert (true.grid_azimuth - magnetic.grid_azimuth) % 360 == pytest.approx(12)
    # independent: the geodesic azimuth between two points of a line must be the one asked for
    line = true.points.loc[true.points["line"] == "L08"]
    to_degrees = Transformer.from_crs(ground.crs, "EPSG:4326", always_xy=True)
    lon, lat = to_degrees.transform(line["easting"].to_numpy(), line["northing"].to_numpy())
    azimuth, _, _ = Geod(ellps="WGS84").inv(lon[0], lat[0], lon[-1], lat[-1])
    assert (azimuth - 40 + 90) % 180 - 90 == pytest.approx(0, abs=0.01)


def test_bad_calls_are_sentences(ground, frame):
    kw = {"line_spacing": 100, "station_spacing": 50}
    with pytest.raises(WrongCall, match="does not say from which north"):
        lay_out(ground, "lines", azimuth=30, **kw)
    with pytest.raises(WrongCall, match="needs declination"):
        lay_out(ground, "lines", azimuth=30, north="magnetic", **kw)
    with pytest.raises(WrongCall, match="Did you mean 'staggered'"):
        lay_out(ground, "stagered", **kw)
    with pytest.raises(WrongCall, match="needs line_spacing in metres"):
        lay_out(ground, "rectangular", station_spacing=50)
    with pytest.raises(WrongCall, match="Are the spacings in metres"):
        lay_out(ground, "square", line_spacing=0.5)
    with pytest.raises(WrongCall, match="needs lines to follow"):
        lay_out(ground, "ridges", station_spacing=50)
    far = frame(shapely.LineString([(0, 0), (1, 1)]))
    with pytest.raises(DataRefused, match="none of the lines to follow lies on allowed ground"):
        lay_out(ground, "streams", station_spacing=50, follow=far)


def test_bad_ground_is_a_sentence(frame):
    box = shapely.box(500000, 7e6, 501000, 7001000)
    with pytest.raises(WrongCall, match="is in degrees"):
        sampling_ground(frame(shapely.box(27, -27, 27.1, -26.9), crs="EPSG:4326"))
    with pytest.raises(DataRefused, match="these are degrees, but its file says"):
        sampling_ground(frame(shapely.box(27, -27, 27.1, -26.9)))
    with pytest.raises(DataRefused, match="nothing is left of the boundary"):
        sampling_ground(frame(box), frame(box.buffer(10)))
    with pytest.raises(DataRefused, match="holds no polygon"):
        sampling_ground(frame(box.boundary))
    with pytest.raises(WrongCall, match="different CRS"):
        sampling_ground(frame(box), frame(box, crs="EPSG:32736"))
