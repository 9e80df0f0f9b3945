"""A new campaign file is whole, commented and, once filled in, accepted."""

from __future__ import annotations

import tomllib

import geopandas as gpd
import pytest
from shapely.geometry import box

from geochem.anomalies.presets import presets, read_presets
from geochem.campaign.settings import check_settings
from geochem.campaign.starter import start_campaign
from geochem.errors import DataRefused


def test_blank_sheets(tmp_path):
    started = start_campaign(tmp_path / "grid_a")
    names = sorted(p.name for p in (tmp_path / "grid_a").iterdir())
    assert names == [
        "associations.toml", "campaign.toml", "field_log.csv", "readings.csv", "standards.csv",
    ]  # fmt: skip
    assert read_presets(tmp_path / "grid_a" / "associations.toml") == presets()
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


def _settings(started, **more):
    raw = tomllib.loads(started.campaign_file.read_text("utf-8"))
    return check_settings({**raw, **more}, started.campaign_file)


def test_what_inspect_understood_is_written_down(tmp_path):
    (tmp_path / "log.csv").write_text(
        'Sample No;Rechts"wert;Northing;QC Type\nA1;500000,5;8000000,5;\nA2;500010,5;8000000,5;Std\n'
    )
    (tmp_path / "lab.csv").write_text("Sample No;Cu ppm\nA1;30,5\nA2;<1,5\n")
    started = start_campaign(tmp_path / "new", [tmp_path / "log.csv", tmp_path / "lab.csv"])
    settings = _settings(started, crs="EPSG:32735")
    assert settings.tables["assays"][0]["decimal"] == ","
    assert settings.tables["assays"][0]["columns"] == {"id": "Sample No"}
    assert any("medium" in m for m in started.messages)
    assert "TO FILL IN" in started.campaign_file.read_text("utf-8")


def test_a_started_campaign_reads_what_inspect_read(tmp_path):
    from geochem.campaign.wiring_inputs import read_inputs

    (tmp_path / "log.csv").write_text(
        "Probe 'A' \"x\",East,North,Zone,medium\n" + "".join(
            f"A{i},{500000 + i * 100},8000000,35K,soil\n" for i in range(4)
        )
    )  # fmt: skip
    (tmp_path / "lab.csv").write_text(
        "Sample,Method,Cu ppm\nA0,4A,30\nA1,4A,31\nA2,AR,12\nA3,AR,13\n"
    )
    started = start_campaign(tmp_path / "new", [tmp_path / "log.csv", tmp_path / "lab.csv"])
    assert any("UTM zone" in m and "log.csv" in m for m in started.messages)
    settings = _settings(started)
    assert settings.top["crs"] == "EPSG:32735"
    settings.tables["samples"][0]["columns"]["id"] = "Probe 'A' \"x\""
    outputs, _ = read_inputs(settings, until=None)
    assert outputs["field_log"]["sample_id"].tolist() == ["A0", "A1", "A2", "A3"]
    assert set(outputs["assays"][0].results["assay"]) == {"lab_4a", "lab_ar"}


def test_waypoints_are_a_field_log_and_choose_the_zone(tmp_path):
    points = gpd.GeoDataFrame(
        {"name": ["W1", "W2"], "ele": [1200.0, 1210.0]},
        geometry=gpd.points_from_xy([26.5, 26.6], [-12.5, -12.6]), crs="EPSG:4326",
    )  # fmt: skip
    points.to_file(tmp_path / "walk.gpx", driver="GPX", layer="waypoints")
    started = start_campaign(tmp_path / "new", [tmp_path / "walk.gpx"])
    settings = _settings(started)
    assert settings.top["crs"] == "EPSG:32735"
    assert settings.tables["samples"][0]["path"] == "../walk.gpx"


def test_a_grid_and_control_names_reach_the_reader(tmp_path):
    from geochem.campaign.settings import read_campaign
    from geochem.campaign.wiring_inputs import read_inputs

    (tmp_path / "log.csv").write_text("id,x,y,medium\nA1,0,100,soil\nSTD-1,,,\nA1-D,0,100,soil\n")
    (tmp_path / "pegs.csv").write_text(
        "local_x,local_y,easting,northing\n0,0,500000,8000000\n0,1000,501000,8000000\n"
    )
    (tmp_path / "campaign.toml").write_text(
        'title = "t"\ncrs = "EPSG:32735"\n[[samples]]\npath = "log.csv"\nlocal_grid = "pegs.csv"\n'
        'controls = { "STD*" = "standard", "*-D" = "field_duplicate" }\n'
    )
    outputs, findings = read_inputs(read_campaign(tmp_path), until=None)
    log = outputs["field_log"].set_index("sample_id")
    assert log.loc["A1", "x"] == pytest.approx(500100)
    assert log.loc["A1", "y"] == pytest.approx(8000000)
    assert log["role"].to_dict() == {"A1": None, "STD-1": "standard", "A1-D": "field_duplicate"}
    assert log.loc["A1-D", "parent"] == "A1"
    assert log.loc["STD-1", "standard"] == "STD"
    assert tmp_path / "pegs.csv" in outputs["inputs"]
    assert {"local-grid", "controls-by-name"} <= {f.code for f in findings}
