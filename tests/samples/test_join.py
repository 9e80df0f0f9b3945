"""Ids match exactly or by normal form, nothing twice, and everything left over is named."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem.samples.doubled import judge_doubled
from geochem.samples.join import join_results
from geochem.samples.normal_form import normal_form


def by_code(findings):
    return {f.code: f for f in findings}


@pytest.mark.parametrize(
    "spelling", ["ss-0012", "SS 12", "SS_012", "ss–12", "SS12", " ss — 12 ", "ＳＳ12", "'SS-12"]
)
def test_spellings_of_one_id(spelling):
    assert normal_form(spelling) == normal_form("SS-0012")


@pytest.mark.parametrize(
    ("one", "other"), [("A-1-12", "A-11-2"), ("A12", "A13"), ("A1", "B1"), ("10.5", "105")]
)
def test_different_ids_stay_different(one, other):
    assert normal_form(one) != normal_form(other)


@settings(max_examples=50)
@given(st.text(min_size=1, max_size=12))
def test_normal_form_is_stable(text):
    assert normal_form(normal_form(text)) == normal_form(text)


def test_exact_normal_form_and_left_over(make_log, make_results, no_roles):
    log = make_log(["A-001", "A-002", "A-003", "A-004"])
    results = make_results([("A-001", "Cu", 1), ("a2", "Cu", 2), ("A-0O3", "Cu", 3)])
    joined = join_results(log, results, no_roles)
    assert joined.results["sample_id"].tolist() == ["A-001", "A-002", "A-0O3"]
    assert joined.report.counts.iloc[0].to_dict() == {
        "assay": "xrf", "ids": 3, "exactly": 1, "by_normal_form": 1, "controls": 0,
        "unmatched": 1, "values_unmatched": 1,
    }  # fmt: skip
    found = by_code(joined.findings)
    assert "'a2' is 'A-002'" in found["id-matched-by-normal-form"].message
    lost = found["results-without-sample"]
    assert (lost.file, lost.row, lost.sample_id) == ("xrf.csv", 4, "A-0O3")
    # likeness only suggests
    assert joined.report.suggestions == (("A-0O3", "A-003"),)
    assert joined.report.without_results == ("A-003", "A-004")
    assert "2 of 4 samples" in found["samples-without-results"].message
    assert "xrf" in repr(joined.report)


def test_nothing_is_matched_twice(make_log, make_results, no_roles):
    log = make_log(["A-001", "A-002"])
    results = make_results(
        [("A-001", "Cu", 1), ("a1", "Cu", 9), ("a2", "Cu", 2), ("A 2", "Cu", 3)]
    )
    joined = join_results(log, results, no_roles)
    # the exact spelling keeps its sample; two other spellings of one assay get none
    assert joined.results["sample_id"].tolist() == ["A-001", "a1", "a2", "A 2"]
    assert "3 spellings" in by_code(joined.findings)["id-matched-twice"].message
    # in different assays each may have its own spelling
    other = make_results([("a1", "Cu", 9)], assay="lab", source="laboratory")
    both = pd.concat([results.iloc[:1], other], ignore_index=True)
    assert join_results(log, both, no_roles).results["sample_id"].tolist() == ["A-001"] * 2


def test_ids_alike_in_the_field_log_match_only_exactly(make_log, make_results, no_roles):
    log = make_log(["A1", "a-01"])
    joined = join_results(log, make_results([("A 1", "Cu", 1), ("A1", "Cu", 2)]), no_roles)
    assert joined.results["sample_id"].tolist() == ["A 1", "A1"]
    assert "ids-alike" in by_code(joined.findings)


def test_roles_from_log_and_table(make_log, make_results):
    log = make_log(
        ["A-001", "A-002", "A-003"],
        role=[None, "Field Duplicate", "nonsense"], parent=[None, "a1", None],
    )  # fmt: skip
    said = pd.DataFrame(
        {
            "sample_id": ["STD1", "A-001R", "A-002"], "role": ["standard", "reread", "blank"],
            "parent": [None, "A-001", None], "standard": ["OX", None, None],
        },
        dtype=object,
    )  # fmt: skip
    results = make_results([("STD1", "Cu", 1), ("A-001R", "Cu", 1), ("A-002", "Cu", 1)])
    joined = join_results(log, results, said)
    roles = joined.roles.set_index("sample_id")
    assert roles["role"].to_dict() == {
        "A-001R": "reread", "A-002": "field_duplicate", "STD1": "standard"
    }  # fmt: skip
    assert roles.loc["A-002", "parent"] == "A-001"  # by normal form
    assert roles.loc["STD1", "standard"] == "OX"
    found = by_code(joined.findings)
    assert found["role-differs"].sample_id == "A-002"
    assert "nonsense" in found["role-unknown"].message
    # controls are no results without a sample
    assert "results-without-sample" not in found


def test_an_id_that_recurs_for_other_samples_is_paired_with_none(make_log, make_results):
    log = make_log(["A-001", "A-002"])
    said = pd.DataFrame(
        {
            "sample_id": ["D1", "D1", "D2", "STD1", "STD1"],
            "role": [*["pulp_duplicate"] * 3, "standard", "standard"],
            "parent": ["A-001", "A-002", "A-002", None, None],
            "standard": [None, None, None, "OX", "OX"],
        },
        dtype=object,
    )
    results = make_results([("D1", "Cu", 1), ("D1", "Cu", 2), ("D2", "Cu", 3), ("STD1", "Cu", 4)])
    joined = join_results(log, results, said)
    roles = joined.roles.set_index("sample_id")
    assert pd.isna(roles.loc["D1", "parent"])
    assert roles.loc["D2", "parent"] == "A-002"
    assert roles.loc["STD1", "standard"] == "OX"
    said_of = by_code(joined.findings)["control-id-recurs"]
    assert said_of.sample_id == "D1"
    assert "D2" not in said_of.message


def test_a_reread_under_the_samples_own_id_stays_the_sample(make_log, make_results):
    said = pd.DataFrame(
        {"sample_id": ["A1"], "role": ["reread"], "parent": [None], "standard": [None]},
        dtype=object,
    )
    joined = join_results(make_log(["A1"]), make_results([("A1", "Cu", 1)]), said)
    assert not len(joined.roles)


def test_duplicate_without_parent_is_named(make_log, make_results, no_roles):
    log = make_log(["A1", "D1"], role=[None, "field_duplicate"], parent=[None, "ZZ"])
    found = by_code(join_results(log, make_results([("D1", "Cu", 1)]), no_roles).findings)
    assert found["parent-missing"].sample_id == "D1"


def test_doubled_ids(make_log):
    log = make_log(
        ["A1", "A1", "B1", "B1", "C1", "C1", "E1"],
        x=[1e5, 1e5, 2e5, np.nan, 3e5, 3.5e5, 4e5],
        y=[1e6, 1e6, 2e6, np.nan, 3e6, 3e6, 4e6],
        powder_ml=[np.nan, np.nan, np.nan, 7.0, np.nan, np.nan, np.nan],
    )
    frame, findings = judge_doubled(log)
    found = by_code(findings)
    assert frame["sample_id"].tolist() == ["A1", "B1", "C1", "E1"]
    assert (found["id-doubled-copy"].file, found["id-doubled-copy"].row) == ("log.csv", 3)
    # two halves of one record
    assert frame.loc[1, ["x", "powder_ml"]].tolist() == [2e5, 7.0]
    assert "B1" in found["id-doubled-completed"].message
    # nobody can tell which place the material came from
    clash = found["id-doubled-conflict"]
    assert np.isnan(frame.loc[2, "x"])
    assert clash.sample_id == "C1"
    assert "row 6 of log.csv, row 7 of log.csv" in clash.message
    assert "x" in clash.message
    shuffled, again = judge_doubled(log.iloc[::-1].reset_index(drop=True))
    pd.testing.assert_frame_equal(frame.drop(columns=["row"]), shuffled.drop(columns=["row"]))
    assert {f.code for f in again} == {f.code for f in findings}


def test_doubled_standards_are_usual(make_log):
    log = make_log(["OX1", "OX1", "A1"], role=["standard", "standard", None])
    frame, findings = judge_doubled(log)
    assert len(frame) == 2
    assert findings == ()


def test_row_without_id(make_log):
    log = make_log(["A1", None])
    frame, findings = judge_doubled(log)
    assert len(frame) == 1
    assert (findings[0].code, findings[0].row) == ("id-missing", 3)


def test_results_without_depth_join_no_depth(make_log, make_results, no_roles):
    log = make_log(["A1@0-0.2", "A1@0.2-0.4", "A2"], depth_from=[0, 0.2, np.nan],
                   depth_to=[0.2, 0.4, np.nan])  # fmt: skip
    results = make_results([("A1", "Cu", 5), ("A2", "Cu", 7)])
    joined = join_results(log, results, no_roles)
    assert joined.report.unmatched == (("xrf", "A1"),)
    assert "several depths" in by_code(joined.findings)["depth-not-stated"].message
    # the results say which depth: that sample gets them
    joined = join_results(log, results, no_roles, {("xrf", "A1"): (0.2, 0.4)})
    assert joined.results["sample_id"].tolist() == ["A1@0.2-0.4", "A2"]


def test_results_of_depths_that_nobody_logged(make_log, make_results, no_roles):
    log = make_log(["A1", "A2"], depth_from=[0, np.nan], depth_to=[0.2, np.nan])
    results = make_results(
        [("A1@0-0.2", "Cu", 5), ("A1@0.2-0.4", "Cu", 6), ("A2@0-1", "Cu", 7), ("A2@1-2", "Cu", 8)]
    )
    joined = join_results(log, results, no_roles)
    assert joined.results["sample_id"].tolist() == ["A1", "A1@0.2-0.4", "A2@0-1", "A2@1-2"]
    assert by_code(joined.findings)["depth-not-logged"].message.startswith("3 ids")
    other = make_results([("A1", "Cu", 5)])
    joined = join_results(log, other, no_roles, {("xrf", "A1"): (1.0, 1.2)})
    assert joined.report.unmatched == (("xrf", "A1"),)
    assert "depth-differs" in by_code(joined.findings)
