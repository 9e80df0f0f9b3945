"""Changes of CRS against published examples; never a ballpark."""

from __future__ import annotations

import geopandas as gpd
import pytest
from shapely.geometry import box

from geochem.coordinates import read_crs, transform_frame, transform_positions
from geochem.errors import DataRefused, WrongCall


def degrees(d, m, s):
    return d + m / 60 + s / 3600


def move(x, y, source, target):
    return transform_positions([x], [y], read_crs(source), read_crs(target))


@pytest.mark.published
def test_ordnance_survey_worked_example():
    # Ordnance Survey, A guide to coordinate systems in Great Britain: 52d39'27.2531"N
    # 1d43'4.5177"E on OSGB36 is E 651409.903 N 313177.270
    done = move(degrees(1, 43, 4.5177), degrees(52, 39, 27.2531), "EPSG:4277", "EPSG:27700")
    assert done.x[0] == pytest.approx(651409.903, abs=0.01)
    assert done.y[0] == pytest.approx(313177.270, abs=0.01)
    assert done.accuracy_m == 0


@pytest.mark.published
def test_oblique_stereographic():
    # IOGP 373-7-2 (EPSG guidance note 7-2), method 9809: Amersfoort / RD New, 53 N 6 E
    done = move(6.0, 53.0, "EPSG:4289", "EPSG:28992")
    assert (done.x[0], done.y[0]) == pytest.approx((196105.283, 557057.739), abs=0.01)


def test_a_shift_published_for_another_area_is_refused():
    """The accurate shift of a capital territory must not be borrowed by the rest of its zone."""
    with pytest.raises(DataRefused, match="ballpark shift can be hundreds of metres wrong"):
        move(500000, 6000000, "EPSG:20255", "EPSG:7855")


def test_impossible_changes_are_refused():
    with pytest.raises(DataRefused, match="no datum shift from"):
        move(27.0, -20.0, "+proj=longlat +ellps=clrk66 +no_defs", "EPSG:32735")


def test_nothing_is_done_within_one_crs():
    done = move(1.0, 3.0, "EPSG:32735", "EPSG:32735")
    assert done.x.tolist() == [1.0]
    assert done.operation == "none needed"
    assert done.findings == ()


def test_a_frame_keeps_its_columns_and_is_not_changed():
    frame = gpd.GeoDataFrame({"unit": ["a"]}, geometry=[box(15, 1, 15.1, 1.1)], crs="EPSG:4326")
    moved, _ = transform_frame(frame, "EPSG:32633")
    assert moved["unit"].tolist() == ["a"]
    assert moved.crs.to_epsg() == 32633
    assert moved.geometry.iloc[0].equals_exact(frame.to_crs(32633).geometry.iloc[0], 1e-6)
    assert frame.geometry.iloc[0].bounds[0] == 15


def test_an_empty_frame_changes_its_crs():
    frame = gpd.GeoDataFrame({"unit": []}, geometry=[], crs="EPSG:4326")
    assert transform_frame(frame, "EPSG:32633")[0].crs.to_epsg() == 32633


def test_a_wrong_crs_is_a_sentence():
    with pytest.raises(WrongCall, match="is no coordinate reference system"):
        read_crs("UTM somewhere")
