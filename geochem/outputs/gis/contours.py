"""Surfaces as polygons between round values, for maps that take no grids."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.classes import class_limits
from geochem.units import read_unit

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd
    import numpy.typing as npt

    from geochem.model.surface import Surface

COLUMNS = ("surface", "title", "medium", "unit", "low", "high", "class", "area_ha")
_SHARES = (10.0, 25.0, 50.0, 75.0, 90.0, 97.5)


def contour_polygons(surfaces: Sequence[Surface], crs: Any) -> gpd.GeoDataFrame:
    """Turn surfaces into polygons, one row per surface and class.

    Parameters
    ----------
    surfaces : sequence of Surface
        Grids.
    crs : any
        Of the campaign.

    Returns
    -------
    geopandas.GeoDataFrame
        ``surface, title, medium, unit, low, high, class, area_ha``: `low` and `high` in `unit`
        (mg/kg for concentrations), empty at the open ends of the lowest and the highest class.
        Valid polygons that do not overlap; they run through the centres of the outer cells.
    """
    import geopandas as gpd

    rows: list[dict[str, Any]] = []
    shapes: list[Any] = []
    for surface in surfaces:
        known = surface.values[np.isfinite(surface.values)]
        if len(known) < 4 or min(surface.values.shape) < 2:
            continue
        limits = surface_limits(surface)
        edges = [-np.inf, *limits, np.inf]
        for number in range(len(edges) - 1):
            shape = _between(surface, edges[number], edges[number + 1])
            if shape is None:
                continue
            low, high = edges[number], edges[number + 1]
            rows.append(
                {
                    "surface": surface.name, "title": surface.title, "medium": surface.medium,
                    "unit": surface.unit, "low": low if np.isfinite(low) else np.nan,
                    "high": high if np.isfinite(high) else np.nan, "class": number + 1,
                    "area_ha": round(shape.area / 1e4, 2),
                }
            )  # fmt: skip
            shapes.append(shape)
    table = {name: [row[name] for row in rows] for name in COLUMNS}
    return gpd.GeoDataFrame(table, geometry=shapes, crs=crs)


def surface_limits(surface: Surface) -> list[float]:
    """Give class limits of a surface in its own unit.

    Parameters
    ----------
    surface : Surface
        Concentrations (round percentiles), shares or standard deviations.

    Returns
    -------
    list of float
        Rising.
    """
    known = surface.values[np.isfinite(surface.values)]
    if surface.unit and read_unit(surface.unit) is not None and len(known) and known.min() > 0:
        return [float(v) for v in class_limits(known, _SHARES)[0]]
    return [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]


def _between(surface: Surface, low: float, high: float) -> Any:
    """Give the valid (multi)polygon where a surface lies between two values; None when nowhere."""
    import shapely
    from contourpy import FillType, contour_generator

    values: npt.NDArray[np.float64] = surface.values
    finite = values[np.isfinite(values)]
    # open ends: beyond every value, so that the highest cell belongs to the top class
    span = float(finite.max() - finite.min()) + 1.0
    bottom = float(finite.min()) - span if low == -np.inf else low
    top = float(finite.max()) + span if high == np.inf else high
    if bottom > finite.max() or top < finite.min():
        return None
    x = surface.west + (np.arange(values.shape[1]) + 0.5) * surface.cell
    y = surface.north - (np.arange(values.shape[0]) + 0.5) * surface.cell
    generator = contour_generator(
        x=x, y=y, z=np.ma.masked_invalid(values), fill_type=FillType.OuterOffset
    )
    filled: Any = generator.filled(bottom, top)
    polygons = []
    for ring, offset in zip(filled[0], filled[1], strict=True):
        rings = [ring[a:b] for a, b in pairwise(offset)]
        if len(rings[0]) >= 4:
            polygons.append(shapely.Polygon(rings[0], [r for r in rings[1:] if len(r) >= 4]))
    if not polygons:
        return None
    whole = shapely.make_valid(shapely.multipolygons(polygons), method="structure")
    parts = [p for p in shapely.get_parts(whole) if p.geom_type == "Polygon" and p.area > 0]
    return shapely.multipolygons(parts) if parts else None
