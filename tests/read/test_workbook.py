"""Workbooks: sheets, error cells, dates, formulas, numbers as ids."""

from __future__ import annotations

import datetime as dt

import openpyxl
import pytest

from geochem.errors import DataRefused, WrongCall
from geochem.read.assays import read_assays
from geochem.read.workbook import WorkbookReader


@pytest.fixture
def book(tmp_path):
    def _book(**sheets):
        made = openpyxl.Workbook()
        made.remove(made.active)
        for title, rows in sheets.items():
            sheet = made.create_sheet(title)
            for row in rows:
                sheet.append(row)
        path = tmp_path / "book.xlsx"
        made.save(path)
        return path

    return _book


def test_cells(book):
    path = book(
        results=[
            ["Certificate of the hills"],
            [],
            ["Sample", "Received", "Cu_ppm", "Zn_ppm", "Notes"],
            [101.0, dt.datetime(2026, 3, 20), 12.5, "<5", "'=1+1"],
            [102, dt.datetime(2026, 3, 21), "#N/A", 0.1 + 0.2, None],
            [103, None, "=1+1", 7, None],
        ]
    )
    got = read_assays([path], assay="a", source="laboratory")
    r = got.results.set_index(["sample_id", "element"])
    assert r.loc[("101", "Cu"), "value"] == 12.5
    assert r.loc[("101", "Cu"), "row"] == 4
    assert r.loc[("101", "Zn"), "below"]
    assert r.loc[("102", "Zn"), "value"] == 0.3
    assert str(r.loc[("101", "Cu"), "date_received"])[:10] == "2026-03-20"
    assert ("102", "Cu") not in r.index
    codes = {f.code for f in got.findings}
    assert {"missing-error-cell", "formula-without-value", "preamble"} <= codes
    assert got.dialect.sheet == "results"


def test_several_sheets_are_asked_for(book):
    table = [["id", "Cu_ppm"], ["A1", 1], ["A2", 2]]
    path = book(Soil=table, Rock=table, Notes=[["only words"]])
    with pytest.raises(DataRefused, match=r"2 sheets that hold a table: Soil, Rock.*sheet = "):
        read_assays([path], assay="a", source="laboratory")
    got = read_assays([path], assay="a", source="laboratory", sheet="rock")
    assert got.dialect.sheet == "Rock"
    with pytest.raises(WrongCall, match="no sheet 'Till'"):
        read_assays([path], assay="a", source="laboratory", sheet="Till")


def test_one_table_among_sheets_needs_no_name(book):
    path = book(Read_me=[["only words"]], Data=[["id", "Cu_ppm"], ["A1", 1]])
    assert len(read_assays([path], assay="a", source="laboratory").results) == 1


def test_ids_eaten_as_dates_are_named(book):
    path = book(a=[["id", "Cu_ppm"], [dt.datetime(2026, 3, 1), 5], ["A2", 6]])
    got = read_assays([path], assay="a", source="laboratory")
    assert "id-is-date" in {f.code for f in got.findings}


def test_reader_class(book, write):
    path = book(a=[["id", "Cu_ppm"], ["A1", 1]])
    reader = WorkbookReader()
    assert reader.can_read(path)
    assert not reader.can_read(write("id,Cu\n"))
    assert len(reader.read(path).results) == 1


def test_cells_are_read_as_they_are_shown(tmp_path):
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    for row in (["Sample", "Fe_%", "Cu_ppm"], [12, 0.032, 7], [1234, 0.005, 0.0015]):
        sheet.append(row)
    for cell in ("A2", "A3"):
        sheet[cell].number_format = "0000"
    for cell in ("B2", "B3", "C3"):
        sheet[cell].number_format = "0.00%"
    book.save(tmp_path / "shown.xlsx")
    got = read_assays([tmp_path / "shown.xlsx"], assay="a", source="laboratory").results
    assert got["sample_id"].tolist() == ["0012", "1234"] * 2
    assert got["value"].tolist() == pytest.approx([32000, 5000, 7, 1500])
