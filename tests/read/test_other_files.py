"""Waypoints and vector files as field logs; workbooks of other kinds; several sheets."""

from __future__ import annotations

import struct
import sys
import zipfile
from xml.sax.saxutils import escape

import geopandas as gpd
import pytest
from shapely.geometry import LineString, MultiPoint, Point

from geochem.errors import DataRefused, WrongCall
from geochem.read.assays import read_assays
from geochem.read.field_log import read_field_log
from geochem.read.inspection import inspect_table


def test_waypoints(tmp_path, codes):
    path = tmp_path / "walk.gpx"
    path.write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
        '<wpt lat="-12.5" lon="25.5"><ele>1200.5</ele><time>2026-03-17T08:30:00Z</time>'
        "<name>0012</name><desc>wet</desc></wpt>"
        '<wpt lat="-12.6" lon="25.6"><name>VS-2</name></wpt>'
        '<trk><trkseg><trkpt lat="0" lon="0"/><trkpt lat="1" lon="1"/></trkseg></trk></gpx>'
    )
    got = read_field_log(path, medium="soil")
    f = got.frame
    assert f["sample_id"].tolist() == ["0012", "VS-2"]
    assert f["x"].tolist() == [25.5, 25.6]
    assert f["y"].tolist() == [-12.5, -12.6]
    assert f["crs"].tolist() == ["EPSG:4326", "EPSG:4326"]
    assert f["elevation"].iloc[0] == 1200.5
    assert str(f["date"].iloc[0]) == "2026-03-17 08:30:00"
    assert "crs-not-stated" not in codes(got)
    assert [c.read_as for c in inspect_table(path).columns][:2] == ["x", "y"]


def test_points_of_a_vector_file(tmp_path):
    frame = gpd.GeoDataFrame(
        {"sample_id": ["A1", "A2", "A3"], "medium": ["soil"] * 3, "X": [1, 2, 3], "Cu_ppm": [1, 2, 3]},
        geometry=[Point(500000, 8000000), MultiPoint([(1, 2), (3, 4)]), None], crs="EPSG:32735",
    )  # fmt: skip
    frame.to_file(tmp_path / "points.gpkg", layer="a")
    got = read_field_log(tmp_path / "points.gpkg")
    assert got.frame["x"].tolist()[:2] == [500000, 1]
    assert got.frame["x"].isna().tolist() == [False, False, True]
    assert "several-points" in {f.code for f in got.findings}
    values = read_assays([tmp_path / "points.gpkg"], assay="a", source="laboratory")
    assert values.results["value"].tolist() == [1, 2, 3]
    frame.iloc[:1].to_file(tmp_path / "points.gpkg", layer="b")
    with pytest.raises(DataRefused, match="2 layers of points: a, b"):
        read_field_log(tmp_path / "points.gpkg")
    assert len(read_field_log(tmp_path / "points.gpkg", sheet="b").frame) == 1
    with pytest.raises(WrongCall, match="no layer 'c'"):
        read_field_log(tmp_path / "points.gpkg", sheet="c")


def test_lines_are_no_samples(tmp_path):
    frame = gpd.GeoDataFrame(
        {"id": ["A"]}, geometry=[LineString([(0, 0), (1, 1)])], crs="EPSG:32735"
    )
    frame.to_file(tmp_path / "lines.geojson")
    with pytest.raises(DataRefused, match="holds no points"):
        read_field_log(tmp_path / "lines.geojson")


def _ods(path, sheets):
    """Write a spreadsheet as ISO/IEC 26300 (OpenDocument) describes it, the least that is one."""

    def cell(value):
        if isinstance(value, str):
            value = escape(value)
            return f'<table:table-cell office:value-type="string"><text:p>{value}</text:p></table:table-cell>'
        return f'<table:table-cell office:value-type="float" office:value="{value}"/>'

    tables = "".join(
        f'<table:table table:name="{name}">'
        + "".join(
            f"<table:table-row>{''.join(cell(v) for v in row)}</table:table-row>" for row in rows
        )
        + "</table:table>"
        for name, rows in sheets.items()
    )
    names = (
        'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
        'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
        'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"'
    )
    with zipfile.ZipFile(path, "w") as book:
        book.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        book.writestr(
            "META-INF/manifest.xml",
            '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
            '<manifest:file-entry manifest:full-path="/" '
            'manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/>'
            "</manifest:manifest>",
        )
        book.writestr(
            "content.xml",
            f'<office:document-content {names} office:version="1.2"><office:body>'
            f"<office:spreadsheet>{tables}</office:spreadsheet></office:body>"
            "</office:document-content>",
        )


def _xls(path, rows):
    """Write one sheet as [MS-XLS] and [MS-CFB] describe it, the least that is one."""

    def record(kind, body=b""):
        return struct.pack("<HH", kind, len(body)) + body

    cells = b""
    for i, row in enumerate(rows):
        for j, value in enumerate(row):
            if isinstance(value, str):
                text = value.encode("latin-1")
                cells += record(0x0204, struct.pack("<HHHHB", i, j, 0, len(text), 0) + text)
            else:
                cells += record(0x0203, struct.pack("<HHHd", i, j, 0, value))
    bof = lambda kind: record(0x0809, struct.pack("<HHHHII", 0x0600, kind, 0, 0, 0, 6))  # noqa: E731
    name = b"results"
    head = bof(0x0005)
    sheet_at = len(head) + 4 + 8 + len(name) + 4
    head += record(0x0085, struct.pack("<IBBBB", sheet_at, 0, 0, len(name), 0) + name)
    head += record(0x000A)
    stream = head + bof(0x0010) + cells + record(0x000A)
    stream = stream.ljust(max(4096, -(-len(stream) // 512) * 512), b"\0")
    sectors = len(stream) // 512
    fat = [0xFFFFFFFD, 0xFFFFFFFE, *range(3, 2 + sectors), 0xFFFFFFFE]
    fat += [0xFFFFFFFF] * (128 - len(fat))

    def entry(name, kind, start, size, child=0xFFFFFFFF):
        text = (name + "\0").encode("utf-16-le") if name else b""
        return struct.pack(
            "<64sHBBIII16sIQQIQ", text, len(text), kind, 1, 0xFFFFFFFF, 0xFFFFFFFF, child, b"", 0,
            0, 0, start, size,
        )  # fmt: skip

    header = struct.pack(
        "<8s16sHHHHH6sIIIIIIIIII", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", b"", 0x3E, 3, 0xFFFE, 9, 6,
        b"", 0, 1, 1, 0, 4096, 0xFFFFFFFE, 0, 0xFFFFFFFE, 0, 0,
    )  # fmt: skip
    header += struct.pack("<108I", *([0xFFFFFFFF] * 108))
    directory = entry("Root Entry", 5, 0xFFFFFFFE, 0, 1) + entry("Workbook", 2, 2, len(stream))
    directory += entry("", 0, 0, 0) * 2
    path.write_bytes(header + struct.pack("<128I", *fat) + directory + stream)


ROWS = [["Sample", "Cu_ppm", "Zn_ppm"], ["A1", 12.5, "<5"], ["A2", 14.0, 30.0]]


@pytest.mark.parametrize("ending", ["ods", "xls"])
def test_other_workbooks(tmp_path, ending, values):
    pytest.importorskip("python_calamine")
    path = tmp_path / f"results.{ending}"
    if ending == "ods":
        _ods(path, {"cover": [["Report"]], "results": ROWS})
    else:
        _xls(path, ROWS)
    got = read_assays([path], assay="a", source="laboratory")
    assert values(got) == {
        ("A1", "Cu"): (12.5, False, False), ("A1", "Zn"): (5.0, True, False),
        ("A2", "Cu"): (14.0, False, False), ("A2", "Zn"): (30.0, False, False),
    }  # fmt: skip
    assert got.dialect.sheet == "results"
    assert got.results["row"].tolist() == [2, 3, 2, 3]


def test_several_sheets_are_asked_about(tmp_path):
    pytest.importorskip("python_calamine")
    path = tmp_path / "results.ods"
    _ods(path, {"copper": ROWS, "gold": ROWS})
    with pytest.raises(DataRefused, match="2 sheets that hold a table: copper, gold"):
        read_assays([path], assay="a", source="laboratory")
    with pytest.raises(WrongCall, match="no sheet 'silver'"):
        read_assays([path], assay="a", source="laboratory", sheet="silver")
    assert len(read_assays([path], assay="a", source="laboratory", sheet="Gold ").results) == 4


def test_without_the_extra_the_sentence_says_what_to_do(tmp_path, monkeypatch):
    path = tmp_path / "results.ods"
    _ods(path, {"results": ROWS})
    monkeypatch.setitem(sys.modules, "python_calamine", None)
    with pytest.raises(DataRefused, match=r"geochem\[workbooks\]"):
        read_assays([path], assay="a", source="laboratory")
