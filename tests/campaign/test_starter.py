"""A new campaign file is whole, commented and, once filled in, accepted."""

from __future__ import annotations

import tomllib

import geopandas as gpd
import pytest
from shapely.geometry import box

from geochem.campaign.settings import check_settings
from geochem.campaign.starter import start_campaign
from geochem.errors import DataRefused


def test_blank_sheets(tmp_path):
    started = start_campaign(tmp_path / "grid_a")
    names = sorted(p.name for p in (tmp_path / "grid_a").iterdir())
    assert names == ["campaign.toml", "field_log.csv", "readings.csv", "standards.csv"]
    raw = tomllib.loads(started.campaign_file.read_text("utf-8"))
    assert raw["title"] == "grid a"
    settings = check_settings({**raw, "crs": "EPSG:32735"}, started.campaign_file)
    assert settings.tables["assays"][0]["name"] == "xrf"
    assert any("crs" in m for m in started.messages)


def test_an_existing_campaign_is_never_overwritten(tmp_path):
    start_campaign(tmp_path)
    with pytest.raises(DataRefused, match="not overwritten"):
        start_campaign(tmp_path)


def test_files_are_recognised(tmp_path):
    data = tmp_path / "data"
    data.mkdir()
    (data / "log.csv").write_text("sample_id,easting,northing,medium\nA1,500000,8000000,soil\n")
    (data / "shots.csv").write_text("Sample,Instrument,Cu ppm,Cu +/-\nA1,X1,30,4\nA1,X1,31,4\n")
    (data / "lab.csv").write_text("Sample,Cu ppm,Au ppb\nA1,30,5\nA2,31,<1\n")
    (data / "crm.csv").write_text("standard,element,certified,sd,unit\nS1,Cu,50,2,ppm\n")
    gpd.GeoDataFrame({"unit": ["schist"]}, geometry=[box(0, 0, 1, 1)], crs="EPSG:32735").to_file(
        data / "geology_map.gpkg"
    )
    files = [data / n for n in ("log.csv", "shots.csv", "lab.csv", "crm.csv", "geology_map.gpkg")]
    started = start_campaign(tmp_path / "new", files)
    settings = check_settings(
        tomllib.loads(started.campaign_file.read_text("utf-8")), started.campaign_file
    )
    assert [s["path"] for s in settings.tables["samples"]] == ["../data/log.csv"]
    assert [(a["name"], a["source"]) for a in settings.tables["assays"]] == [
        ("xrf", "pxrf"), ("lab", "laboratory"),
    ]  # fmt: skip
    assert settings.tables["standards"]["path"] == "../data/crm.csv"
    assert settings.layers["geology"]["field"] == "unit"
    assert settings.top["crs"] == "EPSG:32735"
    assert settings.resolve("../data/log.csv") == (data / "log.csv").resolve()


def test_a_missing_file_is_a_sentence(tmp_path):
    with pytest.raises(DataRefused, match="there is no file"):
        start_campaign(tmp_path / "new", [tmp_path / "none.csv"])
