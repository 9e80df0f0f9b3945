"""Limits that a cell does not state, in their order, and the level of errors."""

from __future__ import annotations

import numpy as np
import pytest


def cell(got, sample, element="Cu"):
    r = got.results
    row = r[(r["sample_id"] == sample) & (r["element"] == element)]
    assert len(row) == 1
    return row.iloc[0]


def test_first_the_limit_of_the_campaign(read):
    got = read("id,Cu_ppm,Cu 1s\nA1,<LOD,2\nA2,30,2\n", source="pxrf", limits={"Cu": 8})
    row = cell(got, "A1")
    assert (row["value"], row["below"], row["limit_inferred"]) == (8.0, True, False)


def test_then_three_times_the_error_of_the_row(read):
    got = read("id,Cu_ppm,Cu 2s\nA1,<LOD,4\nA2,30,4\n", source="pxrf")
    row = cell(got, "A1")
    assert (row["value"], row["below"], row["limit_inferred"]) == (6.0, True, False)
    assert row["err"] == 2.0


def test_then_the_lowest_of_the_same_instrument_and_mode(read, codes):
    got = read(
        "Sample,Instrument,Mode,Cu_ppm\nA1,X1,soil,<LOD\nA2,X1,soil,9\nA3,X1,soil,30\n"
        "A4,X1,ore,50\nA5,X2,soil,2\nA6,X1,ore,<LOD\n",
        source="pxrf",
    )
    assert cell(got, "A1")["value"] == 9.0
    assert cell(got, "A6")["value"] == 50.0
    assert cell(got, "A1")["limit_inferred"]
    assert "limit-inferred" in codes(got)


def test_else_missing(read, codes):
    got = read("id,Cu_ppm,Zn_ppm\nA1,<LOD,5\nA2,<LOD,6\n", source="pxrf")
    assert set(got.results["element"]) == {"Zn"}
    assert "limit-unknown" in codes(got)


@pytest.mark.parametrize("level", [1, 2, 3])
def test_level_of_errors_is_found(read, codes, level):
    # made here: detected down to three times the one-sigma error of 4 ppm, errors at `level`
    rng = np.random.default_rng(5)
    lines = ["id,Cu_ppm,Cu +/-"]
    for i in range(200):
        value = float(rng.lognormal(3, 0.8))
        text = f"{value:.1f}" if value >= 12 else "<LOD"
        lines.append(f"A{i},{text},{4 * level}")
    got = read("\n".join(lines), source="pxrf")
    assert "sigma-chosen" in codes(got)
    below = got.results[got.results["below"]]
    assert below["value"].unique().tolist() == [12.0]
    assert got.results["err"].unique().tolist() == [4.0]


def test_level_stated_is_believed(read, codes):
    got = read("id,Cu_ppm,Cu +/-\nA1,30,4\n", source="pxrf", sigma=2)
    assert cell(got, "A1")["err"] == 2.0
    assert "sigma-assumed" not in codes(got)


def test_level_unknown_is_one(read, codes):
    got = read("id,Cu_ppm,Cu +/-\nA1,30,4\n", source="pxrf")
    assert cell(got, "A1")["err"] == 4.0
    assert "sigma-assumed" in codes(got)


def test_instrument_table_with_bare_error_columns(read):
    got = read(
        "Reading No,Sample,Time,Instrument,Units,Cu,+/-,Zn,+/-\n"
        "1,A1,2026-03-17 08:10:00,X1,%,0.0012,0.0002,0.005,0.001\n",
        source="pxrf",
    )
    row = cell(got, "A1")
    assert row["value"] == pytest.approx(12)
    assert row["err"] == pytest.approx(2)
    assert cell(got, "A1", "Zn")["err"] == pytest.approx(10)
    assert row["batch"] == "X1 2026-03-17"
    assert row["reading"] == "1"
    assert row["unit_given"] == "%"


def test_row_order_changes_nothing_but_the_row(read):
    lines = ["A1,<LOD,3", "A2,12,4", "A3,-2,1", "A4,9,5", "A5,0,5"]
    a = read("id,Cu_ppm,Zn_ppm\n" + "\n".join(lines), source="pxrf", name="a.csv")
    b = read("id,Zn_ppm,Cu_ppm\n" + "\n".join(
        ",".join([line.split(",")[i] for i in (0, 2, 1)]) for line in lines[::-1]
    ), source="pxrf", name="a.csv")  # fmt: skip
    keys = ["sample_id", "element"]
    a, b = (r.results.drop(columns="row").sort_values(keys, ignore_index=True) for r in (a, b))
    assert a.equals(b)
