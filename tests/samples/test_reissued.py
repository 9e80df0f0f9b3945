"""A job delivered twice counts once; what was changed is settled or not used, and said."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from geochem.samples.reissued import judge_reissued

IDS = [f"S{i}" for i in range(8)]


def issue(make_results, file, values, **more):
    """Make a laboratory file of copper."""
    rows = [(i, "Cu", v) for i, v in zip(IDS, values, strict=False)]
    return make_results(rows, assay="lab", source="laboratory", file=file, **more)


def judge(*frames):
    got, findings = judge_reissued(pd.concat(frames, ignore_index=True))
    return got, {f.code: f for f in findings}


def test_exact_copy_counts_once(make_results):
    one = issue(make_results, "J7.csv", range(10, 18))
    two = issue(make_results, "J7 copy.csv", range(10, 18))
    got, said = judge(one, two)
    assert len(got) == 8
    assert set(said) == {"results-delivered-twice"}


@pytest.mark.parametrize("turned", [False, True])
def test_newer_issue_replaces(make_results, turned):
    old = issue(make_results, "a.csv", range(10, 18), date_received=pd.Timestamp("2026-03-01"))
    new = issue(
        make_results, "b.csv", [10, 99, *range(12, 18)], date_received=pd.Timestamp("2026-03-09")
    )
    got, said = judge(*([new, old] if turned else [old, new]))
    assert got.loc[got["sample_id"] == "S1", "value"].tolist() == [99]
    assert len(got) == 8
    assert "S1" in said["job-reissued"].message


def test_word_of_revision_in_the_name(make_results):
    old = issue(make_results, "J7.csv", range(10, 18))
    new = issue(make_results, "J7_rev2.csv", [10, 99, *range(12, 18)])
    got, said = judge(new, old)
    assert got.loc[got["sample_id"] == "S1", "value"].tolist() == [99]
    assert "job-reissued" in said


def test_undecidable_values_are_not_used(make_results):
    one = issue(make_results, "a.csv", range(10, 18))
    two = issue(make_results, "b.csv", [10, 99, *range(12, 18)])
    got, said = judge(one, two)
    assert "S1" not in set(got["sample_id"])
    assert len(got) == 7
    assert "neither value is used" in said["job-issues-contradict"].message


def test_repeats_and_shared_controls_stay(make_results):
    one = issue(make_results, "a.csv", range(10, 18))
    repeats = make_results(
        [("S0", "Cu", 10.4), ("S1", "Cu", 11.3), ("S2", "Cu", 11.8)],
        assay="lab", source="laboratory", file="checks.csv",
    )  # fmt: skip
    blanks = make_results(
        [("S0", "Cu", 10)] + [(f"T{i}", "Cu", i + 1) for i in range(9)],
        assay="lab", source="laboratory", file="next.csv",
    )  # fmt: skip
    got, said = judge(one, repeats, blanks)
    assert len(got) == 21
    assert not said


def test_cumulative_export_of_an_instrument(make_results):
    day1 = make_results([(i, "Cu", 10.0 + k, 1.0) for k, i in enumerate(IDS[:4])], file="d1.csv")
    day2 = make_results([(i, "Cu", 10.0 + k, 1.0) for k, i in enumerate(IDS)], file="d2.csv")
    again = make_results([("S0", "Cu", 12.5, 1.0)], file="d2.csv", reading="00099")
    got, said = judge(day1, day2, again)
    assert np.sort(got.loc[got["sample_id"] == "S0", "value"]).tolist() == [10.0, 12.5]
    assert len(got) == 9
    assert set(said) == {"results-delivered-twice"}


def test_same_job_with_every_value_changed(make_results):
    one = issue(make_results, "x.csv", range(10, 18), batch="J7")
    two = issue(make_results, "y.csv", range(20, 28), batch="J7")
    got, said = judge(one, two)
    assert not len(got)
    assert "job-issues-contradict" in said
