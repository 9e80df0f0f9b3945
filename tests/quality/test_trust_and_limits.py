import dataclasses

import pytest

from geochem.errors import WrongCall
from geochem.quality.interference import interference_findings
from geochem.quality.judge import judge_quality
from geochem.quality.limits import ACCEPTABLE_CV, read_limits


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
    assert limits.acceptable_cv("field_duplicate", "Au") == ACCEPTABLE_CV["field_duplicate"]["Au"]


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
