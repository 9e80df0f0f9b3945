"""A proxy is used where left-out ground can be predicted, and nowhere else."""

import numpy as np
import pytest

from geochem.anomalies.gates import Gate
from geochem.anomalies.proxy import predict_laboratory
from geochem.model.tables import Values

DENSE = ("As", "Cu", "Pb", "Zn", "Fe", "Rb")


def ground(seed=1, n=900, share=0.25, noise=0.25, follow=True, limit=0.004, trend=False):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 3000, (n, 2))
    waves = [np.sin(xy @ rng.normal(0, 1 / 300, 2) + rng.uniform(0, 6)) for _ in DENSE]
    z = {e: w + 0.6 * rng.normal(size=n) for e, w in zip(DENSE, waves, strict=True)}
    log = -2.0 + noise * rng.normal(size=n)
    if follow:
        log = log + 0.4 * z["As"] + 0.2 * z["Cu"]
    if trend:  # smooth over short distance only: neighbours would give it away
        log = log + np.sin(xy[:, 0] / 60) * np.sin(xy[:, 1] / 60)
    sent = rng.random(n) < share
    value = np.where(sent, 10.0**log, np.nan)
    below = sent & (value < limit)
    value[below] = limit
    nothing = np.zeros(n, dtype=bool)
    media = np.full(n, "soil", dtype=object)
    gate = {("soil", "Au"): Gate("soil", "Au", True, "", "fire", "laboratory", sent)}
    gate |= {("soil", e): Gate("soil", e, True, "", "x", "pxrf", ~nothing) for e in DENSE}
    values = {"Au": Values(value, below, nothing, np.full(n, np.nan))}
    ids = np.array([f"S{i:04d}" for i in range(n)], dtype=object)
    return (ids, media, xy, values, z, gate, ("Au",)), 10.0**log, sent


@pytest.mark.parametrize("limit", [0.0001, 0.006])
def test_gold_that_follows_arsenic_is_predicted_with_honest_intervals(limit):
    case, truth, sent = ground(limit=limit)
    (p,) = predict_laboratory(*case)
    assert p.used
    assert p.skill > 0.5
    at = np.array([int(s[1:]) for s in p.sample_id])
    assert not sent[at].any()
    assert len(at) > 0.9 * (~sent).sum()
    inside = (p.low <= truth[at]) & (truth[at] <= p.high)
    assert 0.74 <= inside.mean() <= 0.86  # said: 80 %
    assert np.corrcoef(np.log(p.value), np.log(truth[at]))[0, 1] > 0.75


def test_noise_and_what_only_neighbours_know_are_not_used():
    for seed in range(5):
        (p,) = predict_laboratory(*ground(seed, follow=False)[0])
        assert not p.used
        assert len(p.value) == 0
        (p,) = predict_laboratory(*ground(seed, follow=False, trend=True)[0])
        assert not p.used


def test_too_few_shared_samples_are_said():
    (p,) = predict_laboratory(*ground(share=0.04)[0])
    assert not p.used
    assert "are needed" in p.reason


def test_an_element_measured_everywhere_needs_none():
    assert predict_laboratory(*ground(share=0.95)[0]) == ()


def test_elements_that_do_not_count_are_not_tried():
    case = ground()[0]
    assert predict_laboratory(*case[:-1], ("Cu",)) == ()
