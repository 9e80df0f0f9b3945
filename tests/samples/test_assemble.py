"""The wiring: one survey out of tables, and its edges."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box

from geochem.errors import WrongCall
from geochem.model.layers import Layer, Layers
from geochem.model.tables import CONTROLS, RESULTS, SAMPLES, conform
from geochem.samples.accept import accept_values
from geochem.samples.assemble import assemble_survey
from geochem.samples.spacing import measure_spacings

CRS = "EPSG:32735"


def codes(survey):
    return {f.code for f in survey.findings}


@pytest.fixture
def tables(make_log, make_results, make_assay):
    log = make_log(
        ["S3", "S1", "S2", "D1", "OX"],
        x=[500_200.0, 500_000.0, np.nan, 500_001.0, np.nan],
        role=[None, None, None, "field_duplicate", "standard"],
        parent=[None, None, None, "s-01", None], colour=["red", None, "7", None, None],
    )  # fmt: skip
    results = make_results(
        [
            (s, "Cu", v, 1.0)
            for s, v in [("S1", 10), ("S2", 20), ("S3", 30), ("D1", 11), ("OX", 99)]
        ]
    )
    return log, [make_assay(results)]


def test_samples_controls_and_unlocated(tables):
    survey = assemble_survey(*tables, Layers(), crs=CRS)
    assert survey.samples["sample_id"].tolist() == ["S1", "S3"]
    assert isinstance(survey.samples, gpd.GeoDataFrame)
    assert survey.samples.crs.to_epsg() == 32735
    assert list(survey.samples.columns[: len(SAMPLES)]) == list(SAMPLES)
    assert survey.samples["role"].tolist() == ["routine"] * 2
    assert survey.samples["colour"].tolist() == [None, "red"]
    assert survey.samples["Cu_ppm__xrf"].tolist() == [10.0, 30.0]
    # statistics yes, maps no
    assert survey.unlocated["sample_id"].tolist() == ["S2"]
    assert survey.unlocated["Cu_ppm__xrf"].tolist() == [20.0]
    assert "geometry" not in survey.unlocated
    assert list(survey.controls.columns) == list(CONTROLS)
    controls = survey.controls.set_index("sample_id")
    assert controls.loc["D1", ["role", "parent"]].tolist() == ["field_duplicate", "S1"]
    assert controls.loc["OX", ["role", "standard"]].tolist() == ["standard", "OX"]
    assert len(survey.results) == 5
    assert survey.samples.index.equals(pd.RangeIndex(2))


def test_row_order_changes_nothing(tables, make_assay):
    log, [assay] = tables
    first = accept_values(assemble_survey(log, [assay], Layers(), crs=CRS))
    turned = assemble_survey(
        log.iloc[::-1].reset_index(drop=True),
        [make_assay(assay.results.iloc[::-1].reset_index(drop=True))],
        Layers(), crs=CRS,
    )  # fmt: skip
    second = accept_values(turned)
    pd.testing.assert_frame_equal(pd.DataFrame(first.samples), pd.DataFrame(second.samples))
    pd.testing.assert_frame_equal(first.unlocated, second.unlocated)
    pd.testing.assert_frame_equal(first.analytes, second.analytes)


def test_inputs_are_not_changed(tables):
    log, [assay] = tables
    before = log.copy(deep=True), assay.results.copy(deep=True)
    accept_values(assemble_survey(log, [assay], Layers(), crs=CRS))
    pd.testing.assert_frame_equal(log, before[0])
    pd.testing.assert_frame_equal(assay.results, before[1])


def test_resample_older_is_shown_only(make_log, make_results, make_assay):
    log = make_log(
        ["A", "B", "C", "E", "F"], x=[5e5, 5e5, 5e5, 5.1e5, 5.1e5],
        date=["2026-03-01", "2026-03-20", "2026-03-01", None, None],
        horizon=["B", "B", "C", None, None],
    )  # fmt: skip
    survey = assemble_survey(log, [make_assay(make_results([("A", "Cu", 1)]))], Layers(), crs=CRS)
    # C is another horizon; E and F cannot be told apart and both stay
    assert survey.samples["use"].tolist() == ["context", "full", "full", "full", "full"]
    assert {"resampled", "same-place"} <= codes(survey)
    assert next(f for f in survey.findings if f.code == "resampled").sample_id == "A"


def test_several_rocks_of_one_outcrop_are_several_samples(make_log):
    log = make_log(["A", "B"], x=5e5, date=["2026-03-01", "2026-03-20"], medium="rock")
    survey = assemble_survey(log, [], Layers(), crs=CRS)
    assert survey.samples["use"].tolist() == ["full", "full"]


def test_medium_missing_is_other(make_log):
    survey = assemble_survey(make_log(["A"], medium=[None]), [], Layers(), crs=CRS)
    assert survey.samples["medium"].tolist() == ["other"]
    assert "medium-missing" in codes(survey)


def test_layer_column(tables):
    frame = gpd.GeoDataFrame(
        {"unit": ["granite"]}, geometry=[box(499_990, 7_999_990, 500_100, 8_000_010)], crs=CRS
    )
    layers = Layers(vector={"geology": Layer("geology", frame, "unit", Path("g.gpkg"))})
    survey = assemble_survey(*tables, layers, crs=CRS)
    assert survey.samples["geology"].tolist() == ["granite", "unmapped"]
    assert survey.unlocated["geology"].tolist() == [None]


@pytest.mark.parametrize("kind", ["no field log", "no results", "no position", "one sample"])
def test_edges(kind, make_log, make_results, make_assay):
    log = make_log(["A", "B", "C"])
    assays = [make_assay(make_results([("A", "Cu", 1), ("B", "Cu", 2)]))]
    if kind == "no field log":
        log = log.iloc[:0]
    elif kind == "no results":
        assays = []
    elif kind == "no position":
        log = make_log(["A", "B", "C"], x=np.nan)
    else:
        log = log.iloc[:1]
    survey = accept_values(assemble_survey(log, assays, Layers(), crs=CRS))
    spacings = measure_spacings(survey.samples)
    located = {"no field log": 0, "no results": 3, "no position": 0, "one sample": 1}[kind]
    assert len(survey.samples) == located
    assert survey.samples.crs.to_epsg() == 32735
    assert survey.samples.index.equals(pd.RangeIndex(located))
    assert [s.n for s in spacings] == ([located] if located else [])
    assert ("no-samples" in codes(survey)) == (kind == "no field log")
    assert survey.elements == ([] if kind in ("no results", "no field log") else ["Cu"])
    assert repr(survey)


def test_geographic_campaign_crs_is_a_wrong_call(tables):
    with pytest.raises(WrongCall, match="not projected"):
        assemble_survey(*tables, Layers(), crs="EPSG:4326")


def test_spacing_per_medium_and_grid(make_log):
    i, j = np.meshgrid(np.arange(6), np.arange(10), indexing="ij")
    log = make_log(
        [f"S{k:03}" for k in range(60)] + ["R1", "R2", "OLD"],
        x=np.r_[5e5 + 200.0 * i.ravel(), 5e5, 5e5 + 30, 5e5 + 7],
        y=np.r_[8e6 + 50.0 * j.ravel(), 8e6, 8e6 + 40, 8e6 + 9],
        medium=["soil"] * 60 + ["rock"] * 2 + ["soil"], grid=["north"] * 60 + [None, None, "north"],
        use=["full"] * 62 + ["context"],
    )  # fmt: skip
    rock, soil = measure_spacings(assemble_survey(log, [], Layers(), crs=CRS).samples)
    assert (rock.medium, rock.grid, rock.n, rock.regular) == ("rock", "", 2, False)
    assert rock.nearest == pytest.approx(50.0, abs=0.1)
    assert (soil.medium, soil.grid, soil.n, soil.regular) == ("soil", "north", 60, True)
    assert (soil.line_spacing, soil.station_spacing) == pytest.approx((200, 50), rel=0.01)
    assert min(soil.azimuth, 180 - soil.azimuth) < 1
    assert soil.area_km2 == pytest.approx(60 * 200 * 50 / 1e6, rel=0.01)


def test_meuse(make_assay):
    # Burrough & McDonnell 1998; the copy that scikit-gstat carries: 155 topsoil samples, RD New
    text = files("skgstat.data").joinpath("samples/meuse.txt").read_text()
    sep = "," if "," in text.splitlines()[0] else None
    from io import StringIO

    meuse = pd.read_csv(StringIO(text), sep=sep or r"\s+")
    ids = [f"M-{i:03}" for i in range(1, len(meuse) + 1)]
    log = conform(
        pd.DataFrame({"sample_id": ids, "x": meuse["x"], "y": meuse["y"], "medium": "soil"}),
        {**SAMPLES, "x": "number", "y": "number"},
    )
    long = meuse[["cadmium", "copper", "lead", "zinc"]].set_axis(["Cd", "Cu", "Pb", "Zn"], axis=1)
    long = long.assign(sample_id=[i.lower().replace("-0", " ") for i in ids])
    long = long.melt("sample_id", var_name="element").assign(assay="lab", source="laboratory")
    survey = assemble_survey(log, [make_assay(conform(long, RESULTS))], Layers(), crs="EPSG:28992")
    survey = accept_values(survey)
    assert len(survey.samples) == 155
    assert survey.elements == ["Cu", "Zn", "Cd", "Pb"]
    # mean and extremes of zinc as published with the data set
    assert survey.samples["Zn_ppm"].min() == 113
    assert survey.samples["Zn_ppm"].max() == 1839
    assert survey.samples["Zn_ppm"].mean() == pytest.approx(469.716, abs=0.001)
    [spacing] = measure_spacings(survey.samples)
    assert not spacing.regular
    # regression value: median distance to the nearest other sample
    assert spacing.nearest == pytest.approx(107.4, abs=0.5)
