"""Changes of CRS against published examples; never a ballpark."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import box

from geochem.coordinates import change_coordinates, change_frame, read_crs
from geochem.errors import DataRefused, WrongCall


def degrees(d, m, s):
    return d + m / 60 + s / 3600


@pytest.mark.published
def test_ordnance_survey_worked_example():
    # Ordnance Survey, A guide to coordinate systems in Great Britain: 52d39'27.2531"N
    # 1d43'4.5177"E on OSGB36 is E 651409.903 N 313177.270
    east, north, change = change_coordinates(
        degrees(1, 43, 4.5177), degrees(52, 39, 27.2531), "EPSG:4277", "EPSG:27700"
    )
    assert east[0] == pytest.approx(651409.903, abs=0.01)
    assert north[0] == pytest.approx(313177.270, abs=0.01)
    assert change.accuracy_m == 0


@pytest.mark.published
def test_oblique_stereographic():
    # IOGP 373-7-2 (EPSG guidance note 7-2), method 9809: Amersfoort / RD New, 53 N 6 E
    east, north, _ = change_coordinates(6.0, 53.0, "EPSG:4289", "EPSG:28992")
    assert (east[0], north[0]) == pytest.approx((196105.283, 557057.739), abs=0.01)


@pytest.mark.published
def test_a_change_of_datum_is_not_ignored():
    # AGD66 to GDA2020: ignoring the datum is wrong by about 200 m (ICSM, GDA2020 technical manual)
    east, north, change = change_coordinates(500000, 6000000, "EPSG:20255", "EPSG:7855")
    assert np.hypot(east[0] - 500000, north[0] - 6000000) == pytest.approx(206, abs=20)
    assert change.accuracy_m < 5
    assert "stated accuracy" in change.sentence


def test_nothing_is_done_within_one_crs():
    east, _, change = change_coordinates([1.0, 2.0], [3.0, 4.0], "EPSG:32735", "EPSG:32735")
    assert east.tolist() == [1.0, 2.0]
    assert change.operation == "none needed"


def test_impossible_changes_are_refused():
    with pytest.raises(DataRefused, match="of known accuracy"):
        change_coordinates(0.0, 0.0, "+proj=longlat +ellps=clrk66 +no_defs", "EPSG:32735")


def test_a_frame_keeps_its_columns_and_is_not_changed():
    frame = gpd.GeoDataFrame({"unit": ["a"]}, geometry=[box(15, 1, 15.1, 1.1)], crs="EPSG:4326")
    moved, _ = change_frame(frame, "EPSG:32633")
    assert moved["unit"].tolist() == ["a"]
    assert moved.crs.to_epsg() == 32633
    assert moved.geometry.iloc[0].equals_exact(frame.to_crs(32633).geometry.iloc[0], 1e-6)
    assert frame.geometry.iloc[0].bounds[0] == 15


def test_a_wrong_crs_is_a_sentence():
    with pytest.raises(WrongCall, match="is no coordinate reference system"):
        read_crs("UTM somewhere")
