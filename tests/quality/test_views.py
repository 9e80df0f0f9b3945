"""Detection, variances, pellets, reliability, jobs and hit rates on simulated campaigns."""

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from geochem.errors import WrongCall
from geochem.quality import judge_quality
from geochem.quality.laboratory_view import laboratory_jobs
from geochem.quality.limits import QualityLimits
from geochem.quality.pellets import judge_pellets
from geochem.quality.summary import evening_lines


@pytest.fixture(scope="module")
def survey(simulated):
    return simulated(31, days=8, per_day=60)


@pytest.fixture(scope="module")
def report(survey, certificates):
    return judge_quality(survey, certificates)


def test_detection_limits_stand_beside_the_reported_ones(report):
    table = report.detection[report.detection["assay"] == "xrf"].set_index("element")
    assert table.loc["Cu", "reported"] == 8
    # Iron is never near its limit: counting at 20,000 ppm tells nothing about it.
    assert np.isnan(table.loc["Fe", "from_counting"])
    # 10 % of tin just above 15 ppm.
    assert 0 < table.loc["Sn", "from_counting"] < 15
    # STD-B holds 30 ppm Sn, two limits of 15: replicates, 20 % and 0.15 limits, 3 SD = 19 ppm.
    assert table.loc["Sn", "low_sample"] == "STD-B"
    assert table.loc["Sn", "low_3s"] == pytest.approx(19, rel=0.5)
    assert table.loc["Sn", "verdict"] == "pass"


def test_a_stated_limit_that_is_too_good_is_said(survey, certificates):
    analytes = survey.analytes.assign(
        limit_low=np.where(survey.analytes["element"] == "Sn", 3.0, np.nan)
    )
    report = judge_quality(replace(survey, analytes=analytes), certificates)
    row = report.detection[
        report.detection["element"].eq("Sn") & report.detection["assay"].eq("xrf")
    ]
    assert row["verdict"].tolist() == ["warn"]
    assert any(
        f.code == "detection-limit-optimistic" and "Sn" in f.message for f in report.findings
    )


def test_variances_come_back(report):
    table = report.variances[report.variances["assay"] == "xrf"]
    fe = table[table["element"] == "Fe"].set_index("part")
    # Planted in log10: ground 0.12; field duplicates 0.06 on one of the two; reading 2 %.
    assert fe.loc["analysis", "variance"] == pytest.approx(0.00869**2, rel=0.6)
    assert fe.loc["sampling", "variance"] == pytest.approx(0.06**2 / 2, rel=0.6)
    assert fe.loc["ground", "robust_variance"] == pytest.approx(0.12**2, rel=0.25)
    parts = fe.loc[["ground", "sampling", "analysis"], "share_pct"].sum()
    assert parts == pytest.approx(100)


def test_values_beyond_the_range_are_lower_limits_of_the_variance(survey, certificates, report):
    """With the top fifth of iron only known to be higher, the total variance stays the same."""
    results = survey.results.copy()
    iron = (results["element"] == "Fe") & (results["assay"] == "xrf")
    top = results.loc[iron, "value"].quantile(0.8)
    over = iron & (results["value"] > top)
    results.loc[over, "value"] = top
    results["above"] = results["above"] | over
    again = judge_quality(replace(survey, results=results), certificates).variances

    def total(table):
        rows = table[(table["assay"] == "xrf") & (table["element"] == "Fe")]
        return rows.set_index("part").loc["total", "variance"]

    assert total(again) == pytest.approx(total(report.variances), rel=0.15)


def test_horwitz_is_for_umpire_pairs_only(report):
    assert report.duplicates["horwitz_ratio"].isna().all()
    from geochem.quality.duplicate_statistics import describe_pairs

    a = np.full(400, 100.0)
    b = a * np.exp(0.08 * np.sqrt(2) * np.random.default_rng(1).standard_normal(400))
    # Horwitz: 100 ppm, 2^(1 - 0.5 log10 1e-4) = 8 %.
    assert describe_pairs(a, b, "umpire", 15.0)["horwitz_ratio"] == pytest.approx(1, abs=0.1)


def test_coarse_grains_are_told_from_plain_noise():
    from geochem.quality.duplicate_statistics import coarse_grains

    rng = np.random.default_rng(5)
    true = 10 ** rng.normal(0, 0.3, 60)
    plain = [true * np.exp(0.25 * rng.standard_normal(60)) for _ in range(2)]
    nugget = [true * (0.9 + 0.1 * 30 * (rng.random(60) < 1 / 30)) for _ in range(2)]
    nugget = [n * np.exp(0.05 * rng.standard_normal(60)) for n in nugget]
    assert not coarse_grains(*plain)
    few = (np.maximum(*nugget) > 2 * np.minimum(*nugget)).mean()
    assert coarse_grains(*nugget) == (few > 0.1)


def test_thin_pellets_are_named_per_element(survey):
    samples = survey.samples.assign(powder_ml=8.0, die_mm=32.0, moisture_pct=2.0, binder_pct=0.0)
    samples.loc[3, "powder_ml"] = 1.0
    samples.loc[7, "moisture_pct"] = 25.0
    samples.loc[9, "binder_pct"] = 20.0
    wet = replace(survey, samples=samples)
    table, findings, remarks = judge_pellets(wet, {"Cu", "Ag", "Ba"}, QualityLimits())
    thin = table.set_index("element")["n_thin"]
    assert thin["Cu"] == 0
    assert thin["Ag"] == 1
    assert thin["Ba"] == len(samples)  # 8 mL at 1.2 g/mL on 32 mm: 1.19 g/cm2, 92 %
    assert "Cu" not in remarks
    codes = [f.code for f in findings]
    assert codes == ["pellet-thin", "pellet-thin", "pellet-moist", "pellet-binder"]
    assert samples.loc[3, "sample_id"] in findings[0].message
    assert "Cu 94 %" in findings[2].message


def test_a_class_set_by_hand_stands_and_says_what_the_data_say(survey, certificates):
    given = {
        "Zn": {"class": "unusable", "reason": "galvanised sieve"},
        "xrf": {"Cu": "qualitative"},
    }
    report = judge_quality(survey, certificates, options={"trust": given})
    table = report.reliability.set_index(["assay", "element"])
    assert table.loc[("xrf", "Zn"), "trust"] == "unusable"
    assert table.loc[("lab_4a", "Zn"), "by"] == "hand"
    assert "galvanised sieve" in table.loc[("xrf", "Zn"), "reason"]
    assert table.loc[("lab_4a", "Cu"), "by"] == "rule"
    row = report.verdicts[
        (report.verdicts["assay"] == "xrf") & (report.verdicts["element"] == "Cu")
    ]
    assert set(row["trust"]) == {"qualitative"}
    with pytest.raises(WrongCall, match="trust class"):
        judge_quality(survey, certificates, options={"trust": {"Zn": "bad"}})


def test_jobs_count_what_is_out(survey):
    ids = survey.samples["sample_id"].tolist()
    sent = pd.DataFrame(
        {"sample_id": ids[:20], "laboratory": "L", "job": ["A"] * 10 + ["B"] * 10,
         "sent": ["2026-03-12"] * 10 + ["2026-03-20"] * 10}
    )  # fmt: skip
    results = survey.results[survey.results["source"] == "laboratory"]
    back = set(results["sample_id"])
    jobs, findings = laboratory_jobs(
        survey.results, sent, QualityLimits(), today=date(2026, 4, 21)
    )
    assert jobs["job"].tolist() == ["A", "B"]
    assert jobs["n_returned"].tolist() == [len(back & set(ids[:10])), len(back & set(ids[10:20]))]
    assert jobs.loc[0, "turnaround_days"] == 20
    assert jobs.loc[1, "waiting_days"] == 32
    assert [f.code for f in findings] == [
        "laboratory-not-dispatched", "laboratory-late", "laboratory-late",
    ]  # fmt: skip


def test_hit_rate_counts_what_came_low(simulated, certificates):
    survey = simulated(32, days=8, per_day=60, lab_every=2)
    samples = survey.samples.copy()
    both = samples["Cu_ppm__lab_4a"].notna()
    high = samples[both].nlargest(6, "Cu_ppm__xrf").index
    samples.loc[high[:4], "Cu_ppm__lab_4a"] = 30.0
    report = judge_quality(replace(survey, samples=samples), certificates)
    row = report.hits[report.hits["element"] == "Cu"].iloc[0]
    assert set(samples.loc[high[:4], "sample_id"]) <= set(row["high_came_low"].split(", "))
    assert row["n_confirmed"] == row["n_high"] - len(row["high_came_low"].split(", "))
    assert row["hit_low_pct"] < row["hit_rate_pct"] < row["hit_high_pct"]


def test_the_evening_fits_a_screen(survey, certificates, simulated):
    bad = simulated(33, days=30, gains={(d, "Cu"): 1.4 for d in range(12)}, lab_every=0)
    report = judge_quality(bad, certificates)
    lines = evening_lines(report, report.findings)
    assert len(lines) <= 24
    assert any("read last, on 2026-03-" in line for line in lines)
    assert len(lines) <= 24
    assert lines[0] == "Passed"
    assert any("and" in line and "more" in line for line in lines)
    assert max(len(line) for line in lines) <= 152


def test_standards_of_another_matrix_are_said(survey, certificates):
    ore = certificates.copy()
    ore.loc[(ore["standard"] == "STD-B") & (ore["element"] == "Fe"), "certified"] = 350_000.0
    ore["matrix"] = "massive sulphide"
    found = [
        f for f in judge_quality(survey, ore).findings if f.code == "standard-matrix-mismatch"
    ]
    assert len(found) == 1
    assert "STD-B (massive sulphide)" in found[0].message


def test_bias_has_an_interval(report):
    row = report.bias[(report.bias["assay"] == "xrf") & (report.bias["element"] == "Ni")].iloc[0]
    assert row["low_pct"] < 40 < row["high_pct"]
    assert row["verdict"] == "warn"


def test_nelson_rules_can_be_asked_for(survey, certificates):
    report = judge_quality(survey, certificates, options={"run_rules": "nelson"})
    said = next(f for f in report.findings if f.code == "control-chart-alarms")
    assert "N2" in said.message
