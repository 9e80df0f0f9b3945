"""Numbers of a cross-validation, folds of ground, reliability."""

import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.cross_validation import ground_folds, reliability, validate
from geochem.stats.kriging import krige
from geochem.stats.variogram import Variogram


@pytest.mark.published
def test_meuse_leave_one_out_as_in_gstat(meuse):
    # R package gstat 2.1-0, krige.cv of log(zinc), all data, spherical 0.05066 + 0.59061, 897 m:
    # mean error -2.07e-5, RMSE 0.3918035, MAE 0.2921515, mean squared z 0.8185456, r 0.8393478
    xy, z = meuse[["x", "y"]].to_numpy(float), np.log(meuse["zinc"].to_numpy())
    model = Variogram("spherical", 0.05066243, 0.64127023, 897.0209)
    left = krige(xy, z, xy, model, neighbours=155, own=np.arange(155))
    found = validate(z, left.values, left.variance)
    assert abs(found.mean_error) == pytest.approx(2.07e-5, abs=2e-6)
    assert found.rmse == pytest.approx(0.3918035, abs=1e-5)
    assert found.mae == pytest.approx(0.2921515, abs=1e-5)
    assert found.standardised_variance == pytest.approx(0.8185456, abs=1e-4)
    assert found.correlation == pytest.approx(0.8393478, abs=1e-5)


def test_coverage_of_honest_and_of_proud_variances():
    rng = np.random.default_rng(1)
    t = rng.normal(size=20000)
    honest = validate(t, np.zeros(20000), np.ones(20000))
    assert honest.coverage == pytest.approx((0.5, 0.8, 0.9, 0.95), abs=0.01)
    proud = validate(t, np.zeros(20000), np.full(20000, 0.25))
    assert proud.standardised_variance == pytest.approx(4.0, rel=0.05)
    assert proud.coverage[1] < 0.55
    assert np.isnan(validate(t, t).standardised_variance)
    assert validate([np.nan], [1.0]).n == 0


def test_folds_keep_blocks_whole_and_apart():
    xy = np.stack(np.meshgrid(np.arange(0, 1000, 20.0), np.arange(0, 1000, 20.0)), -1).reshape(
        -1, 2
    )
    fold = ground_folds(xy, 100.0, 5)
    block = np.floor(xy / 100).astype(int)
    for x, y in [(0, 0), (3, 4)]:
        assert len(set(fold[(block == [x, y]).all(axis=1)].tolist())) == 1
    # blocks that share an edge or a corner are in different folds
    of = {tuple(b): f for b, f in zip(block.tolist(), fold.tolist(), strict=True)}
    for (x, y), f in of.items():
        for step in [(1, 0), (0, 1), (1, 1), (1, -1)]:
            assert of.get((x + step[0], y + step[1])) != f
    with pytest.raises(WrongCall, match="positive side"):
        ground_folds(xy, 0.0, 5)


def test_reliability_counts():
    said, observed, count = reliability([0.05, 0.05, 0.95, np.nan], [0, 1, 1, 1], bins=10)
    assert count.tolist() == [2, 0, 0, 0, 0, 0, 0, 0, 0, 1]
    assert observed[0] == 0.5
    assert said[9] == pytest.approx(0.95)
