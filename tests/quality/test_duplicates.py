import dataclasses

import numpy as np
import pandas as pd
import pytest

from geochem.quality.arrange import arrange
from geochem.quality.duplicates import pair_duplicates, summarise_duplicates
from geochem.quality.judge import judge_quality
from geochem.quality.limits import read_limits
from geochem.stats.precision import rms_cv


@pytest.fixture(scope="module")
def arranged(simulated):
    return arrange(simulated(1, days=10))


def test_pairs_stand_beside_their_parent(simulated, arranged):
    pairs, findings = pair_duplicates(arranged, read_limits(None))
    assert not findings
    wide = simulated(1, days=10).samples.set_index("sample_id")
    row = pairs[(pairs["role"] == "pulp_duplicate") & (pairs["element"] == "Fe")].iloc[0]
    assert row["first"] == pytest.approx(wide.loc[row["parent"], "Fe_ppm__xrf"])
    assert row["sample_id"] == f"{row['parent']}-PD"


def test_pairs_near_the_limit_are_left_out_and_counted(arranged):
    limits = read_limits({"duplicates_from_limits": 10})
    pairs, _ = pair_duplicates(arranged, limits)
    copper = pairs[(pairs["element"] == "Cu") & (pairs["role"] == "pulp_duplicate")]
    mean = (copper["first"] + copper["second"]) / 2
    assert (mean[copper["used"]] >= 80).all()
    assert set(copper.loc[~copper["used"], "reason"]) <= {
        "below detection",
        "under 10 detection limits",
    }
    summary, findings = summarise_duplicates(pairs, limits)
    row = summary[(summary["element"] == "Cu") & (summary["role"] == "pulp_duplicate")].iloc[0]
    assert row["n_used"] + row["n_near_limit"] == row["n_pairs"] == 20
    assert "duplicates-near-limit" in {f.code for f in findings}


def test_cv_is_the_published_one_on_the_used_pairs(arranged):
    limits = read_limits(None)
    pairs, _ = pair_duplicates(arranged, limits)
    summary, _ = summarise_duplicates(pairs, limits)
    iron = pairs[(pairs["element"] == "Fe") & (pairs["role"] == "field_duplicate") & pairs["used"]]
    row = summary[(summary["element"] == "Fe") & (summary["role"] == "field_duplicate")].iloc[0]
    assert row["cv_pct"] == pytest.approx(rms_cv(iron["first"], iron["second"]))
    assert row["verdict"] == "pass"


def test_too_large_a_cv_fails(arranged):
    limits = read_limits({"acceptable_cv_pct": {"field_duplicate": {"Fe": 1.0}}})
    pairs, _ = pair_duplicates(arranged, limits)
    summary, findings = summarise_duplicates(pairs, limits)
    row = summary[(summary["element"] == "Fe") & (summary["role"] == "field_duplicate")].iloc[0]
    assert row["verdict"] == "fail"
    assert "acceptable 1 %" in row["reason"]
    assert any(f.code == "duplicates-imprecise" and "Fe" in f.message for f in findings)


def test_bias_between_first_and_second_is_found(simulated):
    survey = simulated(1, days=10)
    rows = survey.controls.copy()
    rows.loc[rows["role"] == "pulp_duplicate", "value"] *= 1.08
    pairs, _ = pair_duplicates(
        arrange(dataclasses.replace(survey, controls=rows)), read_limits(None)
    )
    summary, _ = summarise_duplicates(pairs, read_limits(None))
    row = summary[(summary["element"] == "Fe") & (summary["role"] == "pulp_duplicate")].iloc[0]
    assert row["bias_p"] < 0.01
    assert "sign test" in row["reason"]


def test_duplicate_without_parent_is_a_finding(simulated, certificates):
    survey = simulated(1)
    rows = survey.controls.copy()
    rows.loc[rows["sample_id"] == "S000-0010-PD", "parent"] = None
    report = judge_quality(dataclasses.replace(survey, controls=rows), certificates)
    found = next(f for f in report.findings if f.code == "duplicate-without-parent")
    assert "S000-0010-PD" in found.message
    assert "S000-0010-PD" not in set(report.pairs["sample_id"])


def test_repeated_shots_of_a_sample_are_pairs(simulated, certificates):
    survey = simulated(1, controls=False, lab_every=0)
    again = survey.results[survey.results["sample_id"].isin(["S000-0000", "S000-0001"])].copy()
    again["value"] *= 1.02
    again["date_read"] += pd.Timedelta(seconds=60)
    more = dataclasses.replace(
        survey, results=pd.concat([survey.results, again], ignore_index=True)
    )
    pairs = judge_quality(more, certificates).pairs
    assert set(pairs["role"]) == {"repeat"}
    assert len(pairs) == 2 * 8
    assert np.allclose(pairs["second"] / pairs["first"], 1.02)
