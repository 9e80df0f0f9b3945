"""Vector layers as short lists of whole decimetres."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import geopandas as gpd

    from geochem.model.layers import Layer, Layers

#: layers with a drawing of their own, bottom to top; any other polygon layer is drawn after geology
ORDER = (
    "geology", "regolith", "catchments", "keep_out", "boundary", "workings", "streams",
    "structures", "access", "drilled",
)  # fmt: skip
_TITLES = {
    "geology": "Geology", "regolith": "Regolith", "catchments": "Catchments",
    "keep_out": "Keep out", "boundary": "Boundary", "workings": "Workings", "streams": "Streams",
    "structures": "Structures", "access": "Access", "drilled": "Drilled holes",
}  # fmt: skip
_MOST_VERTICES = 60_000
Box = tuple[float, float, float, float]


def layer_entries(
    layers: Layers, origin: tuple[float, float], extent: Box
) -> list[dict[str, Any]]:
    """Pack all vector layers, in drawing order.

    Parameters
    ----------
    layers : Layers
        In the campaign CRS.
    origin : tuple of float
        Coordinates are whole decimetres east and north of it. [m]
    extent : tuple of float
        West, south, east, north of the samples; layers are cut to it and as much again around.

    Returns
    -------
    list of dict
        ``name, title, units`` and ``features`` (``unit``: number of the unit, ``shapes``: as
        `shapes_of`, ``at``: place of the label, ``dip``: dip and dip direction of a structure in
        degrees, where the layer has columns of these names).
    """
    known = {name: i for i, name in enumerate(ORDER)}
    names = sorted(layers.vector, key=lambda n: (known.get(n, 0.5), n))
    return [
        entry
        for name in names
        if (entry := _entry(layers.vector[name], origin, extent)) is not None
    ]


def _entry(layer: Layer, origin: tuple[float, float], extent: Box) -> dict[str, Any] | None:
    import shapely

    west, south, east, north = extent
    margin = max(east - west, north - south, 1000.0)
    shapes = shapely.force_2d(layer.frame.geometry.to_numpy())
    cut = shapely.clip_by_rect(
        shapes, west - margin, south - margin, east + margin, north + margin
    )
    keep = ~(shapely.is_missing(cut) | shapely.is_empty(cut))
    if not keep.any():
        return None
    cut = cut[keep]
    if shapely.get_num_coordinates(cut).sum() > _MOST_VERTICES:
        cut = shapely.simplify(cut, margin / 6000)
    texts = _texts(layer.frame, layer.field)[keep]
    dips = _dips(layer.frame)
    dips = [None] * int(keep.sum()) if dips is None else list(dips[keep])
    units = sorted({t for t in texts if t})
    number = {t: i for i, t in enumerate(units)}
    inside = shapely.clip_by_rect(cut, west, south, east, north)
    at = shapely.get_coordinates(
        shapely.point_on_surface(np.where(shapely.is_empty(inside), cut, inside))
    )
    return {
        "name": layer.name,
        "title": _TITLES.get(layer.name, layer.name.replace("_", " ").capitalize()),
        "units": units,
        "features": [
            {
                "unit": number.get(text, -1),
                "shapes": shapes_of(shape, origin),
                "at": [round((a - o) * 10) for a, o in zip(xy, origin, strict=True)],
                **(
                    {}
                    if dip is None or np.isnan(dip).any()
                    else {"dip": [int(v) for v in np.round(dip)]}
                ),
            }
            for shape, text, xy, dip in zip(cut, texts, at, dips, strict=True)
            if not shapely.is_empty(shape)
        ],
    }


def _dips(frame: gpd.GeoDataFrame) -> Any:
    """Give dip and dip direction of each feature, NaN where not stated or impossible; or None."""
    import pandas as pd

    names = {str(c).lower(): c for c in frame.columns}
    if "dip" not in names or "dip_direction" not in names:
        return None
    both = np.column_stack(
        [pd.to_numeric(frame[names[n]], errors="coerce") for n in ("dip", "dip_direction")]
    ).astype(float)
    both[(both[:, 0] < 0) | (both[:, 0] > 90), 0] = np.nan
    both[:, 1] %= 360
    return both


def _texts(frame: gpd.GeoDataFrame, field: str | None) -> Any:
    if field is None or field not in frame.columns:
        for name in ("name", "hole", "unit"):
            if name in frame.columns:
                field = name
                break
        else:
            return np.full(len(frame), "", dtype=object)
    column = frame[field]
    return np.array(["" if v is None or v != v else str(v) for v in column], dtype=object)


def shapes_of(geometry: Any, origin: tuple[float, float]) -> list[list[Any]]:
    """Give the parts of a geometry as flat lists of coordinates.

    Parameters
    ----------
    geometry : shapely geometry
        Any kind.
    origin : tuple of float
        Easting and northing of zero. [m]

    Returns
    -------
    list of [kind, numbers]
        Kind ``"p"`` point, ``"l"`` line, ``"a"`` ring of an area (holes follow their shell; the
        even-odd rule fills them). The first pair of numbers is a position in decimetres, every
        further pair a step from the one before.
    """
    import shapely

    made: list[list[Any]] = []
    for part in shapely.get_parts(geometry):
        if part.geom_type == "Point":
            made.append(["p", _steps(shapely.get_coordinates(part), origin)])
        elif part.geom_type in ("LineString", "LinearRing"):
            made.append(["l", _steps(shapely.get_coordinates(part), origin)])
        elif part.geom_type == "Polygon":
            made += [
                ["a", _steps(shapely.get_coordinates(ring), origin)]
                for ring in shapely.get_rings(part)
            ]
        elif part.geom_type.startswith(("Multi", "GeometryCollection")):
            made += shapes_of(part, origin)
    return made


def _steps(xy: Any, origin: tuple[float, float]) -> list[int]:
    whole = np.rint((xy - np.asarray(origin)) * 10).astype(np.int64)
    steps = np.diff(whole, axis=0)
    moved = steps[np.any(steps != 0, axis=1)]  # decimetres make some vertices fall together
    return [*whole[0].tolist(), *moved.ravel().tolist()]
