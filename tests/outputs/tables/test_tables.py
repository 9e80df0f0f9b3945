"""CSV and XLSX: right, whole, harmless."""

from __future__ import annotations

import csv
from io import BytesIO

import numpy as np
import pandas as pd
import pytest
from openpyxl import Workbook, load_workbook

from geochem.model import tables as contract
from geochem.outputs.tables import csv_file
from geochem.outputs.tables.csv_file import write_csv
from geochem.outputs.tables.renderer import TablesRenderer
from geochem.outputs.tables.sheet_rows import flag_cells, insert_rows, number_cells, text_cells
from geochem.outputs.text_cells import disarm, disarmed


@pytest.fixture(scope="module")
def folder(bundle, tmp_path_factory):
    made = tmp_path_factory.mktemp("tables")
    TablesRenderer().render(bundle, made)
    return made


@pytest.mark.parametrize(
    ("name", "columns"),
    [("targets", contract.TARGETS), ("follow_up", contract.FOLLOW_UP), ("holes", contract.HOLES),
     ("thresholds", contract.THRESHOLDS), ("quality", contract.QUALITY)],
)  # fmt: skip
def test_columns_are_the_contract(folder, name, columns):
    assert list(pd.read_csv(folder / f"{name}.csv", nrows=0).columns) == list(columns)


def test_barren_ground_gives_whole_empty_tables(make_bundle, tmp_path):
    TablesRenderer().render(make_bundle(barren=True), tmp_path, workbook=False)
    frame = pd.read_csv(tmp_path / "targets.csv")
    assert list(frame.columns) == list(contract.TARGETS)
    assert len(frame) == 0


def test_every_sample_is_there_and_values_survive(bundle, folder):
    frame = pd.read_csv(folder / "samples.csv", dtype={"sample_id": str})
    samples = bundle.survey.samples
    assert len(frame) == len(samples) + len(bundle.survey.unlocated)
    np.testing.assert_allclose(
        frame["Cu_ppm"].to_numpy()[: len(samples)], samples["Cu_ppm"], rtol=1e-12
    )
    np.testing.assert_allclose(frame["easting"].to_numpy()[: len(samples)],
                               samples.geometry.x, atol=0.005)  # fmt: skip


def test_workbook_shows_limits_as_text(bundle, folder):
    sheet = load_workbook(folder / "samples.xlsx", read_only=True)["samples"]
    rows = list(sheet.iter_rows(values_only=True))
    column = rows[0].index("Au ppm")
    below = bundle.survey.samples["Au_ppm_below"].to_numpy()
    shown = [row[column] for row in rows[1 : len(below) + 1]]
    assert below.any()
    for is_below, cell in zip(below, shown, strict=True):
        assert (isinstance(cell, str) and cell.startswith("<")) == is_below


@pytest.mark.parametrize("text", ["=1+1", "+A1", "-A1", "@x", "\tx", "=HYPERLINK(1)"])
def test_formulas_are_disarmed_and_numbers_are_not(text):
    assert disarm(text) == "'" + text
    assert disarm(-1.5) == -1.5
    frame = disarmed(pd.DataFrame({text: [text], "n": [-2.0]}))
    assert frame.columns[0] == "'" + text
    assert frame["n"].iloc[0] == -2.0


def test_hostile_ids_come_out_as_text(make_bundle, bundle, tmp_path):
    samples = bundle.survey.samples.copy()
    samples.loc[0, "notes"] = '=cmd|" /C calc"!A0'
    from dataclasses import replace

    hostile = replace(bundle, survey=replace(bundle.survey, samples=samples))
    TablesRenderer().render(hostile, tmp_path)
    with (tmp_path / "samples.csv").open(encoding="utf-8", newline="") as stream:
        notes = [row["notes"] for row in csv.DictReader(stream)]
    assert not any(n.startswith("=") for n in notes)
    sheet = load_workbook(tmp_path / "samples.xlsx")["samples"]
    assert not any(c.data_type == "f" for row in sheet.iter_rows() for c in row)


def test_same_input_same_bytes(bundle, folder, tmp_path):
    TablesRenderer().render(bundle, tmp_path, workbook=False)
    for path in tmp_path.glob("*.csv"):
        assert path.read_bytes() == (folder / path.name).read_bytes(), path.name


def test_csv_is_what_pandas_writes(tmp_path, monkeypatch):
    monkeypatch.setattr(csv_file, "BLOCK", 7)
    rng = np.random.default_rng(3)
    n = 30
    frame = pd.DataFrame(
        {
            "=text": pd.Series(["a", "b,c", 'd "e"', "two\nlines", "-f", None] * 5, dtype=object),
            "number": np.where(rng.random(n) < 0.2, np.nan, rng.lognormal(0, 12, n)),
            "whole": np.arange(n),
            "count": pd.array([1, None, 3] * 10, dtype="Int64"),
            "flag": rng.random(n) < 0.5,
            "date": pd.to_datetime(["2026-05-31", None, "2026-06-01"] * 10),
            "mixed": pd.Series([1.5, "x,y", True, None, 7, "z"] * 5, dtype=object),
            "empty": pd.Series([None] * n, dtype=object),
        }
    )
    write_csv(frame, tmp_path / "ours.csv")
    disarmed(frame).to_csv(
        tmp_path / "pandas.csv", index=False, encoding="utf-8", lineterminator="\n",
        date_format="%Y-%m-%d",
    )  # fmt: skip
    assert (tmp_path / "ours.csv").read_bytes() == (tmp_path / "pandas.csv").read_bytes()
    one = frame[["empty"]]
    write_csv(one, tmp_path / "one.csv")
    assert len(pd.read_csv(tmp_path / "one.csv")) == n
    write_csv(frame.head(0), tmp_path / "none.csv")
    assert (tmp_path / "none.csv").read_text("utf-8").count("\n") == 1


def test_rows_put_into_a_workbook_are_read_back(tmp_path):
    texts = ["<5", "a & b", " spaces ", "two\nlines", "\u00e9\U0001f9f2", ""]
    numbers = ["1e-05", "-2.5", "", "123456.789", "0", "3"]
    book = Workbook(write_only=True)
    book.create_sheet("first").append(["text", "number", "flag"])
    book.create_sheet("second").append(["untouched"])
    made = BytesIO()
    book.save(made)
    blocks = [
        [text_cells(texts[k:end]), number_cells(numbers[k:end]), flag_cells([True] * (end - k))]
        for k, end in ((0, 4), (4, 6))
    ]
    insert_rows(made, tmp_path / "made.xlsx", "xl/worksheets/sheet1.xml", blocks)
    book = load_workbook(tmp_path / "made.xlsx")
    rows = list(book["first"].iter_rows(values_only=True))
    assert rows[0] == ("text", "number", "flag")
    assert [r[0] or "" for r in rows[1:]] == texts
    assert [r[1] for r in rows[1:]] == [float(v) if v else None for v in numbers]
    assert all(r[2] is True for r in rows[1:])
    assert book["first"].cell(7, 2).coordinate == "B7"
    assert book["second"]["A1"].value == "untouched"
