"""`geochem plan` from the campaign file to the folder."""

from __future__ import annotations

import json

import numpy as np
import pytest

from geochem.campaign.planner import plan, plan_lines
from geochem.errors import DataRefused, WrongCall

CRS = "EPSG:32735"
HEAD = f'title = "New ground (invented)"\ncrs = "{CRS}"\nseed = 3\n'


@pytest.fixture
def campaign(tmp_path):
    """Start a campaign with a boundary, a piece kept out, and no sample yet."""
    import geopandas as gpd
    import shapely

    licence = shapely.box(500000, 7000000, 502000, 7001500)
    gpd.GeoDataFrame(geometry=[licence], crs=CRS).to_crs(4326).to_file(
        tmp_path / "licence.geojson"
    )
    hill = shapely.Point(500600, 7000600).buffer(150)
    gpd.GeoDataFrame(geometry=[hill], crs=CRS).to_file(tmp_path / "hill.gpkg")
    (tmp_path / "log.csv").write_text("sample_id,easting,northing,planned_id,role\n")

    def write(planning, *, layers='boundary = "licence.geojson"\nkeep_out = "hill.gpkg"', more=""):
        text = (
            f'{HEAD}[[samples]]\npath = "log.csv"\nmedium = "soil"\n{more}\n[layers]\n{layers}\n'
        )
        (tmp_path / "campaign.toml").write_text(text + f"[planning]\n{planning}\n")
        return tmp_path

    return write


GRID = (
    'layout = "staggered"\nline_spacing = 200\nstation_spacing = 50\nstandards = ["LOW", "HIGH"]'
)


def test_before_the_first_sample(campaign):
    folder = campaign(
        GRID
        + '\nazimuth = 30\nnorth = "true"\nbody = { length = 200, width = 80, azimuth = 120 }\n'
        "halo = { contrast = 5 }\ncost = { sample = 10, day = 900 }\n"
        "start = { easting = 500000, northing = 7000000 }"
    )
    result = plan(folder)
    names = {
        p.relative_to(result.folder).as_posix() for p in result.folder.rglob("*") if p.is_file()
    }
    assert {"layout.csv", "layout.gpx", "layout.gpkg", "layout.xlsx", "ids.csv", "plan.pdf",
            "field_sheet.pdf", "field_points.gpx", "office/ids_key.csv", "run.json"} <= names  # fmt: skip
    assert not any("submission" in n for n in names)
    record = json.loads((result.folder / "run.json").read_text("utf-8"))
    assert set(record["files"]) == names - {"run.json"}
    layout = result.content.layout
    assert len(layout) == pytest.approx((2000 * 1500 - np.pi * 150**2) / (200 * 50), rel=0.1)
    hill = np.hypot(layout["easting"] - 500600, layout["northing"] - 7000600)
    assert hill.min() > 149
    facts = dict(result.content.layout_facts)
    assert facts["Azimuth of the lines"].startswith("30° from true north")
    # the body crosses the lines at right angles: its length decides, and that is exact
    assert "exact)" in facts["Chance of a point inside"]
    lines = "\n".join(plan_lines(result))
    assert "office/" in lines
    assert "km to walk" not in lines
    day = result.content.day
    assert day["sample_id"].notna().all()
    assert len(day) == 40
    # the same call gives the same points, ids and order
    again = plan(folder)
    for part in ("layout", "key", "analysis", "day"):
        assert getattr(again.content, part).equals(getattr(result.content, part))


def test_spacing_is_found_from_a_probability(campaign):
    folder = campaign(
        'layout = "square"\nprobability = 0.9\nbody = { length = 200, width = 200 }\n'
        'standards = ["LOW"]'
    )
    content = plan(folder).content
    # circle: 0.9 at r/G = 0.5575 (closed formula), so G = 179 m
    assert dict(content.layout_facts)["Spacing"] == "179 m"


def test_gaps_follow_the_log(campaign):
    rows = ["S0001,500000,7000000,P1,", "S0002,500105,7000000,P2,", "S0003,0,0,,blank"]
    folder = campaign('standards = ["LOW"]', more='[plan]\npath = "plan.csv"')
    (folder / "log.csv").write_text(
        "sample_id,easting,northing,planned_id,role\n" + "\n".join(rows) + "\n"
    )
    points = [f"P{i},{500000 + 100 * (i - 1)},7000000" for i in range(1, 13)]
    (folder / "plan.csv").write_text("planned_id,easting,northing\n" + "\n".join(points) + "\n")
    content = plan(folder).content
    assert content.gaps["state"].tolist() == ["sampled"] * 2 + ["gap"] * 10
    assert set(content.day["point"]) == {f"P{i}" for i in range(3, 13)}
    # the series of the log goes on
    assert content.key["sample_id"].iloc[0] == "S0004"
    assert content.layout is None


def test_refusals_are_sentences(campaign):
    cases = {
        GRID + "\nazimuth = 30": "does not say from which north",
        GRID + "\ncontrols = { standard = 3.0 }": "more controls than samples",
        GRID + "\ncontrols = { standart = 0.1 }": "Did you mean 'standard'",
        'layout = "stagered"': "Did you mean 'staggered'",
        'layout = "square"': "needs line_spacing in metres",
        'layout = "square"\nprobability = 0.9': "needs a body",
        'layout = "square"\nline_spacing = 50\nbody = { length = 10, with = 5 }': "unknown key 'with'",
        GRID + "\npoints_per_day = 0": "between 1 and 300, got 0",
        GRID + "\nstart = { easting = nan, northing = 1 }": "must be numbers of metres",
        GRID + "\nbody = { length = 9, width = 5 }\nhalo = { contrast = 5, decay = 3 }": "decay must",
        GRID + "\nbody = { length = 9, width = 5 }\nhalo = { contrast = 5, least = 1.5 }": "whole",
        GRID + "\nbody = { length = 5, width = 9 }": "length the larger one",
        'layout = "ridges"\nstation_spacing = 50': "needs lines to follow",
        'layout = "square"\nline_spacing = 50\nmass = { mineral_share = 0.1 }': "missing",
    }  # fmt: skip
    for planning, words in cases.items():
        folder = campaign(planning)
        with pytest.raises(WrongCall, match=words):
            plan(folder)
        assert not (folder / "plan").exists()
    with pytest.raises(WrongCall, match="name a boundary"):
        plan(campaign(GRID, layers=""))
    with pytest.raises(DataRefused, match="nothing is left of the boundary"):
        plan(campaign(GRID, layers='boundary = "licence.geojson"\nkeep_out = "licence.geojson"'))
    with pytest.raises(DataRefused, match="nothing to plan yet"):
        plan(campaign(""))


def test_boundary_in_degrees_that_says_metres(campaign):
    import geopandas as gpd

    folder = campaign(GRID, layers='boundary = "wrong.gpkg"')
    frame = gpd.read_file(folder / "licence.geojson").set_crs(CRS, allow_override=True)
    frame.to_file(folder / "wrong.gpkg")
    with pytest.raises(DataRefused, match="these are degrees, but its file says"):
        plan(folder)


def test_folder_that_cannot_be_replaced(campaign, monkeypatch):
    """On Windows a folder with an open file cannot be renamed; the new plan then stands beside."""
    from pathlib import Path

    folder = campaign(GRID)
    first = plan(folder)
    mine = first.folder / "my notes.txt"
    mine.write_text("mine")
    assert plan(folder).folder == first.folder
    assert mine.read_text() == "mine"
    rename = Path.rename

    def locked(self, target):
        if self.name == "plan":
            raise PermissionError(13, "in use")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", locked)
    beside = plan(folder)
    assert beside.folder.name.startswith("plan-")
    assert "close the programs" in beside.messages[0]


def test_the_command(campaign, capsys):
    from geochem.cli.main import main

    folder = campaign(GRID)
    with pytest.raises(SystemExit) as done:
        main(["plan", str(folder), "--out", str(folder / "elsewhere")])
    assert done.value.code == 0
    assert "Points:" in capsys.readouterr().out
    assert (folder / "elsewhere" / "plan.pdf").exists()
    with pytest.raises(SystemExit) as done:
        main(["plan", str(campaign(GRID + "\nazimuth = 30"))])
    assert done.value.code == 2
    assert "from which north" in capsys.readouterr().err


@pytest.mark.slow
def test_ten_thousand_points(campaign):
    folder = campaign(
        'layout = "square"\nline_spacing = 17\nstandards = ["LOW"]\n'
        "body = { length = 40, width = 20 }\nhalo = { contrast = 5 }"
    )
    content = plan(folder).content
    assert len(content.layout) > 10_000
    assert content.layout["planned_id"].is_unique


def test_dispatch_and_orientation_from_readings(campaign):
    rng = np.random.default_rng(6)
    log, readings = [], []
    for i in range(1, 121):
        over = i % 4 == 0
        side = "mineralised" if over else "background"
        log.append(
            f"S{i * 3:04d},{500000 + 50 * (i % 12)},{7000000 + 50 * (i // 12)},P{i},,{side}"
        )
        cu = 30 * (5 if over else 1) * 10 ** (0.15 * rng.standard_normal())
        zn = 60 * 10 ** (0.2 * rng.standard_normal())
        readings.append(f"S{i * 3:04d},K-1,{cu:.1f},{0.05 * cu:.1f},{zn:.1f},{0.05 * zn:.1f}")
    folder = campaign(
        'standards = ["LOW", "HIGH"]\ndispatch_share = 0.2\n'
        'orientation = { column = "setting" }\n'
        '[targets]\nseek = ["Cu", "Au"]',
        more='[[assays]]\npath = "readings.csv"\nsource = "pxrf"\nsigma = 1',
    )
    head = "sample_id,easting,northing,planned_id,role,setting\n"
    (folder / "log.csv").write_text(head + "\n".join(log) + "\n")
    head = "Sample,Instrument,Cu ppm,Cu +/-,Zn ppm,Zn +/-\n"
    (folder / "readings.csv").write_text(head + "\n".join(readings) + "\n")
    result = plan(folder)
    content = result.content
    facts = dict(content.dispatch_facts)
    assert facts["Samples"] == "24 of 120 read"
    # gold is beyond the instrument and chooses nothing
    assert facts["Elements"] == "Cu"
    roles = content.crosswalk["role"].value_counts()
    assert roles["routine"] == 24
    assert roles["standard"] >= 1
    assert roles["umpire"] == 1
    own = {row.split(",")[0] for row in log}
    assert set(content.sheet["sample_id"]) - own == set(
        content.crosswalk.loc[
            (content.crosswalk["role"] != "routine")
            & (content.crosswalk["laboratory"] == "first"),
            "sample_id",
        ]
    )
    best = content.orientation.loc[content.orientation["rank"] == 1].set_index("element")
    assert best.loc["Cu", "contrast"] == pytest.approx(5, rel=0.3)
    assert best.loc["Cu", "above_background"] > 0.95 > 0.7 > best.loc["Zn", "above_background"]
    # the list of controls is a field log: they are known when their results come
    from geochem.campaign.checking import check

    controls = 'path = "plan/office/dispatch_controls.csv"'
    campaign(
        "", more=f'[[assays]]\npath = "readings.csv"\nsource = "pxrf"\n[[samples]]\n{controls}'
    )
    with (folder / "readings.csv").open("a") as stream:
        for row in content.crosswalk.loc[content.crosswalk["role"] != "routine"].itertuples():
            stream.write(f"{row.sample_id},K-1,50.0,2.0,60.0,3.0\n")
    result = check(folder)
    assert result.usable
    assert len(result.survey.samples) == 120
    known = result.survey.controls.drop_duplicates("sample_id").set_index("sample_id")["role"]
    want = content.crosswalk.loc[content.crosswalk["role"] != "routine"].set_index("sample_id")
    assert known.sort_index().to_dict() == want["role"].sort_index().to_dict()
