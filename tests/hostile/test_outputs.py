"""Hostile text in the data stays text in every output."""

from __future__ import annotations

import csv
import json
import re
import sqlite3
import xml.etree.ElementTree as ET
import zipfile
from pathlib import Path

import pytest

CHROMIUM = ("/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome")
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
RESERVED = {"con", "prn", "aux", "nul", *(f"{p}{i}" for p in ("com", "lpt") for i in range(10))}


def test_nothing_was_written_elsewhere_and_no_name_comes_from_the_data(hostile):
    around = hostile.folder.parent
    assert {p.name for p in around.parent.iterdir()} == {"campaign"}
    assert {p.name for p in around.iterdir()} <= {
        "campaign.toml", "field_log.csv", "readings.csv", "results", "history", ".stages",
    }  # fmt: skip
    for path in hostile.folder.rglob("*"):
        assert re.fullmatch(r"[A-Za-z0-9_.-]+", path.name), path.name
        assert path.stem.lower() not in RESERVED


def test_every_hostile_id_came_through(hostile):
    samples = hostile.bundle.survey.samples
    assert len(samples) == 120
    with (hostile.folder / "samples.csv").open(encoding="utf-8-sig", newline="") as stream:
        assert len(list(csv.DictReader(stream))) == 120


@pytest.mark.published
def test_no_spreadsheet_would_run_a_cell(hostile):
    # OWASP, "CSV Injection": cells that begin with = + - @ or tab
    import openpyxl

    for path in sorted(hostile.folder.glob("*.csv")):
        with path.open(encoding="utf-8-sig", newline="") as stream:
            for row in csv.reader(stream):
                for cell in row:
                    if cell.startswith(("=", "+", "-", "@", "\t")):
                        float(cell)  # a number may begin with its sign
    book = openpyxl.load_workbook(hostile.folder / "samples.xlsx")
    for sheet in book.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type != "f", f"{sheet.title} {cell.coordinate}"


def test_pages_hold_no_markup_of_the_data(hostile):
    for name in ("index.html", "report.html", "map.html"):
        page = (hostile.folder / name).read_text("utf-8")
        # inside the data block of the map, < is written as an escape
        assert "<script>window" not in page, name
        assert "<img src=x" not in page, name
        assert "<svg/onload" not in page, name
        assert "</script><script>window" not in page, name


@pytest.mark.browser
def test_no_page_runs_the_data(hostile):
    sync = pytest.importorskip("playwright.sync_api")
    program = next((p for p in CHROMIUM if Path(p).exists()), None)
    if program is None:
        pytest.skip("there is no Chromium here")
    with sync.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program, args=FLAGS)
        try:
            page = browser.new_page()
            asked = []
            page.on("request", lambda r: asked.append(r.url))
            page.on("dialog", lambda d: (asked.append("dialog"), d.dismiss()))
            for name in ("index.html", "report.html", "map.html"):
                page.goto((hostile.folder / name).as_uri())
                page.wait_for_load_state("load")
                assert page.evaluate("typeof window.pwned") == "undefined", name
            for box in page.locator("#layers input").all():
                box.click()
            assert page.evaluate("typeof window.pwned") == "undefined"
            assert [u for u in asked if not u.startswith(("file:", "data:", "blob:"))] == []
        finally:
            browser.close()


def test_structured_files_are_whole(hostile):
    for path in hostile.folder.rglob("*"):
        if path.suffix in {".gpx", ".sld"}:
            ET.parse(path)
        elif path.suffix in {".geojson", ".json"}:
            json.loads(path.read_text("utf-8"))
        elif path.suffix in {".xlsx", ".pptx"}:
            with zipfile.ZipFile(path) as archive:
                assert archive.testzip() is None
                for part in archive.namelist():
                    if part.endswith((".xml", ".rels")):
                        ET.fromstring(archive.read(part))
    with sqlite3.connect(hostile.folder / "campaign.gpkg") as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    database.close()


def test_documents_open(hostile):
    from pptx import Presentation

    pypdf = pytest.importorskip("pypdf")
    assert len(Presentation(hostile.folder / "slides.pptx").slides) > 2
    pages = pypdf.PdfReader(hostile.folder / "report.pdf").pages
    assert len(pages) > 2
    text = "".join(p.extract_text() for p in pages)
    assert "\x1b" not in text


@pytest.mark.parametrize(
    "prefix", ["=cmd|x", "<script>window.pwned=1</script>", "../../x", "P\x01"]
)
def test_a_plan_holds_no_formula_and_writes_nowhere_else(tmp_path, hostile_campaign, prefix):
    import geopandas as gpd
    import openpyxl
    from shapely import box

    from geochem.campaign.planner import plan

    path = hostile_campaign(tmp_path / "campaign")
    area = box(499_000, 6_999_000, 502_000, 7_002_000)
    names = {"name": ["=1+1<b>"], "reason": ["@SUM(1)\x1b[31m"]}
    for name in ("boundary", "keep_out"):
        one = area if name == "boundary" else area.centroid.buffer(50)
        gpd.GeoDataFrame(names, geometry=[one], crs="EPSG:32735").to_file(
            path.parent / f"{name}.geojson", driver="GeoJSON"
        )
    with path.open("a", encoding="utf-8") as stream:
        stream.write(
            '\n[layers]\nboundary = "boundary.geojson"\nkeep_out = "keep_out.geojson"\n[planning]\n'
            'layout = "rectangular"\nline_spacing = 300\nstation_spacing = 100\nazimuth = 0\n'
            f'north = "grid"\nprefix = {json.dumps(prefix)}\n'
        )
    before = {p.name for p in path.parent.iterdir()}
    folder = plan(path).folder
    assert {p.name for p in path.parent.iterdir()} == before | {"plan"}
    assert {p.name for p in tmp_path.iterdir()} == {"campaign"}
    tables = sorted(folder.rglob("*.csv"))
    assert len(tables) > 3
    for table in tables:
        with table.open(encoding="utf-8-sig", newline="") as stream:
            for row in csv.reader(stream):
                for cell in row:
                    if cell.startswith(("=", "+", "-", "@", "\t")):
                        float(cell)
    for book in folder.rglob("*.xlsx"):
        for sheet in openpyxl.load_workbook(book).worksheets:
            assert all(c.data_type != "f" for row in sheet.iter_rows() for c in row)
    for gpx in folder.rglob("*.gpx"):
        ET.parse(gpx)
