"""Samples near the contact of two mapped units: the map may give them to the wrong one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from geochem.background.groups import text_column
from geochem.model.finding import Finding, name_some

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt


def near_contact(
    samples: gpd.GeoDataFrame, units: gpd.GeoDataFrame, field: str, distance: float
) -> npt.NDArray[np.bool_]:
    """Say which samples lie within a distance of ground of another unit than their own.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        With points.
    units : geopandas.GeoDataFrame
        Polygons of mapped units, in the same CRS.
    field : str
        Column that names the unit.
    distance : float
        How wide the doubt about a contact is. [m]

    Returns
    -------
    ndarray of bool, shape (n,)
        False without position and outside all polygons.
    """
    flag = np.zeros(len(samples), dtype=bool)
    if not len(samples) or not len(units) or not distance > 0:
        return flag
    names = text_column(units, field, missing="")
    points = samples.geometry
    ok = np.flatnonzero((points.notna() & ~points.is_empty).to_numpy())
    at, polygon = units.sindex.query(points.iloc[ok], predicate="dwithin", distance=distance)
    # more than one name within reach: the contact is there
    seen: dict[int, set[str]] = {}
    for i, j in zip(at.tolist(), polygon.tolist(), strict=True):
        seen.setdefault(i, set()).add(str(names[j]))
    for i, found in seen.items():
        flag[ok[i]] = len(found) > 1
    return flag


def contact_findings(
    ids: Sequence[str], flag: npt.NDArray[np.bool_], distance: float
) -> list[Finding]:
    """Tell how many samples lie near a contact."""
    near = sorted(str(i) for i, f in zip(ids, flag, strict=True) if f)
    if not near:
        return []
    return [
        Finding(
            "near-contact", "note",
            f"{len(near)} samples lie within {distance:g} m of a mapped contact "
            f"({name_some(near)}): their unit, and with it their background, is in doubt.",
        )
    ]  # fmt: skip
