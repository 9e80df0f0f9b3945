"""One assay per element and medium, corrected as a whole or not at all."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from geochem.errors import WrongCall
from geochem.model.layers import Layers
from geochem.model.quality import Calibration
from geochem.model.tables import ANALYTES, SUFFIXES, Values
from geochem.samples.accept import accept_values
from geochem.samples.assemble import assemble_survey
from geochem.stats.calibration_line import apply_calibration

CRS = "EPSG:32735"


def calibration(element="Cu", **changes):
    given = {
        "element": element, "assay": "xrf", "reference_assay": "lab", "instrument": "",
        "slope": 1.2, "intercept": 3.0, "slope_se": 0.02, "intercept_se": 0.5,
        "covariance": -0.005, "log": False, "n": 40, "n_left_out": 2, "low": 5.0, "high": 100.0,
        "r2": 0.95, "rmse_pct": 8.0, "bias_pct": 0.1, "verdict": "pass", "reason": "",
    }  # fmt: skip
    return Calibration(**{**given, **changes})


@pytest.fixture
def survey(make_log, make_results, make_assay):
    log = make_log([f"S{i}" for i in range(6)], medium=["soil"] * 4 + ["rock"] * 2)
    xrf = make_results(
        [(f"S{i}", "Cu", 10 * (i + 1), 2.0) for i in range(5)]
        + [("S5", "Cu", "<8")] + [(f"S{i}", "Au", "<20") for i in range(6)],
        instrument=["P1"] * 3 + ["P2"] * 9,
    )  # fmt: skip
    lab = make_results(
        [("S0", "Cu", 15.0), ("S4", "Cu", 66.0), ("S0", "Au", 0.02)],
        assay="lab", source="laboratory",
    )  # fmt: skip
    return assemble_survey(log, [make_assay(xrf), make_assay(lab)], Layers(), crs=CRS)


def notes(survey, code):
    return [f.message for f in survey.findings if f.code == code]


def test_the_assay_that_covers_most_never_mixed(survey):
    out = accept_values(survey)
    assert out.samples["Cu_ppm"].tolist() == [10.0, 20.0, 30.0, 40.0, 50.0, 8.0]
    assert out.samples["Cu_ppm_below"].tolist() == [False] * 5 + [True]
    # portable XRF of gold is not taken where a laboratory has any
    assert out.samples["Au_ppm"].tolist()[0] == 0.02
    assert out.samples["Au_ppm"].isna().tolist()[1:4] == [True] * 3
    assert len(notes(out, "accepted-values")) == 2
    assert "Cu from 'xrf' (covers most samples)" in notes(out, "accepted-values")[1]
    assert out.elements == ["Cu", "Au"]
    # input unchanged
    assert survey.elements == []


def test_prefer_goes_by_the_list(survey):
    out = accept_values(survey, prefer=["lab", "xrf"])
    assert np.nansum(out.samples["Cu_ppm"]) == 15.0 + 66.0
    assert "preferred, 1 of 4" in notes(out, "accepted-values")[1]
    with pytest.raises(WrongCall, match="possible: lab, xrf"):
        accept_values(survey, prefer=["labb"])


def test_calibration_moves_values_limits_and_errors(survey):
    out = accept_values(survey, [calibration()])
    assert out.samples["Cu_ppm"].tolist() == pytest.approx(
        [3 + 1.2 * v for v in (10, 20, 30, 40, 50, 8)]
    )
    assert out.samples["Cu_ppm_below"].tolist()[-1]
    # by hand at x = 10: (1.2 * 2)^2 + 0.5^2 + 10^2 * 0.02^2 - 2 * 10 * 0.005 = 5.95
    assert out.samples["Cu_ppm_err"][0] == pytest.approx(np.sqrt(5.95))
    analytes = out.analytes.set_index(["assay", "element", "medium"])
    assert bool(analytes.loc[("xrf", "Cu", "soil"), "calibrated"])
    assert not analytes.loc[("lab", "Cu", "soil"), "accepted"]
    assert "corrected to 'lab'" in notes(out, "accepted-values")[0]


def test_failed_calibration_is_not_used_and_provisional_is_said(survey):
    assert accept_values(survey, [calibration(verdict="fail")]).samples["Cu_ppm"][0] == 10.0
    out = accept_values(survey, [calibration(verdict="provisional")])
    assert out.samples["Cu_ppm"][0] == 15.0
    assert len(notes(out, "calibration-provisional")) == 2


def test_by_instrument_or_not_at_all(survey):
    ids = survey.results.loc[survey.results["assay"] == "xrf"].groupby("instrument")["sample_id"]
    of = {name: frozenset(part) for name, part in ids}
    both = [
        calibration(instrument="P1", samples=of["P1"]),
        calibration(instrument="P2", intercept=0.0, samples=of["P2"]),
    ]
    out = accept_values(survey, both)
    assert out.samples["Cu_ppm"][[2, 3]].tolist() == pytest.approx([39.0, 48.0])
    partial = accept_values(survey, both[:1])
    # rock was read with P2 only; soil with both: neither is corrected
    assert partial.samples["Cu_ppm"].tolist() == [10.0, 20.0, 30.0, 40.0, 50.0, 8.0]
    assert len(notes(partial, "calibration-partial")) == 2


def test_values_outside_the_valid_range_are_counted(survey):
    out = accept_values(survey, [calibration(low=18.0)])
    assert notes(out, "calibration-extrapolated")[0].startswith("1 values of Cu in soil")


def test_small_values_under_a_negative_intercept_become_limits():
    values = Values(
        np.array([2.0, 50.0, 4.0]), np.array([False, False, True]), np.zeros(3, bool),
        np.array([1.0, 2.0, np.nan]),
    )  # fmt: skip
    out = apply_calibration(values, calibration(slope=1.0, intercept=-10.0, covariance=0.0))
    assert (out.value > 0).all()
    assert out.below.tolist() == [True, False, True]
    assert out.value[0] == pytest.approx(3 * np.sqrt(1 + 0.25 + 4 * 0.0004))


def test_log_calibration_agrees_with_simulation():
    rng = np.random.default_rng(1)
    c = calibration(log=True, slope=0.9, intercept=0.2, slope_se=0.03, intercept_se=0.05,
                    covariance=-0.0012)  # fmt: skip
    x, err = 80.0, 4.0
    a, b = rng.multivariate_normal([0.2, 0.9], [[0.0025, -0.0012], [-0.0012, 0.0009]], 400_000).T
    y = 10 ** (a + b * np.log10(rng.normal(x, err, a.size)))
    flags = np.zeros(1, bool)
    out = apply_calibration(Values(np.array([x]), flags, flags, np.array([err])), c)
    assert out.value[0] == pytest.approx(np.median(y), rel=0.005)
    assert out.err[0] == pytest.approx(y.std(), rel=0.03)


def test_analytes_have_one_row_per_assay_element_and_medium(survey):
    out = accept_values(survey)
    assert list(out.analytes.columns) == list(ANALYTES)
    assert not out.analytes.duplicated(["assay", "element", "medium"]).any()
    counts = out.analytes.set_index(["assay", "element", "medium"])
    assert counts.loc[("xrf", "Cu", "rock"), ["n", "n_below"]].tolist() == [2, 1]
    accepted = out.analytes[out.analytes["accepted"]]
    assert not accepted.duplicated(["element", "medium"]).any()


def test_twice_is_the_same_as_once(survey):
    once = accept_values(survey, [calibration()])
    pd.testing.assert_frame_equal(
        pd.DataFrame(accept_values(once, [calibration()]).samples), pd.DataFrame(once.samples)
    )


def test_all_four_columns_and_their_kinds(survey):
    out = accept_values(survey).samples
    for element in ("Cu", "Au"):
        kinds = [out[element + s].dtype.kind for s in SUFFIXES]
        assert kinds == ["f", "b", "b", "f"]


def test_prefer_of_a_parted_table_names_its_parts(survey):
    parted = survey.analytes.assign(
        parted_from=np.where(survey.analytes["assay"] == "lab", "results", None)
    )
    told = replace(survey, analytes=parted)
    with pytest.raises(WrongCall, match="kept apart as 'lab'"):
        accept_values(told, prefer=["results"])
    assert accept_values(told, prefer=["lab"]).samples["Cu_ppm"].notna().any()
