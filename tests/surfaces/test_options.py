"""Every option of surfaces does what it says, on ground that is known."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import box

from geochem.errors import WrongCall
from geochem.model.layers import Layer, Layers, Spacing
from geochem.stats.random_fields import simulate_fields
from geochem.surfaces.make import make_surfaces
from geochem.surfaces.options import surface_options

CRS = "EPSG:32735"
WEST, SOUTH = 600_000.0, 7_400_000.0


@pytest.fixture(scope="module")
def ground():
    """A soil grid of 30 x 20 places with a field of copper, gold at one in six, a helper."""
    rng = np.random.default_rng(8)
    x, y = (v.ravel() for v in np.meshgrid(np.arange(30) * 50.0, np.arange(20) * 50.0))
    field = simulate_fields(
        np.column_stack([x, y]), nugget=0.1, sill=1.0, range_m=250.0, n_fields=2, rng=3,
        anisotropy=(90.0, 0.3),
    )  # fmt: skip
    n = len(x)
    gold = np.where(np.arange(n) % 6 == 0, 0.01 * 10 ** (0.4 * field[0] + 0.05 * field[1]), np.nan)
    columns = {
        "sample_id": np.array([f"S{i:04d}" for i in range(n)], dtype=object),
        "medium": np.array(["soil"] * n, dtype=object),
        "geology": np.where(x < 700, "schist", "gneiss").astype(object),
    }
    for element, value in (
        ("Cu", 40 * 10 ** (0.3 * field[0])), ("As", 10 * 10 ** (0.3 * field[0] + rng.normal(0, 0.02, n))),
        ("Au", gold),
    ):  # fmt: skip
        columns[f"{element}_ppm"] = value
        columns[f"{element}_ppm_below"] = np.zeros(n, dtype=bool)
        columns[f"{element}_ppm_above"] = np.zeros(n, dtype=bool)
        columns[f"{element}_ppm_err"] = np.full(n, np.nan)
    points = gpd.points_from_xy(WEST + x, SOUTH + y)
    return gpd.GeoDataFrame(columns, geometry=points, crs=CRS)


@pytest.fixture
def make(ground, bundle):
    spacing = Spacing("soil", "", len(ground), 50.0, 50.0, 50.0, np.nan, True, 1.5)
    none = bundle.evidence.anomalies.iloc[:0]
    evidence = replace(bundle.evidence, anomalies=none, scores=bundle.evidence.scores.iloc[:0])

    def go(layers=None, elements=("Cu",), above=None, samples=None, **options):
        surfaces, findings = make_surfaces(
            ground if samples is None else samples, evidence, [spacing], layers or Layers(),
            elements=list(elements), max_cells=2500, options=surface_options(options), above=above,
        )  # fmt: skip
        return {s.name: s for s in surfaces}, findings

    return go


def polygons(name, field, **shapes):
    frame = gpd.GeoDataFrame(
        {field: list(shapes)}, geometry=[box(*b) for b in shapes.values()], crs=CRS
    )
    return Layer(name, frame, field, Path("x.gpkg"))


def test_masks_and_marks(make):
    layers = Layers(
        {
            "keep_out": polygons(
                "keep_out", "why", village=(WEST, SOUTH, WEST + 300, SOUTH + 300)
            ),
            "regolith": polygons(
                "regolith", "kind", alluvium=(WEST + 900, SOUTH, WEST + 1500, SOUTH + 1000)
            ),
        }
    )
    surface = make(layers)[0]["Cu_ppm"]
    rows, columns = np.nonzero(np.isfinite(surface.values))
    x = surface.west + (columns + 0.5) * surface.cell
    y = surface.north - (rows + 0.5) * surface.cell
    assert not ((x > WEST) & (x < WEST + 300) & (y > SOUTH) & (y < SOUTH + 300)).any()
    covered = surface.covered[rows, columns]
    assert covered[(x > WEST + 905) & (y > SOUTH) & (y < SOUTH + 990) & (x < WEST + 1490)].all()
    assert not covered[x < WEST + 890].any()
    masked = make(layers, cover="mask")[0]["Cu_ppm"]
    assert masked.covered is None
    assert np.isfinite(masked.values).sum() == (~covered).sum()
    assert make(layers, cover="ignore")[0]["Cu_ppm"].covered is None


def test_anisotropy_and_nested_structures_reach_the_variogram(make):
    plain = make()[0]["Cu_ppm"].details["variogram"]
    assert plain.isotropic
    shaped = make(anisotropy=True)[0]["Cu_ppm"]
    model = shaped.details["variogram"]
    assert not model.isotropic
    assert abs(model.azimuth - 90) < 20
    assert model.ratio < 0.6
    assert shaped.cross_validation["rmse"] < make()[0]["Cu_ppm"].cross_validation["rmse"] * 1.02
    nested = make(structures=2, estimator="dowd")[0]["Cu_ppm"].details["variogram"]
    assert len(nested.extra) == 1
    assert nested.experimental.estimator == "dowd"


@pytest.mark.parametrize("transform", ["log", "normal_scores", "none"])
def test_scales_come_back_in_mg_per_kg_and_chances_follow_the_values(make, transform):
    surface = make(above={"Cu": 60.0}, transform=transform)[0]["Cu_ppm"]
    known = np.isfinite(surface.values)
    assert 5 < np.nanmedian(surface.values) < 200
    assert surface.threshold == 60.0
    chance = surface.chance[known]
    assert ((chance >= 0) & (chance <= 1)).all()
    # the local median exceeds the threshold exactly where the chance exceeds a half
    np.testing.assert_array_equal(chance > 0.5 + 1e-9, surface.values[known] > 60.0 * (1 + 1e-9))


def test_mean_lies_above_the_median_and_blocks_are_smoother(make):
    median = make()[0]["Cu_ppm"]
    mean = make(show="mean")[0]["Cu_ppm"]
    known = np.isfinite(median.values)
    assert (mean.values[known] > median.values[known]).all()
    block = make(block=True)[0]["Cu_ppm"]
    assert np.nanmax(block.deviation) < np.nanmax(median.deviation)
    assert np.nanvar(np.log(block.values)) <= np.nanvar(np.log(median.values))


def test_indicator_chance_and_simulations_agree_with_the_normal_one(make):
    normal = make(above={"Cu": 45.0})[0]["Cu_ppm"].chance
    indicator = make(above={"Cu": 45.0}, chance="indicator")[0]["Cu_ppm"].chance
    known = np.isfinite(normal) & np.isfinite(indicator)
    assert np.corrcoef(normal[known], indicator[known])[0, 1] > 0.85
    simulated = make(above={"Cu": 45.0}, simulations=60)[0]["Cu_ppm"]
    share = simulated.simulated["chance"]
    assert np.abs(share - normal)[known].mean() < 0.06
    p10, p90 = simulated.simulated["p10"][known], simulated.simulated["p90"][known]
    middle = simulated.values[known]
    assert (p10 <= p90).all()
    assert ((p10 < middle) & (middle < p90)).mean() > 0.95


def test_pieces_of_ground_are_estimated_on_their_own(make, ground):
    layers = Layers(
        {
            "geology": polygons(
                "geology", "unit", schist=(WEST - 500, SOUTH - 500, WEST + 675, SOUTH + 2000),
                gneiss=(WEST + 675, SOUTH - 500, WEST + 3000, SOUTH + 2000),
            )
        }
    )  # fmt: skip
    raised = ground.copy()
    raised.loc[raised["geology"] == "gneiss", "Cu_ppm"] *= 100.0
    surface = make(layers, samples=raised, by="geology")[0]["Cu_ppm"]
    _, columns = np.nonzero(np.isfinite(surface.values))
    x = surface.west + (columns + 0.5) * surface.cell
    values = surface.values[np.isfinite(surface.values)]
    # a hard border: nothing of the other side's level within the last cells
    assert values[x < WEST + 675].max() < 10 * np.median(values[x < WEST + 675])
    assert values[x > WEST + 675].min() > 0.05 * np.median(values[x > WEST + 675])
    assert set(surface.details["variograms"]) == {"gneiss", "schist"}
    few = raised.assign(geology=np.where(np.arange(len(raised)) < 12, "schist", "gneiss"))
    _, findings = make(layers, samples=few, by="geology")
    assert any("blank on schist" in f.message for f in findings)
    with pytest.raises(WrongCall, match="no polygon layer"):
        make(layers, by="lithology")


def test_a_sparse_element_is_helped_by_a_dense_one(make):
    alone = make(elements=("Au",))[0]["Au_ppm"]
    helped, findings = make(elements=("Au",), helpers=["As"])
    surface = helped["Au_ppm"]
    assert surface.details["helpers"] == ("As",)
    assert surface.cross_validation["rmse"] < alone.cross_validation["rmse"]
    assert any(f.code == "surface-helpers" for f in findings)
    assert np.nanmean(surface.deviation) < np.nanmean(alone.deviation)
    asked = make(elements=("Au",), helpers=["As"], above={"Au": 0.02})[0]["Au_ppm"]
    known = np.isfinite(asked.values)
    assert ((asked.chance > 0.5) == (asked.values > 0.02))[known].all()
    assert 0.05 < asked.chance[known].mean() < 0.95
    noise = make(elements=("Au",), helpers=["Zr"])[0]["Au_ppm"]
    np.testing.assert_allclose(noise.values, alone.values)


def test_log_ratios_are_positive_and_near_the_elements_own_surfaces(make):
    made, findings = make(log_ratios=["Cu", "As"])
    ratio, plain = made["Cu_ppm_log_ratio"], made["Cu_ppm"]
    known = np.isfinite(ratio.values)
    assert (ratio.values[known] > 0).all()
    assert np.corrcoef(np.log(ratio.values[known]), np.log(plain.values[known]))[0, 1] > 0.98
    assert np.nanmedian(ratio.deviation / plain.deviation) == pytest.approx(1.0, abs=0.3)
    total = ratio.values + made["As_ppm_log_ratio"].values
    assert np.nanmax(total) < 1e6
    assert not [f for f in findings if f.code == "surface-log-ratios"]


def test_horizons_at_one_place_are_not_mixed(make, ground):
    both = ground.copy()
    both["horizon"] = "B"
    deep = both.iloc[:40].assign(
        horizon="C", sample_id=[f"D{i}" for i in range(40)], Cu_ppm=both["Cu_ppm"].iloc[:40] * 50
    )
    import pandas as pd

    mixed = gpd.GeoDataFrame(pd.concat([both, deep], ignore_index=True), crs=CRS)
    made, findings = make(samples=mixed)
    np.testing.assert_allclose(made["Cu_ppm"].values, make()[0]["Cu_ppm"].values)
    assert any("horizon B" in f.message for f in findings)


def test_noise_is_said_to_be_no_better_than_its_median(make, ground):
    said = 0
    for seed in range(6):
        rng = np.random.default_rng(seed)
        noise = ground.assign(Cu_ppm=rng.lognormal(3, 0.5, len(ground)))
        made, findings = make(samples=noise)
        checks = made["Cu_ppm"].cross_validation
        assert checks["rmse"] > 0.95 * checks["rmse_of_median"]
        assert checks["rmse_nearest"] > checks["rmse"]
        said += any(f.code == "surface-no-better" for f in findings)
    assert said >= 5
    assert not any(f.code == "surface-no-better" for f in make()[1])


def test_options_are_refused_in_a_sentence():
    with pytest.raises(WrongCall, match="Did you mean 'sectors'"):
        surface_options({"sector": 4})
    with pytest.raises(WrongCall, match="1 or 2"):
        surface_options({"structures": 3})
    with pytest.raises(WrongCall, match="spherical"):
        surface_options({"models": ["round"]})
    with pytest.raises(WrongCall, match="0-1"):
        surface_options({"nugget_share": 2.0})


def test_values_beyond_the_range_enter_above_their_limit():
    from geochem.surfaces.entering import entering

    rng = np.random.default_rng(3)
    true = 10 ** rng.normal(2.0, 0.4, 2000)
    above = true > 300.0
    none = np.zeros(2000, dtype=bool)
    value = np.minimum(true, 300.0)
    entered = entering(value, none, np.full(2000, np.nan), above)
    # the mean of what was hidden is met, and told as less sure
    hidden = float(np.log10(true[above]).mean())
    assert entered.log[above].mean() == pytest.approx(hidden, abs=0.03)
    assert (entered.log_variance[above] > 0).all()
    np.testing.assert_array_equal(entered.log[~above], np.log10(true[~above]))
    both = entering(np.maximum(value, 40.0), true < 40.0, np.full(2000, np.nan), above)
    assert (both.log[true < 40.0] < np.log10(40.0)).all()
    assert (both.log[above] > np.log10(300.0)).all()
