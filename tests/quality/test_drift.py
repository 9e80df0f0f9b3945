import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.quality import judge_and_treat, judge_quality
from geochem.quality.drift_correction import correct_drift
from geochem.quality.limits import read_limits

DAY = "X1-2026-03-03"


@pytest.fixture(scope="module")
def steady(simulated):
    return simulated(11, days=8, standards_per_day=5, lab_every=0)


@pytest.fixture(scope="module")
def drifting(steady, changed):
    """One day on which copper climbs by 15 % an hour, about 20 % over the 80 minutes of it."""
    return changed(steady, lambda hours: 1 + 0.15 * hours, "Cu", batch=DAY)


def test_drift_within_a_day_is_found_with_its_slope(drifting, certificates):
    report = judge_quality(drifting, certificates)
    found = report.drift[report.drift["verdict"] == "warn"]
    assert list(zip(found["scope"], found["batch"], found["element"], strict=True)) == [
        ("batch", DAY, "Cu")
    ]
    row = found.iloc[0]
    assert row["change_low"] < 15 * row["span"] < row["change_high"]
    assert any(f.code == "standards-drift" and DAY in f.message for f in report.findings)


def test_a_shift_halfway_is_a_change_point(simulated, certificates):
    gains = {(d, "Zn"): 1.08 for d in range(10, 20)}
    survey = simulated(3, days=20, per_day=20, gains=gains, lab_every=0)
    drift = judge_quality(survey, certificates).drift
    row = drift[(drift["scope"] == "campaign") & (drift["element"] == "Zn")].iloc[0]
    assert row["verdict"] == "warn"
    assert row["break_pct"] == pytest.approx(8, abs=3)
    assert abs((row["break_at"].date() - np.datetime64("2026-03-11").item()).days) <= 1
    others = drift[(drift["scope"] == "campaign") & (drift["element"] != "Zn")]
    assert (others["verdict"] == "pass").all()


@pytest.mark.parametrize("method", ["linear", "bracket"])
def test_correction_brings_samples_back_and_says_before_and_after(
    steady, drifting, certificates, method
):
    limits = read_limits({"drift": method})
    fixed, table, findings = correct_drift(drifting, certificates, limits)
    row = table[(table["batch"] == DAY) & (table["element"] == "Cu")].iloc[0]
    assert row["corrected"]
    assert row["after_pct"] < 0.6 * row["before_pct"]
    assert findings[0].code == "drift-corrected"
    here = steady.samples["sample_id"].str.startswith("S002")
    column = "Cu_ppm__xrf"
    true, bad, good = (s.samples.loc[here, column] for s in (steady, drifting, fixed))
    # The drift is taken out; what is left is the day's own departure and the standards' noise.
    assert np.std(good / true) < 0.6 * np.std(bad / true)
    results = fixed.results[(fixed.results["element"] == "Cu") & (fixed.results["batch"] == DAY)]
    first = results.drop_duplicates("sample_id").set_index("sample_id")["value"]
    again = fixed.samples.loc[here].set_index("sample_id")[column]
    np.testing.assert_allclose(again, first.loc[again.index])
    left = table[(table["element"] == "Cu") & ~table["corrected"]]["batch"]
    alone = steady.samples["sample_id"].str.slice(3, 4).isin([str(int(b[-2:]) - 1) for b in left])
    assert alone.sum() >= 5 * 40
    np.testing.assert_allclose(steady.samples[alone][column], fixed.samples[alone][column])


def test_nothing_is_corrected_unless_asked_for(drifting, certificates):
    survey, report = judge_and_treat(drifting, certificates)
    assert survey is drifting
    assert report.drift_correction.empty
    with pytest.raises(WrongCall, match="linear"):
        judge_and_treat(drifting, certificates, options={"drift": "linaer"})


def test_steady_standards_are_left_alone(simulated, certificates):
    # Days without effects of their own: 1 % of the 48 batches and elements may be corrected.
    survey = simulated(12, days=6, day_sd=0.0, standards_per_day=5, lab_every=0)
    _, table, _ = correct_drift(survey, certificates, read_limits({"drift": "linear"}))
    assert table["corrected"].sum() <= 3
