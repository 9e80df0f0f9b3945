"""Polygons become text columns; borders, overlaps and clashes follow a rule."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import LineString, box

from geochem.errors import DataRefused
from geochem.model.layers import Layer, Layers
from geochem.samples.layers import join_layers

CRS = "EPSG:32735"


def layer(name, shapes, names=None):
    columns = {"unit": names} if names else {}
    frame = gpd.GeoDataFrame(columns, geometry=shapes, crs=CRS)
    return Layer(name, frame, "unit" if names else None, Path(f"{name}.gpkg"))


def layers(*many):
    return Layers(vector={m.name: m for m in many})


def test_border_outside_and_missing():
    units = layer("geology", [box(100, 0, 200, 100), box(0, 0, 100, 100)], ["schist", "granite"])
    columns, findings = join_layers(
        [50, 150, 100, 500, np.nan], [50, 50, 50, 50, 1], layers(units)
    )
    # on the shared border the first by name
    assert columns["geology"].tolist() == ["granite", "schist", "granite", "unmapped", None]
    assert [f.code for f in findings] == ["layer-unmapped"]
    assert "1 of 4 samples" in findings[0].message


def test_overlap_is_decided_and_said():
    shapes = [box(0, 0, 100, 100), box(50, 0, 150, 100)]
    a = layer("geology", shapes, ["schist", "granite"])
    b = layer("geology", shapes[::-1], ["granite", "schist"])
    first, findings = join_layers([75.0, 25.0], [50.0, 50.0], layers(a))
    assert first["geology"].tolist() == ["granite", "schist"]
    assert findings[0].code == "layer-overlap"
    assert "granite / schist" in findings[0].message
    assert join_layers([75.0, 25.0], [50.0, 50.0], layers(b))[0]["geology"].tolist() == [
        "granite", "schist",
    ]  # fmt: skip


def test_boundary_and_keep_out_are_in_or_out():
    columns, findings = join_layers(
        [5, 15], [5, 5],
        layers(layer("boundary", [box(0, 0, 10, 10)]), layer("keep_out", [box(12, 0, 20, 10)])),
    )  # fmt: skip
    assert columns["boundary"].tolist() == ["inside", "outside"]
    assert columns["keep_out"].tolist() == ["outside", "inside"]
    assert findings == ()


def test_lines_and_special_layers_are_not_joined():
    columns, _ = join_layers(
        [5.0], [5.0],
        layers(
            layer("streams", [box(0, 0, 10, 10)], ["x"]),
            layer("faults", [LineString([(0, 0), (9, 9)])], ["y"]),
        ),
    )  # fmt: skip
    assert columns == {}


def test_clash_with_the_field_log():
    soil = layer("regolith", [box(0, 0, 10, 10)], ["residual"])
    logged = {"regolith": np.array(["alluvium", None], dtype=object)}
    with pytest.raises(DataRefused, match="would overwrite the column 'regolith'"):
        join_layers([5, 5], [5, 5], layers(soil), taken=logged)
    empty = {"regolith": np.array([None, None], dtype=object)}
    columns, _ = join_layers([5, 50], [5, 5], layers(soil), taken=empty)
    assert columns["regolith"].tolist() == ["residual", "unmapped"]


def test_unnamed_polygons():
    columns, _ = join_layers([5.0], [5.0], layers(layer("zone", [box(0, 0, 10, 10)], [None])))
    assert columns["zone"].tolist() == ["unnamed"]


def test_of_nested_catchments_the_smallest():
    units = layer("catchments", [box(0, 0, 100, 100), box(0, 0, 20, 20)], ["A", "B"])
    columns, findings = join_layers([10.0, 50.0, 500.0], [10.0, 50.0, 0.0], layers(units))
    assert columns["catchments"].tolist() == ["B", "A", "unmapped"]
    assert findings == ()
