"""Vector files and GPX waypoints as tables: attributes as text, the point as coordinates."""

from __future__ import annotations

import json
import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import DataRefused, WrongCall, nearest
from geochem.model.finding import Finding, name_some
from geochem.model.reading import Dialect
from geochem.read.source_file import check_local
from geochem.read.synonyms import COLUMNS, squeeze
from geochem.read.text_table import TextColumn, TextTable

if TYPE_CHECKING:
    import geopandas as gpd

_POINTS = {"Point", "MultiPoint"}
ENDINGS = frozenset({".gpx", ".gpkg", ".geojson", ".json", ".shp", ".fgb", ".kml", ".gml"})


def read_vector(path: str | Path, *, sheet: str | None = None) -> TextTable:
    """Read the points of a vector file into a table of text.

    Parameters
    ----------
    path : str or Path
        The file.
    sheet : str, optional
        Layer, when the file holds several with points.

    Returns
    -------
    TextTable
        Columns ``x``, ``y`` and ``crs`` from the geometry, then the attributes; the row is the
        number of the feature, the first being 2 (as in a plain file below its header).

    Raises
    ------
    DataRefused
        If it cannot be read, holds no points, or several layers and none was named.
    WrongCall
        If there is no such layer.
    """
    frame, layer = open_points(path, sheet)
    place = Path(path)
    file = place.name
    findings: list[Finding] = []
    points = frame.geometry
    if (points.geom_type == "MultiPoint").any():
        import shapely

        single = np.array(
            [g is None or g.geom_type == "Point" or len(g.geoms) == 1 for g in points]
        )
        points = points.apply(
            lambda g: g if g is None or g.geom_type == "Point" else shapely.Point(g.geoms[0])
        )
        if not single.all():
            rows = (np.flatnonzero(~single) + 2).tolist()
            findings.append(
                Finding(
                    "several-points", "warning",
                    f"{len(rows)} features of '{file}' have several points; the first was taken: "
                    f"rows {name_some(rows)}.", file, rows[0],
                )
            )  # fmt: skip
    there = (~points.isna() & ~points.is_empty).to_numpy()
    xy = np.full((len(frame), 2), np.nan)
    xy[there, 0] = points[there].x
    xy[there, 1] = points[there].y
    crs = None
    if frame.crs is not None:
        code = frame.crs.to_authority()
        crs = f"{code[0]}:{code[1]}" if code else frame.crs.to_wkt()
        if frame.crs.equals("EPSG:4326", ignore_axis_order=True):
            crs = "EPSG:4326"
    names: list[str] = ["x", "y"]
    columns = [TextColumn([_number(v) for v in xy[:, k]]) for k in (0, 1)]
    if crs is not None:
        names.append("crs")
        columns.append(TextColumn([crs if t else "" for t in there]))
    taken = {w for k in ("x", "y", "crs", "latlon", "mgrs", "zone") for w in COLUMNS[k]}
    for name in frame.columns:
        if name == frame.geometry.name or frame[name].isna().all():
            continue
        clash = squeeze(str(name)) in taken
        names.append(f"{name} as attribute" if clash else str(name))
        columns.append(TextColumn([_text(v) for v in frame[name].tolist()]))
    return TextTable(
        path=place,
        names=tuple(names),
        columns=tuple(columns),
        rows=np.arange(2, len(frame) + 2, dtype=np.int64),
        dialect=Dialect("utf-8", "", ".", sheet=layer, header_row=1),
        findings=tuple(findings),
    )


def open_points(
    path: str | Path, layer: str | None = None, *, example: str = 'sheet = "{layer}"'
) -> tuple[gpd.GeoDataFrame, str]:
    """Open the layer of points of a vector file.

    Parameters
    ----------
    path : str or Path
        The file.
    layer : str, optional
        Its name, when the file holds several layers of points.
    example : str
        How a layer is named where the user is, with ``{file}`` and ``{layer}``.

    Returns
    -------
    frame : geopandas.GeoDataFrame
        Points and multi-points; some features may have none.
    layer : str
        Its name.

    Raises
    ------
    DataRefused
        If it cannot be read, holds no points, or several layers and none was named.
    WrongCall
        If there is no such layer.
    """
    import geopandas as gpd
    import pyogrio

    place = check_local(path)
    if place.suffix.lower() == ".shp" and not place.with_suffix(".dbf").exists():
        raise DataRefused(f"'{place.name}' has no .dbf beside it; give the whole shapefile.")
    frames: dict[str, gpd.GeoDataFrame] = {}
    held: set[str] = set()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            layers = [str(r[0]) for r in pyogrio.list_layers(place) if r[1] is not None]
            if layer is not None and layer not in layers:
                raise WrongCall(
                    f"'{place.name}' has no layer '{layer}'; its layers: {', '.join(layers)}."
                    f"{nearest(layer, layers)}"
                )
            wanted = [layer] if layer is not None else layers
            if place.suffix.lower() == ".gpx" and layer is None:
                wanted = ["waypoints"]
            for name in wanted:
                got = gpd.read_file(place, layer=name)
                kinds = set(got.geom_type.dropna()) if "geometry" in got.columns else set()
                held |= kinds
                if kinds & _POINTS:
                    frames[name] = got
    except (DataRefused, WrongCall):
        raise
    except Exception as error:  # the driver library raises many kinds
        raise DataRefused(
            f"'{place.name}' cannot be read as points ({str(error)[:120]}); save it as a "
            "GeoPackage, GeoJSON or CSV."
        ) from error
    if not frames:
        waypoints = " saved as waypoints" if place.suffix.lower() == ".gpx" else ""
        raise DataRefused(
            f"'{place.name}' holds no points{waypoints}, but "
            f"{', '.join(sorted(held)) or 'no features'}; a table of samples needs points."
        )
    if len(frames) > 1:
        one = example.format(file=place.name, layer=next(iter(frames)))
        raise DataRefused(
            f"'{place.name}' has {len(frames)} layers of points: {', '.join(frames)}. Name the one "
            f"to read, for example {one}."
        )
    name, frame = next(iter(frames.items()))
    kinds = set(frame.geom_type.dropna())
    if not kinds <= _POINTS:
        raise DataRefused(
            f"layer '{name}' of '{place.name}' holds {', '.join(sorted(kinds))}; a table of samples "
            "needs points alone."
        )
    return frame.reset_index(drop=True), name


def _number(value: float) -> str:
    return "" if not np.isfinite(value) else repr(float(value))


def unnested(value: Any) -> Any:
    """Bring a list or table inside a cell, which few formats hold, to text.

    Parameters
    ----------
    value : object
        Of a cell.

    Returns
    -------
    object
        JSON text, or what came.
    """
    if isinstance(value, list | tuple | dict | np.ndarray):
        plain = value.tolist() if isinstance(value, np.ndarray) else value
        return json.dumps(plain, ensure_ascii=False, default=str)
    return value


def _text(value: Any) -> str:
    value = unnested(value)
    if value is None or value != value:
        return ""
    if hasattr(value, "isoformat"):
        return str(value.isoformat(sep=" ")) if hasattr(value, "hour") else str(value.isoformat())
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()
