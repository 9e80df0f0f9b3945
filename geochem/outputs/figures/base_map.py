"""What lies beneath the samples: geology, streams, boundary, keep-out areas, old holes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.figures.panel import Block, Entry
from geochem.outputs.figures.style import INK, TINT_EDGE, TINTS, WATER, literal

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    from matplotlib.axes import Axes
    from matplotlib.path import Path

    from geochem.model.layers import Layers
    from geochem.outputs.figures.layout import Window

_BOUNDARY: dict[str, Any] = {"color": INK, "lw": 1.1, "ls": (0, (7, 2, 1.5, 2))}
_STRUCTURE: dict[str, Any] = {"color": "#5c4a32", "lw": 0.8, "ls": (0, (4, 1.5))}
_KEEP_OUT: dict[str, Any] = {
    "facecolor": "#ffffff00",
    "edgecolor": "#6d675d",
    "hatch": "//////",
    "lw": 0.7,
}


def draw_base(
    ax: Axes, layers: Layers | None, window: Window, *, fill: bool = True
) -> list[Block]:
    """Draw the layers that help to read a map.

    Parameters
    ----------
    ax : Axes
        The map.
    layers : Layers, optional
        Of the campaign; None draws nothing.
    window : (west, east, south, north)
        What is shown. [m]
    fill : bool, default True
        Colour the rock units; else only their outlines are drawn, over a surface.

    Returns
    -------
    list of Block
        Legend of what is in sight.
    """
    if layers is None:
        return []
    blocks = []
    geology = layers.vector.get("geology")
    if geology is not None and not fill:
        if (seen := _in_sight(geology.frame, window)) is not None:
            edge: dict[str, Any] = {"color": INK, "lw": 0.7, "ls": (0, (1, 1.5))}
            _draw_lines(ax, _shared_edges(seen), zorder=1.55, **edge)
            blocks.append(Block("", (Entry("borders of rock units", line=edge),), keep=0))
    elif geology is not None:
        units = _draw_units(ax, geology.frame, geology.field, window)
        if units:
            blocks.append(Block("Geology", tuple(units), keep=1))
    lines: list[Entry] = []
    streams = _in_sight(layers.get("streams"), window)
    if streams is not None:
        _draw_lines(ax, streams, zorder=1.6, color=WATER, lw=0.9)
        lines.append(Entry("streams", line={"color": WATER, "lw": 0.9}))
    structures = _in_sight(layers.get("structures"), window)
    if structures is not None:
        _draw_lines(ax, structures, zorder=1.7, **_STRUCTURE)
        lines.append(Entry("structures", line=_STRUCTURE))
    keep_out = _in_sight(layers.get("keep_out"), window)
    if keep_out is not None:
        _draw_areas(ax, keep_out, zorder=1.8, **_KEEP_OUT)
        lines.append(Entry("keep out", patch=_KEEP_OUT))
    boundary = _in_sight(layers.get("boundary"), window)
    if boundary is not None and _draw_lines(ax, boundary, zorder=1.9, window=window, **_BOUNDARY):
        lines.append(Entry("boundary", line=_BOUNDARY))
    if lines:
        blocks.append(Block("", tuple(lines)))
    return blocks


def layer_window(
    layers: Layers | None, x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]
) -> list[Window]:
    """Give the bounds of the boundary when it lies close around the samples.

    Returns
    -------
    list of (west, south, east, north)
        Empty when there is none or when it would make the samples small.
    """
    frame = None if layers is None else layers.get("boundary")
    if frame is None or not len(frame) or not len(x):
        return []
    west, south, east, north = (float(v) for v in frame.total_bounds)
    wide, high = max(np.ptp(x), 50.0), max(np.ptp(y), 50.0)
    if east - west > 1.35 * wide + 100 or north - south > 1.35 * high + 100:
        return []
    return [(west, south, east, north)]


def _in_sight(frame: gpd.GeoDataFrame | None, window: Window) -> gpd.GeoDataFrame | None:
    from shapely import box

    if frame is None or not len(frame):
        return None
    west, east, south, north = window
    seen = frame.geometry.intersects(box(west, south, east, north)).to_numpy()
    return frame.loc[seen] if seen.any() else None


def _shared_edges(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Give the borders of polygons once, so that dashes of neighbours do not fill each other."""
    import geopandas as gpd
    from shapely import line_merge, union_all

    edges = union_all([s.boundary for s in frame.geometry if "Polygon" in s.geom_type])
    return gpd.GeoDataFrame(geometry=[line_merge(edges)], crs=frame.crs)


def _draw_units(
    ax: Axes, frame: gpd.GeoDataFrame, field: str | None, window: Window
) -> list[Entry]:
    seen = _in_sight(frame, window)
    if seen is None:
        return []
    if field is None or field not in frame.columns:
        _draw_areas(ax, seen, zorder=1.0, facecolor=TINTS[0], edgecolor=TINT_EDGE, lw=0.5)
        return [Entry("mapped unit", patch={"facecolor": TINTS[0], "edgecolor": TINT_EDGE})]
    # colours follow all names of the layer, so that a unit looks alike on every map
    names = sorted({literal(n) for n in frame[field] if n is not None and n == n})
    colours = {n: TINTS[i % len(TINTS)] for i, n in enumerate(names)}
    entries = []
    label = np.array([literal(n) if n is not None and n == n else "" for n in seen[field]])
    for name in sorted(set(label)):
        fill = colours.get(name, "#f7f6f3")
        style = {"facecolor": fill, "edgecolor": TINT_EDGE, "lw": 0.5}
        _draw_areas(ax, seen.loc[label == name], zorder=1.0, **style)
        entries.append(Entry(name or "without a name", patch=style))
    return entries


def _draw_areas(ax: Axes, frame: gpd.GeoDataFrame, *, zorder: float, **style: Any) -> None:
    from matplotlib.collections import PathCollection

    paths = [path for shape in frame.geometry for path in _paths(shape)]
    ax.add_collection(PathCollection(paths, zorder=zorder, **style), autolim=False)


def area_path(shape: Any) -> Path:
    """Make one drawable path of a polygon, holes included."""
    from matplotlib.path import Path
    from shapely import get_coordinates
    from shapely.geometry.polygon import orient

    polygon = orient(shape)
    rings = [polygon.exterior, *polygon.interiors]
    return Path.make_compound_path(*[Path(get_coordinates(r), closed=True) for r in rings])


def _paths(shape: Any) -> list[Path]:
    if shape is None or shape.is_empty:
        return []
    parts = getattr(shape, "geoms", [shape])
    made = []
    for part in parts:
        if part.geom_type == "Polygon":
            made.append(area_path(part))
        elif part.geom_type in ("MultiPolygon", "GeometryCollection"):
            made.extend(_paths(part))
    return made


def _draw_lines(
    ax: Axes,
    frame: gpd.GeoDataFrame,
    *,
    zorder: float,
    window: Window | None = None,
    **style: Any,
) -> bool:
    """Draw lines and outlines; with a window, say whether any of it is in sight."""
    from matplotlib.collections import LineCollection
    from shapely import box, get_coordinates

    lines = []
    for shape in frame.geometry:
        edge = shape.boundary if "Polygon" in shape.geom_type else shape
        for part in getattr(edge, "geoms", [edge]):
            if part.geom_type in ("LineString", "LinearRing"):
                lines.append(part)
    if window is not None:
        west, east, south, north = window
        sight = box(west, south, east, north)
        lines = [line for line in lines if line.intersects(sight)]
    if not lines:
        return False
    made = LineCollection(
        [get_coordinates(line) for line in lines], zorder=zorder,
        colors=style["color"], linewidths=style["lw"], linestyles=style.get("ls", "solid"),
    )  # fmt: skip
    ax.add_collection(made, autolim=False)
    return True
