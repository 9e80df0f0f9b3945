import pytest

from geochem.quality.judge import judge_quality


@pytest.fixture(scope="module")
def report(simulated, certificates):
    return judge_quality(
        simulated(1, blank_excess={(2, "Cu"): 70.0, (4, "Zn"): 22.0}), certificates
    )


def test_contamination_fails_and_names_what_came_before(report):
    rows = report.blanks[(report.blanks["element"] == "Cu") & (report.blanks["verdict"] == "fail")]
    assert set(rows["batch"]) == {"X1-2026-03-03"}
    first = rows.iloc[0]
    # Limit 8 ppm, about 80 ppm read.
    assert "x the reference of 8" in first["reason"]
    verdicts = report.verdicts
    row = verdicts[(verdicts["batch"] == "X1-2026-03-03") & (verdicts["element"] == "Cu")].iloc[0]
    assert row["verdict"] == "fail"
    assert row["n_blank"] == 2
    assert "coarse blank" in row["reason"]


def test_between_three_and_five_limits_warns(report):
    rows = report.blanks[
        (report.blanks["element"] == "Zn") & (report.blanks["batch"] == "X1-2026-03-05")
    ]
    assert set(rows["verdict"]) == {"warn"}


def test_below_detection_passes(report):
    assert set(report.blanks.loc[report.blanks["below"], "verdict"]) == {"pass"}


def test_coarse_blank_follows_preparation_order(simulated, certificates):
    survey = simulated(1, blank_excess={(2, "Cu"): 70.0})
    report = judge_quality(survey, certificates)
    row = report.blanks.set_index(["sample_id", "element"]).loc[("S002-0010-BK", "Cu")]
    wide = survey.samples.set_index("sample_id")
    # Standards and duplicates of the same place were prepared with it; the sample came before.
    assert row["previous_value"] == pytest.approx(wide.loc["S002-0010", "Cu_ppm__xrf"])


def test_reading_order_serves_where_preparation_is_unknown(simulated, certificates):
    survey = simulated(1, prep=False)
    report = judge_quality(survey, certificates)
    row = report.blanks.set_index(["sample_id", "element"]).loc[("S002-0030-BK", "Fe")]
    results = survey.results
    fe = results[(results["element"] == "Fe") & (results["assay"] == "xrf")].sort_values(
        "date_read"
    )
    place = list(fe["sample_id"]).index("S002-0030-BK")
    assert row["previous_value"] == pytest.approx(fe["value"].iloc[place - 1])


def test_blank_that_is_a_sample_is_said(simulated, certificates):
    excess = {(1, e): 300.0 for e in ("Cu", "Zn", "Pb", "As", "Ni")}
    report = judge_quality(simulated(2, blank_excess=excess), certificates)
    assert "blank-looks-like-a-sample" in {f.code for f in report.findings}


def test_iron_in_quartz_is_its_own(simulated, certificates):
    excess = {(day, "Fe"): 3000.0 for day in range(6)}
    report = judge_quality(simulated(2, blank_excess=excess), certificates)
    assert not (report.blanks["verdict"] == "fail").any()
    assert "blank-never-empty" in {f.code for f in report.findings}
