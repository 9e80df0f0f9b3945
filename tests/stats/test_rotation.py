import numpy as np
import pytest

from geochem.stats.rotation import congruence, parallel_analysis, rotated, varimax


@pytest.mark.parametrize("seed", range(4))
def test_varimax_is_that_of_statsmodels(seed):
    from statsmodels.multivariate.factor_rotation import rotate_factors

    a = np.random.default_rng(seed).normal(size=(12, 3)) * [2.0, 1.0, 0.7]
    length = np.sqrt((a**2).sum(axis=1, keepdims=True))
    theirs = rotate_factors(a / length, "varimax")[0] * length
    alike = np.abs(congruence(varimax(a), theirs)).max(axis=1)
    assert alike == pytest.approx(1.0, abs=1e-5)


def test_rotation_keeps_what_is_explained():
    a = np.random.default_rng(1).normal(size=(9, 3))
    assert (varimax(a) @ varimax(a).T) == pytest.approx(a @ a.T)


def test_noise_has_no_components_and_planted_ones_are_counted():
    rng = np.random.default_rng(2)
    noise = rng.normal(size=(400, 12))
    assert parallel_analysis(noise)[0] <= 1
    factors = rng.normal(size=(400, 3))
    loading = np.zeros((3, 12))
    for j in range(3):
        loading[j, 4 * j : 4 * j + 3] = 1.2
    number, seen, by_chance = parallel_analysis(factors @ loading + noise)
    assert number == 3
    assert (seen[:3] > by_chance[:3]).all()
    found = rotated(np.corrcoef(factors @ loading + noise, rowvar=False), 3)
    assert np.abs(congruence(found, loading.T)).max(axis=0) == pytest.approx(1.0, abs=0.02)
