"""Variograms: the meuse zinc data as published, closed forms, edges."""

import importlib.util
import itertools
from pathlib import Path

import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.variogram import experimental_variogram, fit_variogram, model_value


@pytest.fixture(scope="module")
def meuse():
    spec = importlib.util.find_spec("skgstat")
    if spec is None:
        pytest.skip("scikit-gstat, which carries the meuse data, is not installed")
    path = Path(spec.submodule_search_locations[0]) / "data" / "samples" / "meuse.txt"
    table = np.genfromtxt(path, names=True, delimiter="," if "," in path.read_text() else None)
    return np.column_stack([table["x"], table["y"]]), np.log(table["zinc"])


# pairs, mean distance [m], semivariance: R 4.2.2 with gstat 2.1-0, variogram(log(zinc) ~ 1, meuse)
BINS = [
    (57, 79.29244, 0.1234479), (299, 163.97367, 0.2162185), (419, 267.36483, 0.3027859),
    (457, 372.73542, 0.4121448), (547, 478.47670, 0.4634128), (533, 585.34058, 0.5646933),
    (574, 693.14526, 0.5689683), (564, 796.18365, 0.6186769), (589, 903.14650, 0.6471479),
    (543, 1011.29177, 0.6915705), (500, 1117.86235, 0.7033984), (477, 1221.32810, 0.6038770),
    (452, 1329.16407, 0.6517158), (457, 1437.25620, 0.5665318), (415, 1543.20248, 0.5748227),
]  # fmt: skip


@pytest.mark.published
def test_meuse_bins(meuse):
    found = experimental_variogram(*meuse)
    assert found.pairs.tolist() == [b[0] for b in BINS]
    assert found.distance == pytest.approx([b[1] for b in BINS], abs=1e-4)
    assert found.gamma == pytest.approx([b[2] for b in BINS], abs=1e-6)


@pytest.mark.published
def test_meuse_fits(meuse):
    # spherical: printed on r-spatial.org, 14 February 2016; exponential: R gstat 2.1-0
    bins = experimental_variogram(*meuse)
    spherical = fit_variogram(bins, "spherical")
    assert spherical.nugget == pytest.approx(0.05066243, rel=5e-3)
    assert spherical.partial_sill == pytest.approx(0.59060780, rel=5e-3)
    assert spherical.range_m == pytest.approx(897.0209, rel=5e-3)
    exponential = fit_variogram(bins, "exponential")
    assert exponential.nugget == pytest.approx(0.0, abs=1e-9)
    assert exponential.sill == pytest.approx(0.7186526, rel=1e-2)
    assert exponential.range_m == pytest.approx(449.758, rel=1e-2)


@pytest.mark.published
def test_spherical_closed_form():
    # arithmetic of the formula in Matheron 1963, Economic Geology 58:1246
    h = [0, 1, 2.5, 5, 10, 12]
    expected = [0, 0.23455, 0.43046875, 0.71875, 1, 1]
    assert model_value("spherical", h, 0.1, 1.0, 10.0) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("model", ["spherical", "exponential", "gaussian"])
def test_exact_bins_give_the_model_back(model):
    bins = experimental_variogram(np.random.default_rng(1).random((200, 2)) * 1000, np.zeros(200))
    exact = type(bins)(
        bins.distance, model_value(model, bins.distance, 0.3, 1.1, 170.0), bins.pairs,
        bins.edges, "matheron", 200, 1.0,
    )  # fmt: skip
    fit = fit_variogram(exact, ("spherical", "exponential", "gaussian"))
    assert fit.model == model
    assert [fit.nugget, fit.sill, fit.range_m] == pytest.approx([0.3, 1.1, 170.0], rel=1e-3)
    assert float(fit.covariance(0.0)) == pytest.approx(fit.sill)


def test_bins_equal_a_slow_twin_whatever_the_row_order():
    rng = np.random.default_rng(8)
    xy, z = rng.integers(0, 12, size=(180, 2)) * 10.0 + 6e6, rng.normal(size=180)
    i, j = np.triu_indices(180, 1)
    h = np.hypot(*(xy[i] - xy[j]).T)
    found = experimental_variogram(xy, z, cutoff=60.0, n_bins=7, estimator="cressie_hawkins")
    edges = np.linspace(0, 60.0, 8)
    gamma = []
    for low, high in itertools.pairwise(edges):
        inside = (h > low + 1e-9) & (h <= high + 1e-9)
        if inside.any():
            root = np.sqrt(np.abs(z[i] - z[j]))[inside].mean()
            gamma.append(0.5 * root**4 / (0.457 + 0.494 / inside.sum()))
    assert found.gamma == pytest.approx(gamma, rel=1e-9)
    order = rng.permutation(180)
    again = experimental_variogram(
        xy[order], z[order], cutoff=60.0, n_bins=7, estimator="cressie_hawkins"
    )
    assert np.array_equal(found.gamma, again.gamma)


def test_robust_estimator_shrugs_off_spikes():
    rng = np.random.default_rng(4)
    xy, z = rng.random((400, 2)) * 1000, rng.normal(size=400)
    z[:6] += 40.0
    classical = experimental_variogram(xy, z).gamma.mean()
    robust = experimental_variogram(xy, z, estimator="cressie_hawkins").gamma.mean()
    assert classical > 10.0
    assert robust < 2.5


def test_noise_gives_a_nugget_and_degenerate_input_gives_nan():
    rng = np.random.default_rng(6)
    xy, z = rng.random((800, 2)) * 1000, rng.normal(size=800)
    fit = fit_variogram(experimental_variogram(xy, z))
    assert fit.partial_sill < 0.2 * fit.sill or fit.range_m < 60.0
    nothing = fit_variogram(experimental_variogram([[0, 0], [0, 0]], [1.0, 2.0]))
    assert np.isnan(nothing.sill)
    assert "three" in nothing.details["reason"]
    with pytest.raises(WrongCall, match="variogram model"):
        fit_variogram(experimental_variogram(xy, z), "spherik")
