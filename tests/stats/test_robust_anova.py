import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.nested_anova import nested_anova
from geochem.stats.robust_anova import huber_mean_scale, robust_nested_anova, robust_pair_variance


@pytest.mark.published
def test_huber_equals_an_independent_package():
    # statsmodels.robust.scale.Huber: proposal 2 with the same cut.
    scale = pytest.importorskip("statsmodels.robust.scale")
    x = np.r_[np.random.default_rng(1).normal(10, 2, 40), 30, 35]
    expected = scale.Huber(c=1.5, tol=1e-12, maxiter=300)(x)
    np.testing.assert_allclose(huber_mean_scale(x), [float(v) for v in expected], rtol=1e-5)


@pytest.mark.published
def test_nitrate_in_lettuce():
    # Ramsey, Ellison, Rostron (eds.) 2019, Measurement uncertainty arising from sampling, 2nd ed.,
    # Eurachem, example A1: eight bays, two samples each, two analyses each [mg/kg]. Data and
    # results from memory; the classical ones below follow from the data to every digit given.
    x = np.array(
        [
            [3898, 4139, 4466, 4693], [3910, 3993, 4201, 4126], [5708, 5903, 4061, 3782],
            [5028, 4754, 5450, 5416], [4640, 4401, 4248, 4191], [5182, 5023, 4662, 4839],
            [3028, 3224, 3023, 2901], [3966, 4283, 4131, 3788],
        ],
        dtype=float,
    ).reshape(8, 2, 2)  # fmt: skip
    classical = nested_anova(x)
    expected = (556.28, 518.16, 148.18)
    found = np.sqrt([classical.sites, classical.sampling, classical.analysis])
    np.testing.assert_allclose(found, expected, atol=0.005)
    sites, sampling, analysis = robust_nested_anova(x)
    np.testing.assert_allclose(
        np.sqrt([sites, sampling, analysis]), (565.4, 319.05, 167.94), rtol=1e-4
    )
    assert np.sqrt(sampling + analysis) == pytest.approx(360.55, rel=1e-4)


def _design(rng, n, *, wild=0):
    site, sample = rng.normal(0, 3, (n, 1, 1)), rng.normal(0, 1, (n, 2, 1))
    x = site + sample + rng.normal(0, 0.5, (n, 2, 2))
    x[:wild, 0, 0] += 15
    return x


def test_clean_data_give_the_classical_components():
    x = _design(np.random.default_rng(2), 3000)
    classical = nested_anova(x)
    robust = robust_nested_anova(x)
    expected = (classical.sites, classical.sampling, classical.analysis)
    np.testing.assert_allclose(robust, expected, rtol=0.06)
    np.testing.assert_allclose(robust, (9, 1, 0.25), rtol=0.12)


def test_wild_analyses_do_not_move_it_much():
    x = _design(np.random.default_rng(3), 200, wild=6)
    assert nested_anova(x).analysis > 1.5
    assert robust_nested_anova(x)[2] < 0.4


def test_pairs():
    gap = np.random.default_rng(4).normal(0, 0.2, 20_000)
    assert robust_pair_variance(gap) == pytest.approx(0.02, rel=0.03)
    with pytest.raises(WrongCall, match="shape"):
        robust_nested_anova(np.zeros((3, 1, 2)))
