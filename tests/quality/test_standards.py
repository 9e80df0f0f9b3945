import numpy as np
import pytest

from geochem.quality.judge import judge_quality
from geochem.quality.summary import summary_lines


def verdict(report, batch, element):
    rows = report.verdicts
    return rows[(rows["batch"] == batch) & (rows["element"] == element)].iloc[0]


@pytest.fixture(scope="module")
def bad_day(simulated):
    return simulated(1, gains={(3, "Cu"): 1.28, (3, "Zn"): 1.28})


@pytest.fixture(scope="module")
def report(bad_day, certificates):
    return judge_quality(bad_day, certificates)


def test_a_batch_that_departs_fails_and_names_elements_standards_numbers(report):
    row = verdict(report, "X1-2026-03-04", "Cu")
    assert row["verdict"] == "fail"
    assert row["key_element"]
    assert row["action"] == "read again"
    assert "high on STD-A x 2, STD-B x 2" in row["reason"]
    batches = report.batches.set_index("batch")["verdict"]
    assert batches["X1-2026-03-04"] == "fail"
    assert (batches.drop("X1-2026-03-04") == "pass").all()


def test_samples_to_read_again_are_the_routine_ones_of_that_batch(report):
    assert set(report.reread["batch"]) == {"X1-2026-03-04"}
    assert len(report.reread) == 40
    assert report.reread["sample_id"].str.fullmatch(r"S003-\d{4}").all()
    assert report.reread["reason"].str.contains("Cu, Zn failed").all()


def test_summary_says_it_in_one_line(report):
    first = summary_lines(report)[0]
    assert first.startswith("xrf / X1-2026-03-04 / soil: fail (Cu, Zn read ")
    assert first.endswith("; read 40 samples again")
    assert "xrf: 5 of 6 batches pass" in summary_lines(report)


def test_constant_bias_does_not_fail_a_batch(report):
    # Nickel reads 40 % high throughout.
    rows = report.verdicts
    rows = rows[(rows["source"] == "pxrf") & (rows["element"] == "Ni")]
    assert set(rows["verdict"]) == {"pass"}
    checks = report.standards
    assert (
        checks.loc[(checks["element"] == "Ni") & (checks["source"] == "pxrf"), "bias_pct"] > 20
    ).any()
    bias = next(f for f in report.findings if f.code == "constant-bias")
    assert "Ni +4" in bias.message


def test_near_the_limit_is_said_not_judged(report):
    row = verdict(report, "X1-2026-03-01", "Sn")
    assert row["reason"].startswith("not checked against a standard")
    assert not row["key_element"]


def test_no_certified_value_is_not_zero(simulated, table_of_standards):
    empty = table_of_standards().iloc[:0]
    report = judge_quality(simulated(2), empty)
    assert report.standards["certified"].isna().all()
    assert report.standards["bias_pct"].isna().all()
    assert "standard-without-certificate" in {f.code for f in report.findings}
    # The own chart still judges portable XRF.
    assert (report.verdicts.loc[report.verdicts["source"] == "pxrf", "n_standard"] > 0).any()


def test_without_controls_everything_is_used_and_not_checked(simulated, certificates):
    report = judge_quality(simulated(3, controls=False, lab_every=0), certificates)
    assert set(report.verdicts["verdict"]) == {"warn"}
    assert set(report.verdicts["reason"]) == {"not checked"}
    assert set(report.verdicts["action"]) == {"use"}
    assert report.reread.empty
    assert "batch-not-checked" in {f.code for f in report.findings}


def test_laboratory_is_judged_on_the_certificate(simulated, certificates):
    report = judge_quality(simulated(4, lab_gains={(1, "Zn"): 1.25}), certificates)
    assert verdict(report, "JOB01", "Zn")["verdict"] == "fail"
    assert "SD from the certified value" in verdict(report, "JOB01", "Zn")["reason"]
    assert verdict(report, "JOB00", "Zn")["verdict"] == "pass"


def test_laboratory_z_is_in_sd_of_the_certificate(report):
    rows = report.standards
    rows = rows[(rows["source"] == "laboratory") & rows["z"].notna()]
    assert len(rows)
    assert np.allclose(rows["z"], (rows["value"] - rows["certified"]) / rows["sd"])


def test_constant_laboratory_bias_warns_only(simulated, certificates):
    gains = {(job, "Zn"): 1.25 for job in range(3)}
    report = judge_quality(simulated(4, lab_gains=gains), certificates)
    row = verdict(report, "JOB01", "Zn")
    assert row["verdict"] == "warn"
    assert "constant in all batches" in row["reason"]


def test_digestion_mismatch_is_said_not_failed(simulated, table_of_standards):
    gains = {(job, "Zn"): 0.5 for job in range(3)}
    survey = simulated(4, lab_digestion="partial", lab_gains=gains)
    report = judge_quality(survey, table_of_standards(digestion="total"))
    row = verdict(report, "JOB01", "Zn")
    assert row["verdict"] != "fail"
    assert "certified for total digestion, analysed by partial" in row["reason"]
    assert "standard-digestion-mismatch" in {f.code for f in report.findings}


def test_unstated_kind_of_sd_counts_as_between_laboratories_and_is_said(
    simulated, table_of_standards
):
    report = judge_quality(simulated(4), table_of_standards(kind_of_sd=None))
    assert report.standards.loc[report.standards["source"] == "laboratory", "z"].notna().any()
    assert "sd-kind-unstated" in {f.code for f in report.findings}


def test_swapped_standard_is_named(simulated, certificates):
    survey = simulated(5, days=5, standards_per_day=2)
    rows = survey.controls
    hit = rows["sample_id"] == rows.loc[rows["standard"] == "STD-A", "sample_id"].iloc[6]
    rows.loc[hit, "standard"] = "STD-B"
    report = judge_quality(survey, certificates)
    swapped = [f for f in report.findings if f.code == "standard-swapped"]
    assert len(swapped) == 1
    assert "reads like STD-A" in swapped[0].message


def test_one_wild_reading_is_not_the_batch(simulated, certificates):
    survey = simulated(6, standards_per_day=2)
    rows = survey.controls
    hit = (
        (rows["standard"] == "STD-A")
        & (rows["element"] == "Fe")
        & (rows["batch"] == "X1-2026-03-02")
    )
    rows.loc[rows.index[hit][0], "value"] *= 1.6
    report = judge_quality(survey, certificates)
    row = verdict(report, "X1-2026-03-02", "Fe")
    assert row["verdict"] == "warn"
    assert (report.standards["verdict"] == "fail").any()


def test_certificate_of_the_same_digestion_is_taken(simulated, table_of_standards):
    import pandas as pd

    low = table_of_standards(digestion="near-total")
    low["certified"] *= 0.6
    both = pd.concat([low, table_of_standards(digestion="total")], ignore_index=True)
    checks = judge_quality(simulated(4), both).standards
    taken = checks.loc[(checks["standard"] == "STD-A") & (checks["element"] == "Cu"), "certified"]
    assert set(taken) == {120.0}


def test_insertion_number_after_the_name_of_a_standard(simulated, certificates):
    survey = simulated(4)
    rows = survey.controls
    named = rows["standard"] == "STD-A"
    rows.loc[named, "standard"] = "std a " + rows.loc[named, "batch"].astype(str)
    checks = judge_quality(survey, certificates).standards
    assert set(checks["standard"]) == {"STD-A", "STD-B"}


def test_row_order_and_input_do_not_matter(bad_day, certificates, report):
    import dataclasses

    import pandas as pd

    before = bad_day.controls.copy()
    rng = np.random.default_rng(1)

    def shuffled(frame):
        return frame.iloc[rng.permutation(len(frame))].reset_index(drop=True)

    other = dataclasses.replace(
        bad_day, results=shuffled(bad_day.results), controls=shuffled(bad_day.controls),
        samples=shuffled(bad_day.samples),
    )  # fmt: skip
    again = judge_quality(other, shuffled(certificates))
    for name in ("verdicts", "standards", "blanks", "pairs", "duplicates", "reread"):
        pd.testing.assert_frame_equal(getattr(again, name), getattr(report, name))
    pd.testing.assert_frame_equal(again.calibration_pairs, report.calibration_pairs)
    assert again.calibrations == report.calibrations or all(
        a.slope == b.slope for a, b in zip(again.calibrations, report.calibrations, strict=True)
    )
    pd.testing.assert_frame_equal(bad_day.controls, before)


@pytest.mark.slow
def test_detection_and_false_alarms(simulated, certificates):
    """28 % on two of eight elements, four standard readings a day, six days."""
    failed = found = batches = 0
    for seed in range(60):
        survey = simulated(seed, gains={(4, "Cu"): 1.28, (4, "Zn"): 1.28}, per_day=20, lab_every=0)
        table = judge_quality(survey, certificates).batches.set_index("batch")["verdict"]
        found += table.pop("X1-2026-03-05") == "fail"
        failed += (table == "fail").sum()
        batches += len(table)
    assert found / 60 >= 0.95
    assert failed / batches <= 0.05
