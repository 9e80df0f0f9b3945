"""What all elements share is taken out; what only the association has stays."""

import numpy as np
import pytest

from geochem.anomalies.common_factors import ground_of, without_common_factors


def ground(n=800, seed=1, dilution=1.5):
    rng = np.random.default_rng(seed)
    factor = rng.normal(size=n)
    names = ["Cu", "Mo", "Al", "Ti", "Zr", "Rb", "K", "Nb"]
    z = {e: dilution * factor + rng.normal(size=n) for e in names}
    z = {e: v / v.std() for e, v in z.items()}
    return z, factor


def test_dilution_goes_and_the_halo_stays():
    z, factor = ground()
    z["Cu"][:40] += 3.0
    z["Mo"][:40] += 3.0
    own = {e: z[e] for e in ("Cu", "Mo")}
    left = without_common_factors(own, ground_of(z, np.ones(800)))
    for e in own:
        assert abs(np.corrcoef(left[e][40:], factor[40:])[0, 1]) < 0.25
        assert np.median(left[e][:40]) > 3.5  # 3 before: the noise around it is less
        assert np.median(left[e]) == pytest.approx(0.0, abs=1e-9)


def test_without_enough_other_elements_nothing_changes():
    z, _ = ground()
    own = {e: z[e] for e in ("Cu", "Mo", "Al", "Ti")}
    left = without_common_factors(own, ground_of(z, np.ones(800)))
    assert all(np.array_equal(left[e], own[e]) for e in own)


def test_an_element_mostly_below_detection_stays_as_it_is():
    z, _ = ground()
    own = {"Cu": z["Cu"], "Mo": np.where(z["Mo"] < 0.3, np.nan, z["Mo"])}
    left = without_common_factors(own, ground_of(z, np.ones(800)))
    assert np.array_equal(left["Mo"], own["Mo"], equal_nan=True)
    assert not np.array_equal(left["Cu"], own["Cu"])
