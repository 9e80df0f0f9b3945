"""Proposed drill holes, only through the gate.

The gate: laboratory confirmation, two lines, residual ground, and a structure or dip given by the
user. What does not pass is at most a concept, with the reason. A hole is laid so that it passes
beneath the peak at a stated depth; azimuths are from grid north, dips negative down.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    FloatArray = npt.NDArray[np.float64]

#: depth beneath the peak that a hole passes at [m]
DEPTH = 50.0
#: dips tried, degrees below horizontal; steeper ones bring the collar nearer
DIPS = (60.0, 70.0, 80.0)
#: a hole goes on past the peak by this share of its length to there
PAST = 0.6
#: a structure farther from the outline than this says nothing of it [m]
NEAR = 500.0
#: share of samples on residual ground that counts as residual
RESIDUAL = 0.8
CAUTION = "Surface samples say little of depth."


@dataclass(frozen=True, slots=True)
class Structure:
    """Attitude of a structure near a target; degrees.

    Parameters
    ----------
    dip, dip_direction : float
        Dip 0-90, and azimuth of the dip; `dip_direction` NaN when not given.
    strike : float
        Azimuth of the trace. NaN for a point.
    distance : float
        From the outline. [m]
    """

    dip: float
    dip_direction: float
    strike: float
    distance: float


@dataclass(frozen=True, slots=True)
class Hole:
    """One hole.

    Parameters
    ----------
    target : str
        Which target.
    easting, northing, azimuth, dip, length : float
        Collar [m], directions [degree], length [m].
    purpose, status, reason : str
        Why, ``proposed`` or ``concept``, and on what grounds.
    """

    target: str
    easting: float
    northing: float
    azimuth: float
    dip: float
    length: float
    purpose: str
    status: str
    reason: str


def nearest_structure(
    polygon: BaseGeometry, structures: gpd.GeoDataFrame | None
) -> Structure | None:
    """Find the nearest structure with a known dip.

    Parameters
    ----------
    polygon : shapely geometry
        Outline of the target.
    structures : geopandas.GeoDataFrame, optional
        Lines or points with columns ``dip`` and, if known, ``dip_direction``.

    Returns
    -------
    Structure or None
        None when none lies within 500 m.
    """
    import pandas as pd

    if structures is None or not len(structures) or "dip" not in structures.columns:
        return None
    dip = pd.to_numeric(structures["dip"], errors="coerce").abs().to_numpy(dtype=float)
    toward = (
        pd.to_numeric(structures["dip_direction"], errors="coerce").to_numpy(dtype=float)
        if "dip_direction" in structures.columns
        else np.full(len(structures), np.nan)
    )
    distance = structures.geometry.distance(polygon).to_numpy(dtype=float)
    usable = np.isfinite(dip) & (dip > 0) & (dip <= 90) & (distance <= NEAR)
    if not usable.any():
        return None
    rows = np.flatnonzero(usable)
    bounds = [structures.geometry.iloc[r].bounds for r in rows]
    best = min(range(len(rows)), key=lambda k: (round(float(distance[rows[k]]), 3), bounds[k]))
    r = int(rows[best])
    return Structure(
        float(dip[r]), float(toward[r]) % 360 if np.isfinite(toward[r]) else float("nan"),
        _strike(structures.geometry.iloc[r]), float(distance[r]),
    )  # fmt: skip


def _strike(line: BaseGeometry) -> float:
    if line.geom_type == "MultiLineString":
        line = max(line.geoms, key=lambda g: g.length)
    if line.geom_type != "LineString":
        return float("nan")
    (x0, y0), (x1, y1) = line.coords[0][:2], line.coords[-1][:2]
    return float(np.degrees(np.arctan2(x1 - x0, y1 - y0)) % 180)


def gate(
    *,
    confirmed: int,
    lines: int,
    residual: float | None,
    structure: Structure | None,
    catchment: str,
) -> list[str]:
    """List what a target lacks before a hole may be proposed; empty when the gate is open.

    Examples
    --------
    >>> gate(confirmed=0, lines=3, residual=1.0, structure=Structure(60, 90, 0, 10), catchment="")
    ['no laboratory confirmation']
    """
    lacks = []
    if confirmed < 1:
        lacks.append("no laboratory confirmation")
    if lines < 2 or catchment:
        lacks.append("not on two lines")
    if residual is None:
        lacks.append("regolith is not known")
    elif residual < RESIDUAL:
        lacks.append("the ground is not residual")
    if structure is None:
        lacks.append("no structure or dip given")
    return lacks


def lay_hole(
    target: str,
    polygon: BaseGeometry,
    peak: FloatArray,
    structure: Structure | None,
    lacks: list[str],
    boundary: BaseGeometry | None,
    keep_out: BaseGeometry | None,
) -> Hole | None:
    """Lay a hole beneath the peak of a target.

    Parameters
    ----------
    target : str
        Its name.
    polygon : shapely geometry
        Its outline.
    peak : ndarray, shape (2,)
        Easting and northing. [m]
    structure : Structure, optional
        Near it.
    lacks : list of str
        From `gate`.
    boundary, keep_out : shapely geometry, optional
        The collar lies inside the one and outside the other.

    Returns
    -------
    Hole or None
        None when no collar is allowed.
    """
    import shapely

    directions = _azimuths(polygon, structure)
    for dip in DIPS:
        for azimuth, how in directions:
            back = DEPTH / np.tan(np.radians(dip))
            angle = np.radians(azimuth)
            x = float(peak[0]) - back * np.sin(angle)
            y = float(peak[1]) - back * np.cos(angle)
            collar = shapely.Point(x, y)
            if boundary is not None and not boundary.contains(collar):
                continue
            if keep_out is not None and keep_out.intersects(collar):
                continue
            length = float(np.ceil((1 + PAST) * DEPTH / np.sin(np.radians(dip)) / 5.0) * 5.0)
            purpose = f"passes {DEPTH:.0f} m beneath the peak and goes on past it; drilled {how}"
            reason = (
                "laboratory values, two lines, residual ground and a structure support it. "
                if not lacks
                else f"concept only: {', '.join(lacks)}. "
            ) + CAUTION
            return Hole(
                target, round(float(x), 1), round(float(y), 1), round(azimuth % 360, 0) % 360, -dip, length,
                purpose, "concept" if lacks else "proposed", reason,
            )  # fmt: skip
    return None


def _azimuths(polygon: BaseGeometry, structure: Structure | None) -> list[tuple[float, str]]:
    """Give directions to try, best first."""
    if structure is not None and np.isfinite(structure.dip_direction):
        against = (structure.dip_direction + 180.0) % 360
        text = (
            f"against the structure that dips {structure.dip:.0f} degrees toward "
            f"{structure.dip_direction:03.0f}"
        )
        return [(against, text)]
    if structure is not None and np.isfinite(structure.strike):
        across = (structure.strike + 90.0) % 180
        text = f"across the structure that strikes {structure.strike:03.0f}"
    else:
        across = (long_axis(polygon) + 90.0) % 180
        text = "across the long axis of the outline, because no attitude is known"
    return [(across, text), (across + 180.0, text)]


def long_axis(polygon: BaseGeometry) -> float:
    """Give the azimuth of the long axis of the smallest rectangle around a polygon, 0-180."""
    import shapely

    box = shapely.oriented_envelope(polygon)
    if box.geom_type != "Polygon":
        return 0.0
    corner = np.asarray(box.exterior.coords)[:, :2]
    side = np.diff(corner[:3], axis=0)
    dx, dy = side[int(np.hypot(*side.T).argmax())]
    return float(np.round(np.degrees(np.arctan2(dx, dy)), 3) % 180)
