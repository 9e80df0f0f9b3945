"""Follow-up samples: the places that tell most about where a target ends and what it holds.

What lives here: proposed points. They may stand half a station spacing apart on lines that run
the way the sampling lines run: along the peak, between the lines through the outline, beyond open
sides, and upslope where heights are known. Among these places the ones are taken that are expected
to lower most the doubt whether the association exceeds its background (`Choice`). One line across
every open side, and one upslope, is begun first; each line that is begun has at least two samples.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.stats.expected_information import Belief as InField
from geochem.stats.expected_information import Choice, Step, believe

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    from geochem.targets.ground import Ground

    FloatArray = npt.NDArray[np.float64]

#: points of all targets, and of one, when no budget is given
MOST, MOST_EACH = 300, 40
#: steps across and along the lines, in spacings
STEP = 0.5
#: no point closer than this to a sample, in spacings
FREE = 0.3
#: how far beyond an open side, in spacings
BEYOND = 2.0
#: the doubt is whether the smooth score exceeds this many standard deviations of the background
LEVEL = 2.0
#: samples farther than this from the outline do not matter to it, in spacings
_FAR = 3.0
#: continuity of the score where the background has none measured: range in spacings, and nugget
REACH, NUGGET = 1.0, 0.5
#: ground upslope counts so many times: what creeps down comes from there
_UPSLOPE = 1.5


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


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """What the samples of a grid say of the association sought for.

    Parameters
    ----------
    score : ndarray, shape (n_samples,)
        Its calibrated score at the samples of the ground; NaN where unknown.
    nugget : float
        Share of the variance of the background without continuity. [-]
    reach : float
        Range parameter of the exponential rest. [mean spacings]
    """

    score: FloatArray
    nugget: float = NUGGET
    reach: float = REACH


@dataclass(frozen=True, slots=True, eq=False)
class Proposal:
    """Places chosen for one target, most telling first.

    Parameters
    ----------
    steps : list of Step
        What was taken, in order, with the expected gain.
    place : ndarray, shape (n_candidates, 2)
        Easting and northing. [m]
    line : ndarray of int, shape (n_candidates,)
        Number of the line.
    along : ndarray, shape (n_candidates,)
        Position along it. [-]
    kind, why : ndarray of str, shape (n_candidates,)
        As in `Point`.
    """

    steps: list[Step]
    place: FloatArray
    line: npt.NDArray[np.intp]
    along: FloatArray
    kind: npt.NDArray[np.object_]
    why: npt.NDArray[np.object_]


def across_outline(
    ground: Ground,
    polygon: BaseGeometry,
    peak: FloatArray,
    open_directions: Sequence[tuple[str, FloatArray]],
    uphill: FloatArray | None,
    boundary: BaseGeometry | None,
    keep_out: BaseGeometry | None,
    most: int,
    belief: Belief,
) -> Proposal:
    """Choose places for one target on a grid.

    Parameters
    ----------
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
        Points at most.
    belief : Belief
        What is known.

    Returns
    -------
    Proposal
        Without steps where no line can hold two points.
    """
    import shapely
    from scipy.spatial import cKDTree

    lattice, line = _lattice(ground, polygon, peak)
    place = ground.to_map(lattice)
    inside = shapely.contains_xy(polygon, place)
    kind = np.where(inside, "infill", "").astype(object)
    why = np.where(inside, "closes the gap between samples inside the outline", "").astype(object)
    low, high = _box(ground, polygon)
    side_of = np.full(len(lattice), -1, dtype=np.intp)
    for number, (side, direction) in enumerate(open_directions):
        ahead = lattice @ direction
        edge = float(np.max(np.vstack([low, high]) @ direction))
        sideways = np.abs(direction[::-1]) > 0.5
        span = (lattice >= low - 0.25) & (lattice <= high + 0.25)
        beside = np.where(sideways, span, True).all(axis=1)  # noqa: FBT003 - numpy
        new = (kind == "") & (ahead > edge - 0.45) & (ahead <= edge + BEYOND) & beside
        kind[new] = "extension"
        why[new] = f"looks for the end of the anomaly to the {side}"
        side_of[new] = number
    weight = np.ones(len(lattice))
    if uphill is not None:
        offset = (place - peak) @ uphill
        beyond = shapely.distance(shapely.points(place), polygon)
        mean = float(np.sqrt(ground.cell_area))
        cosine = offset / np.maximum(np.hypot(*(place - peak).T), 1e-9)
        above = (cosine > 0.8) & (beyond > 0) & (beyond <= 1.5 * mean)
        weight[above] = _UPSLOPE
        new = (kind == "") & above
        kind[new] = "upslope"
        why[new] = "looks for the source upslope: soil creeps down"
    free = kind != ""
    # only samples that stand around can be too near
    around = ((ground.scaled >= lattice.min(axis=0) - 2 * FREE)
              & (ground.scaled <= lattice.max(axis=0) + 2 * FREE)).all(axis=1)  # fmt: skip
    free &= cKDTree(ground.scaled[around]).query(lattice)[0] > FREE
    if boundary is not None:
        free &= shapely.contains_xy(boundary, place)
    if keep_out is not None:
        free &= ~shapely.intersects_xy(keep_out, place)
    rows = np.flatnonzero(free)
    cells = _cells(lattice, kind, low, high)
    choice = Choice(
        _believed(ground, belief, np.vstack([lattice[cells], lattice[rows]]), low, high),
        weight[cells], LEVEL, line[rows],
    )  # fmt: skip
    for number in range(len(open_directions)):
        _begin(choice, side_of[rows] == number, most)
    if uphill is not None:
        _begin(choice, kind[rows] == "upslope", most)
    return Proposal(
        choice.go_on(most), place[rows], line[rows], lattice[rows, 1], kind[rows], why[rows]
    )


def _begin(choice: Choice, allowed: npt.NDArray[np.bool_], most: int) -> None:
    """Take two points on this side at least, unless other lines did already or there is no room."""
    for _ in range(2):
        taken = [j for s in choice.steps for j in s.points]
        if allowed[taken].sum() >= 2 or len(taken) + 2 > most or not choice.begin_line(allowed):
            return


def _cells(
    lattice: FloatArray, kind: npt.NDArray[np.object_], low: FloatArray, high: FloatArray
) -> npt.NDArray[np.intp]:
    """Choose the cells whose doubt counts: around the outline, and where points may go."""
    near = ((lattice >= low - 1.0) & (lattice <= high + 1.0)).all(axis=1) | (kind != "")
    cells = np.flatnonzero(near)
    return cells[:: 1 + len(cells) // 150]


def _believed(
    ground: Ground, belief: Belief, places: FloatArray, low: FloatArray, high: FloatArray
) -> InField:
    """Predict the score at places in mean spacings, from the samples around the outline."""
    near = ((ground.scaled >= low - _FAR) & (ground.scaled <= high + _FAR)).all(axis=1)
    near &= np.isfinite(belief.score)
    sizes = np.array(ground.size) / np.sqrt(ground.cell_area)
    values = belief.score[near]
    noise = float(np.clip(belief.nugget, 0.05, 0.95))
    # the field is as wide as it is seen to be here, where something stands above the background
    sill = max(1.0 - noise, float(np.mean(values**2)) - noise if len(values) else 0.0)
    return believe(
        ground.scaled[near] * sizes, values, places * sizes, sill=sill,
        reach=max(belief.reach, 0.3), noise=noise,
    )  # fmt: skip


def points_of(target: str, proposal: Proposal, n_steps: int) -> list[Point]:
    """Give the points of the first steps, line by line, walked to and fro.

    Parameters
    ----------
    target : str
        Its name.
    proposal : Proposal
        From `across_outline`.
    n_steps : int
        So many steps are taken.

    Returns
    -------
    list of Point
        Lines are named after the target.
    """
    taken = np.array(
        sorted({j for s in proposal.steps[:n_steps] for j in s.points}), dtype=np.intp
    )
    out = []
    for order, number in enumerate(np.unique(proposal.line[taken])):
        rows = taken[proposal.line[taken] == number]
        rows = rows[np.argsort(proposal.along[rows], kind="stable")]
        out += [
            Point(
                target, str(proposal.kind[r]), f"{target}-{order + 1}",
                round(float(proposal.place[r, 0]), 1), round(float(proposal.place[r, 1]), 1),
                str(proposal.why[r]),
            )
            for r in (rows if order % 2 == 0 else rows[::-1])
        ]  # fmt: skip
    return out


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
