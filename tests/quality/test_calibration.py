import dataclasses

import numpy as np
import pytest

from geochem.quality.calibration_fit import fit_line
from geochem.quality.judge import judge_quality


def of(report, element):
    return next(c for c in report.calibrations if c.element == element)


@pytest.fixture(scope="module")
def survey(simulated):
    return simulated(7, days=8, lab_every=5)


@pytest.fixture(scope="module")
def report(survey, certificates):
    return judge_quality(survey, certificates)


def test_the_planted_factor_comes_back(report):
    # Nickel reads 1.40 x the truth, iron 1.05 x.
    nickel, iron = of(report, "Ni"), of(report, "Fe")
    assert nickel.verdict == "pass"
    middle = 50.0
    value = nickel.intercept + nickel.slope * (np.log10(middle) if nickel.log else middle)
    value = 10**value if nickel.log else value
    assert value == pytest.approx(middle / 1.40, rel=0.06)
    value = iron.intercept + iron.slope * (np.log10(40000) if iron.log else 40000)
    assert (10**value if iron.log else value) == pytest.approx(40000 / 1.05, rel=0.03)


def test_pairs_with_a_limit_are_left_out_and_counted(report):
    copper = of(report, "Cu")
    pairs = report.calibration_pairs
    pairs = pairs[pairs["element"] == "Cu"]
    assert copper.n == pairs["used"].sum()
    assert copper.n_left_out == (pairs["reason"] == "below detection").sum()
    assert copper.low == pairs.loc[pairs["used"], "x"].min()


def test_log_when_the_range_is_wide(report):
    pairs = report.calibration_pairs
    for c in report.calibrations:
        x = pairs.loc[(pairs["element"] == c.element) & pairs["used"], "x"]
        y = pairs.loc[(pairs["element"] == c.element) & pairs["used"], "y"]
        assert c.log == (x.max() / x.min() > 10 or y.max() / y.min() > 10)


def test_partial_digestion_is_never_corrected_onto(simulated, certificates):
    report = judge_quality(simulated(7, lab_every=5, lab_digestion="partial"), certificates)
    assert {c.verdict for c in report.calibrations} == {"fail"}
    assert "not corrected onto each other" in of(report, "Fe").reason


def test_unstated_digestion_counts_as_comparable_with_a_finding(simulated, certificates):
    report = judge_quality(simulated(7, lab_every=5, lab_digestion=None), certificates)
    assert of(report, "Fe").verdict == "pass"
    assert "digestion-unstated" in {f.code for f in report.findings}


@pytest.mark.parametrize(("lab_every", "verdict"), [(16, "provisional"), (40, "fail")])
def test_few_pairs(simulated, certificates, lab_every, verdict):
    report = judge_quality(simulated(7, lab_every=lab_every), certificates)
    assert of(report, "Fe").n < 20
    assert of(report, "Fe").verdict == verdict


def test_highs_only_is_not_a_pass(survey, certificates):
    samples = survey.samples.copy()
    low = samples["Fe_ppm__xrf"] < samples["Fe_ppm__xrf"].quantile(0.75)
    extra = samples["Fe_ppm__xrf"] * 0.95
    samples["Fe_ppm__lab_4a"] = np.where(low, np.nan, extra)
    report = judge_quality(dataclasses.replace(survey, samples=samples), certificates)
    assert of(report, "Fe").n >= 20
    assert of(report, "Fe").verdict == "provisional"
    assert "high readings only" in of(report, "Fe").reason


def test_readings_of_failed_batches_stay_out(simulated, certificates):
    survey = simulated(7, days=8, lab_every=5, gains={(3, "Cu"): 1.5})
    report = judge_quality(survey, certificates)
    pairs = report.calibration_pairs
    bad = pairs[(pairs["element"] == "Cu") & (pairs["reason"] == "batch failed")]
    assert len(bad)
    assert bad["sample_id"].str.startswith("S003").all()
    assert not bad["used"].any()


def test_instruments_that_differ_get_a_line_each(survey, certificates):
    samples, results = survey.samples.copy(), survey.results.copy()
    second = samples["sample_id"].str.slice(1, 4).astype(int) >= 4
    samples["Fe_ppm__xrf"] *= np.where(second, 1.3, 1.0)
    later = results["sample_id"].str.slice(1, 4).isin(["004", "005", "006", "007"])
    results.loc[later & (results["assay"] == "xrf"), "instrument"] = "X2"
    changed = dataclasses.replace(survey, samples=samples, results=results)
    lines = {
        c.instrument: c
        for c in judge_quality(changed, certificates).calibrations
        if c.element == "Fe"
    }
    assert set(lines) == {"X1", "X2"}
    assert {c.verdict for c in lines.values()} == {"pass"}


def _step(survey, by, hit, results_hit=None, **columns):
    """Multiply iron of the samples where `hit`; write columns into the results of `results_hit`."""
    samples, results = survey.samples.copy(), survey.results.copy()
    samples["Fe_ppm__xrf"] *= np.where(hit, by, 1.0)
    for name, value in columns.items():
        results.loc[results_hit & (results["assay"] == "xrf"), name] = value
    return dataclasses.replace(survey, samples=samples, results=results)


def _day(column):
    return column.str.slice(1, 4).astype(int)


def test_a_change_in_time_gets_two_lines_and_every_sample_its_own(survey, certificates):
    from geochem.stats.calibration_line import apply_calibration

    late = _day(survey.samples["sample_id"]) >= 5
    report = judge_quality(_step(survey, 1.4, late), certificates)
    lines = [c for c in report.calibrations if c.element == "Fe"]
    assert [(c.since, c.until) for c in lines] == [("2026-03-06", ""), ("", "2026-03-05")]
    assert {c.verdict for c in lines} == {"pass"}
    # Both correct the same truth: 1.05 and 1.05 x 1.4 times what the laboratory finds.
    values = [
        apply_calibration(_one_value(40000.0 * k), c).value[0]
        for c, k in zip(lines, (1.05 * 1.4, 1.05), strict=True)
    ]
    assert values == pytest.approx([40000, 40000], rel=0.04)
    shared = lines[0].samples & lines[1].samples
    assert not shared
    assert set(survey.samples["sample_id"]) <= lines[0].samples | lines[1].samples
    assert "calibrated-by-group" in {f.code for f in report.findings}
    assert [c.group for c in report.calibrations if c.element == "Zn"] == [""]


def _one_value(x):
    from geochem.model.tables import Values

    no = np.array([False])
    return Values(np.array([x]), no, no, np.array([np.nan]))


def test_a_mode_with_too_few_pairs_keeps_the_common_line(simulated, certificates):
    survey = simulated(7, days=9, lab_every=5)
    day = _day(survey.samples["sample_id"])
    results_day = survey.results["sample_id"].str.slice(1, 4)
    # Four days in a second mode that reads 35 % high, one day in a third.
    changed = _step(
        survey, 1.35, (day >= 4) & (day < 8), results_day.isin(["004", "005", "006", "007"]),
        mode="rock",
    )  # fmt: skip
    changed = _step(changed, 1.0, day < 0, results_day == "008", mode="third")
    lines = {
        c.group: c for c in judge_quality(changed, certificates).calibrations if c.element == "Fe"
    }
    assert set(lines) == {"rock", "soil", ""}
    assert lines[""].samples == set(survey.samples["sample_id"][day == 8])
    assert lines[""].verdict != "pass"
    assert "too few pairs tell that of third" in lines[""].reason


def test_kind_of_ground_only_when_asked_for(survey, certificates):
    clay = _day(survey.samples["sample_id"]) % 2 == 0
    changed = _step(survey, 1.4, clay)
    samples = changed.samples.assign(lithology=np.where(clay, "clay", "sand"))
    changed = dataclasses.replace(changed, samples=samples)
    plain = judge_quality(changed, certificates)
    assert "calibration-differs-by-lithology" in {f.code for f in plain.findings}
    assert [c.matrix for c in plain.calibrations if c.element == "Fe"] == [""]
    split = judge_quality(changed, certificates, options={"calibration_matrix": "lithology"})
    assert [c.matrix for c in split.calibrations if c.element == "Fe"] == ["clay", "sand"]


def test_lines_of_instruments_that_agree_stay_one(simulated, certificates):
    """False splits over four campaigns whose modes differ in name only."""
    split = total = 0
    for seed in range(4):
        survey = simulated(seed, days=6, per_day=40, lab_every=4, controls=False)
        odd = survey.results["sample_id"].str.slice(1, 4).isin(["001", "003", "005"])
        survey = _step(survey, 1.0, np.zeros(len(survey.samples), bool), odd, mode="rock")
        lines = judge_quality(survey, certificates).calibrations
        split += sum(bool(c.group) for c in lines)
        total += len(lines)
    assert total >= 24
    assert split == 0


def test_mixed_up_sample_does_not_bend_the_line():
    rng = np.random.default_rng(1)
    x = 10 ** rng.uniform(1, 3, 40)
    y = 0.8 * x * (1 + 0.05 * rng.standard_normal(40))
    y[3], y[20] = 30 * y[3], y[20] / 30
    fit = fit_line(x, y, 0.05 * x, 0.05 * y)
    assert list(np.flatnonzero(fit.wild)) == [3, 20]
    assert fit.at(np.array([100.0]))[0] == pytest.approx(80, rel=0.05)


def test_no_relation_fails_however_small_the_error():
    # Potassium that hardly varies: small error, no relation; the line must not pass.
    from geochem.quality.calibration import _Job, _verdict
    from geochem.quality.limits import QualityLimits

    rng = np.random.default_rng(2)
    x, y = (20000 * (1 + 0.03 * rng.standard_normal(60)) for _ in range(2))
    fit = fit_line(x, y, 0.03 * x, 0.03 * y)
    job = _Job("K", "xrf", "lab", "total", fraction_differs=False)
    verdict, reason = _verdict(job, fit, x, (0, 0), x, QualityLimits())
    assert verdict == "fail"
    assert "no relation" in reason


def test_intervals_cover_when_stated_errors_are_too_small():
    """Scatter that the stated errors do not explain widens the intervals: 90 % in 200 draws."""
    rng = np.random.default_rng(3)
    hits = 0
    for _ in range(200):
        true = 10 ** rng.normal(2, 0.35, 40)
        x = 1.2 * true * np.exp(0.12 * rng.standard_normal(40))
        y = true * np.exp(0.12 * rng.standard_normal(40))
        fit = fit_line(x, y, 0.02 * x, 0.05 * y, extras=False)
        hits += abs(fit.slope - 1.0) < 1.645 * fit.slope_se
    assert 0.84 <= hits / 200 <= 0.96


def test_many_pairs_below_detection_are_used_and_few_are_not():
    """A line through the readings that happened to come out above the limit is too steep."""
    import pandas as pd

    from geochem.quality.calibration_limits import line_with_limits

    rng = np.random.default_rng(6)
    true = 10 ** rng.normal(1.3, 0.35, 300)
    x = 1.2 * true * (1 + 0.05 * rng.standard_normal(300)) + 10 * rng.standard_normal(300)
    y = true * (1 + 0.04 * rng.standard_normal(300))
    for limit, many in ((30.0, True), (3.0, False)):
        below = x < limit
        at = np.where(below, limit, x)
        pairs = pd.DataFrame(
            {
                "x": at, "y": y, "x_err": np.hypot(10, 0.05 * at), "y_err": 0.04 * y,
                "x_below": below, "y_below": False, "used": ~below,
                "reason": np.where(below, "below detection", ""),
            }
        )  # fmt: skip
        used = pairs[pairs["used"]]
        fit = fit_line(*(used[c].to_numpy() for c in ("x", "y", "x_err", "y_err")))
        wild = np.zeros(len(pairs), dtype=bool)
        found = line_with_limits(fit, pairs, wild)
        if not many:
            assert found is None
            continue
        assert below.mean() > 0.5
        assert fit.slope > 1.15
        assert found.slope == pytest.approx(1.0, abs=0.12)
        assert found.others["without limits"] == fit.slope
        assert found.at(np.array([120.0]))[0] == pytest.approx(100.0, rel=0.15)
