"""Probabilities of places: calibrated where halos are, quiet where none is, clusters counted."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter

from geochem.targets.barren import counts_beyond
from geochem.targets.null import CUT, LEVELS, Barren
from geochem.targets.place_probability import (
    background_share,
    place_probabilities,
    surest,
)

SIDE = 40


def field(rng):
    """Smooth noise of spread 1: neighbours are alike, so high places come in clusters."""
    made = gaussian_filter(rng.standard_normal((SIDE, SIDE)), 1.5, mode="wrap")
    return made / 0.188  # spread of white noise after this filter


def barren_surveys(rng, draws=150):
    top = np.column_stack([field(rng).ravel() for _ in range(draws)])
    strongest = top.max(axis=0)
    return Barren(draws, strongest, np.sort(strongest), counts_beyond(top))


@pytest.fixture(scope="module")
def barren():
    return barren_surveys(np.random.default_rng(5))


def survey(rng, n_halos):
    """A survey with flat halos of various height, and where they are."""
    y, x = np.mgrid[:SIDE, :SIDE]
    halo = np.zeros((SIDE, SIDE))
    for _ in range(n_halos):
        cy, cx = rng.uniform(4, SIDE - 4, 2)
        height = rng.uniform(2.0, 7.0)
        halo = np.where((y - cy) ** 2 + (x - cx) ** 2 < 12.0, np.maximum(halo, height), halo)
    return (field(rng) + halo).ravel(), halo.ravel() > 0


def test_counting_is_counting(barren):
    rng = np.random.default_rng(1)
    top = rng.normal(2.0, 2.0, (300, 7))
    slow = np.array([[(top[:, d] >= level).sum() for level in LEVELS] for d in range(7)])
    near = np.abs(top[:, :, None] - LEVELS).min() > 1e-9  # no value on a limit
    assert near
    np.testing.assert_array_equal(counts_beyond(top), slow)


def test_probabilities_come_true_over_many_surveys(barren):
    rng = np.random.default_rng(2)
    said, came = [], []
    for _ in range(60):
        values, real = survey(rng, 5)
        said.append(place_probabilities(values, np.zeros(len(values)), barren))
        came.append(real)
    said, came = np.concatenate(said), np.concatenate(came)
    for low, high in ((0.2, 0.5), (0.5, 0.8), (0.8, 0.95), (0.95, 1.01)):
        mine = (said >= low) & (said < high)
        assert mine.sum() > 150
        assert abs(said[mine].mean() - came[mine].mean()) < 0.12, (low, high)


def test_what_stands_out_is_rarely_background(barren):
    rng = np.random.default_rng(3)
    shares, found = [], []
    for _ in range(60):
        values, real = survey(rng, 5)
        out = surest(place_probabilities(values, np.zeros(len(values)), barren))
        shares.append((out & ~real).sum() / max(out.sum(), 1))
        found.append((out & real).sum() / real.sum())
    assert np.mean(shares) < 0.12
    assert np.mean(found) > 0.4


def test_barren_ground_is_quiet_though_its_highs_are_clusters(barren):
    rng = np.random.default_rng(4)
    loud = 0
    for _ in range(60):
        p = place_probabilities(field(rng).ravel(), np.zeros(SIDE * SIDE), barren)
        loud += bool(surest(p).any())
    # an outline is allowed to be false in one of ten surveys; of places hardly more may be
    assert loud <= 9


def test_uncertain_values_are_less_probable_and_never_certain(barren):
    values, _ = survey(np.random.default_rng(6), 6)
    exact = place_probabilities(values, np.zeros(len(values)), barren)
    doubtful = place_probabilities(values, np.full(len(values), 1.5), barren)
    high = exact > 0.97
    assert high.any()
    assert (doubtful[high] < exact[high]).all()
    assert (doubtful[values < CUT - 8.0 * 1.5] == 0).all()


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(-3, 11), min_size=1, max_size=80), st.integers(0, 2**31))
def test_the_share_of_background_never_rises_with_the_value(values, seed):
    rng = np.random.default_rng(seed)
    top = rng.normal(1.5, 1.0, (len(values), 20))
    own = Barren(20, top.max(axis=0), np.sort(top.max(axis=0)), counts_beyond(top))
    share = background_share(values, own)
    assert share.shape == LEVELS.shape
    assert ((share >= 0) & (share <= 1)).all()
    assert (np.diff(share) <= 1e-12).all()


def test_slow_twin_of_the_share(barren):
    """The slopes of the greatest convex minorant, found by trying every chord."""
    values, _ = survey(np.random.default_rng(7), 5)
    found = np.array([(values >= level).sum() for level in LEVELS])
    chance = np.minimum(barren.beyond, found).mean(axis=0)
    x = np.concatenate([[0], found[::-1]])
    y = np.concatenate([[0.0], chance[::-1]])
    keep = np.r_[True, np.diff(x) > 0]
    last = np.r_[keep[1:], True]  # the level at which all places of one number have come
    x, y = x[last | keep], y[last | keep]
    share = background_share(values, barren)
    # area under the slopes is the minorant, which touches the curve at both ends and stays below
    added = np.diff(np.concatenate([[0], found[::-1]]))
    minorant = np.cumsum(share[::-1] * added)
    assert (minorant <= chance[::-1] + 1e-9).all()
    i = np.argmin(np.abs(found - 200))
    best = max(
        min(
            y0 + (y1 - y0) * (found[i] - x0) / (x1 - x0)
            for x1, y1 in zip(x, y, strict=True)
            if x1 >= found[i] and x1 > x0
        )
        for x0, y0 in zip(x, y, strict=True)
        if x0 <= found[i] and any(x1 > x0 and x1 >= found[i] for x1 in x)
    )
    assert minorant[len(LEVELS) - 1 - i] <= best + 1e-9


def test_nothing_found_is_all_background(barren):
    assert (background_share(np.full(50, 0.5), barren) == 1.0).all()
    assert not surest(np.zeros(20)).any()
    assert surest(np.array([])).shape == (0,)
