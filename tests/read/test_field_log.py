"""The field log: ids, positions, dates, words, depth; real tables of the package registry."""

from __future__ import annotations

from importlib.resources import files

import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.read.assays import read_assays
from geochem.read.dates import read_dates
from geochem.read.field_log import read_field_log
from geochem.read.positions import read_degrees


@pytest.fixture
def log(write):
    def _log(content, **options):
        return read_field_log(write(content, "log.csv"), **options)

    return _log


@pytest.mark.published
def test_meuse_reads_as_log_and_as_assays():
    # Meuse river data (Rikken & van Rijn 1993; Burrough & McDonnell 1998), as carried by
    # scikit-gstat; number of samples, ranges and first record as documented there
    path = files("skgstat") / "data" / "samples" / "meuse.txt"
    got = read_field_log(path, medium="soil")
    assert len(got.frame) == 155
    assert (got.frame["x"].min(), got.frame["x"].max()) == (178605, 181390)
    assert (got.frame["y"].min(), got.frame["y"].max()) == (329714, 333611)
    assert got.frame["elevation"].iloc[0] == 7.909
    assert set(got.frame["medium"]) == {"soil"}
    assert "cadmium" not in got.frame.columns
    assert got.frame["soil"].iloc[0] == "1"
    results = read_assays([path], assay="lab", source="laboratory").results
    assert sorted(set(results["element"])) == ["Cd", "Cu", "Pb", "Zn"]
    assert len(results) == 4 * 155
    zinc = results[results["element"] == "Zn"]["value"]
    assert (zinc.min(), zinc.max()) == (113, 1839)
    assert set(results["sample_id"]) == set(got.frame["sample_id"])


def test_everything_a_crew_writes(log):
    got = log(
        "Sample ID;Easting;Northing;Sample Type;Role;Duplicate of;Date;Time;Depth_cm;Prep batch;Colour\n"
        "0012;500100,5;7000000;Soil;;;17/03/2026;08:30;0-20;P1;red\n"
        "0013;500200;7000000;soil;Field Duplicate;0012;18/03/2026;;20;P1;brown\n"
        "0014;;;Stream Sed;coarse blank;;19/03/2026;;;P2;\n",
        crs="EPSG:32735",
        grid="North",
    )
    f = got.frame
    assert f["sample_id"].tolist() == ["0012", "0013", "0014"]
    assert f["x"].tolist()[:2] == [500100.5, 500200.0]
    assert np.isnan(f["x"].iloc[2])
    assert f["medium"].tolist() == ["soil", "soil", "stream sediment"]
    assert f["role"].tolist() == ["routine", "field_duplicate", "coarse_blank"]
    assert f["parent"].tolist() == [None, "0012", None]
    assert f["date"].dt.strftime("%Y-%m-%d %H:%M").tolist()[0] == "2026-03-17 08:30"
    assert f["depth_from"].tolist()[0] == 0.0
    assert f["depth_to"].tolist()[:2] == [0.2, 0.2]
    assert f["prep_batch"].tolist() == ["P1", "P1", "P2"]
    assert f["Colour"].tolist() == ["red", "brown", None]
    assert set(f["crs"]) == {"EPSG:32735"}
    assert set(f["grid"]) == {"North"}


def test_columns_stated_by_the_user(log):
    got = log("a,b,c\nS1,5,6\n", columns={"id": "a", "x": "c", "y": "b"})
    assert got.frame[["sample_id", "x", "y"]].iloc[0].tolist() == ["S1", 6.0, 5.0]
    with pytest.raises(WrongCall, match="does not have"):
        log("a,b,c\nS1,5,6\n", columns={"id": "z"})
    with pytest.raises(WrongCall, match="unknown key"):
        log("a,b,c\nS1,5,6\n", columns={"eastnig": "b"})


def test_wrong_words_are_findings(log, codes):
    got = log("id,x,y,medium,role\nA1,1,2,dust,routine\nA2,1,2,soil,purple\n")
    assert {"medium-unknown", "role-unknown"} <= set(codes(got, "warning"))
    assert got.frame["role"].tolist() == ["routine", None]


def test_degrees_without_crs(log, codes):
    got = log("id,Latitude,Longitude\nA1,12°34'56\"S,28°30'E\nA2,-12.5,28.25\n")
    assert "crs-not-stated" in codes(got)
    assert got.frame["y"].tolist() == [pytest.approx(-12.5822222), -12.5]
    assert got.frame["x"].tolist() == [28.5, 28.25]
    assert set(got.frame["crs"]) == {None}
    assert "crs-not-stated" not in codes(log("id,lat,lon\nA1,1.5,2.5\n", crs="EPSG:4326"))


@pytest.mark.parametrize(
    ("text", "axis", "value"),
    [
        ("12°34'56\"S", "y", -12.5822222222),
        ("12 34 56 S", "y", -12.5822222222),
        ("S12°34.5'", "y", -12.575),
        ("0°30'S", "y", -0.5),
        ("N 59.5", "y", 59.5),
        ("28º30′00″E", "x", 28.5),
        ("12:30:00W", "x", -12.5),
        ("12°30'", "x", 12.5),
        ("-12°30'S", "y", None),
        ("12°75'S", "y", None),
        ("12°30'E", "y", None),
        ("95°S", "y", None),
        ("12 34 56", "y", None),
        ("12.5°30'S", "y", None),
        ("abc", "y", None),
        ("", "y", None),
    ],
)
def test_degrees(text, axis, value):
    got = read_degrees(text, axis=axis)
    assert got is None if value is None else got == pytest.approx(value, abs=1e-9)


@pytest.mark.parametrize(
    ("cells", "expected", "code"),
    [
        (
            ["2026-03-17", "2026-03-17T08:05:00Z"],
            ["2026-03-17T00:00", "2026-03-17T08:05"],
            "time-zone-left-out",
        ),
        (["17/03/2026", "04/03/2026"], ["2026-03-17T00:00", "2026-03-04T00:00"], "date-order"),
        (["03/17/2026", "03/04/2026"], ["2026-03-17T00:00", "2026-03-04T00:00"], "date-order"),
        (["03/04/2026", "05/06/2026"], ["NaT", "NaT"], "date-ambiguous"),
        (["02/18/09"], ["2009-02-18T00:00"], "date-two-digit-year"),
        (["17.03.2026", "4.3.2026"], ["2026-03-17T00:00", "2026-03-04T00:00"], None),
        (["17-Mar-2026 2:30 PM"], ["2026-03-17T14:30"], None),
        (["20260317"], ["2026-03-17T00:00"], None),
        (["31/02/2026", "yesterday", ""], ["NaT", "NaT", "NaT"], "date-not-read"),
        (
            ["17/03/2026", "03/17/2026", "03/04/2026"],
            ["2026-03-17T00:00", "2026-03-17T00:00", "NaT"],
            "date-ambiguous",
        ),
    ],
)  # fmt: skip
def test_dates(cells, expected, code):
    got = read_dates(
        np.array(cells, dtype=object), file="f", column="d", rows=np.arange(len(cells))
    )
    assert got.moment.astype("datetime64[m]").astype(str).tolist() == expected
    assert [f.code for f in got.findings if f.code == code] == ([code] if code else [])


def test_ids_stay_text(log, codes):
    assert log("id,x,y\n007,1,2\n").frame["sample_id"].tolist() == ["007"]
    got = log("id,x,y\n8.91E+05,1,2\n")
    assert "id-damaged" in codes(got)
    assert got.frame["sample_id"].tolist() == ["8.91E+05"]
    assert log("id,x,y\n101.0,1,2\n102.0,1,2\n").frame["sample_id"].tolist() == ["101", "102"]
