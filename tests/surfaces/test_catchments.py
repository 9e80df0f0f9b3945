"""Catchments of stream sediments: nesting, rocks, residuals, decay; outlines from elevation."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import LineString, box

from geochem.model.layers import Layer, Layers
from geochem.surfaces.catchments import sediment_catchments, with_catchments
from geochem.surfaces.network import distances_along

CRS = "EPSG:32735"


def make(path, *, source=True):
    """Twelve catchments in a row of 2 x 2 km, the last ones collecting those above."""
    rng = np.random.default_rng(1)
    shapes, names, rows = [], [], []
    for k in range(12):
        shapes.append(box(2000 * k, 0, 2000 * k + 2000, 2000))
        names.append(f"C{k:02d}")
        share = 1.0 if k % 2 else 0.0  # odd ones stand on basalt
        value = (20.0 + 60.0 * share) * rng.lognormal(0, 0.03)
        if source and k == 4:
            value += 100.0
        rows.append((2000 * k + 1900.0, 1000.0, value))
    # C12 holds C04 and C05 and the ground below them: 12 km2
    shapes.append(box(8000, -1000, 12000, 2000))
    names.append("C12")
    rows.append((11000.0, -900.0, 50.0 + (100.0 * 4 / 12 if source else 0.0)))
    x, y, value = (np.array(v) for v in zip(*rows, strict=True))
    n = len(value)
    samples = gpd.GeoDataFrame(
        {
            "sample_id": np.array([f"S{k:02d}" for k in range(n)], dtype=object),
            "medium": np.array(["stream sediment"] * n, dtype=object),
            "Cu_ppm": value, "Cu_ppm_below": np.zeros(n, bool), "Cu_ppm_above": np.zeros(n, bool),
            "Cu_ppm_err": np.full(n, np.nan),
        },
        geometry=gpd.points_from_xy(x, y), crs=CRS,
    )  # fmt: skip
    geology = gpd.GeoDataFrame(
        {"unit": ["basalt" if k % 2 else "granite" for k in range(12)]},
        geometry=[box(2000 * k, -1000, 2000 * k + 2000, 2000) for k in range(12)], crs=CRS,
    )  # fmt: skip
    outlines = gpd.GeoDataFrame({"name": names}, geometry=shapes, crs=CRS)
    streams = gpd.GeoDataFrame(
        geometry=[LineString([(9900, 1000), (9900, -900), (11000, -900)])], crs=CRS
    )
    return samples, Layers(
        {
            "catchments": Layer("catchments", outlines, "name", path),
            "geology": Layer("geology", geology, "unit", path),
            "streams": Layer("streams", streams, None, path),
        }
    )


@pytest.fixture
def evidence(bundle):
    return replace(bundle.evidence, elements=("Cu",))


def test_residual_productivity_and_decay(tmp_path, evidence):
    samples, layers = make(tmp_path)
    found, findings = sediment_catchments(samples, evidence, layers, elements=["Cu"])
    assert findings == ()
    assert found.origin == "layer"
    frame = found.frame.set_index("catchment")
    assert frame.loc["C04", "area_km2"] == pytest.approx(4.0)
    assert frame.loc["C12", "area_km2"] == pytest.approx(12.0)
    assert frame.loc["C12", "upstream"] == 2
    assert frame.loc["C04", "downstream"] == "C12"
    assert frame.loc["C00", "downstream"] is None or pd.isna(frame.loc["C00", "downstream"])
    assert frame.loc["C01", "Cu_expected"] == pytest.approx(80, rel=0.1)
    assert frame.loc["C02", "Cu_expected"] == pytest.approx(20, rel=0.1)
    # the source of 100 ppm over 4 km2 is the most productive catchment: 400 ppm km2
    assert frame["Cu_productivity"].drop("C12").idxmax() == "C04"
    assert frame.loc["C04", "Cu_productivity"] == pytest.approx(400, rel=0.1)
    # Hawkes 1976: 12 km2 leave a third of the rise, and that is what was measured
    decay = found.decay.set_index("catchment").loc["C04"]
    assert decay["expected_rise"] == pytest.approx(100 / 3, rel=0.1)
    assert decay["ratio"] == pytest.approx(1.0, abs=0.15)
    # along the stream: 1,900 m south and 1,100 m east
    assert decay["distance_m"] == pytest.approx(3000, abs=5)
    assert set(found.rocks["unit"]) == {"basalt", "granite"}


def test_without_outlines_nothing_is_said(tmp_path, evidence):
    samples, layers = make(tmp_path)
    assert sediment_catchments(samples, evidence, Layers())[0] is None
    few, findings = sediment_catchments(samples.iloc[:5], evidence, layers, elements=["Cu"])
    assert few.elements == ()
    assert "at least 10" in findings[0].message
    soil = samples.assign(medium="soil")
    assert sediment_catchments(soil, evidence, layers) == (None, ())


def test_sample_outside_is_named(tmp_path, evidence):
    samples, layers = make(tmp_path)
    samples.loc[0, "geometry"] = gpd.points_from_xy([-9e4], [0])[0]
    _, findings = sediment_catchments(samples, evidence, layers, elements=["Cu"])
    assert findings[0].code == "sediment-outside-catchments"
    assert "S00" in findings[0].message


def test_row_order_does_not_matter(tmp_path, evidence):
    samples, layers = make(tmp_path)
    one, _ = sediment_catchments(samples, evidence, layers, elements=["Cu"])
    other, _ = sediment_catchments(
        samples.iloc[::-1].reset_index(drop=True), evidence, layers, elements=["Cu"]
    )
    pd.testing.assert_frame_equal(
        one.frame.drop(columns="geometry"), other.frame.drop(columns="geometry")
    )


def test_no_way_along_streams_is_nan():
    streams = gpd.GeoDataFrame(
        geometry=[LineString([(0, 0), (1000, 0)]), LineString([(0, 5000), (1000, 5000)])], crs=CRS
    )
    found = distances_along(
        streams, np.array([[0.0, 10.0], [0.0, 0.0], [0.0, 0.0]]),
        np.array([[1000.0, 0.0], [1000.0, 5000.0], [9000.0, 0.0]]),
    )  # fmt: skip
    assert found[0] == pytest.approx(1010, abs=1)
    assert np.isnan(found[1:]).all()


def test_outlines_from_elevation_follow_the_slope(tmp_path, evidence):
    pytest.importorskip("pyflwdir", reason="the extra 'catchments' is not installed")
    import rasterio
    from rasterio.transform import from_origin

    # a valley that runs south between two slopes, 30 m cells: water flows to the middle and down
    n = 60
    column, row = np.meshgrid(np.arange(n), np.arange(n))
    height = (100 + 5.0 * np.abs(column - n // 2) + 2.0 * (n - row)).astype("float32")
    path = tmp_path / "elevation.tif"
    with rasterio.open(
        path, "w", driver="GTiff", height=n, width=n, count=1, dtype="float32", crs=CRS,
        transform=from_origin(600000, 7400000 + n * 30, 30, 30), nodata=-9999,
    ) as grid:  # fmt: skip
        grid.write(height, 1)
    x = 600000 + 30 * (n // 2) + 15.0
    y = 7400000 + np.array([30.0 * 40, 30.0 * 10])
    samples, _ = make(tmp_path)
    samples = samples.iloc[:2].copy()
    samples["geometry"] = gpd.points_from_xy([x, x + 25], y)
    found, _ = sediment_catchments(samples, evidence, Layers(elevation=path))
    frame = found.frame
    assert found.origin == "elevation"
    # the upper sample closes the rows above it, the lower one those and thirty rows more
    upper, lower = frame.iloc[0], frame.iloc[1]
    assert upper["downstream"] == lower["catchment"]
    assert lower["upstream"] == 1
    assert lower.geometry.buffer(1).contains(upper.geometry)
    assert 0.2 < upper["area_km2"] < lower["area_km2"] <= n * n * 900 / 1e6
    assert upper.geometry.bounds[1] == pytest.approx(7400000 + 30 * 40, abs=130)
    layers = with_catchments(Layers(elevation=path), found)
    assert layers.vector["catchments"].field == "catchment"
    assert with_catchments(layers, found) is layers


def test_elevation_without_the_library_says_how_to_get_it(tmp_path, evidence, monkeypatch):
    import importlib

    real = importlib.import_module

    def none(name, *args):
        if name == "pyflwdir":
            raise ImportError(name)
        return real(name, *args)

    monkeypatch.setattr(importlib, "import_module", none)
    samples, _ = make(tmp_path)
    found, findings = sediment_catchments(
        samples, evidence, Layers(elevation=tmp_path / "elevation.tif")
    )
    assert found is None
    assert "geochem[catchments]" in findings[0].message
