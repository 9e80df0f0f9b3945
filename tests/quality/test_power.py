"""What too few standards cannot show is said, and holds."""

import numpy as np
import pandas as pd
import pytest

from geochem.quality.arrange import arrange
from geochem.quality.departures import judge_departures
from geochem.quality.judge import judge_quality
from geochem.quality.limits import QualityLimits
from geochem.quality.power import power_findings, say_blind
from geochem.quality.standards import check_standards


def _departures(**changes):
    row = {
        "source": "pxrf", "assay": "xrf", "instrument": "X1", "mode": "", "batch": "a",
        "element": "As", "verdict": "pass", "reason": "reads 2 % high", "n_clear": 2,
        "n_batches": 6, "shows_pct": 31.0, "enough": 4.0,
    }  # fmt: skip
    return pd.DataFrame([{**row, **changes}])


def test_the_sentence_says_what_to_do():
    keys = {"xrf": frozenset({"As"})}
    (found,) = power_findings(_departures(), keys, QualityLimits())
    assert "2 readings of standards in a batch cannot show an error of 20 % of As" in found.message
    assert "read 4 in a batch" in found.message
    # Where no number of readings helps, that is said instead.
    (found,) = power_findings(_departures(enough=np.nan, n_batches=3), keys, QualityLimits())
    assert "more batches to compare with (there are 3)" in found.message
    assert not power_findings(_departures(shows_pct=18.0), keys, QualityLimits())
    assert not power_findings(_departures(), {"xrf": frozenset({"Cu"})}, QualityLimits())
    reason = say_blind(_departures(), QualityLimits())["reason"].iloc[0]
    assert reason.endswith("2 readings of standards would show an error only from 31 % on")


def test_few_readings_are_said_and_many_not(simulated, certificates):
    few, many = (
        judge_quality(
            simulated(3, per_day=20, lab_every=0, prep=False, standards_per_day=n), certificates
        )
        for n in (1, 6)
    )
    assert any(f.code == "standards-too-few" for f in few.findings)
    assert not any(f.code == "standards-too-few" for f in many.findings)


@pytest.mark.slow
def test_an_error_that_shows_is_found_in_19_of_20(simulated, certificates):
    """A batch off by exactly what is said to show; the usual difference is known poorly."""
    limits, hits, total = QualityLimits(), 0, 0
    for seed in range(60):
        calm = simulated(seed, per_day=20, lab_every=0, prep=False, standards_per_day=3)
        checks, _ = check_standards(arrange(calm), certificates, limits)
        table = judge_departures(checks, {"xrf": 7}, limits).set_index(["batch", "element"])
        batch = "X1-2026-03-03"
        for element in ("Cu", "As", "Fe"):
            shows = max(float(table.loc[(batch, element), "shows_pct"]), 10.0) / 100
            off = simulated(
                seed, per_day=20, lab_every=0, prep=False, standards_per_day=3,
                gains={(2, element): 1 + shows},
            )  # fmt: skip
            found, _ = check_standards(arrange(off), certificates, limits)
            again = judge_departures(found, {"xrf": 7}, limits).set_index(["batch", "element"])
            hits += again.loc[(batch, element), "verdict"] == "fail"
            total += 1
    print("found", hits / total)
    assert hits / total >= 0.9
