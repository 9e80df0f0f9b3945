"""Layers: CRS, geometry, field; refusals in sentences."""

from __future__ import annotations

import geopandas as gpd
import pytest
from pyproj import Transformer
from shapely.geometry import Point, Polygon

from geochem.errors import DataRefused, WrongCall
from geochem.read.layers import read_layers

SQUARE = Polygon([(0, 0), (100, 0), (100, 100), (0, 100)])
BOW = Polygon([(0, 0), (100, 100), (100, 0), (0, 100)])


def save(path, geometries, crs="EPSG:32735", **columns):
    gpd.GeoDataFrame(
        columns or {"k": range(len(geometries))}, geometry=geometries, crs=crs
    ).to_file(path)
    return path


def test_same_crs_and_field(tmp_path):
    path = save(tmp_path / "geology.gpkg", [SQUARE], unit=["schist"])
    layers, findings = read_layers({"geology": {"path": path, "field": "unit"}}, "EPSG:32735")
    assert layers.vector["geology"].frame["unit"].tolist() == ["schist"]
    assert findings == ()


def test_missing_field_lists_the_fields(tmp_path):
    path = save(tmp_path / "geology.gpkg", [SQUARE], unit=["schist"], age=["old"])
    with pytest.raises(DataRefused, match="its fields: unit, age"):
        read_layers({"geology": {"path": path, "field": "units"}}, "EPSG:32735")


def test_mended(tmp_path):
    path = save(tmp_path / "a.gpkg", [SQUARE, BOW])
    layers, findings = read_layers({"keep_out": {"path": path, "field": None}}, "EPSG:32735")
    assert layers.vector["keep_out"].frame.is_valid.all()
    assert [f.code for f in findings] == ["layer-mended"]
    assert "features 2" in findings[0].message


def test_reprojected_as_pyproj_does(tmp_path):
    path = save(tmp_path / "a.geojson", [Point(27.5, -12.0)], crs="EPSG:4326")
    layers, findings = read_layers({"workings": {"path": path, "field": None}}, "EPSG:32735")
    x, y = Transformer.from_crs("EPSG:4326", "EPSG:32735", always_xy=True).transform(27.5, -12.0)
    point = layers.vector["workings"].frame.geometry.iloc[0]
    assert (point.x, point.y) == (pytest.approx(x, abs=1e-6), pytest.approx(y, abs=1e-6))
    assert [f.code for f in findings] == ["layer-reprojected"]
    assert layers.vector["workings"].frame.crs.to_epsg() == 32735


def test_no_ballpark(tmp_path):
    # AGD66 / AMG zone 55 to GDA2020 / MGA zone 55 outside the capital territory: without a grid a
    # library's fallback is no shift at all, about 206 m off here (ICSM, GDA2020 technical manual)
    path = save(tmp_path / "a.gpkg", [Point(500000, 6000000)], crs="EPSG:20255")
    with pytest.raises(DataRefused, match="ballpark shift can be hundreds of metres wrong"):
        read_layers({"a": {"path": path, "field": None}}, "EPSG:7855")


def test_no_crs(tmp_path):
    path = save(tmp_path / "a.shp", [SQUARE], crs=None)
    with pytest.raises(DataRefused, match="states no CRS"):
        read_layers({"a": {"path": path, "field": None}}, "EPSG:32735")


@pytest.mark.parametrize(
    "path",
    ["/vsicurl/http://host.example/a.gpkg", "https://host.example/a.gpkg", "a.zip", "gone.gpkg"],
)
def test_refused(path):
    with pytest.raises(DataRefused, match="layer 'a'"):
        read_layers({"a": {"path": path, "field": None}}, "EPSG:32735")


def test_unknown_crs(tmp_path):
    with pytest.raises(WrongCall, match="is no CRS"):
        read_layers({"a": {"path": tmp_path, "field": None}}, "EPSG:1")


def test_rasters_are_paths(tmp_path):
    path = tmp_path / "photo.tif"
    path.write_bytes(b"II*\0")
    layers, _ = read_layers({"image": {"path": path, "field": None}}, "EPSG:32735")
    assert layers.image == path
