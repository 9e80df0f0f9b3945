"""The map layers of a campaign, and the truth that lies beside it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .contamination import TAILINGS, TAILINGS_HALF_WIDTH, fence_lines, tailings_path
from .deposits import ASSOCIATIONS, FALSE_UNITS, outline
from .ground import mapped_streams, mapped_units

if TYPE_CHECKING:
    import geopandas as gpd

    from .campaign import Campaign
    from .slips import Slip

#: date that a GeoPackage carries, so that the same seed gives the same bytes
_FILE_DATE = "2026-01-01T00:00:00.000Z"


def write_layers(campaign: Campaign, folder: Path) -> list[str]:
    """Write geology, boundary, keep-out, regolith, structures, streams, catchments and access.

    Parameters
    ----------
    campaign : Campaign
        Simulated.
    folder : Path
        Exists.

    Returns
    -------
    list of str
        Names of the layers written.
    """
    ground, sites = campaign.ground, campaign.sites
    to_map = ground.shape_to_map
    written = ["geology", "boundary", "keep_out", "structures", "streams"]
    units = mapped_units(ground)
    _write_geopackage(
        _frame(campaign, {"unit": [name for name, _ in units]}, [shape for _, shape in units]),
        folder / "geology.gpkg",
    )
    _write(
        campaign,
        folder / "boundary.geojson",
        {"name": ["licence 7 (invented)"]},
        [to_map(sites.boundary)],
    )
    _write(
        campaign,
        folder / "keep_out.geojson",
        {"name": ["burial ground (invented)"]},
        [to_map(sites.keep_out)],
    )
    if ground.covers:
        _write(
            campaign,
            folder / "regolith.geojson",
            {"regolith": [c.name for c in ground.covers]},
            [to_map(c.mapped) for c in ground.covers],
        )
        written.append("regolith")
    faults, facts = _structures(campaign)
    _write(campaign, folder / "structures.geojson", facts, faults)
    lines = mapped_streams(ground)
    _write(
        campaign,
        folder / "streams.geojson",
        {"name": [f"stream {i}" for i in range(1, len(lines) + 1)]},
        lines,
    )
    if sites.catchments:
        table = campaign.collection.table
        ids = table.loc[table["medium"] == "stream sediment", "sample_id"].tolist()
        _write(
            campaign, folder / "catchments.geojson", {"sample_id": ids},
            [to_map(shape) for shape in sites.catchments],
        )  # fmt: skip
        written.append("catchments")
    if sites.road is not None:
        _write(
            campaign, folder / "access.geojson", {"name": ["gravel road"]}, [to_map(sites.road)]
        )
        written.append("access")
    return written


def _structures(campaign: Campaign) -> tuple[list[shapely.Geometry], dict[str, list[object]]]:
    """Draw one measured structure through each body that reaches the surface, and two others.

    False bodies have theirs too: a fault on the map must not say where to look.
    """
    settings, ground = campaign.settings, campaign.ground
    shapes: list[shapely.Geometry] = []
    names: list[object] = []
    dips: list[object] = []
    directions: list[object] = []

    def add(name: str, along: float, across: float, half: float, turn: float, dip: int) -> None:
        angle = np.deg2rad(turn)
        steps = np.linspace(-half, half, 7)
        bend = 0.03 * half * np.sin(steps / half * 2.2)
        shapes.append(
            ground.shape_to_map(
                shapely.LineString(
                    np.column_stack(
                        [
                            along + steps * np.cos(angle) - bend * np.sin(angle),
                            across + steps * np.sin(angle) + bend * np.cos(angle),
                        ]
                    )
                )
            )
        )
        names.append(name)
        dips.append(dip)
        directions.append(round((settings.strike + turn + 90.0) % 360.0))

    for number, body in enumerate((*settings.bodies, *settings.false_bodies)):
        covered = ground.cover_share(np.array([body.along]), np.array([body.across]))[0] > 0
        if not covered:
            add(
                f"{body.name} fault", body.along + 40.0, body.across - 25.0,
                0.9 * body.half_length, body.turn, (62, 74, 55, 68)[number % 4],
            )  # fmt: skip
    add(
        "northern contact fault",
        0.24 * settings.length,
        -0.10 * settings.width,
        0.2 * settings.length,
        4.0,
        80,
    )
    add(
        "cross fault",
        -0.05 * settings.length,
        0.12 * settings.width,
        0.2 * settings.width,
        78.0,
        71,
    )
    return shapes, {"name": names, "dip": dips, "dip_direction": directions}


def write_truth(campaign: Campaign, path: Path, slips: list[Slip]) -> None:
    """Write what was planted: bodies, false bodies, spikes; and the slips as a table beside it.

    Parameters
    ----------
    campaign : Campaign
        Simulated.
    path : Path
        Of the GeoJSON file; the table of slips is called ``slips.csv`` beside it.
    slips : list of Slip
        From the writing of the campaign.
    """
    import csv

    settings, ground = campaign.settings, campaign.ground
    shapes: list[shapely.Geometry] = []
    facts: dict[str, list[object]] = {
        "name": [], "kind": [], "association": [], "leading": [], "contrasts": [],
        "covered": [], "note": [],
    }  # fmt: skip

    def add(shape: shapely.Geometry, *values: object) -> None:
        shapes.append(shape)
        for name, value in zip(facts, values, strict=True):
            facts[name].append(value)

    for body in (*settings.bodies, *settings.false_bodies):
        ring = outline(body)
        association = ASSOCIATIONS[body.association]
        contrasts = {
            element: round(1.0 + (zone.contrast - 1.0) * body.strength, 2)
            for element, zone in association.zones.items()
        }
        share = ground.cover_share(np.array([body.along]), np.array([body.across]))[0]
        add(
            ground.shape_to_map(ring), body.name, association.kind,
            body.association, association.leading, json.dumps(contrasts), bool(share > 0),
            "the halo ends at the line; contrasts are those of its middle over the unit, before "
            "any dilution by cover",
        )  # fmt: skip
    for unit in ground.units:
        if unit.rock in FALSE_UNITS:
            label, rich = FALSE_UNITS[unit.rock]
            add(
                ground.shape_to_map(unit.true), unit.name, "false body", label, rich[0],
                json.dumps(rich), False,
                "a rock unit rich by nature, " + ("mapped" if unit.mapped else "not on the map"),
            )  # fmt: skip
    for number, patch in enumerate(settings.tailings):
        width = max(TAILINGS_HALF_WIDTH, patch.half_width)
        add(
            ground.shape_to_map(tailings_path(ground, number).buffer(width)), patch.name,
            "tailings", "", "Pb", json.dumps(list(TAILINGS)), False, "washed from an old working",
        )  # fmt: skip
    for number, line in enumerate(fence_lines(ground), start=1):
        add(
            ground.shape_to_map(line), f"fence {number}", "fence", "", "Zn", "", False,
            "galvanised wire",
        )  # fmt: skip
    table = campaign.collection.table
    for row in campaign.collection.spikes:
        point = shapely.Point(*ground.to_map(table["along"][row], table["across"][row]))
        add(
            point, table["sample_id"][row], "spike", "", "", "", False, "contaminated in the field"
        )
    _write(campaign, path, facts, shapes)
    with (path.parent / "slips.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["kind", "file", "sample_id", "became"])
        writer.writerows(slips)


def _frame(
    campaign: Campaign, facts: dict[str, list[object]], shapes: list[shapely.Geometry]
) -> gpd.GeoDataFrame:
    import geopandas as gpd

    return gpd.GeoDataFrame(facts, geometry=shapes, crs=f"EPSG:{campaign.settings.epsg}")


def _write(
    campaign: Campaign, path: Path, facts: dict[str, list[object]], shapes: list[shapely.Geometry]
) -> None:
    """Write GeoJSON as RFC 7946 wants it: WGS 84, seven decimals."""
    frame = _frame(campaign, facts, shapes).to_crs("EPSG:4326")
    features = []
    rounded = shapely.set_precision(frame.geometry.to_numpy(), 1e-7, mode="pointwise")
    for row, shape in enumerate(rounded):
        features.append(
            {
                "type": "Feature",
                "properties": {name: values[row] for name, values in facts.items()},
                "geometry": _seven(
                    shapely.geometry.mapping(
                        shapely.geometry.polygon.orient(shape)
                        if shape.geom_type == "Polygon"
                        else shape
                    )
                ),
            }
        )
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write('{"type": "FeatureCollection", "features": [\n')
        file.write(",\n".join(json.dumps(feature) for feature in features))
        file.write("\n]}\n")


def _seven(value: object) -> object:
    if isinstance(value, dict):
        return {key: _seven(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_seven(part) for part in value]
    return round(value, 7) if isinstance(value, float) else value


def _write_geopackage(frame: gpd.GeoDataFrame, path: Path) -> None:
    import pyogrio

    path.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": _FILE_DATE})
    try:
        frame.to_file(path, layer="geology", driver="GPKG", engine="pyogrio")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
