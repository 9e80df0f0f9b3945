"""Sheets: text that is there, pages that are filled, files that read back equal."""

from __future__ import annotations

import csv
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pytest

from geochem.outputs import cautions

POSITIONS_M = 0.02  # GPX keeps seven to nine decimals of a degree


def text_of(path):
    from pypdf import PdfReader

    reader = PdfReader(path)
    return [" ".join(page.extract_text().split()) for page in reader.pages], reader


def test_field_sheet_says_what_the_crew_needs(folder, content):
    pages, reader = text_of(folder / "field_sheet.pdf")
    whole = " ".join(pages)
    for row in content.day.itertuples():
        assert row.sample_id in whole
        assert row.point in whole
        assert f"{row.easting:.0f}" in whole
    assert "S0044" in whole
    # limits of the preparation (common practice, no source)
    for limit in ("under 2 cm", "Under 8 mm", "250 µm", "5 mL", "7 to 10 mL", "half filled",
                  "One firm press", "between samples"):  # fmt: skip
        assert limit in pages[-1]
    for caution in cautions.FIELD:
        assert caution in pages[0]
        assert caution in pages[-1]
    assert "EPSG:32735" in pages[0]
    assert "grid north" in pages[0]
    assert "true 0.4° E" in pages[0]
    for number, page in enumerate(pages, 1):
        assert f"page {number} of {len(pages)}" in page
    width, height = reader.pages[0].mediabox[2:]
    assert (float(width), float(height)) == pytest.approx((841.89, 595.28), abs=0.1)  # A4, ISO 216


def test_field_sheet_is_black_and_white(folder, tmp_path):
    if shutil.which("pdftoppm") is None:
        pytest.skip("no pdftoppm")
    from PIL import Image

    subprocess.run(
        ["pdftoppm", "-r", "50", "-png", str(folder / "field_sheet.pdf"), str(tmp_path / "p")],
        check=True,
    )
    pages = sorted(tmp_path.glob("*.png"))
    assert len(pages) == 4
    for page in pages:
        pixels = np.asarray(Image.open(page).convert("RGB"), dtype=int)
        assert np.abs(pixels - pixels[..., :1]).max() <= 2
        ink = (pixels[..., 0] < 128).mean()
        assert 0.005 < ink < 0.2
        # nothing runs off the page
        edge = np.concatenate([pixels[:8].ravel(), pixels[-8:].ravel(), pixels[:, :8].ravel(),
                               pixels[:, -8:].ravel()])  # fmt: skip
        assert edge.min() > 200


def test_note(folder):
    pages, _ = text_of(folder / "plan.pdf")
    whole = " ".join(pages)
    for words in ("square grid", "this plan", "60 x 60 m", "90.0 %", "M = 12 g", "field duplicate",
                  "2 of 30 read", "neither says that there is one", cautions.RESULTS[0][:60]):  # fmt: skip
        assert words in whole


def test_nothing_that_leaves_the_office_tells_a_control(folder):
    outside = [p for p in folder.glob("*") if p.suffix == ".csv"]
    for path in outside:
        head = path.read_text("utf-8").splitlines()[0].split(",")
        assert not {"role", "parent", "standard"} & set(head), path.name
    assert (folder / "office" / "crosswalk.csv").exists()
    assert (folder / "office" / "ids_key.csv").exists()


def test_points_read_back_equal(folder, content):
    import geopandas as gpd

    want = content.layout
    package = gpd.read_file(folder / "layout.gpkg", layer="layout")
    assert package["planned_id"].tolist() == want["planned_id"].tolist()
    assert package.crs.equals(want.crs)
    assert package.geometry.geom_equals_exact(want.geometry, 1e-9).all()
    waypoints = gpd.read_file(folder / "layout.gpx", layer="waypoints").to_crs(want.crs)
    assert waypoints["name"].tolist() == want["planned_id"].tolist()
    off = np.hypot(waypoints.geometry.x - want["easting"], waypoints.geometry.y - want["northing"])
    assert off.max() < POSITIONS_M
    day = gpd.read_file(folder / "field_points.gpx", layer="waypoints")
    assert day["name"].tolist() == content.day["sample_id"].tolist()


def test_layout_is_a_plan_that_the_run_reads(folder, content):
    from geochem.read.lists import read_plan

    plan, findings = read_plan(folder / "layout.csv")
    assert not findings
    assert plan["planned_id"].tolist() == content.layout["planned_id"].tolist()
    assert np.allclose(plan["easting"], content.layout["easting"])


def test_the_filled_sheet_is_a_field_log(folder, content, tmp_path):
    """What the crew fills in on a tablet is read as it stands; the planned place is no position."""
    import pandas as pd

    from geochem.read.field_log import read_field_log

    sheet = pd.read_csv(folder / "field_sheet.csv", dtype=object)
    sheet["easting"] = content.day["easting"] + 3
    sheet["northing"] = content.day["northing"] - 4
    sheet["medium"], sheet["horizon"], sheet["date"] = "soil", "B", "2026-03-21"
    sheet.to_csv(tmp_path / "log.csv", index=False)
    log = read_field_log(tmp_path / "log.csv").frame
    assert log["sample_id"].tolist() == content.day["sample_id"].tolist()
    assert log["planned_id"].tolist() == content.day["point"].tolist()
    assert np.allclose(log["x"], content.day["easting"] + 3)
    assert np.allclose(log["y"], content.day["northing"] - 4)
    assert set(log["horizon"]) == {"B"}


def test_workbook_and_armed_cells(folder):
    from openpyxl import load_workbook

    book = load_workbook(folder / "submission.xlsx", read_only=True)
    rows = list(book["submission"].values)
    book.close()
    assert rows[0] == ("order", "sample_id", "material")
    assert rows[2] == (2, "'=S0009", "pulp")
    with (folder / "submission.csv").open(encoding="utf-8", newline="") as stream:
        assert list(csv.reader(stream))[2][1] == "'=S0009"


def test_labels_hold_the_id(content, tmp_path):
    pytest.importorskip("segno", reason="the extra 'plan' is not installed")
    from geochem.outputs.sheets.labels import write_labels

    ids = list(content.key["sample_id"])
    pages, _ = text_of(write_labels(ids, content.info, tmp_path / "labels.pdf"))
    assert len(pages) == 2
    assert all(i in " ".join(pages) for i in ids)


def test_without_the_extra_a_sentence(content, tmp_path, monkeypatch):
    import sys

    from geochem.errors import MissingExtra
    from geochem.outputs.sheets.labels import write_labels

    monkeypatch.setitem(sys.modules, "segno", None)
    with pytest.raises(MissingExtra, match=r"geochem\[plan\]"):
        write_labels(["S1"], content.info, tmp_path / "labels.pdf")


def test_same_plan_same_bytes(content, folder, tmp_path):
    from geochem.outputs.sheets.writer import write_sheets

    write_sheets(content, tmp_path)
    for name in ("layout.csv", "ids.csv", "chance_and_cost.png", "field_sheet.csv"):
        assert (tmp_path / name).read_bytes() == (folder / name).read_bytes(), name


def test_one_point_and_no_start(content, tmp_path):
    from geochem.outputs.sheets.field_sheet import write_field_sheet

    one = replace(content, day=content.day.head(1), start=None, around={})
    pages, _ = text_of(write_field_sheet(one, tmp_path / "one.pdf"))
    assert len(pages) == 3


def test_follow_up_and_holes_of_a_run_read_back_equal(bundle, tmp_path):
    import geopandas as gpd
    import pandas as pd

    from geochem.outputs.gis.renderer import GisRenderer
    from geochem.outputs.tables.renderer import TablesRenderer

    GisRenderer().render(bundle, tmp_path)
    TablesRenderer().render(bundle, tmp_path, workbook=False)
    follow = bundle.targets.follow_up.sort_values(["order", "point"], kind="stable")
    assert len(follow)
    gpx = gpd.read_file(tmp_path / "follow_up.gpx", layer="waypoints").to_crs(follow.crs)
    assert gpx["name"].tolist() == follow["point"].tolist()
    off = np.hypot(gpx.geometry.x - follow["easting"].to_numpy(),
                   gpx.geometry.y - follow["northing"].to_numpy())  # fmt: skip
    assert off.max() < POSITIONS_M
    for name, frame in (("follow_up", bundle.targets.follow_up), ("holes", bundle.targets.holes)):
        table = pd.read_csv(tmp_path / f"{name}.csv")
        layer = gpd.read_file(tmp_path / "campaign.gpkg", layer=name)
        assert len(frame) == len(table) == len(layer) > 0
        key = "point" if name == "follow_up" else "hole"
        assert table[key].tolist() == layer[key].tolist() == frame[key].tolist()
        assert np.allclose(table["easting"], frame["easting"], atol=0.051)
        assert np.allclose(layer.geometry.x, frame.geometry.x, atol=1e-6)
        if name == "holes":
            for column in ("azimuth", "dip", "length"):
                assert np.allclose(table[column], frame[column], equal_nan=True)
            assert table["north"].tolist() == frame["north"].tolist()
