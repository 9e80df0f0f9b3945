"""Catchments on the figure, the map and in the GeoPackage."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box

from geochem.model.catchments import SedimentCatchments
from geochem.outputs.figures.catchment_map import draw_catchments
from geochem.outputs.gis.renderer import GisRenderer
from geochem.outputs.webmap.catchment_layer import layers_with_yield


@pytest.fixture
def found(bundle):
    west, south, _, _ = bundle.survey.samples.total_bounds
    frame = gpd.GeoDataFrame(
        {
            "catchment": ["A", "B", "C"], "samples": ["S1", "S2", "S3"],
            "area_km2": [1.0, 2.0, 8.0], "upstream": [0, 0, 2],
            "downstream": np.array(["C", "C", None], dtype=object),
            "distance_m": [500.0, np.nan, np.nan], "rocks": ["schist 100 %"] * 3,
            "Cu_ppm": [90.0, 30.0, np.nan], "Cu_expected": [22.5, 33.0, 30.0],
            "Cu_residual": [67.5, -3.0, np.nan], "Cu_productivity": [67.5, -6.0, np.nan],
        },
        geometry=[
            box(west, south, west + 1000, south + 1000),
            box(west + 1000, south, west + 2000, south + 2000),
            box(west, south - 1000, west + 2000, south + 3000),
        ],
        crs=bundle.survey.samples.crs,
    )  # fmt: skip
    rocks = pd.DataFrame(
        {"element": ["Cu"], "unit": ["schist"], "background": [30.0], "method": ["regression"],
         "explained": [0.4]}
    )  # fmt: skip
    decay = pd.DataFrame(
        {"element": ["Cu"], "catchment": ["A"], "downstream": ["C"], "distance_m": [500.0],
         "rise": [67.5], "expected_rise": [8.4], "measured_rise": [np.nan], "ratio": [np.nan]}
    )  # fmt: skip
    return SedimentCatchments(frame, decay, rocks, ("Cu",), "layer")


def test_map_shades_and_names_the_most_productive(bundle, found):
    ax = draw_catchments(found, "Cu", samples=bundle.survey.samples, info=bundle.info)
    drawn = [p for p in ax.patches if p.get_gid() == "catchment"]
    assert len(drawn) == 3
    assert len({p.get_facecolor() for p in drawn}) == 3
    said = " ".join(t.get_text() for a in ax.figure.axes for t in a.texts)
    assert "A 68" in said
    assert "schist 30" in said


def test_map_layer_and_geopackage(bundle, found, tmp_path):
    full = replace(bundle, catchments=found)
    layer = layers_with_yield(full).vector["catchments"]
    assert sorted(layer.frame["words"]) == [
        "Cu 3 to 5 times expected", "Cu not known", "Cu up to 1 times expected",
    ]  # fmt: skip
    assert layers_with_yield(bundle) is bundle.layers
    GisRenderer().render(full, tmp_path, results_table=False)
    back = gpd.read_file(tmp_path / "campaign.gpkg", layer="catchments")
    assert back["Cu_productivity"].iloc[0] == 67.5
    assert len(gpd.read_file(tmp_path / "campaign.gpkg", layer="catchment_decay")) == 1
