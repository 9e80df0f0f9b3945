"""Detection: the limits are known, the rest follows an order."""

from __future__ import annotations

import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.detection_chance import detection_probability, false_alarm_rate
from geochem.stats.hit_probability import hit_probability

GRID = {"line_spacing": 100.0, "station_spacing": 50.0}


def seen(**kw):
    given = {"contrast": 6.0, "scatter": 0.2, "error": 0.05, **GRID, **kw}
    return detection_probability(80, 40, **given)


@pytest.mark.parametrize("pattern", ["rectangular", "staggered"])
@pytest.mark.parametrize("angle", [None, 35.0])
def test_a_blaze_without_decay_is_a_hit(pattern, angle):
    got = detection_probability(
        60, 30, contrast=1e12, scatter=0.2, decay="none", pattern=pattern, angle=angle, **GRID
    )
    want = hit_probability(60, 30, pattern=pattern, angle=angle, **GRID)
    assert got == pytest.approx(want, abs=0.006)


def test_agrees_with_throwing_dice():
    """The twin draws places, scatter and error and counts."""
    rng = np.random.default_rng(4)
    n, a, b, peak, sd = 40_000, 80.0, 40.0, np.log10(6.0), np.hypot(0.2, 0.05)
    east, north = rng.uniform(0, 50, n), rng.uniform(0, 100, n)
    phi = rng.uniform(0, np.pi, n)
    found = np.zeros(n, dtype=int)
    for x in np.arange(-100, 151, 50):
        for y in np.arange(-100, 201, 100):
            dx, dy = x - east, y - north
            u = np.hypot((dx * np.cos(phi) + dy * np.sin(phi)) / a,
                         (dy * np.cos(phi) - dx * np.sin(phi)) / b)  # fmt: skip
            value = peak * np.exp(-3 * u) + sd * rng.standard_normal(n)
            found += (u <= 1) & (value > 2 * sd)
    assert seen() == pytest.approx((found >= 1).mean(), abs=0.01)
    assert seen(least=2) == pytest.approx((found >= 2).mean(), abs=0.01)


def test_order():
    assert seen(decay="none") > seen(decay="linear") > seen() > seen(k=3.0)
    assert seen() > seen(error=0.3)
    assert seen(contrast=12.0) > seen() > seen(least=2)


def test_false_alarms_of_barren_ground():
    # normal tail: 2.275 % beyond 2 sd
    assert false_alarm_rate(2.0) == pytest.approx(0.02275, abs=1e-5)


def test_bad_calls_are_sentences():
    with pytest.raises(WrongCall, match="contrast must be above 1"):
        seen(contrast=0.5)
    with pytest.raises(WrongCall, match="between 1 and 5"):
        seen(least=9)
