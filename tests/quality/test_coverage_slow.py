"""Intervals and verdicts over hundreds of simulated campaigns; what came out is printed (-s)."""

import numpy as np
import pytest
from scipy.stats import norm

from geochem.quality.arrange import arrange
from geochem.quality.calibration_fit import fit_line
from geochem.quality.departures import judge_departures
from geochem.quality.limits import QualityLimits
from geochem.quality.standards import check_standards
from geochem.stats.drift import grouped_lines

pytestmark = pytest.mark.slow

SEEDS = 500


def _pairs(seed, n=40, log=True):
    rng = np.random.default_rng(seed)
    true = 10 ** rng.normal(2, 0.35, n) if log else rng.uniform(50, 300, n)
    x = true**0.95 * 1.3 * np.exp(0.10 * rng.standard_normal(n))
    y = true * np.exp(0.06 * rng.standard_normal(n))
    return x, y


@pytest.mark.parametrize("n", [20, 40, 100])
def test_calibration_intervals_cover(n):
    """Slope and value at the median of a log line whose true slope is 1 / 0.95, errors known."""
    true_slope, true_offset = 1 / 0.95, -np.log10(1.3) / 0.95
    hits = {"york slope": 0, "bootstrap slope": 0, "york value": 0}
    for seed in range(SEEDS):
        x, y = _pairs(seed, n)
        fit = fit_line(x, y, 0.10 * x, 0.06 * y)
        half = norm.isf(0.05) * fit.slope_se
        hits["york slope"] += abs(fit.slope - true_slope) <= half
        hits["bootstrap slope"] += fit.slope_interval[0] <= true_slope <= fit.slope_interval[1]
        u = 2.0
        spread = np.sqrt(fit.intercept_se**2 + (u * fit.slope_se) ** 2 + 2 * u * fit.covariance)
        away = fit.intercept + u * fit.slope - true_offset - u * true_slope
        hits["york value"] += abs(away) <= norm.isf(0.05) * spread
    shares = {k: v / SEEDS for k, v in hits.items()}
    print(n, shares)
    assert all(0.87 <= s <= 0.93 for s in shares.values()), shares


def test_drift_intervals_cover():
    """Slope within a day: four to six standards, scatter pooled over ten days."""
    hits = total = 0
    for seed in range(SEEDS):
        rng = np.random.default_rng(seed)
        sizes = rng.integers(4, 7, 10)
        group = np.repeat(np.arange(10), sizes)
        time = rng.uniform(0, 8, len(group))
        slope = rng.normal(0, 0.01, 10)
        value = rng.normal(0, 0.02, 10)[group] + slope[group] * time
        value += 0.03 * rng.standard_normal(len(group))
        lines = grouped_lines(group, time, value, np.ones(len(group)), np.zeros(10, dtype=int))
        hits += int((np.abs(lines.slope - slope) <= lines.half_width()).sum())
        total += 10
    print("drift slope", hits / total)
    assert 0.87 <= hits / total <= 0.93


@pytest.mark.parametrize("gain", [0.8, 1.2])
def test_bad_batches_are_found_and_good_ones_left_alone(simulated, certificates, gain):
    """One of six days reads one element 20 % high or low; the family is all key elements."""
    limits = QualityLimits()
    family = {"xrf": 7, "lab_4a": 7}
    keys = ["Cu", "Zn", "Pb", "As", "Fe", "Mn", "Ni"]
    found = {e: [] for e in keys}
    alarms = batches = 0
    for seed in range(SEEDS):
        element, day = keys[seed % 7], (seed // 7) % 6
        survey = simulated(
            seed, per_day=20, lab_every=0, prep=False, standards_per_day=3,
            gains={(day, element): gain},
        )  # fmt: skip
        checks, _ = check_standards(arrange(survey), certificates, limits)
        table = judge_departures(checks, family, limits)
        table = table[table["element"].isin(keys)]
        failed = table[table["verdict"] == "fail"]
        bad = f"X1-2026-03-{day + 1:02d}"
        hit = (failed["batch"].astype(str) == bad) & (failed["element"].astype(str) == element)
        found[element].append(bool(hit.any()))
        alarms += failed.loc[failed["batch"].astype(str) != bad, "batch"].nunique()
        batches += 5
    rate = {e: float(np.mean(v)) for e, v in found.items()}
    detection = float(np.mean([v for vs in found.values() for v in vs]))
    print(f"gain {gain}: detection {detection:.3f} {rate}, false alarms {alarms / batches:.4f}")
    assert alarms / batches <= 0.05
    assert detection >= 0.95
