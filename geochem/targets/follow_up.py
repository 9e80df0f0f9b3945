"""Follow-up samples: lines across targets and their open sides.

What lives here: proposed points. They stand half a station spacing apart on lines that run the
way the sampling lines run: along the peak, between the lines through the outline, beyond open
sides, and upslope where heights are known. A line with one point only is left out, so that each
crossing has at least two samples.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    from geochem.targets.ground import Ground

    FloatArray = npt.NDArray[np.float64]

#: points of all targets, and of one
MOST, MOST_EACH = 300, 60
#: steps across and along the lines, in spacings
STEP = 0.5
#: no point closer than this to a sample, in spacings
FREE = 0.3
#: how far beyond an open side, in spacings
BEYOND = 2.0


@dataclass(frozen=True, slots=True)
class Point:
    """One proposed sample.

    Parameters
    ----------
    target, kind, line : str
        Which target; ``infill``, ``extension``, ``upslope`` or ``upstream``; name of the line.
    easting, northing : float
        Where. [m]
    purpose : str
        Why, in a sentence.
    """

    target: str
    kind: str
    line: str
    easting: float
    northing: float
    purpose: str


def across_outline(
    target: str,
    ground: Ground,
    polygon: BaseGeometry,
    peak: FloatArray,
    open_directions: Sequence[tuple[str, FloatArray]],
    uphill: FloatArray | None,
    boundary: BaseGeometry | None,
    keep_out: BaseGeometry | None,
    most: int,
) -> list[Point]:
    """Propose points for one target on a grid.

    Parameters
    ----------
    target : str
        Its name.
    ground : Ground
        Its grid.
    polygon : shapely geometry
        Its outline.
    peak : ndarray, shape (2,)
        Easting and northing of the summit. [m]
    open_directions : sequence of (str, ndarray)
        Open sides and their directions in scaled coordinates.
    uphill : ndarray, shape (2,), optional
        Direction up the slope in map coordinates, where the slope is clear.
    boundary, keep_out : shapely geometry, optional
        Points lie inside the one and outside the other.
    most : int
        Points at most; whole lines are left out, least urgent first.

    Returns
    -------
    list of Point
        Line by line, walked to and fro.
    """
    import shapely
    from scipy.spatial import cKDTree

    lattice, line = _lattice(ground, polygon, peak)
    place = ground.to_map(lattice)
    inside = shapely.contains_xy(polygon, place)
    kind = np.where(inside, "infill", "").astype(object)
    why = np.where(inside, "closes the gap between samples inside the outline", "").astype(object)
    low, high = _box(ground, polygon)
    for side, direction in open_directions:
        ahead = lattice @ direction
        edge = float(np.max(np.vstack([low, high]) @ direction))
        sideways = np.abs(direction[::-1]) > 0.5
        span = (lattice >= low - 0.25) & (lattice <= high + 0.25)
        beside = np.where(sideways, span, True).all(axis=1)  # noqa: FBT003 - numpy
        new = (kind == "") & (ahead > edge - 0.45) & (ahead <= edge + BEYOND) & beside
        kind[new] = "extension"
        why[new] = f"looks for the end of the anomaly to the {side}"
    if uphill is not None:
        offset = (place - peak) @ uphill
        beyond = shapely.distance(shapely.points(place), polygon)
        mean = float(np.sqrt(ground.cell_area))
        cosine = offset / np.maximum(np.hypot(*(place - peak).T), 1e-9)
        new = (kind == "") & (cosine > 0.8) & (beyond > 0) & (beyond <= 1.5 * mean)
        kind[new] = "upslope"
        why[new] = "looks for the source upslope: soil creeps down"
    keep = kind != ""
    keep &= cKDTree(ground.scaled).query(lattice)[0] > FREE
    if boundary is not None:
        keep &= shapely.contains_xy(boundary, place)
    if keep_out is not None:
        keep &= ~shapely.intersects_xy(keep_out, place)
    return _lines(target, lattice, place, line, kind, why, keep, ground.to_scaled(peak), most)


def _box(ground: Ground, polygon: BaseGeometry) -> tuple[FloatArray, FloatArray]:
    ring = ground.to_scaled(np.asarray(polygon.exterior.coords))
    return ring.min(axis=0), ring.max(axis=0)


def _lattice(
    ground: Ground, polygon: BaseGeometry, peak: FloatArray
) -> tuple[FloatArray, npt.NDArray[np.intp]]:
    """Lay points every half spacing around an outline, so that one line runs through the peak."""
    low, high = _box(ground, polygon)
    middle = ground.to_scaled(peak)
    first = np.floor((low - BEYOND - middle) / STEP).astype(int)
    last = np.ceil((high + BEYOND - middle) / STEP).astype(int)
    i, j = np.meshgrid(
        np.arange(first[0], last[0] + 1), np.arange(first[1], last[1] + 1), indexing="ij"
    )
    points = middle + STEP * np.column_stack([i.ravel(), j.ravel()])
    return points, i.ravel()


def _lines(
    target: str,
    lattice: FloatArray,
    place: FloatArray,
    line: npt.NDArray[np.intp],
    kind: npt.NDArray[np.object_],
    why: npt.NDArray[np.object_],
    keep: npt.NDArray[np.bool_],
    middle: FloatArray,
    most: int,
) -> list[Point]:
    urgency = {"infill": 0, "extension": 1, "upslope": 2}
    chosen = []
    for number in np.unique(line[keep]):
        rows = np.flatnonzero(keep & (line == number))
        if len(rows) < 2:
            continue
        first = min(urgency[str(k)] for k in kind[rows])
        chosen.append((first, abs(int(number)), int(number), rows))
    total, taken = 0, []
    for _, _, number, rows in sorted(chosen, key=lambda c: c[:3]):
        room = most - total
        if room < 2:
            break
        if len(rows) > room:  # the points nearest to the peak
            near = np.argsort(np.abs(lattice[rows, 1] - middle[1]), kind="stable")[:room]
            rows = rows[np.sort(near)]
        taken.append((number, rows))
        total += len(rows)
    out = []
    for order, (_, rows) in enumerate(sorted(taken, key=lambda t: t[0])):
        walk = rows if order % 2 == 0 else rows[::-1]
        out += [
            Point(
                target, str(kind[r]), f"{target}-{order + 1}", round(float(place[r, 0]), 1),
                round(float(place[r, 1]), 1), str(why[r]),
            )
            for r in walk
        ]  # fmt: skip
    return out


def upstream(
    target: str,
    polygon: BaseGeometry,
    streams: gpd.GeoDataFrame | None,
    boundary: BaseGeometry | None,
    keep_out: BaseGeometry | None,
    most: int = 12,
) -> list[Point]:
    """Propose points along the streams of a catchment.

    Parameters
    ----------
    target : str
        Its name.
    polygon : shapely geometry
        The catchment.
    streams : geopandas.GeoDataFrame, optional
        Lines; without them no point can be proposed.
    boundary, keep_out : shapely geometry, optional
        Points lie inside the one and outside the other.
    most : int
        Points at most.

    Returns
    -------
    list of Point
        Evenly spaced along every stream.
    """
    import shapely

    if streams is None or not len(streams):
        return []
    water = shapely.line_merge(streams.geometry.union_all().intersection(polygon))
    pieces = [g for g in getattr(water, "geoms", [water]) if g.geom_type == "LineString"]
    pieces = sorted(pieces, key=lambda g: (-g.length, g.bounds))
    whole = sum(g.length for g in pieces)
    if whole <= 0:
        return []
    step = max(whole / most, 100.0)
    out = []
    for k, piece in enumerate(pieces):
        for s in np.arange(step / 2, piece.length, step):
            p = piece.interpolate(s)
            if boundary is not None and not boundary.contains(p):
                continue
            if keep_out is not None and keep_out.intersects(p):
                continue
            out.append(
                Point(
                    target, "upstream", f"{target}-{k + 1}", round(p.x, 1), round(p.y, 1),
                    "follows the anomaly up the stream to its source",
                )
            )  # fmt: skip
    return out[:most]


def uphill_direction(xy: FloatArray, elevation: FloatArray) -> FloatArray | None:
    """Fit a plane to heights; give the unit vector uphill, or None where it is flat or unknown.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Positions. [m]
    elevation : ndarray, shape (n,)
        Heights; NaN where unknown. [m]

    Returns
    -------
    ndarray, shape (2,), or None
        None with fewer than six heights, or a slope below 3 %.
    """
    known = np.isfinite(elevation)
    if known.sum() < 6:
        return None
    p = xy[known] - xy[known].mean(axis=0)
    slope = np.linalg.lstsq(p, elevation[known] - elevation[known].mean(), rcond=None)[0]
    steep = float(np.hypot(*slope))
    return slope / steep if steep >= 0.03 else None
