import numpy as np
import pytest

from geochem.stats.reference_material import bias_limit, clustered_mean


@pytest.mark.published
def test_iron_ore_exercise():
    # ISO Guide 33, iron ore as quoted by Abzalov 2016, chapter 10: certified 60.73 % Fe, SD within
    # 0.09 and between laboratories 0.20; the eight results that could be read.
    seen = [60.94, 60.99, 61.04, 61.06, 61.06, 61.09, 61.10, 61.14]
    mean, low, _ = clustered_mean(seen, ["one"] * 8)
    assert mean - 60.73 == pytest.approx(0.3225)
    assert bias_limit(0.20, 0.09, 10) == pytest.approx(0.404, abs=5e-4)
    assert mean - 60.73 < bias_limit(0.20, 0.09, 8)
    assert low > 60.73 + 2 * 0.09


@pytest.mark.published
def test_result_against_a_certificate():
    # ERM Application Note 1: |x - certified| <= 2 sqrt(u_x^2 + u_c^2). USGS certificate of BHVO-2: Sr
    # 389 +/- 23; a result of 395 with standard uncertainty 8.
    assert bias_limit(23, 8, 1) == pytest.approx(48.70, abs=5e-3)
    assert abs(395 - 389) < bias_limit(23, 8, 1)


def test_batches_that_share_an_error_widen_the_interval():
    rng = np.random.default_rng(1)
    hits = {True: 0, False: 0}
    for _ in range(400):
        batch = np.repeat(np.arange(6), 5)
        x = np.repeat(rng.normal(0, 1, 6), 5) + rng.normal(0, 0.3, 30)
        for shared in hits:
            _, low, high = clustered_mean(x, batch if shared else ["one"] * 30)
            hits[shared] += low <= 0 <= high
    assert 370 <= hits[True] <= 392
    assert hits[False] < 300
