"""Kriging against a worked example, independent packages, and its own properties."""

from __future__ import annotations

import csv
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem.errors import WrongCall
from geochem.stats.inverse_distance import inverse_distance
from geochem.stats.kriging import krige, merge_places
from geochem.stats.variogram import Structure, Variogram


def _ordinary(*args, **kwargs):
    found = krige(*args, **kwargs)
    return found.values, found.variance


def spherical(nugget, sill, reach):
    return Variogram("spherical", nugget, sill, reach, 0.0, None, {})


def test_three_points_by_hand():
    # solved by hand from the ordinary kriging equations: spherical, nugget 0.1, sill 1, range 20
    estimate, variance = _ordinary(
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
    estimate, variance = _ordinary(
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
    estimate, variance = _ordinary(xy, z, xy, model, neighbours=155, own=np.arange(155))
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
    found, variance = _ordinary(xy, z, where, spherical(0.2, 1.0, 300.0), neighbours=12)
    np.testing.assert_allclose(found, expected, atol=1e-10)
    np.testing.assert_allclose(variance, expected_variance, atol=1e-10)


def test_constant_ground_stays_constant_and_order_does_not_matter():
    rng = np.random.default_rng(5)
    xy, where = rng.uniform(0, 100, (60, 2)), rng.uniform(0, 100, (30, 2))
    model = spherical(0.1, 1.0, 40.0)
    flat, _ = _ordinary(xy, np.full(60, 7.0), where, model, neighbours=10)
    np.testing.assert_allclose(flat, 7.0, atol=1e-9)
    z, order = rng.normal(size=60), rng.permutation(60)
    first, _ = _ordinary(xy, z, where, model, neighbours=10)
    again, _ = _ordinary(xy[order], z[order], where, model, neighbours=10)
    np.testing.assert_allclose(first, again, atol=1e-10)


def test_an_uncertain_value_is_not_honoured():
    xy, z = np.array([[0.0, 0], [10, 0], [0, 10]]), np.array([0.0, 0, 9])
    model = spherical(0.0, 1.0, 20.0)
    sure, _ = _ordinary(xy, z, [[0, 10]], model)
    unsure, variance = _ordinary(xy, z, [[0, 10]], model, error_variance=[0, 0, 4.0])
    assert sure[0] == pytest.approx(9.0)
    assert 0 < unsure[0] < 6
    assert variance[0] > 0.3


def test_places_are_merged():
    xy, z, error = merge_places([[1, 1], [0, 0], [1, 1]], [2.0, 5.0, 4.0], [0.2, 0.1, 0.2])
    assert xy.tolist() == [[0, 0], [1, 1]]
    assert z.tolist() == [5.0, 3.0]
    assert error.tolist() == pytest.approx([0.1, 0.1])
    with pytest.raises(WrongCall, match="merge_places"):
        _ordinary([[1, 1], [1, 1]], [2, 4], [[0, 0]], spherical(0, 1, 1))


HERE = Path(__file__).parent / "gstat"
GOALS = np.array(
    [[180131, 331511], [179605, 331005], [178990, 330500], [180420, 332222],
     [179950.5, 331750.25], [181072, 333611], [178605.25, 329717.75]]
)  # fmt: skip
ONE = spherical(0.05, 0.64, 897.0)
#: what make_table.R asks gstat for
CASES = {
    "ordinary all": (ONE, {"neighbours": 155}),
    "ordinary 12": (ONE, {"neighbours": 12}),
    "ordinary within 400 m": (ONE, {"neighbours": 155, "max_distance": 400.0}),
    "simple": (ONE, {"kind": "simple", "mean": 5.9, "neighbours": 20}),
    "trend 1": (ONE, {"kind": "universal", "drift_order": 1, "neighbours": 155}),
    "trend 2": (ONE, {"kind": "universal", "drift_order": 2, "neighbours": 155}),
    "anisotropy": (
        Variogram("spherical", 0.05, 0.64, 1200.0, azimuth=45.0, ratio=0.4), {"neighbours": 155},
    ),
    "nested": (
        Variogram("exponential", 0.05, 0.70, 80.0, extra=(Structure("spherical", 0.35, 1100.0),)),
        {"neighbours": 155},
    ),
    "gaussian": (Variogram("gaussian", 0.1, 0.65, 350.0), {"neighbours": 155}),
    "block 100 x 60": (ONE, {"neighbours": 155, "block": (100.0, 60.0)}),
}  # fmt: skip


def gstat_table(folder=HERE):
    with (folder / "gstat.csv").open() as file:
        rows = list(csv.DictReader(file))
    table = {}
    for row in rows:
        table.setdefault(row["case"], []).append((float(row["value"]), float(row["variance"])))
    return {case: np.array(found) for case, found in table.items()}


def check_against(table, meuse, tier):
    xy, z = meuse[["x", "y"]].to_numpy(float), np.log(meuse["zinc"].to_numpy())
    for case, (model, options) in CASES.items():
        found = krige(xy, z, GOALS, model, tier=tier, **options)
        np.testing.assert_allclose(found.values, table[case][:, 0], rtol=1e-10, err_msg=case)
        np.testing.assert_allclose(found.variance, table[case][:, 1], atol=1e-10, err_msg=case)
    rich = (meuse["zinc"].to_numpy() > 500).astype(float)
    found = krige(xy, rich, GOALS, spherical(0.05, 0.2, 800.0), tier=tier, neighbours=16)
    np.testing.assert_allclose(found.values, table["indicator 500"][:, 0], atol=1e-10)


@pytest.mark.published
@pytest.mark.parametrize("tier", ["numpy", "numba"])
def test_every_kind_as_in_gstat(meuse, tier):
    # R package gstat 2.1-0 on log(zinc) of meuse; gstat/make_table.R made the stored table
    if tier == "numba":
        pytest.importorskip("numba")
    check_against(gstat_table(), meuse, tier)


@pytest.mark.published
@pytest.mark.slow
def test_every_kind_as_in_gstat_now(meuse, tmp_path):
    if shutil.which("Rscript") is None:
        pytest.skip("R with gstat is not installed")
    subprocess.run(["Rscript", HERE / "make_table.R", tmp_path], check=True, timeout=120)
    check_against(gstat_table(tmp_path), meuse, "numpy")


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    nugget=st.floats(0, 0.9),
    reach=st.floats(5, 400),
    kind=st.sampled_from(["ordinary", "simple", "universal"]),
    model=st.sampled_from(["spherical", "exponential"]),
)
def test_exact_and_sure_at_samples(seed, nugget, reach, kind, model):
    rng = np.random.default_rng(seed)
    xy, z = rng.uniform(0, 100, (40, 2)) + np.array([5e5, 7e6]), rng.normal(size=40)
    found = krige(
        xy, z, xy, Variogram(model, nugget, 1.0, reach, azimuth=30.0, ratio=0.5), kind=kind,
        mean=0.3 if kind == "simple" else None, neighbours=12,
    )  # fmt: skip
    np.testing.assert_allclose(found.values, z, atol=1e-7)
    np.testing.assert_allclose(found.variance, 0, atol=1e-8)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10**6), slope=st.floats(-5, 5), sectors=st.sampled_from([1, 4, 8]))
def test_a_plane_is_a_plane_under_a_drift_and_a_block_is_the_mean_of_its_points(
    seed, slope, sectors
):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 100, (60, 2))
    plane = 3 + slope * xy[:, 0] - 2 * xy[:, 1]
    where = rng.uniform(20, 80, (5, 2))
    model = spherical(0.2, 1.0, 60.0)
    found = krige(xy, plane, where, model, kind="universal", neighbours=16, sectors=sectors)
    np.testing.assert_allclose(found.values, 3 + slope * where[:, 0] - 2 * where[:, 1], atol=1e-6)
    z = rng.normal(size=60)
    block = krige(xy, z, where[:1], model, block=(8.0, 4.0), block_points=3, neighbours=60)
    x, y = np.meshgrid(np.array([-1, 0, 1]) * 8 / 3, np.array([-1, 0, 1]) * 4 / 3)
    inside = where[0] + np.column_stack([x.ravel(), y.ravel()])
    points = krige(xy, z, inside, model, neighbours=60)
    assert block.values[0] == pytest.approx(points.values.mean(), abs=1e-9)
    assert block.variance[0] < points.variance.min()


def test_estimates_are_unbiased_and_their_variance_is_honest():
    # simulated ground: errors average zero and their squares average the kriging variance
    from geochem.stats.random_fields import simulate_fields

    rng = np.random.default_rng(7)
    xy, where = rng.uniform(0, 1000, (80, 2)), rng.uniform(100, 900, (25, 2))
    both = np.vstack([xy, where])
    model = Variogram("exponential", 0.3, 1.0, 200.0)
    fields = simulate_fields(
        both, nugget=0.3, sill=1.0, range_m=200.0, n_fields=400, rng=3, n_waves=2048
    )
    error, expected = [], []
    for field in fields:
        found = krige(xy, field[:80], where, model, neighbours=16)
        error.append(found.values - field[80:])
        expected.append(found.variance)
    error = np.array(error)
    assert abs(error.mean()) < 0.02
    assert (error**2).mean() / np.mean(expected) == pytest.approx(1.0, abs=0.05)


def test_tiers_give_the_same_numbers():
    pytest.importorskip("numba")
    rng = np.random.default_rng(11)
    xy, z = rng.uniform(0, 1000, (300, 2)), rng.normal(size=300)
    xy[1] = xy[0] + [1e-9, 0]  # no stable system under a smooth model without nugget
    where = np.vstack([rng.uniform(-100, 1100, (400, 2)), xy[:3]])
    error = rng.uniform(0, 0.2, 300)
    for model in (
        Variogram("spherical", 0.1, 1.2, 300.0, extra=(Structure("gaussian", 0.3, 90.0),)),
        Variogram("exponential", 0.0, 1.0, 200.0, azimuth=70.0, ratio=0.3),
        Variogram("spherical", 1.0, 1.0, 0.0),
    ):
        for options in (
            {}, {"kind": "simple", "mean": 0.0, "max_distance": 60.0},
            {"kind": "universal", "drift_order": 1, "sectors": 8, "neighbours": 20},
            {"block": (20.0, 20.0), "error_variance": error, "min_neighbours": 3},
            {"kind": "universal", "drift_order": 0, "covariates": np.sin(xy[:, :1] / 40),
             "covariates_where": np.sin(where[:, :1] / 40)},
        ):  # fmt: skip
            a = krige(xy, z, where, model, tier="numpy", **options)
            b = krige(xy, z, where, model, tier="numba", **options)
            np.testing.assert_allclose(a.values, b.values, rtol=1e-10, atol=1e-10)
            np.testing.assert_allclose(a.variance, b.variance, rtol=1e-10, atol=1e-10)
            np.testing.assert_allclose(a.lagrange, b.lagrange, rtol=1e-9, atol=1e-10)


def test_shared_neighbours_and_threads_change_no_number():
    numba = pytest.importorskip("numba")
    rng = np.random.default_rng(12)
    xy, z = rng.uniform(0, 1000, (150, 2)), rng.normal(size=150)
    step = np.linspace(-40, 1040, 60)
    where = np.stack(np.meshgrid(step, step), axis=-1).reshape(-1, 2)
    model = Variogram("spherical", 0.1, 1.0, 300.0)
    for options in ({"neighbours": 20, "max_distance": 90.0}, {"neighbours": 33, "sectors": 4}):
        together = krige(xy, z, where, model, tier="numba", **options)
        numba.set_num_threads(1)
        try:
            alone = krige(xy, z, where, model, tier="numba", **options)
        finally:
            numba.set_num_threads(numba.config.NUMBA_NUM_THREADS)
        np.testing.assert_array_equal(together.values, alone.values)
        np.testing.assert_array_equal(together.variance, alone.variance)
        # far apart goals share nothing: no row of a factor is kept
        mixed = rng.permutation(len(where))[:200]
        for few in (mixed, np.arange(5)):
            found = krige(xy, z, where[few], model, tier="numpy", **options)
            np.testing.assert_allclose(together.values[few], found.values, rtol=0, atol=1e-11)
            np.testing.assert_allclose(together.variance[few], found.variance, rtol=0, atol=1e-11)


def test_neighbours_on_one_line_and_nearly_equal_places_give_finite_answers():
    line = np.column_stack([np.linspace(0, 100, 11), np.full(11, 50.0)])
    z = np.linspace(1, 2, 11)
    found = krige(line, z, [[55.0, 60.0]], spherical(0.1, 1.0, 50.0), kind="universal")
    assert found.mended == 1
    assert 1.0 < found.values[0] < 2.0
    near = np.array([[0.0, 0], [1e-7, 0], [10, 0], [0, 10]])
    found = krige(near, [1.0, 1.0, 2.0, 3.0], [[4.0, 4.0]], Variogram("gaussian", 0.0, 1.0, 50.0))
    assert np.isfinite(found.values[0])
    assert found.variance[0] >= 0


def test_sectors_take_neighbours_from_all_sides_and_distance_ends_them():
    crowd = np.column_stack([np.linspace(1, 2, 30), np.zeros(30)])
    xy = np.vstack([crowd, [[-5.0, 0.1], [0.1, -6.0], [-0.1, 7.0]]])
    z = np.r_[np.ones(30), 5.0, 6.0, 7.0]
    model = spherical(0.0, 1.0, 20.0)
    plain = krige(xy, z, [[0.0, 0.0]], model, neighbours=8)
    sides = krige(xy, z, [[0.0, 0.0]], model, neighbours=8, sectors=4)
    assert plain.values[0] < 1.2
    assert sides.values[0] > 1.5
    none = krige(xy, z, [[500.0, 0.0], [1.5, 0.5]], model, max_distance=10.0)
    assert np.isnan(none.values[0])
    assert none.n_neighbours.tolist()[0] == 0
    with pytest.raises(WrongCall, match="needs 'mean'"):
        krige(xy, z, [[0.0, 0.0]], model, kind="simple")
