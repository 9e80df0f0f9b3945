"""How far a batch lies from the others: against a plain loop, and how often it rings for nothing."""

import numpy as np
import pytest
from scipy.stats import t as student

from geochem.errors import WrongCall
from geochem.stats.batch_departure import batch_departures


def _readings(rng, *, batches=6, per_batch=6, scatter=0.05, between=0.01):
    at = np.repeat(np.arange(batches), per_batch)
    kind = np.tile([0, 1], batches * per_batch // 2)
    r = between * rng.standard_normal(batches)[at] + scatter * rng.standard_normal(len(at))
    return r, at, kind


def test_a_batch_is_measured_against_the_others():
    rng = np.random.default_rng(1)
    r, at, kind = _readings(rng, scatter=0.02)
    r[at == 2] += 0.2
    found = batch_departures(r, at, kind, np.full(len(r), 0.2), n_batches=6)
    means = np.array([r[at == b].mean() for b in range(6)])
    others = np.delete(means, 2)
    # Equal weights nearly: both standards scatter alike.
    assert found.departure[2] == pytest.approx(means[2] - others.mean(), abs=0.003)
    # The batch that is off does not widen the limit it is judged by.
    assert found.se[2] < 0.03
    assert found.departure[2] / found.se[2] > 7
    # Nor does it move the others.
    assert np.abs(np.delete(found.departure, 2)).max() < 0.05


def test_one_wild_reading_does_not_hide_the_scatter():
    rng = np.random.default_rng(2)
    r, at, kind = _readings(rng)
    calm = batch_departures(r, at, kind, np.full(len(r), 0.05), n_batches=6)
    r[7] += 1.0
    wild = batch_departures(r, at, kind, np.full(len(r), 0.05), n_batches=6)
    # Without trimming the noise would be ten times as large.
    assert wild.noise[4] < 4 * calm.noise[4]


@pytest.mark.parametrize("between", [0.01, 0.03])
def test_chance_of_a_false_alarm_is_near_the_stated_one(between):
    """At 1 % two-sided, 400 surveys of six batches; a loose bound because of 2,400 draws."""
    rng = np.random.default_rng(3)
    rang = total = 0
    for _ in range(400):
        r, at, kind = _readings(rng, between=between)
        found = batch_departures(
            r, at, kind, np.full(len(r), 0.06), n_batches=6, usual_between=between
        )
        rang += int((np.abs(found.departure / found.se) > student.isf(0.005, found.freedom)).sum())
        total += 6
    assert rang / total <= 0.025


def test_row_order_does_not_matter():
    rng = np.random.default_rng(4)
    r, at, kind = _readings(rng)
    own = np.full(len(r), 0.05)
    one = batch_departures(r, at, kind, own, n_batches=6)
    order = rng.permutation(len(r))
    two = batch_departures(r[order], at[order], kind[order], own, n_batches=6)
    assert np.allclose(one.departure, two.departure, rtol=0, atol=1e-12)
    assert np.allclose(one.se, two.se, rtol=1e-12)


def test_unequal_arrays_are_refused():
    with pytest.raises(WrongCall, match="equally long"):
        batch_departures([0.1, 0.2], [0], [0, 0], [0.1, 0.1], n_batches=1)
