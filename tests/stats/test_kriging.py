"""Kriging against a worked example, an independent package, and its own properties."""

from __future__ import annotations

import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.kriging import inverse_distance, merge_places, ordinary_kriging
from geochem.stats.variogram import Variogram


def spherical(nugget, sill, reach):
    return Variogram("spherical", nugget, sill, reach, 0.0, None, {})


def test_three_points_by_hand():
    # solved by hand from the ordinary kriging equations: spherical, nugget 0.1, sill 1, range 20
    estimate, variance = ordinary_kriging(
        [[0, 0], [10, 0], [0, 10]], [1, 2, 4], [[3, 3], [10, 0]], spherical(0.1, 1.0, 20.0)
    )
    assert estimate[0] == pytest.approx(2.03382286, abs=1e-8)
    assert variance[0] == pytest.approx(0.49970584, abs=1e-8)
    assert estimate[1] == pytest.approx(2.0, abs=1e-12)
    assert variance[1] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.published
def test_meuse_as_in_gstat(meuse):
    # R package gstat 2.1-0 on log(zinc), spherical model of nugget 0.05066, partial sill 0.59061,
    # range 897.02 m, all data, first five cells of meuse.grid
    model = spherical(0.05066243, 0.05066243 + 0.59060780, 897.0209)
    cells = [[181180, 333740], [181140, 333700], [181180, 333700], [181220, 333700],
             [181100, 333660]]  # fmt: skip
    estimate, variance = ordinary_kriging(
        meuse[["x", "y"]], np.log(meuse["zinc"]), cells, model, neighbours=155
    )
    np.testing.assert_allclose(
        estimate, [6.4996241, 6.6223555, 6.5051658, 6.3875902, 6.7644916], atol=1e-5
    )
    np.testing.assert_allclose(
        variance, [0.3198084, 0.2520205, 0.2729855, 0.2955290, 0.1779424], atol=1e-5
    )


@pytest.mark.published
def test_leave_one_out_as_in_gstat(meuse):
    # the same model; gstat's krige.cv with all data: RMSE 0.3918035, mean squared z 0.8185456
    model = spherical(0.05066243, 0.05066243 + 0.59060780, 897.0209)
    xy, z = meuse[["x", "y"]].to_numpy(float), np.log(meuse["zinc"].to_numpy())
    estimate, variance = ordinary_kriging(xy, z, xy, model, neighbours=155, leave_own_out=True)
    assert np.sqrt(np.mean((estimate - z) ** 2)) == pytest.approx(0.3918035, abs=1e-5)
    assert np.mean((estimate - z) ** 2 / variance) == pytest.approx(0.8185456, abs=1e-4)


@pytest.mark.published
def test_inverse_distance_as_in_gstat(meuse):
    # gstat idw, power 2, all data
    cells = [[181180, 333740], [181140, 333700], [181180, 333700]]
    found = inverse_distance(meuse[["x", "y"]], meuse["zinc"], cells, neighbours=155)
    np.testing.assert_allclose(found, [633.68639, 712.54502, 654.16174], atol=1e-4)


def test_local_neighbourhood_equals_an_independent_package():
    # PyKrige 1.7, moving window of 12, same model
    ok = pytest.importorskip("pykrige.ok")
    rng = np.random.default_rng(3)
    xy, z = rng.uniform(0, 1000, (120, 2)), rng.normal(size=120)
    where = rng.uniform(100, 900, (40, 2))
    theirs = ok.OrdinaryKriging(
        xy[:, 0], xy[:, 1], z, variogram_model="spherical",
        variogram_parameters={"psill": 0.8, "range": 300.0, "nugget": 0.2},
    )  # fmt: skip
    expected, expected_variance = theirs.execute(
        "points", where[:, 0], where[:, 1], n_closest_points=12, backend="loop"
    )
    found, variance = ordinary_kriging(xy, z, where, spherical(0.2, 1.0, 300.0), neighbours=12)
    np.testing.assert_allclose(found, expected, atol=1e-10)
    np.testing.assert_allclose(variance, expected_variance, atol=1e-10)


def test_constant_ground_stays_constant_and_order_does_not_matter():
    rng = np.random.default_rng(5)
    xy, where = rng.uniform(0, 100, (60, 2)), rng.uniform(0, 100, (30, 2))
    model = spherical(0.1, 1.0, 40.0)
    flat, _ = ordinary_kriging(xy, np.full(60, 7.0), where, model, neighbours=10)
    np.testing.assert_allclose(flat, 7.0, atol=1e-9)
    z, order = rng.normal(size=60), rng.permutation(60)
    first, _ = ordinary_kriging(xy, z, where, model, neighbours=10)
    again, _ = ordinary_kriging(xy[order], z[order], where, model, neighbours=10)
    np.testing.assert_allclose(first, again, atol=1e-10)


def test_an_uncertain_value_is_not_honoured():
    xy, z = np.array([[0.0, 0], [10, 0], [0, 10]]), np.array([0.0, 0, 9])
    model = spherical(0.0, 1.0, 20.0)
    sure, _ = ordinary_kriging(xy, z, [[0, 10]], model)
    unsure, variance = ordinary_kriging(xy, z, [[0, 10]], model, error_variance=[0, 0, 4.0])
    assert sure[0] == pytest.approx(9.0)
    assert 0 < unsure[0] < 6
    assert variance[0] > 0.3


def test_places_are_merged():
    xy, z, error = merge_places([[1, 1], [0, 0], [1, 1]], [2.0, 5.0, 4.0], [0.2, 0.1, 0.2])
    assert xy.tolist() == [[0, 0], [1, 1]]
    assert z.tolist() == [5.0, 3.0]
    assert error.tolist() == pytest.approx([0.1, 0.1])
    with pytest.raises(WrongCall, match="merge_places"):
        ordinary_kriging([[1, 1], [1, 1]], [2, 4], [[0, 0]], spherical(0, 1, 1))
