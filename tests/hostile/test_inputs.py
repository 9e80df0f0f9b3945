"""Hostile files are refused in a sentence, quickly and without reading what they point to."""

from __future__ import annotations

import io
import time
import zipfile
from pathlib import Path

import pytest

from geochem.campaign.settings import check_settings
from geochem.errors import DataRefused, GeochemError, WrongCall
from geochem.read.field_log import read_field_log
from geochem.read.inspection import inspect_table
from geochem.read.layers import read_layers
from geochem.read.source_file import check_local, check_table
from geochem.read.workbook import read_workbook

LAUGHS = (
    '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "ha ha ha ha ha ha ha ha ha ha">'
    + "".join(f'<!ENTITY {chr(98 + i)} "{(f"&{chr(97 + i)};") * 10}">' for i in range(9))
    + "]>"
)
OUTSIDE = '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY j SYSTEM "file://{secret}">]>'


def gpx(head: str, name: str) -> str:
    return (
        f'{head}<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
        f'<wpt lat="-26" lon="28"><name>{name}</name></wpt></gpx>'
    )


def kml(head: str, name: str) -> str:
    return (
        f'{head}<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark>'
        f"<name>{name}</name><Point><coordinates>28,-26</coordinates></Point></Placemark>"
        "</Document></kml>"
    )


@pytest.mark.parametrize("ending", [".gpx", ".kml"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_xml_entities_are_refused(tmp_path, ending, encoding):
    make = gpx if ending == ".gpx" else kml
    secret = tmp_path / "secret.txt"
    secret.write_text("TOP-SECRET")
    for head, name in ((LAUGHS, "&j;"), (OUTSIDE.format(secret=secret), "&j;")):
        path = tmp_path / f"places{ending}"
        path.write_bytes((" " * 5000 + make(head, name)).lstrip().encode(encoding))
        start = time.perf_counter()
        for read in (
            lambda p=path: read_field_log(p, campaign_crs="EPSG:32735"),
            lambda p=path: read_layers({"extra": {"path": p, "field": None}}, "EPSG:32735"),
        ):
            with pytest.raises(DataRefused, match="entities") as caught:
                read()
            assert "TOP-SECRET" not in str(caught.value)
        assert time.perf_counter() - start < 5


def workbook(parts: dict[str, bytes]) -> bytes:
    """Make a workbook and put other parts into it."""
    import openpyxl

    book = openpyxl.Workbook()
    book.active.append(["sample_id", "Cu_ppm"])
    book.active.append(["S1", 12])
    first = io.BytesIO()
    book.save(first)
    out = io.BytesIO()
    with zipfile.ZipFile(first) as given, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name in given.namelist():
            if name not in parts:
                made.writestr(name, given.read(name))
        for name, content in parts.items():
            made.writestr(name, content)
    return out.getvalue()


SHEET = "xl/worksheets/sheet1.xml"
HEAD = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'


@pytest.mark.parametrize(
    ("parts", "message"),
    [
        ({SHEET: HEAD + b"<row/>" * 30_000_000}, "unpack"),
        ({"xl/media/filler.bin": b"\0" * 300_000_000}, "unpack"),
        ({SHEET: LAUGHS.encode() + HEAD + b"<row><c t='inlineStr'><is><t>&j;</t></is></c></row>"
          b"</sheetData></worksheet>"}, "entities"),
        ({"xl/sharedStrings.xml": OUTSIDE.format(secret="/etc/passwd").encode() + b"<sst>&j;</sst>"},
         "entities"),
    ],
    ids=["rows", "filler", "laughs", "outside"],
)  # fmt: skip
def test_workbooks_that_would_fill_the_memory(tmp_path, parts, message):
    path = tmp_path / "bomb.xlsx"
    path.write_bytes(workbook(parts))
    assert path.stat().st_size < 2_000_000
    start = time.perf_counter()
    with pytest.raises(DataRefused, match=message):
        read_workbook(path)
    assert time.perf_counter() - start < 10


def test_an_ordinary_workbook_still_opens(tmp_path):
    path = tmp_path / "plain.xlsx"
    path.write_bytes(workbook({"xl/media/photo.bin": b"\0" * 2_000_000}))
    assert inspect_table(path).as_json()["rows"] == 1


@pytest.mark.parametrize(
    "text",
    [
        "http://x/a.csv", "https://x/a.csv", "ftp://x/a.csv", "s3://x/a.csv", "file:///etc/passwd",
        "/vsicurl/http://x/a.gpkg", "/vsizip/a.zip/a.shp", "/vsis3/x/a", "/vsistdin/", "/vsimem/x",
        "\\vsicurl\\http://x", "PG:host=x dbname=y", "MySQL:x,user=y", "WFS:http://x", "//server/x",
        "a.zip", "a.tar.gz", "a.kmz", "a.csv.gz", "zip://a.zip!a.shp", "/vsisubfile/0_10,a",
        "GPKG:a.gpkg:b", "SQLITE:a.db",
    ],
)  # fmt: skip
def test_remote_archive_and_driver_paths_are_refused(text):
    with pytest.raises(DataRefused):
        check_local(text)


@pytest.mark.parametrize(
    "content",
    [
        "<OGRVRTDataSource><OGRVRTLayer name='x'><SrcDataSource>/vsicurl/http://x/a.shp"
        "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
        "<OGRWFSDataSource><URL>http://x</URL></OGRWFSDataSource>",
        "<GDAL_WMS><Service name='TMS'><ServerUrl>http://x</ServerUrl></Service></GDAL_WMS>",
        "<VRTDataset rasterXSize='1' rasterYSize='1'/>",
    ],
)  # fmt: skip
@pytest.mark.parametrize("name", ["a.vrt", "a.gml", "a.geojson", "a.xml", "a.tif"])
def test_documents_that_point_elsewhere_are_refused(tmp_path, name, content):
    path = tmp_path / name
    path.write_text(f'<?xml version="1.0"?>\n{content}')
    with pytest.raises(DataRefused, match="points to other sources"):
        check_local(path)


def test_special_files_are_refused(tmp_path):
    for path in ("/dev/zero", "/dev/stdin"):
        if Path(path).exists():
            with pytest.raises(DataRefused, match="not a plain file"):
                check_table(path)


def settings(tmp_path, **layers):
    raw = {"title": "t", "crs": "EPSG:32735", "samples": [{"path": "log.csv"}], "layers": layers}
    return check_settings(raw, tmp_path / "campaign.toml")


def test_files_outside_the_folder_are_allowed_but_said(tmp_path):
    import geochem
    from geochem.testing import write_example_campaign

    inside, outside = tmp_path / "campaign", tmp_path / "shared"
    path = write_example_campaign(inside, renderers=["tables"])
    outside.mkdir()
    (inside / "readings.csv").rename(outside / "readings.csv")
    path.write_text(path.read_text("utf-8").replace("readings.csv", "../shared/readings.csv"))
    result = geochem.check(path)
    said = [f for f in result.findings if f.code == "outside-folder"]
    assert len(said) == 1
    assert "readings.csv" in said[0].message
    assert said[0].severity == "note"


@pytest.mark.parametrize(
    "text",
    [
        "[" * 5000, "a = " + "[" * 3000, 'title = "t"\n' * 3, "\x00", "title = 1979-05-27",
        'title = "t"\ncrs = "EPSG:32735"\nsamples = 5', "samples = [[[]]]", "﻿\ufeffx=1",
        'crs = "' + "x" * 100_000 + '"', 'title="t"\ncrs="EPSG:32735"\n[samples]\npath=""',
    ],
)  # fmt: skip
def test_strange_campaign_files_are_sentences(tmp_path, text):
    from geochem.campaign.settings import read_campaign

    path = tmp_path / "campaign.toml"
    path.write_bytes(text.encode("utf-8"))

    def use():
        given = read_campaign(path)
        check_table(given.resolve(given.tables["samples"][0]["path"]))

    with pytest.raises(GeochemError) as caught:
        use()
    assert len(str(caught.value)) < 5000


def test_paths_that_none_can_be():
    for text in ("x" * 5000, "a/" * 3000 + "b.csv", "a\0b.csv"):
        with pytest.raises(DataRefused, match="there is no file") as caught:
            check_local(text)
        assert len(str(caught.value)) < 1000


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("bomb.pptx", "would unpack"), ("entity.pptx", "defines entities"),
        ("/vsicurl/http://x/a.pptx", "not a file on this computer"), ("a.zip", "is an archive"),
        ("/dev/zero", "not a plain file"), ("none.pptx", "there is no file"),
        ("y" * 5000, "there is no file"),
    ],
)  # fmt: skip
def test_templates_of_slides_are_checked_before_a_run(tmp_path, name, message):
    import geochem
    from geochem.testing import write_example_campaign

    path = write_example_campaign(tmp_path, renderers=["slides"])
    parts = {
        "bomb.pptx": ("ppt/media/filler.bin", b"\0" * 200_000_000),
        "entity.pptx": ("ppt/presentation.xml", OUTSIDE.format(secret="/etc/passwd").encode()),
    }
    if name in parts:
        with zipfile.ZipFile(tmp_path / name, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(*parts[name])
    if name == "/dev/zero" and not Path(name).exists():
        pytest.skip("no such device here")
    with path.open("a", encoding="utf-8") as stream:
        stream.write(f"\n[outputs.options.slides]\ntemplate_file = '{name}'\n")
    with pytest.raises(WrongCall, match=message):
        geochem.run(path)
    assert not (tmp_path / "results").exists()


def test_a_template_outside_the_folder_is_said_and_recorded(tmp_path):
    import json

    from pptx import Presentation

    import geochem
    from geochem.testing import write_example_campaign

    path = write_example_campaign(tmp_path / "campaign", renderers=["slides"])
    Presentation().save(tmp_path / "house.pptx")
    with path.open("a", encoding="utf-8") as stream:
        stream.write("\n[outputs.options.slides]\ntemplate_file = '../house.pptx'\n")
    result = geochem.run(path)
    assert any("outside" in m and "house.pptx" in m for m in result.messages)
    record = json.loads((result.folder / "run.json").read_text("utf-8"))
    assert any(str(i["path"]).endswith("house.pptx") for i in record["inputs"])


@pytest.mark.parametrize(
    "layer",
    ["{{ 7*7 }}", "+1+1", "'; DROP TABLE samples; --", "\u202eevil", "a\x1b[31m", "x" * 10_000,
     "line\nbreak"],
)  # fmt: skip
def test_apply_takes_no_hostile_name_of_a_layer(tmp_path, layer):
    from geochem.campaign.apply import apply

    with pytest.raises(WrongCall, match="no name of a layer"):
        apply("score", "soil.gpkg", f"{tmp_path / 'o.gpkg'}:{layer}", {})


@pytest.mark.parametrize(
    "out",
    ["NUL.gpkg", "con.shp", "LPT1.x.fgb", "a\0b.gpkg", "x" * 300 + ".gpkg", "../none/o.gpkg",
     "/vsizip/x.zip/o.gpkg", "http://x/o.gpkg"],
)  # fmt: skip
def test_apply_writes_to_no_hostile_place(tmp_path, monkeypatch, out):
    from geochem.campaign.apply import apply

    monkeypatch.chdir(tmp_path)
    with pytest.raises(WrongCall, match=r"no name of a file|there is no folder"):
        apply("score", "soil.gpkg", out, {})
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("out", ["o.gpkg", "o.shp", "o.fgb", "o.geojson"])
def test_apply_carries_hostile_columns_and_texts(tmp_path, hostile_texts, out):
    import xml.etree.ElementTree as ET

    import geopandas as gpd

    from geochem.campaign.apply import apply

    n = 40
    rows = {
        "sample_id": [f"{hostile_texts[i % len(hostile_texts)]}#{i}" for i in range(n)],
        "Cu_ppm": [10.0 + i % 7 for i in range(n)],
        **dict.fromkeys(hostile_texts, "v"),
    }
    places = gpd.points_from_xy(
        [500_000 + 50 * (i % 8) for i in range(n)], [7_000_000 + 100 * (i // 8) for i in range(n)]
    )
    frame = gpd.GeoDataFrame(rows, geometry=places, crs="EPSG:32735")
    (tmp_path / "in.geojson").write_text(
        frame.to_crs(4326).to_json(drop_id=True), encoding="utf-8"
    )
    done = apply(
        "threshold", str(tmp_path / "in.geojson"), str(tmp_path / out),
        {"element": "Cu", "crs": "EPSG:32735"},
    )  # fmt: skip
    ET.parse(done.style)
    answer = gpd.read_file(done.path)
    assert len(answer) == n
    assert len(answer.columns) == len(frame.columns) + 3
    assert all(len(f.message) < 1000 for f in done.findings)


def test_a_layer_name_cannot_leave_the_folder(tmp_path):
    with pytest.raises(WrongCall):
        settings(tmp_path, **{"../../x": 5})
    named = settings(tmp_path, **{"../../x": "a.gpkg"})
    assert named.layers["../../x"]["path"] == tmp_path / "a.gpkg"


def test_no_plugin_comes_from_the_data(tmp_path, monkeypatch):
    """A module beside the campaign file, named in it, is not imported."""
    import geochem

    (tmp_path / "evil.py").write_text("raise SystemExit('imported')")
    (tmp_path / "log.csv").write_text("sample_id,easting,northing\nS1,500000,7000000\n")
    monkeypatch.chdir(tmp_path)
    for extra in (
        '[background]\nmethod = "evil:Thing"\n', '[targets]\nranker = "evil"\n',
        '[outputs]\nrenderers = ["evil:Thing"]\n',
    ):  # fmt: skip
        path = tmp_path / "campaign.toml"
        path.write_text(
            f'title = "t"\ncrs = "EPSG:32735"\n[samples]\npath = "log.csv"\nmedium = "soil"\n{extra}'
        )
        with pytest.raises(WrongCall, match="unknown"):
            geochem.run(path)
