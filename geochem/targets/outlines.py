"""Outlines on grids: groups of places that stand out together, split where they hardly join.

What lives here: `Outline`, and how its places are chosen. What does not: the filter
(`geochem.stats.halo_filter`), the null (`null`), the geometry (`polygons`), the catchments (`catchments`).

How it goes. The filtered values of all competing scores are flooded from the highest place down.
Two summits stay apart when the saddle between them lies more than a standard deviation and more
than 30 % below the lower one: so a bridge does not join two halos. An outline belongs to the score
that is highest at its summit and holds the places around it above 40 % of the summit (and above
the cut); it is drawn in further while it is too large to walk.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.targets.ground import Ground, rows_of
from geochem.targets.null import CUT, LEAST_LINES, LEAST_PLACES, Filtered

if TYPE_CHECKING:
    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

#: an outline is drawn in until it is no larger than this [m2]; coarse grids: than so many cells
LARGEST, MOST_CELLS = 1.5e6, 12
#: share of the summit down to which an outline reaches
SHOULDER = 0.4
#: saddle that keeps two summits apart: below the lower one by this much, and by this share of it
SADDLE, SADDLE_SHARE = 1.0, 0.3
#: a sample supports an outline from this score on; so many must, on as many lines as needed
SUPPORT, LEAST_SUPPORT = 1.0, 3


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """A polygon around samples that stand out together.

    Parameters
    ----------
    medium, grid : str
        Where.
    part : int
        Number of the part it was found in.
    association : int
        Number of the strongest association.
    others : tuple of int
        Other associations that stand out inside.
    strength : float
        Highest filtered value. [-]
    noise : float
        Standard deviation of `strength` from measurement. [-]
    polygon : shapely geometry
        Map coordinates, within the boundary.
    sites : ndarray of int
        Samples inside, as rows of `Sites`.
    peak : ndarray, shape (2,)
        Easting and northing of the summit. [m]
    lines : int
        Lines (irregular: rows) that the samples stand on.
    catchment : str
        Name of the catchment; empty for an outline on a grid.
    margin : float
        How much better the best rival explanation fits the summit than the best association, as a
        logarithm of a likelihood ratio; NaN where nothing can be said.
    rival : str
        That rival, in words.
    """

    medium: str
    grid: str
    part: int
    association: int
    others: tuple[int, ...]
    strength: float
    noise: float
    polygon: BaseGeometry
    sites: IntArray
    peak: FloatArray
    lines: int
    catchment: str = ""
    margin: float = float("nan")
    rival: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Places of one ground that stand out together.

    Parameters
    ----------
    summit : int
        Place of the highest filtered value.
    association : int
        Score that is highest there.
    strength : float
        The filtered value. [-]
    places : ndarray of int
        Members, ascending.
    enough : bool
        Three places on two lines at least.
    reason : str
        What is missing; empty when enough.
    """

    summit: int
    association: int
    strength: float
    places: IntArray
    enough: bool
    reason: str


def find_groups(ground: Ground, filtered: Filtered, scores: FloatArray) -> list[Group]:
    """Find groups of places that stand out.

    Parameters
    ----------
    ground : Ground
        Places and neighbours.
    filtered : Filtered
        Filtered scores of its places.
    scores : ndarray, shape (m, n_associations)
        Winsorised scores of the places, not filtered: they must support what is drawn.

    Returns
    -------
    list of Group
        Strongest first.
    """
    top = filtered.values.max(axis=1)
    neighbours = _Beside(ground)
    basin = _basins(top, neighbours)
    members = _members(basin)
    groups = []
    for summit in sorted(members):
        a = int(filtered.values[summit].argmax())
        field = filtered.values[:, a]
        strength = float(field[summit])
        places = _around(summit, field, members[summit], strength, ground, neighbours)
        reason = _missing(ground, places, scores[:, a])
        groups.append(Group(int(summit), a, strength, places, not reason, reason))
    return sorted(groups, key=lambda g: (-round(g.strength, 9), g.summit))


class _Beside:
    """Places beside each place, ascending; cut out when one is asked for."""

    def __init__(self, ground: Ground) -> None:
        i = np.concatenate([ground.edges[:, 0], ground.edges[:, 1]])
        j = np.concatenate([ground.edges[:, 1], ground.edges[:, 0]])
        order = np.lexsort([j, i])
        self._others = j[order]
        self._ends = np.searchsorted(i[order], np.arange(len(ground.places) + 1)).tolist()

    def __getitem__(self, place: int) -> IntArray:
        return self._others[self._ends[place] : self._ends[place + 1]]


def _basins(top: FloatArray, neighbours: _Beside) -> IntArray:
    """Give each place above the cut the number of the summit it belongs to; -1 below the cut."""
    basin = np.full(len(top), -1, dtype=np.intp)
    parent: dict[int, int] = {}

    def root(b: int) -> int:
        while parent[b] != b:
            parent[b] = parent[parent[b]]
            b = parent[b]
        return b

    candidates = np.flatnonzero(top >= CUT)
    for place in candidates[np.lexsort([candidates, -np.round(top[candidates], 9)])]:
        touching = {root(int(basin[q])) for q in neighbours[place] if basin[q] >= 0}
        if not touching:
            parent[int(place)] = int(place)
            basin[place] = place
            continue
        ranked = sorted(touching, key=lambda b: (-round(float(top[b]), 9), b))
        main = ranked[0]
        basin[place] = main
        for other in ranked[1:]:
            fall = top[other] - top[place]
            if fall < SADDLE or fall < SADDLE_SHARE * top[other]:
                parent[other] = main
    for place in candidates:
        basin[place] = root(int(basin[place]))
    return basin


def _members(basin: IntArray) -> dict[int, IntArray]:
    """List the places of every summit, ascending."""
    places = np.flatnonzero(basin >= 0)
    if not len(places):
        return {}
    order = places[np.argsort(basin[places], kind="stable")]
    summits, starts = np.unique(basin[order], return_index=True)
    return dict(zip(summits.tolist(), np.split(order, starts[1:]), strict=True))


def _around(
    summit: int,
    field: FloatArray,
    own: IntArray,
    strength: float,
    ground: Ground,
    neighbours: _Beside,
) -> IntArray:
    """Choose the places of one summit: above 40 % of it, and no more than can be walked."""
    level = max(CUT, SHOULDER * strength)
    most = max(LARGEST, MOST_CELLS * ground.cell_area)
    places = _connected(summit, own[field[own] >= level], neighbours)
    while len(places) * ground.cell_area > most and level < 0.95 * strength:
        level += 0.05 * strength
        places = _connected(summit, own[field[own] >= level], neighbours)
    few = len(places) < LEAST_PLACES or (
        rows_of(ground.places[places], regular=ground.spacing.regular) < LEAST_LINES
    )
    return _connected(summit, own[field[own] >= CUT], neighbours) if few else places


def _connected(summit: int, allowed: IntArray, neighbours: _Beside) -> IntArray:
    left = set(allowed.tolist()) - {int(summit)}
    seen = {int(summit)}
    front = {int(summit)}
    while front:
        front = {q for p in front for q in neighbours[p].tolist() if q in left}
        left -= front
        seen |= front
    return np.array(sorted(seen), dtype=np.intp)


def _missing(ground: Ground, places: IntArray, score: FloatArray) -> str:
    """Say what an outline lacks; empty when it lacks nothing."""
    regular = ground.spacing.regular
    if len(places) < LEAST_PLACES:
        return f"only {len(places)} samples stand out together; three are needed"
    if rows_of(ground.places[places], regular=regular) < LEAST_LINES:
        return "the samples that stand out stand on one line; two lines are needed"
    firm = places[score[places] >= SUPPORT]
    if len(firm) < LEAST_SUPPORT:
        return f"only {len(firm)} samples carry it; three are needed"
    if rows_of(ground.places[firm], regular=regular) < LEAST_LINES:
        return "the samples that carry it stand on one line; two lines are needed"
    return ""


def open_sides(
    ground: Ground, places: IntArray, boundary: BaseGeometry | None
) -> list[tuple[str, FloatArray]]:
    """List the sides on which an outline reaches the edge of sampling.

    Parameters
    ----------
    ground : Ground
        Where.
    places : ndarray of int
        Members of the outline.
    boundary : shapely geometry, optional
        Ground beyond it cannot be sampled, so that side is not open.

    Returns
    -------
    list of (str, ndarray)
        Compass word of the side, and its direction in scaled coordinates.
    """
    import shapely
    from scipy.spatial import cKDTree

    members = ground.places[places]
    # only what stands around can be near what lies one step ahead
    low, high = members.min(axis=0) - 3.0, members.max(axis=0) + 3.0
    tree = cKDTree(ground.places[((ground.places >= low) & (ground.places <= high)).all(axis=1)])
    found = []
    for direction in np.array([[0.0, 1.0], [1.0, 0.0], [0.0, -1.0], [-1.0, 0.0]]):
        reach = members @ direction
        front = members[reach >= reach.max() - 0.75] + 1.1 * direction
        empty = tree.query(front)[0] > 0.75
        if boundary is not None:
            inside = shapely.contains_xy(boundary, ground.to_map(front))
            if inside.mean() < 0.5:
                continue
        if empty.mean() > 0.5:
            found.append((compass(ground, direction), direction))
    order = ["N", "NE", "E", "SE", "S", "SW", "W", "NW"]
    return sorted(found, key=lambda item: order.index(item[0]))


def compass(ground: Ground, direction: FloatArray) -> str:
    """Name a scaled direction by the nearest of eight compass points."""
    dx, dy = direction @ ground.axes()
    azimuth = np.degrees(np.arctan2(dx, dy)) % 360
    return ("N", "NE", "E", "SE", "S", "SW", "W", "NW")[int((azimuth + 22.5) // 45) % 8]
