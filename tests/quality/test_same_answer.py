"""The order of rows in a file changes nothing that quality control says."""

from dataclasses import replace

import pandas as pd

from geochem.quality import judge_and_treat

TABLES = (
    "verdicts", "standards", "blanks", "pairs", "duplicates", "calibration_pairs", "reread",
    "drift", "drift_correction", "detection", "variances", "reliability", "pellets", "jobs",
    "hits", "bias",
)  # fmt: skip


def test_shuffled_rows_give_the_same_report(simulated, certificates):
    survey = simulated(51, days=6, per_day=60, gains={(2, "Cu"): 1.3}, lab_every=4)
    options = {"drift": "linear", "failed_batches": "down-weight"}

    def mixed(frame):
        return frame.sample(frac=1, random_state=3).reset_index(drop=True)

    other = replace(survey, results=mixed(survey.results), controls=mixed(survey.controls))
    one_survey, one = judge_and_treat(survey, certificates, options=options)
    two_survey, two = judge_and_treat(other, mixed(certificates), options=options)
    for name in TABLES:
        pd.testing.assert_frame_equal(getattr(one, name), getattr(two, name), obj=name, rtol=1e-9)
    pd.testing.assert_frame_equal(one_survey.samples, two_survey.samples, rtol=1e-9)
    assert [f.message for f in one.findings] == [f.message for f in two.findings]
    assert [c.slope for c in one.calibrations] == [c.slope for c in two.calibrations]
