from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from geochem.errors import WrongCall
from geochem.quality import judge_and_treat

BAD = "X1-2026-03-03"
COLUMN = "Cu_ppm__xrf"


@pytest.fixture(scope="module")
def survey(simulated):
    return simulated(21, gains={(2, "Cu"): 1.3})


def _of_day(samples):
    return samples["sample_id"].str.startswith("S002").to_numpy()


def test_use_changes_nothing_but_marks(survey, certificates):
    same, report = judge_and_treat(survey, certificates)
    assert same is survey
    assert report.failed_batches == "use"
    assert (report.verdicts["verdict"] == "fail").sum() == 1


def test_leave_out_takes_the_values_of_the_batch_and_no_others(survey, certificates):
    left, report = judge_and_treat(survey, certificates, options={"failed_batches": "leave out"})
    day = _of_day(left.samples)
    assert left.samples.loc[day, COLUMN].isna().all()
    assert not left.samples.loc[day, COLUMN + "_below"].any()
    assert left.samples.loc[~day, COLUMN].equals(survey.samples.loc[~day, COLUMN])
    assert left.samples["Zn_ppm__xrf"].equals(survey.samples["Zn_ppm__xrf"])
    assert left.results is survey.results
    row = report.verdicts[report.verdicts["verdict"] == "fail"].iloc[0]
    assert (row["batch"], row["element"], row["action"]) == (BAD, "Cu", "read again; left out")
    assert any(f.code == "failed-batches-treated" for f in report.findings)


def test_down_weight_widens_the_error_by_the_departure(survey, certificates):
    wide, _ = judge_and_treat(survey, certificates, options={"failed_batches": "down-weight"})
    day = _of_day(wide.samples)
    value = survey.samples.loc[day, COLUMN].to_numpy()
    before = survey.samples.loc[day, COLUMN + "_err"].to_numpy()
    after = wide.samples.loc[day, COLUMN + "_err"].to_numpy()
    flagged = survey.samples.loc[day, COLUMN + "_below"].to_numpy()
    more = np.sqrt(after**2 - before**2)[~flagged] / value[~flagged]
    assert 0.2 < np.median(more) < 0.4
    assert wide.samples[COLUMN].equals(survey.samples[COLUMN])
    assert wide.samples.loc[~day, COLUMN + "_err"].equals(
        survey.samples.loc[~day, COLUMN + "_err"]
    )


def test_a_reading_of_another_day_stands_for_the_bad_one(survey, certificates):

    results = survey.results
    one = results[(results["sample_id"] == "S002-0005") & (results["assay"] == "xrf")].copy()
    one["batch"], one["value"] = "X1-2026-03-05", one["value"] / 1.3
    one["above"] = one["element"] == "Pb"
    again = replace(survey, results=pd.concat([results, one], ignore_index=True))
    left, _ = judge_and_treat(again, certificates, options={"failed_batches": "leave out"})
    got = left.samples.set_index("sample_id").loc["S002-0005"]
    assert got[COLUMN] == pytest.approx(one.set_index("element")["value"]["Cu"])


def test_over_range_stays_a_lower_limit(simulated, certificates):

    survey = simulated(21, gains={(2, "Cu"): 1.3})
    results = survey.results
    one = results[(results["sample_id"] == "S002-0005") & (results["element"] == "Cu")].copy()
    one["batch"], one["value"], one["above"] = "X1-2026-03-05", 5000.0, True
    again = replace(survey, results=pd.concat([results, one], ignore_index=True))
    left, _ = judge_and_treat(again, certificates, options={"failed_batches": "leave out"})
    got = left.samples.set_index("sample_id").loc["S002-0005"]
    assert got[COLUMN] == 5000
    assert got[COLUMN + "_above"]
    assert not got[COLUMN + "_below"]


def test_unknown_treatment_is_refused(survey, certificates):
    with pytest.raises(WrongCall, match="down-weight"):
        judge_and_treat(survey, certificates, options={"failed_batches": "burn"})
