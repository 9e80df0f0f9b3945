"""Files for GIS open in independent readers and hold what the records hold."""

from __future__ import annotations

import json
import sqlite3
import xml.etree.ElementTree as ET

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio

from geochem.model import tables as contract
from geochem.outputs.gis.renderer import GisRenderer


@pytest.fixture(scope="module")
def folder(bundle, tmp_path_factory):
    made = tmp_path_factory.mktemp("gis")
    GisRenderer().render(bundle, made)
    return made


def test_geopackage_has_every_layer_and_table(folder):
    names = set(pyogrio.list_layers(folder / "campaign.gpkg")[:, 0])
    assert {
        "samples", "anomalies", "targets", "follow_up", "holes", "results", "controls",
        "analytes", "thresholds", "findings",
    } <= names  # fmt: skip


def test_geopackage_reads_back_equal(bundle, folder):
    samples = gpd.read_file(folder / "campaign.gpkg", layer="samples")
    given = bundle.survey.samples
    assert samples.crs == given.crs
    assert samples["sample_id"].tolist() == given["sample_id"].tolist()
    assert samples["Cu_ppm_below"].dtype == bool
    np.testing.assert_array_equal(samples["Cu_ppm"], given["Cu_ppm"])
    assert samples.geometry.geom_equals_exact(given.geometry, 1e-9).all()
    targets = gpd.read_file(folder / "campaign.gpkg", layer="targets")
    assert list(targets.columns)[: len(contract.TARGETS)] == list(contract.TARGETS)


def test_geopackage_is_sound_and_in_delete_mode(folder):
    connection = sqlite3.connect(folder / "campaign.gpkg")
    assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    connection.close()


def test_layers_without_rows_keep_their_columns(make_bundle, tmp_path):
    GisRenderer().render(make_bundle(barren=True), tmp_path)
    targets = gpd.read_file(tmp_path / "campaign.gpkg", layer="targets")
    assert len(targets) == 0
    assert set(contract.TARGETS) <= set(targets.columns)
    assert json.loads((tmp_path / "targets.geojson").read_text())["features"] == []


def test_geojson_is_longitude_latitude(bundle, folder):
    content = json.loads((folder / "targets.geojson").read_text("utf-8"))
    back = gpd.GeoDataFrame.from_features(content["features"], crs="EPSG:4326")
    back = back.to_crs(bundle.info.crs)
    areas = bundle.targets.targets.geometry.area.to_numpy()
    np.testing.assert_allclose(back.geometry.area, areas, rtol=1e-4)


def test_gpx_has_the_name_before_the_comment(folder):
    root = ET.parse(folder / "targets.gpx").getroot()
    space = "{http://www.topografix.com/GPX/1/1}"
    for point in root.iter(f"{space}wpt"):
        tags = [child.tag.removeprefix(space) for child in point]
        assert tags == ["name", "cmt", "desc", "sym"]
        assert -90 <= float(point.get("lat")) <= 90


def test_surface_reads_back_with_unit_and_nodata(bundle, folder):
    surface = bundle.surfaces[0]
    with rasterio.open(folder / "surfaces" / f"{surface.name}.tif") as grid:
        assert grid.crs.to_epsg() == int(bundle.info.crs.split(":")[1])
        assert grid.units[0] == surface.unit
        values = grid.read(1, masked=True)
        np.testing.assert_array_equal(values.mask, ~np.isfinite(surface.values))
        np.testing.assert_allclose(
            values.compressed(), surface.values[np.isfinite(surface.values)], rtol=1e-6
        )
        assert grid.xy(0, 0) == (
            surface.west + surface.cell / 2, surface.north - surface.cell / 2
        )  # fmt: skip


def test_styles_name_layers_and_columns_that_exist(folder):
    space = {"s": "http://www.opengis.net/sld", "o": "http://www.opengis.net/ogc"}
    layers = set(pyogrio.list_layers(folder / "campaign.gpkg")[:, 0])
    styles = sorted((folder / "styles").glob("*.sld"))
    assert len(styles) > 5
    for path in styles:
        root = ET.parse(path).getroot()
        layer = root.find("s:NamedLayer/s:Name", space).text
        assert layer in layers
        fields = set(pyogrio.read_info(folder / "campaign.gpkg", layer=layer)["fields"])
        assert {e.text for e in root.iter(f"{{{space['o']}}}PropertyName")} <= fields


def test_tables_read_back_with_their_kinds(bundle, folder):
    results = pyogrio.read_dataframe(folder / "campaign.gpkg", layer="results")
    given = bundle.survey.results
    assert len(results) == len(given)
    np.testing.assert_array_equal(results["value"], given["value"])
    assert results["below"].dtype == bool
    assert results["below"].tolist() == given["below"].tolist()
    known = given["date_read"].notna().to_numpy()
    read = results["date_read"].dt.tz_localize(None).to_numpy()
    np.testing.assert_array_equal(
        read[known].astype("M8[s]"), given["date_read"].to_numpy()[known].astype("M8[s]")
    )
    info = pyogrio.read_info(folder / "campaign.gpkg", layer="results")
    assert info["features"] == len(given)
