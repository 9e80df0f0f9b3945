"""Exchange files open in independent programs and follow their standards."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest

from geochem.outputs.gis import styles
from geochem.outputs.gis.parquet import write_geoparquet
from geochem.outputs.gis.renderer import GisRenderer

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def folder(bundle, tmp_path_factory):
    made = tmp_path_factory.mktemp("exchange")
    GisRenderer().render(bundle, made, geoparquet="always")
    return made


@pytest.fixture(scope="module")
def schema():
    etree = pytest.importorskip("lxml.etree")
    return etree.XMLSchema(etree.parse(HERE / "sld.xsd"))


@pytest.mark.published
def test_geopackage_follows_its_standard(bundle, folder):
    # OGC GeoPackage Encoding Standard 1.2 to 1.4 (OGC 12-128), requirements 2, 6, 7, 10, 13, 16
    path = folder / "campaign.gpkg"
    with sqlite3.connect(path) as database:
        (application,) = database.execute("PRAGMA application_id").fetchone()
        assert application == 0x47504B47
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert database.execute("PRAGMA foreign_key_check").fetchall() == []
        assert database.execute("PRAGMA journal_mode").fetchone() == ("delete",)
        systems = {r[0] for r in database.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")}
        assert {-1, 0, 4326, int(bundle.info.crs.split(":")[1])} <= systems
        listed = {r[0] for r in database.execute("SELECT table_name FROM gpkg_contents")}
        tables = {r[0] for r in database.execute("SELECT name FROM sqlite_master")}
        assert listed <= tables
        for count, table in database.execute(
            "SELECT feature_count, table_name FROM gpkg_ogr_contents"
        ).fetchall():
            (rows,) = database.execute(f'SELECT count(*) FROM "{table}"').fetchone()
            assert count == rows, table
    database.close()
    assert sorted(p.name for p in folder.glob("campaign.gpkg*")) == ["campaign.gpkg"]


def test_geopackage_opens_in_three_readers(bundle, folder):
    path = folder / "campaign.gpkg"
    n = len(bundle.survey.samples)
    assert len(gpd.read_file(path, layer="samples")) == n
    assert pyogrio.read_info(path, layer="samples")["features"] == n
    ogrinfo = shutil.which("ogrinfo")
    if ogrinfo is None:
        pytest.skip("ogrinfo is not installed")
    for layer in pyogrio.list_layers(path)[:, 0]:
        done = subprocess.run(
            [ogrinfo, "-ro", "-so", str(path), layer], capture_output=True, text=True, check=True
        )
        assert "Warning" not in done.stdout + done.stderr
        info = pyogrio.read_info(path, layer=layer)
        assert f"Feature Count: {info['features']}" in done.stdout


def test_geoparquet_reads_back_equal(bundle, folder):
    pytest.importorskip("pyarrow")
    samples = gpd.read_parquet(folder / "samples.parquet")
    given = bundle.survey.samples
    assert samples.crs == given.crs
    assert samples.geometry.geom_equals_exact(given.geometry, 0).all()
    np.testing.assert_array_equal(samples["Cu_ppm"], given["Cu_ppm"])
    results = pd.read_parquet(folder / "results.parquet")
    assert results["raw"].tolist() == bundle.survey.results["raw"].tolist()
    import json

    import pyarrow.parquet as pq

    about = json.loads(pq.read_schema(folder / "samples.parquet").metadata[b"geo"])
    assert about["version"].startswith("1.")
    assert about["primary_column"] == "geometry"


def test_geoparquet_only_when_large(bundle, tmp_path):
    assert write_geoparquet(bundle, tmp_path) == []
    assert write_geoparquet(bundle, tmp_path, "never") == []


def test_styles_follow_the_standard(folder, schema):
    from lxml import etree

    paths = sorted((folder / "styles").glob("*.sld"))
    assert len(paths) > 5
    for path in paths:
        assert schema.validate(etree.parse(path)), f"{path.name}: {schema.error_log.last_error}"


@pytest.mark.parametrize(
    "root",
    [
        styles.graded_style("l", "t", "c", [1.0, 2.0]), styles.graded_style("l", "t", "c", []),
        styles.flag_style("l", "t", "c", ("yes", "no")), styles.raster_style("l", "t", [1.0, 5.0]),
        styles.category_style("l", "t", "c", {1: "Cu <b>", 2: "\x00Au\u202e"}),
    ],
)  # fmt: skip
def test_styles_of_single_layers_follow_the_standard(root, schema, tmp_path):
    from lxml import etree

    path = styles.write_style(root, tmp_path / "x.sld")
    assert schema.validate(etree.parse(path)), schema.error_log.last_error


def test_the_schema_refuses_a_wrong_order(schema):
    from lxml import etree

    root = styles.flag_style("l", "t", "c", ("yes", "no"))
    rule = root.find(".//{http://www.opengis.net/sld}Rule")
    rule[:] = list(rule)[::-1]
    assert not schema.validate(etree.fromstring(ET.tostring(root)))


def test_control_characters_in_names_do_not_break_files(bundle, tmp_path):
    survey = bundle.survey
    ids = survey.samples["sample_id"].tolist()
    ids[0] = "\x01\u202e<&>" + "x" * 10_000
    samples = survey.samples.assign(sample_id=np.array(ids, dtype=object))
    hostile = replace(bundle, survey=replace(survey, samples=samples))
    GisRenderer().render(hostile, tmp_path)
    back = gpd.read_file(tmp_path / "campaign.gpkg", layer="samples")
    assert back["sample_id"].iloc[0] == ids[0]
    for path in tmp_path.rglob("*.sld"):
        ET.parse(path)
