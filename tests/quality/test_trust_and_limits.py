import dataclasses

import pytest

from geochem.errors import WrongCall
from geochem.quality.interference import interference_findings
from geochem.quality.judge import judge_quality
from geochem.quality.limits import acceptable_cvs, limit_rows, read_limits


@pytest.fixture(scope="module")
def report(simulated, certificates):
    return judge_quality(simulated(7, days=8, lab_every=5), certificates)


def trust(report, element, assay="xrf"):
    rows = report.verdicts
    return rows.loc[(rows["assay"] == assay) & (rows["element"] == element), "trust"].iloc[0]


def test_classes(report):
    # Precise, calibrated, r2 >= 0.85.
    assert trust(report, "Fe") == "definitive"
    assert trust(report, "Sn") == "unusable"
    assert trust(report, "Fe", "lab_4a") == "definitive"


def test_without_laboratory_nothing_is_definitive(simulated, certificates):
    report = judge_quality(simulated(7, lab_every=0), certificates)
    assert trust(report, "Fe") == "quantitative screening"
    assert "definitive" not in set(report.verdicts["trust"])


def test_gold_by_portable_xrf_is_unusable_and_no_key_element(simulated, certificates):
    ground = {"Au": (20.0, 0.2, 2.0, 0.05, 1.0), "Cu": (40.0, 0.25, 8.0, 0.05, 1.1)}
    report = judge_quality(simulated(1, elements=ground, lab_every=0), certificates)
    rows = report.verdicts[report.verdicts["element"] == "Au"]
    assert set(rows["trust"]) == {"unusable"}
    assert not rows["key_element"].any()


def test_named_key_elements_are_the_only_ones(simulated, certificates):
    survey = simulated(1, gains={(3, "Zn"): 1.28})
    report = judge_quality(survey, certificates, key_elements=["Cu"])
    rows = report.verdicts
    assert set(rows.loc[rows["key_element"], "element"]) == {"Cu"}
    zinc = rows[(rows["batch"] == "X1-2026-03-04") & (rows["element"] == "Zn")].iloc[0]
    assert (zinc["verdict"], zinc["action"]) == ("fail", "use, marked")
    assert report.reread.empty


def test_overlapping_lines_are_said_only_where_they_matter(simulated):
    survey = simulated(1)
    assert not any("under Pb" in f.message and f.severity == "warning"
                   for f in interference_findings(survey, ["xrf"]))  # fmt: skip
    samples = survey.samples.assign(Pb_ppm__xrf=survey.samples["As_ppm__xrf"] * 30)
    found = interference_findings(dataclasses.replace(survey, samples=samples), ["xrf"])
    arsenic = next(f for f in found if f.element == "As")
    assert arsenic.severity == "warning"
    assert "As Ka 10.54" in arsenic.message


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"xrf_bias": 10}, "Did you mean 'xrf_bias_pct'"),
        ({"warn_s": 4}, "must not be above"),
        ({"reject_s": -1}, "above zero"),
        ({"acceptable_cv_pct": {"pulp": 5}}, "unknown role of duplicates 'pulp'"),
        ({"per_instrument": 1}, "true or false"),
        ({"deposit": "porphiry"}, "Did you mean 'porphyry'"),
        ({"screening_r2": 0.95}, "must not be above 'definitive_r2'"),
    ],
)
def test_wrong_options_are_refused(options, message):
    with pytest.raises(WrongCall, match=message):
        read_limits(options)


def test_options_change_only_what_they_name():
    limits = read_limits(
        {"acceptable_cv_pct": {"pulp_duplicate": 7, "field_duplicate": {"Cu": 22}}}
    )
    assert limits.acceptable_cv("pulp_duplicate", "Au") == 7
    assert limits.acceptable_cv("field_duplicate", "Cu") == 22
    assert (
        limits.acceptable_cv("field_duplicate", "Au") == acceptable_cvs()["field_duplicate"]["Au"]
    )


def test_every_limit_that_is_a_table_says_where_it_comes_from():
    rows = limit_rows()
    assert all(r["source"] for part in rows.values() for r in part)
    named = {r["name"]: r["value"] for r in rows["trust"]}
    limits = read_limits(None)
    assert {n: getattr(limits, n) for n in named} == named


@pytest.mark.published
def test_limits_of_a_deposit():
    # Abzalov 2008, Exploration and Mining Geology 17:131-144, acceptable CV (from memory).
    limits = read_limits({"deposit": "porphyry", "acceptable_cv_pct": {"repeat": 7}})
    assert limits.acceptable_cv("coarse_duplicate", "Cu") == 10
    assert limits.acceptable_cv("coarse_duplicate", "Mo") == 15
    assert limits.acceptable_cv("repeat", "Cu") == 7
    assert limits.acceptable_cv("field_duplicate", "Au") == 40
    assert read_limits({"deposit": "coarse gold"}).acceptable_cv("coarse_duplicate", "Au") == 40


@pytest.mark.published
def test_defaults_are_those_of_the_published_rules():
    # EPA Method 6200, 2007 (from memory): calibration check within 20 %, relative SD at most 20 %, 30 %
    # for chromium, logarithms over one order of magnitude; EPA/600/R-97/150 (from memory): definitive
    # r2 0.85 and RSD 10 %, quantitative screening r2 0.70; Westgard et al. 1981: 2s, 3s.
    limits = read_limits(None)
    assert (limits.xrf_bias_pct, limits.precision_pct, limits.precision_cr_pct) == (20, 20, 30)
    assert limits.calibration_log_range == 10
    assert (limits.definitive_r2, limits.definitive_rsd_pct, limits.screening_r2) == (
        0.85,
        10,
        0.7,
    )
    assert (limits.warn_s, limits.reject_s) == (2, 3)


def test_classes_follow_the_limits_of_the_campaign(simulated, certificates):
    report = judge_quality(
        simulated(7, days=8, lab_every=5), certificates,
        options={"definitive_r2": 0.9999, "precision_cr_pct": 25},
    )  # fmt: skip
    assert trust(report, "Fe") == "quantitative screening"


def test_what_the_mill_adds_is_not_believed(simulated, certificates):
    survey = simulated(7, days=8, lab_every=5)
    samples = survey.samples.assign(mill="chrome steel")
    blanks = survey.controls["role"] == "coarse_blank"
    controls = survey.controls[~blanks]
    report = judge_quality(
        dataclasses.replace(survey, samples=samples, controls=controls), certificates
    )
    assert trust(report, "Fe") == "qualitative"
    assert trust(report, "Zn") == "definitive"
    row = report.reliability[report.reliability["element"] == "Fe"].iloc[0]
    assert "milled in steel" in row["reason"]


def test_unknown_key_element_is_refused(simulated, certificates):
    with pytest.raises(WrongCall, match="unknown key element 'CU'"):
        judge_quality(simulated(1, days=1, lab_every=0), certificates, key_elements=["CU"])


def test_nothing_measured_gives_an_empty_report(simulated, certificates):
    survey = simulated(1, days=1, lab_every=0)
    empty = dataclasses.replace(
        survey, results=survey.results.iloc[:0], controls=survey.controls.iloc[:0],
        samples=survey.samples[["sample_id", "medium"]], analytes=survey.analytes.iloc[:0],
    )  # fmt: skip
    report = judge_quality(empty, certificates)
    assert report.verdicts.empty
    assert report.calibrations == ()
