"""Contour polygons are valid, part the ground and keep the highest class; grids carry their bands."""

from __future__ import annotations

import base64
from dataclasses import replace
from io import BytesIO

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from PIL import Image

from geochem.outputs.gis.contours import contour_polygons, surface_limits
from geochem.outputs.gis.geotiff import write_surface
from geochem.outputs.gis.renderer import GisRenderer
from geochem.outputs.webmap.surface_image import chance_entry, surface_entry


def test_polygons_part_the_ground_and_hold_their_values(bundle):
    surface = bundle.surfaces[0]
    found = contour_polygons([surface], bundle.info.crs)
    assert shapely.is_valid(found.geometry.to_numpy()).all()
    assert set(shapely.get_type_id(found.geometry.to_numpy()).tolist()) <= {3, 6}
    # no overlaps: areas add up to the area of all together
    union = shapely.union_all(found.geometry.to_numpy())
    assert found.area.sum() == pytest.approx(union.area, rel=1e-6)
    # every cell centre lies in the polygon of its class
    rows, columns = np.nonzero(np.isfinite(surface.values))
    x = surface.west + (columns + 0.5) * surface.cell
    y = surface.north - (rows + 0.5) * surface.cell
    values = surface.values[rows, columns]
    limits = surface_limits(surface)
    assert len(limits) >= 2
    for _, row in found.iterrows():
        inside = shapely.contains_properly(row.geometry, shapely.points(x, y))
        low = -np.inf if np.isnan(row["low"]) else row["low"]
        high = np.inf if np.isnan(row["high"]) else row["high"]
        assert (values[inside] >= low - 1e-9).all()
        assert (values[inside] <= high + 1e-9).all()
    top = found.loc[found["class"].idxmax()]
    assert np.isnan(top["high"])
    peak = int(values.argmax())
    assert values[peak] > limits[-1]
    assert top.geometry.covers(shapely.Point(x[peak], y[peak]))


def test_a_hole_in_the_surface_stays_a_hole(bundle):
    surface = bundle.surfaces[0]
    values = surface.values.copy()
    values[10:20, 10:20] = np.nan
    found = contour_polygons([replace(surface, values=values)], bundle.info.crs)
    middle = shapely.Point(surface.west + 15 * surface.cell, surface.north - 15 * surface.cell)
    assert not found.intersects(middle).any()


def test_contours_stand_in_the_geopackage(bundle, make_bundle, tmp_path):
    GisRenderer().render(bundle, tmp_path, results_table=False)
    layer = gpd.read_file(tmp_path / "campaign.gpkg", layer="contours")
    assert set(layer["surface"]) == {s.name for s in bundle.surfaces}
    barren = tmp_path / "barren"
    barren.mkdir()
    GisRenderer().render(make_bundle(barren=True), barren, results_table=False)
    empty = gpd.read_file(barren / "campaign.gpkg", layer="contours")
    assert len(empty) == 0
    assert "class" in empty.columns


def test_bands_of_chance_cover_and_simulations(bundle, tmp_path):
    surface = bundle.surfaces[0]
    chance = np.where(np.isfinite(surface.values), 0.3, np.nan)
    covered = np.zeros(surface.values.shape, dtype=bool)
    covered[5, 5] = True
    full = replace(
        surface, chance=chance, threshold=120.0, covered=covered,
        simulated={"p10": surface.values * 0.8, "chance": chance},
    )  # fmt: skip
    whole, simulated = write_surface(full, bundle.info.crs, bundle.info.title, tmp_path)
    with rasterio.open(whole) as grid:
        assert grid.count == 4
        assert "chance of exceeding" in grid.descriptions[2]
        assert grid.units[2] == "share, above 120 mg/kg"
        assert grid.read(3, masked=True).max() == pytest.approx(0.3)
        assert grid.read(4)[5, 5] == 1
        assert grid.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
    with rasterio.open(simulated) as grid:
        assert "10th percentile" in grid.descriptions[0]


@pytest.mark.published
def test_large_grids_are_cloud_optimised_and_their_overviews_overshoot_nothing(bundle, tmp_path):
    # what GDAL's own check asks (driver COG: https://gdal.org/drivers/raster/cog.html): tiles;
    # directories at the start, largest first; data of the smallest overview first
    rng = np.random.default_rng(5)
    values = np.where(rng.random((1100, 1050)) < 0.02, 900.0, 1.0)
    values[:200, :200] = np.nan
    large = replace(
        bundle.surfaces[0], values=values, deviation=None, covered=values > 1, chance=None
    )
    (path,) = write_surface(large, bundle.info.crs, "Test", tmp_path)
    with rasterio.open(path) as grid:
        assert grid.profile["tiled"]
        levels = grid.overviews(1)
        assert levels == [2, 4]
        assert grid.block_shapes[0] == (512, 512)

        def told(name, level):
            return int(grid.get_tag_item(name, dm="TIFF", bidx=1, ovr=level))

        directories = [int(grid.get_tag_item("IFD_OFFSET", dm="TIFF", bidx=1))]
        directories += [told("IFD_OFFSET", k) for k in range(len(levels))]
        data = [int(grid.get_tag_item("BLOCK_OFFSET_0_0", dm="TIFF", bidx=1))]
        data += [told("BLOCK_OFFSET_0_0", k) for k in range(len(levels))]
        assert directories == sorted(directories)
        assert max(directories) < min(data)
        assert data == sorted(data, reverse=True)
        for band, (low, high) in ((1, (1.0, 900.0)), (2, (0.0, 1.0))):
            small = grid.read(band, out_shape=(275, 263), masked=True)
            assert low <= small.min() <= small.max() <= high


def test_cover_is_hatched_on_the_map_and_chances_have_classes_of_their_own(bundle):
    surface = bundle.surfaces[0]
    covered = np.zeros(surface.values.shape, dtype=bool)
    covered[5:15, 5:15] = True
    plain, marked = surface_entry(surface), surface_entry(replace(surface, covered=covered))
    assert plain["hatch"] == []
    assert len(marked["hatch"]) == 2
    pictures = [
        np.asarray(Image.open(BytesIO(base64.b64decode(e["png"].partition(",")[2]))))
        for e in (plain, marked)
    ]
    fine = np.kron(pictures[0], np.ones((3, 3), dtype=int))
    lines = pictures[1] == len(marked["colours"]) + 1
    np.testing.assert_array_equal(pictures[1][~lines], fine[~lines])
    inside = np.kron(covered & np.isfinite(surface.values), np.ones((3, 3))) > 0
    assert not lines[~inside].any()
    assert 0.08 < lines[inside].mean() < 0.15
    chance = replace(
        surface, chance=np.where(np.isfinite(surface.values), 0.3, np.nan), threshold=120.0
    )
    entry = chance_entry(chance, {"Cu": (1.0, "ppm")})
    assert entry["limits"] == [0.05, 0.1, 0.25, 0.5, 0.75, 0.9]
    assert "more than 120 ppm" in entry["title"]
