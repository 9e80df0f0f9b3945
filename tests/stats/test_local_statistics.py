"""Gi* and its relatives against published formulas, R and esda."""

import importlib.util
import time
import warnings
from pathlib import Path

import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats import local_statistics as local
from geochem.stats import neighbours


@pytest.mark.published
def test_line_of_seven():
    # formula of Ord and Getis 1995, Geographical Analysis 27:286; arithmetic by hand
    line = neighbours.within([[i, 0] for i in range(7)], 1.0, include_self=True)
    z = local.getis_ord_gi_star([1, 2, 3, 10, 12, 2, 1], line)
    expected = [-1.07058, -1.21566, 0.28604, 1.95460, 1.78774, 0.28604, -1.07058]
    assert z == pytest.approx(expected, abs=5e-6)


@pytest.mark.published
def test_three_by_three_centre_is_undefined():
    # Ord and Getis 1995; the centre has all cells as neighbours, 0 / 0
    xy = [[i, j] for i in range(3) for j in range(3)]
    z = local.getis_ord_gi_star(
        [1, 2, 1, 8, 9, 10, 2, 1, 1], neighbours.within(xy, 1.5, include_self=True)
    )
    expected = [0.76696, 1.39458, 1.11210, -0.06063, np.nan, 0.12127, 0.76696, 1.39458, 0.93953]
    assert z == pytest.approx(expected, abs=5e-6, nan_ok=True)


@pytest.mark.published
def test_meuse_zinc_against_r():
    # R 4.2.2, spdep 1.2-7 localG on the meuse data of package sp: log zinc, 500 m, binary
    spec = importlib.util.find_spec("skgstat")
    if spec is None:
        pytest.skip("scikit-gstat, which carries the meuse data, is not installed")
    path = Path(spec.submodule_search_locations[0]) / "data" / "samples" / "meuse.txt"
    table = np.genfromtxt(path, names=True, delimiter="," if "," in path.read_text() else None)
    xy = np.column_stack([table["x"], table["y"]])
    z = local.getis_ord_gi_star(
        np.log(table["zinc"]), neighbours.within(xy, 500.0, include_self=True)
    )
    first = [1.28602695, 1.03815544, 1.01413571, 0.64717222, 0.45178234, -0.33771946]
    assert z[:6] == pytest.approx(first, abs=1e-6)
    assert [z.min(), z.max()] == pytest.approx([-4.9210943, 3.7672349], abs=1e-6)


@pytest.mark.published
def test_gi_star_and_local_moran_against_esda():
    # esda and libpysal, independent implementations from PyPI
    pytest.importorskip("esda")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from esda.getisord import G_Local
        from esda.moran import Moran_Local
        from libpysal.weights import KNN, fill_diagonal

        rng = np.random.default_rng(5)
        xy, values = rng.random((200, 2)), rng.lognormal(size=200)
        w = KNN(xy, k=8)
        theirs = G_Local(values, fill_diagonal(w, 1.0), transform="B", star=True, permutations=0)
        moran = Moran_Local(values, w, transformation="r", permutations=0)
    graph = neighbours.nearest(xy, 8)
    ours = local.getis_ord_gi_star(values, neighbours.with_self(graph))
    assert ours == pytest.approx(theirs.Zs, abs=1e-12, rel=1e-11)
    assert local.local_moran(values, graph) == pytest.approx(moran.Is, rel=1e-10)


def test_many_columns_equal_one_by_one_and_missing_values_count_for_nobody():
    rng = np.random.default_rng(7)
    xy, values = rng.random((60, 2)), rng.normal(size=(60, 3))
    w = neighbours.nearest(xy, 5, include_self=True)
    values[4, 1] = np.nan
    together = local.getis_ord_gi_star(values, w)
    assert together[:, 0] == pytest.approx(local.getis_ord_gi_star(values[:, 0], w), rel=1e-12)
    keep = np.arange(60) != 4
    without = local.getis_ord_gi_star(values[keep, 1], w[keep][:, keep])
    assert np.isnan(together[4, 1])
    assert together[keep, 1] == pytest.approx(without, rel=1e-9)


def test_constant_values_and_islands_give_nan_not_a_crash():
    w = neighbours.within([[0, 0], [1, 0], [9, 0]], 2.0)
    assert np.isnan(local.getis_ord_gi_star([5.0, 5.0, 5.0], neighbours.with_self(w))).all()
    mean = local.local_mean([1.0, 3.0, 8.0], w)
    assert mean == pytest.approx([3.0, 1.0, np.nan], nan_ok=True)
    with pytest.raises(WrongCall, match="is needed"):
        local.getis_ord_gi_star([1.0, 2.0], w)


def test_permutation_p_ranks_the_planted_patch_first_and_is_uniform_on_noise():
    rng = np.random.default_rng(2)
    xy = np.array([[i, j] for i in range(15) for j in range(15)], dtype=float)
    w = neighbours.within(xy, 1.5, include_self=True)
    noise = rng.normal(size=225)
    p = local.permutation_p(noise, w, n_permutations=199)
    assert 0.40 < p.mean() < 0.60
    patch = noise + 4.0 * (np.abs(xy - 7).max(axis=1) <= 1)
    assert local.permutation_p(patch, w, n_permutations=199)[112] == pytest.approx(1 / 200)


def test_a_hundred_thousand_samples_by_thirty_elements_is_quick():
    rng = np.random.default_rng(1)
    xy, values = rng.random((100_000, 2)), rng.normal(size=(100_000, 30))
    w = neighbours.nearest(xy, 8, include_self=True)
    start = time.perf_counter()
    local.getis_ord_gi_star(values, w)
    assert time.perf_counter() - start < 5.0  # measured 0.11 s; generous for a busy machine
