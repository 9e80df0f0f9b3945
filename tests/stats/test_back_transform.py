"""Back-transforms are unbiased on simulated ground; chances of exceedance happen as often as said."""

import numpy as np
import pytest

from geochem.stats.back_transform import (
    chance_of_exceeding,
    indicators,
    lognormal_mean,
    lognormal_median,
    ordered_chances,
)
from geochem.stats.cross_validation import reliability
from geochem.stats.kriging import krige
from geochem.stats.random_fields import simulate_fields
from geochem.stats.variogram import Variogram


@pytest.fixture(scope="module")
def ground():
    """Standard normal ground: many surveys of 60 samples and 120 other places each."""
    rng = np.random.default_rng(3)
    xy, where = rng.uniform(0, 1000, (60, 2)), rng.uniform(0, 1000, (120, 2))
    fields = simulate_fields(
        np.vstack([xy, where]), nugget=0.2, sill=1.0, range_m=250.0, n_fields=300, rng=5,
        n_waves=2048,
    )  # fmt: skip
    return xy, where, fields[:, :60], fields[:, 60:]


MODEL = Variogram("exponential", 0.2, 1.0, 250.0)


@pytest.mark.parametrize("kind", ["simple", "ordinary"])
def test_lognormal_mean_is_unbiased_and_the_median_is_not(ground, kind):
    xy, where, sampled, truth = ground
    mean, median = [], []
    for z in sampled:
        found = krige(xy, z, where, MODEL, kind=kind, mean=0.0 if kind == "simple" else None)
        mean.append(
            lognormal_mean(0.5 * found.values, 0.25 * found.variance, 0.25 * found.lagrange)
        )
        median.append(lognormal_median(0.5 * found.values))
    true = np.exp(0.5 * truth).mean()
    assert np.mean(mean) / true == pytest.approx(1.0, abs=0.015)
    assert np.mean(median) / true < 0.97


def test_base_ten_is_the_same():
    natural = lognormal_mean([1.2], [0.3], [0.02])
    ten = lognormal_mean(
        [1.2 / np.log(10)], [0.3 / np.log(10) ** 2], [0.02 / np.log(10) ** 2], base=10
    )
    assert ten[0] == pytest.approx(natural[0], rel=1e-12)


def test_chances_happen_as_often_as_said(ground):
    xy, where, sampled, truth = ground
    chance, happened, by_indicator = [], [], []
    for z, t in zip(sampled, truth, strict=True):
        found = krige(xy, z, where, MODEL, kind="simple", mean=0.0)
        chance.append(chance_of_exceeding(found.values, found.variance, 0.5))
        soft = krige(
            xy, indicators(z, [0.5])[:, 0], where, Variogram("exponential", 0.07, 0.21, 180.0)
        )
        by_indicator.append(ordered_chances(soft.values[:, None])[:, 0])
        happened.append(t > 0.5)
    said, observed, count = reliability(np.ravel(chance), np.ravel(happened))
    # cases of about 80 %, and every bin of ten with at least 100 cases
    near = np.abs(np.ravel(chance) - 0.8) < 0.05
    assert near.sum() >= 100
    assert 0.75 <= np.ravel(happened)[near].mean() <= 0.85
    assert (np.abs(said - observed)[count >= 100] < 0.05).all()
    assert (count >= 100).sum() >= 9
    said, observed, count = reliability(np.ravel(by_indicator), np.ravel(happened))
    assert (np.abs(said - observed)[count >= 300] < 0.12).all()


def test_undecided_and_sure():
    found = indicators([5.0, 5.0, 2.0, np.nan], [3.0, 8.0], below=[True, False, True, False],
                       above=[False, True, False, False])  # fmt: skip
    np.testing.assert_array_equal(found, [[np.nan, 0], [1, np.nan], [0, 0], [np.nan, np.nan]])
    assert chance_of_exceeding([2.0, 0.0, 1.0, np.nan], [0.0] * 4, 1.0)[:3].tolist() == [1, 0, 0.5]
