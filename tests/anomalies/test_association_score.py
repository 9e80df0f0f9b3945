"""The score is about N(0, 1) in background, whatever is censored, missing, correlated or planted."""

import numpy as np
import pytest

from geochem.anomalies.association_score import score
from geochem.model.evidence import Association

ASSOCIATION = Association("a", "A", {"Cu": 1.0, "Mo": 0.8, "As": 0.5, "Mn": -0.3})


def ground(n=3000, rho=0.5, seed=1):
    rng = np.random.default_rng(seed)
    common = rng.normal(size=n)
    return {
        e: np.sqrt(rho) * common + np.sqrt(1 - rho) * rng.normal(size=n)
        for e in ASSOCIATION.weights
    }


def nothing_below(z):
    return {e: np.zeros(len(v), dtype=bool) for e, v in z.items()}


@pytest.mark.parametrize("rho", [0.0, 0.6])
def test_background_is_standard_normal(rho):
    z = ground(rho=rho)
    s = score(ASSOCIATION, z, nothing_below(z)).values
    assert s.mean() == pytest.approx(0.0, abs=0.06)
    assert s.std() == pytest.approx(1.0, abs=0.05)
    assert (s > 2).mean() == pytest.approx(0.0228, abs=0.01)


def test_mineralised_samples_do_not_inflate_their_own_null():
    z = ground()
    for e in ("Cu", "Mo", "As"):
        z[e][:150] += 5.0
    s = score(ASSOCIATION, z, nothing_below(z)).values
    assert s[150:].std() == pytest.approx(1.0, abs=0.12)
    assert s[:150].mean() > 3.0


@pytest.mark.parametrize("share", [0.3, 0.6, 0.85])
def test_values_below_detection_add_nothing_and_stay_calibrated(share):
    z = ground(rho=0.3)
    below = nothing_below(z)
    below["Mo"] = z["Mo"] < np.quantile(z["Mo"], share)
    z["Mo"] = np.where(below["Mo"], np.nan, z["Mo"])
    s = score(ASSOCIATION, z, below).values
    assert s.mean() == pytest.approx(0.0, abs=0.1)
    assert s.std() == pytest.approx(1.0, abs=0.1)


def test_elements_only_a_part_has_make_no_false_anomalies_there():
    z = ground(rho=0.6)
    has = np.arange(3000) % 8 == 0
    for e in ("Mo", "As"):
        z[e] = np.where(has, z[e], np.nan)
    s = score(ASSOCIATION, z, nothing_below(z)).values
    assert np.isfinite(s).all()
    assert s[has].std() == pytest.approx(1.0, abs=0.12)
    assert s[~has].std() == pytest.approx(1.0, abs=0.08)


def test_a_spike_in_one_element_counts_as_four():
    z = ground(rho=0.0)
    z["Cu"][0], z["Cu"][1] = 4.0, 400.0
    for e in ("Mo", "As", "Mn"):
        z[e][:2] = 0.0
    s = score(ASSOCIATION, z, nothing_below(z)).values
    assert s[0] == s[1] < 4.0


def test_depletion_counts_and_nothing_measured_is_nan():
    z = ground(rho=0.0)
    z["Mn"][0], z["Mn"][1] = -4.0, 4.0
    for e in ("Cu", "Mo", "As"):
        z[e][:2] = 0.0
    for e in z:
        z[e][2] = np.nan
    s = score(ASSOCIATION, z, nothing_below(z)).values
    assert s[0] > 0.5 > -0.5 > s[1]
    assert np.isnan(s[2])
