"""Layers: any local vector file, valid and in the campaign CRS; rasters by their path."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.coordinates import name_of, read_crs, transform_frame
from geochem.errors import DataRefused, WrongCall, nearest
from geochem.model.finding import Finding, name_some
from geochem.model.layers import Layer, Layers
from geochem.read.source_file import check_local

if TYPE_CHECKING:
    import geopandas as gpd
    from pyproj import CRS


def read_layers(
    entries: Mapping[str, Mapping[str, Any]], crs: str
) -> tuple[Layers, tuple[Finding, ...]]:
    """Read all layers of a campaign into its CRS.

    Parameters
    ----------
    entries : mapping
        Name -> ``{"path": Path, "field": str or None}``.
    crs : str
        Of the campaign, as pyproj understands it.

    Returns
    -------
    layers : Layers
        Vector layers by name; `image` and `elevation` as paths.
    findings : tuple of Finding
        Operation and accuracy of every change of CRS, mended geometries.

    Raises
    ------
    DataRefused
        With one sentence per layer that cannot be used.
    WrongCall
        If the campaign CRS is not known.
    """
    if not entries:
        return Layers(), ()
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        target = CRS.from_user_input(crs)
    except CRSError as error:
        raise WrongCall(f"'{crs}' is no CRS; write it as EPSG:32735 or the like.") from error
    vector: dict[str, Layer] = {}
    rasters: dict[str, Path] = {}
    findings: list[Finding] = []
    refusals: list[str] = []
    for name, entry in entries.items():
        try:
            path = check_local(entry["path"])
            if name == "image" or (name == "elevation" and path.suffix.lower() not in _VECTORS):
                rasters[name] = path
                continue
            vector[name], found = _read(name, path, entry.get("field"), target)
            findings += found
        except DataRefused as refusal:
            refusals += [f"layer '{name}': {r}" for r in refusal.reasons]
    if refusals:
        raise DataRefused(refusals)
    return Layers(vector, rasters.get("image"), rasters.get("elevation")), tuple(findings)


_VECTORS = frozenset(
    {".gpkg", ".shp", ".geojson", ".json", ".fgb", ".gml", ".kml", ".tab", ".gpx"}
)


def _read(name: str, path: Path, field: str | None, target: CRS) -> tuple[Layer, list[Finding]]:
    import geopandas as gpd
    import pyogrio

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            tables = [str(row[0]) for row in pyogrio.list_layers(path) if row[1] is not None]
            if len(tables) > 1:
                chosen = [t for t in tables if t in (name, path.stem)]
                if len(chosen) != 1:
                    raise DataRefused(
                        f"'{path.name}' holds {len(tables)} layers ({name_some(tables)}); save "
                        f"the one that is meant as a file of its own, or call it '{name}'."
                    )
                tables = chosen
            frame = gpd.read_file(path, layer=tables[0] if tables else None)
    except DataRefused:
        raise
    except Exception as error:  # the driver library raises many kinds
        raise DataRefused(
            f"'{path.name}' cannot be read as a vector layer ({str(error)[:120]}); save it as a "
            "GeoPackage or GeoJSON."
        ) from error
    if not hasattr(frame, "geometry") or "geometry" not in frame.columns:
        raise DataRefused(
            f"'{path.name}' holds no geometries; save it as a GeoPackage or GeoJSON."
        )
    if frame.crs is None:
        raise DataRefused(
            f"'{path.name}' states no CRS (a shapefile needs its .prj); assign the CRS in a GIS "
            "and save the file again."
        )
    fields = [str(c) for c in frame.columns if c != "geometry"]
    if field is not None and field not in fields:
        raise DataRefused(
            f"'{path.name}' has no field '{field}'; its fields: {', '.join(fields) or 'none'}."
            f"{nearest(field, fields)}"
        )
    findings: list[Finding] = []
    empty = frame.geometry.isna() | frame.geometry.is_empty
    if empty.any():
        findings.append(
            Finding(
                "layer-empty-geometry", "warning",
                f"{int(empty.sum())} features of layer '{name}' have no geometry and were left "
                "out.", path.name,
            )
        )  # fmt: skip
        frame = frame[~empty]
    frame = frame.reset_index(drop=True)
    frame, found = _mend(name, path, frame)
    findings += found
    frame, found = _reproject(name, path, frame, target)
    findings += found
    if field is not None:
        column = frame[field].to_numpy(dtype=object)
        text = np.full(len(frame), None, dtype=object)
        for i, v in enumerate(column):
            if v is not None and v == v and str(v).strip():
                text[i] = (
                    str(int(v)) if isinstance(v, float) and v.is_integer() else str(v).strip()
                )
        frame[field] = text
    if not len(frame):
        findings.append(
            Finding("layer-empty", "warning", f"layer '{name}' has no features.", path.name)
        )
    return Layer(name, frame, field, path), findings


def _mend(
    name: str, path: Path, frame: gpd.GeoDataFrame
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    broken = ~frame.geometry.is_valid
    if not broken.any():
        return frame, []
    frame = frame.copy()
    frame.loc[broken, "geometry"] = frame.loc[broken, "geometry"].make_valid()
    rows = [int(i) + 1 for i in np.flatnonzero(broken)]
    return frame, [
        Finding(
            "layer-mended", "warning",
            f"{len(rows)} features of layer '{name}' had geometries that cross themselves or the "
            f"like (features {name_some(rows)}); they were mended. Check them in a GIS.",
            path.name,
        )
    ]  # fmt: skip


def _reproject(
    name: str, path: Path, frame: gpd.GeoDataFrame, target: CRS
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    source = read_crs(frame.crs)
    if source.equals(target, ignore_axis_order=True):
        return frame.set_crs(target, allow_override=True), []
    try:
        moved, done = transform_frame(frame, target)
    except DataRefused as refusal:
        raise DataRefused(f"'{path.name}': {refusal}") from None
    if len(done.x) and not (np.isfinite(done.x) & np.isfinite(done.y)).all():
        raise DataRefused(
            f"'{path.name}' has places that cannot be brought from {name_of(source)} to "
            f"{name_of(target)}; its CRS may be stated wrongly. Check it in a GIS."
        )
    accuracy = done.accuracy_m
    said = f"accurate to {accuracy:g} m" if accuracy >= 0 else "of unknown accuracy"
    better = (
        " A more accurate operation needs a grid that is not installed."
        if any(f.code == "crs-grid-missing" for f in done.findings)
        else ""
    )
    certain = 0 <= accuracy <= 5
    return moved, [
        Finding(
            "layer-reprojected", "note" if certain else "warning",
            f"layer '{name}' was brought from {name_of(source)} to {name_of(target)} by "
            f"'{done.operation}', {said}.{better}", path.name,
        )
    ]  # fmt: skip
