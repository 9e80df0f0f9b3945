import numpy as np
import pytest

from geochem.background import AdjustedBoxplot, TukeyFence


@pytest.mark.published
def test_meuse_zinc(meuse):
    # R package robustbase, adjboxStats, on package sp's meuse: medcouple 0.4584139
    got = AdjustedBoxplot().fit(meuse["zinc"])
    assert got.value == pytest.approx(3502.07, abs=0.01)
    assert got.details["medcouple"] == pytest.approx(0.4584139, abs=1e-6)


@pytest.mark.published
def test_ten_values():
    # R package robustbase: medcouple 0.125, upper fence 3.5459897 with these quartiles
    x = [0, 0.8, 1, 1.2, 1.3, 1.3, 1.4, 1.8, 2.4, 4.6]
    got = AdjustedBoxplot().fit([*x, *([np.nan] * 3)])
    # nine distinct values: too few for quartiles, so the formula is checked by itself
    from geochem.background.adjusted_boxplot import fence
    from geochem.stats.robust import medcouple

    assert medcouple(x) == pytest.approx(0.125)
    # copper in wholemeal flour (MASS chem): hinges 2.75 and 3.70, upper fence 3.935336
    assert fence(2.75, 3.70, -0.4502281, 1.5) == pytest.approx(3.935336, abs=1e-5)
    assert fence(1.0, 1.8, 0.125, 1.5) == pytest.approx(3.5459897, abs=1e-6)
    assert "9 distinct" in got.warnings[0]


def test_without_skewness_it_is_tukeys_fence():
    x = 100 + np.random.default_rng(0).normal(0, 5, 4000)
    x = np.concatenate([x, 200 - x])
    assert AdjustedBoxplot().fit(x).value == pytest.approx(TukeyFence().fit(x).value, rel=1e-3)


def test_flags_few_of_a_skewed_barren_population():
    x = np.random.default_rng(1).lognormal(3, 0.5, 20000)
    share = [np.mean(x >= m().fit(x).value) for m in (AdjustedBoxplot, TukeyFence)]
    assert share[0] < 0.02 < 0.03 < share[1]


def test_refuses_to_judge_skewness_below_detection():
    x = np.random.default_rng(1).lognormal(3, 0.5, 2000)
    limit = np.quantile(x, 0.3)
    got = AdjustedBoxplot().fit(np.maximum(x, limit), below=x < limit)
    assert got.method == "percentile"
    assert "skewness cannot be judged" in got.warnings[0]
