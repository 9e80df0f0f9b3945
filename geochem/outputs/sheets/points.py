"""Planned points for handhelds (GPX) and tablets (GeoPackage)."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from geochem.outputs.gis.renderer import write_gpx
from geochem.outputs.text_cells import printable

if TYPE_CHECKING:
    import geopandas as gpd


def write_waypoints(
    points: gpd.GeoDataFrame, path: Path, *, name: str, text: list[str] | None = None
) -> Path:
    """Write points as GPX waypoints.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        Any CRS.
    path : Path
        File.
    name : str
        Column that becomes the name.
    text : list of str, optional
        Comment of each point.

    Returns
    -------
    Path
        The file; WGS 84.
    """
    import geopandas as gpd

    names = [_printable(n) for n in points[name]]
    texts = [_printable(t) for t in (text or [""] * len(points))]
    columns = {
        "name": names, "cmt": [t[:200] for t in texts], "desc": texts,
        "sym": ["Waypoint"] * len(names),
    }  # fmt: skip
    frame = gpd.GeoDataFrame(columns, geometry=list(points.geometry), crs=points.crs)
    return write_gpx(frame.astype(dict.fromkeys(columns, object)), path)


def write_package(layers: Mapping[str, gpd.GeoDataFrame], path: Path) -> Path:
    """Write point layers into one GeoPackage, made in a local temporary folder and moved.

    Parameters
    ----------
    layers : mapping of str to geopandas.GeoDataFrame
        Name -> layer in the working CRS.
    path : Path
        File.

    Returns
    -------
    Path
        The file.
    """
    import pyogrio

    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / path.name
        for name, frame in layers.items():
            pyogrio.write_dataframe(
                frame, made, layer=name, driver="GPKG", geometry_type="Point",
                append=made.exists(),
            )  # fmt: skip
        shutil.copyfile(made, path)
    return path


def _printable(text: object) -> str:
    """Leave out characters that XML 1.0 does not allow."""
    return "" if text is None else printable(text, instead="")
