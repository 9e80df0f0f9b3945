"""CSV and XLSX: right, whole, harmless."""

from __future__ import annotations

import csv

import numpy as np
import pandas as pd
import pytest
from openpyxl import load_workbook

from geochem.model import tables as contract
from geochem.outputs.tables.renderer import TablesRenderer
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
