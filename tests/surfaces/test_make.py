"""Surfaces stand where samples are, honour them, and say how sure they are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geochem.surfaces.grid import make_grid, round_cell
from geochem.surfaces.make import make_surfaces


@pytest.fixture(scope="module")
def made(bundle):
    surfaces, findings = make_surfaces(
        bundle.survey.samples, bundle.evidence, bundle.spacings, bundle.layers,
        elements=["Cu", "Au"], max_cells=4000,
    )  # fmt: skip
    return {s.name: s for s in surfaces}, findings


def test_elements_and_an_association_come_out(made):
    surfaces, _ = made
    assert "Cu_ppm" in surfaces
    assert any(s.unit == "standard deviations" for s in surfaces.values())


def test_surface_follows_the_samples(bundle, made):
    surface = made[0]["Cu_ppm"]
    samples = bundle.survey.samples
    soil = samples.loc[
        (samples["medium"] == "soil") & ~samples["Cu_ppm_below"] & samples["Cu_ppm"].notna()
    ]
    column = ((soil.geometry.x - surface.west) / surface.cell).astype(int).to_numpy()
    row = ((surface.north - soil.geometry.y) / surface.cell).astype(int).to_numpy()
    at = surface.values[row, column]
    known = np.isfinite(at)
    assert known.mean() > 0.9
    r = np.corrcoef(np.log(at[known]), np.log(soil["Cu_ppm"].to_numpy()[known]))[0, 1]
    assert r > 0.7


def test_uncertainty_and_cross_validation_are_there(made):
    surface = made[0]["Cu_ppm"]
    assert np.nanmin(surface.deviation) > 0
    assert surface.cross_validation["rmse"] > 0
    assert 0.2 < surface.cross_validation["standardised_variance"] < 5


def test_nothing_is_shown_outside_the_boundary_or_far_from_samples(bundle, made):
    import shapely

    surface = made[0]["Cu_ppm"]
    boundary = bundle.layers.get("boundary").geometry.union_all()
    rows, columns = np.nonzero(np.isfinite(surface.values))
    x = surface.west + (columns + 0.5) * surface.cell
    y = surface.north - (rows + 0.5) * surface.cell
    assert shapely.contains_xy(boundary, x, y).all()


def test_row_order_does_not_matter(bundle, made):
    rng = np.random.default_rng(2)
    samples = bundle.survey.samples.iloc[rng.permutation(len(bundle.survey.samples))]
    again, _ = make_surfaces(
        samples.reset_index(drop=True), bundle.evidence, bundle.spacings, bundle.layers,
        elements=["Cu"], max_cells=4000,
    )  # fmt: skip
    np.testing.assert_allclose(again[0].values, made[0]["Cu_ppm"].values, rtol=1e-9)


def test_stream_sediments_and_rock_are_never_interpolated(bundle):
    samples = bundle.survey.samples.copy()
    samples["medium"] = "stream sediment"
    spacings = [replace(s, medium="stream sediment") for s in bundle.spacings]
    surfaces, _ = make_surfaces(samples, bundle.evidence, spacings, bundle.layers)
    assert surfaces == ()


def test_an_element_mostly_below_detection_is_refused_in_a_sentence(bundle):
    samples = bundle.survey.samples.copy()
    samples["Cu_ppm_below"] = True
    surfaces, findings = make_surfaces(
        samples, bundle.evidence, bundle.spacings, bundle.layers, elements=["Cu"]
    )
    assert "Cu_ppm" not in {s.name for s in surfaces}
    assert any("100% of them below detection" in f.message for f in findings)


def test_grids_keep_the_number_of_cells_and_round_sizes():
    xy = np.random.default_rng(1).uniform(0, 10000, (200, 2))
    grid = make_grid(xy, spacing=500, station=100, max_cells=5000)
    assert grid.shape[0] * grid.shape[1] <= 5000
    assert round_cell(grid.cell) == grid.cell
    assert grid.west % grid.cell == 0
