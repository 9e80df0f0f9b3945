"""Line spacing, station spacing and line direction of a sampling grid, from coordinates alone.

The order of the work: (1) places that differ; (2) the direction in which neighbours line up most
closely; (3) gaps between lines, taken in narrow strips across them; (4) gaps between stations,
from each place to the next on its line. Gaps are weighted by the ground they stand for, so that
infill in a small area does not hide the reconnaissance grid, and holes of any size do not matter
because only the commonest gap counts. Everything is local: sub-grids need not be aligned.

The limits below which a pattern is called irregular were set by simulation of random points (at
most about one in a hundred is called regular); they come from no publication.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

#: two positions closer than this are one place [m]
SAME_PLACE = 0.05
#: neighbours looked at for the direction of lines
NEIGHBOURS = 12
#: at most so many places are asked for the direction (evenly picked from the sorted places)
ASKED = 2000
#: fewer places make no recognisable grid
FEWEST = 6


@dataclass(frozen=True, slots=True)
class GridMeasure:
    """What was measured on one set of positions.

    Parameters
    ----------
    n : int
        Different places.
    nearest : float
        Median distance to the nearest other place; NaN for fewer than two. [m]
    line_spacing, station_spacing : float
        Across and along the lines; both equal `nearest` when irregular. [m]
    azimuth : float
        Direction of the lines, clockwise from grid north, 0 to 180; NaN when irregular. [degrees]
    regular : bool
        Whether the places stand on at least two recognisable lines.
    area : float
        Area covered. [m2]
    alignment : float
        Share of neighbours that line up, over the mean of all directions; 1 = none. [-]
    line_share : float
        Share of the ground whose gap between lines is the commonest one. [-]
    """

    n: int
    nearest: float
    line_spacing: float
    station_spacing: float
    azimuth: float
    regular: bool
    area: float
    alignment: float
    line_share: float


def measure_grid(x: npt.ArrayLike, y: npt.ArrayLike) -> GridMeasure:
    """Measure spacing and direction of a sampling pattern.

    Lines run in the direction in which samples are closest together, so the station spacing is
    never clearly larger than the line spacing; of a square grid either direction may be given.

    Parameters
    ----------
    x, y : array_like, shape (n_samples,)
        Easting and northing; positions that are not finite are left out. [m]

    Returns
    -------
    GridMeasure
        The same whatever the order of the samples.

    Raises
    ------
    WrongCall
        If the two arrays differ in length.

    Examples
    --------
    >>> import numpy as np
    >>> x, y = np.meshgrid(np.arange(5) * 100.0, np.arange(12) * 25.0)
    >>> found = measure_grid(x.ravel(), y.ravel())
    >>> round(found.line_spacing), round(found.station_spacing), round(found.azimuth) % 180
    (100, 25, 0)
    """
    east, north = np.asarray(x, dtype=float).ravel(), np.asarray(y, dtype=float).ravel()
    if east.size != north.size:
        raise WrongCall(f"x has {east.size} numbers and y {north.size}; give one pair per sample.")
    places = _places(east, north)
    n = len(places)
    if n < 2:
        return GridMeasure(
            n, np.nan, np.nan, np.nan, np.nan, regular=False, area=0.0, alignment=1.0,
            line_share=0.0,
        )  # fmt: skip
    distance, index = _neighbours(places, min(NEIGHBOURS, n - 1))
    nearest = float(np.median(distance[:, 0]))
    if n < FEWEST:
        return _irregular(places, nearest, alignment=1.0, share=0.0)
    angle, alignment = _direction(places, distance, index, nearest)
    # the ground a place stands for: infill counts by its area, not by its number; the cap keeps
    # a few strays from deciding
    ground = distance[:, -1] ** 2
    ground = np.minimum(ground, 25.0 * np.median(ground))
    best = _gaps(places, angle, nearest, ground)
    if best.line < 0.95 * best.station:
        # a nearly square grid whose denser direction lost by a hair: look along the other axis
        other = _gaps(places, angle + np.pi / 2, nearest, ground)
        if other.line >= other.station and other.share >= 0.8 * best.share:
            angle, best = angle + np.pi / 2, other
    # few places line up by chance more easily; what is clear in every other respect needs less
    needed = 1.0 + 5.0 / np.sqrt(n) + 14.0 / n
    likely = best.share > 0.45 and best.seen > 0.4 and best.ahead > 0.6
    clear = best.share > 0.7 and best.seen > 0.6 and best.ahead > 0.8
    less = 0.75 if n >= 30 else 0.85
    if not ((likely and alignment > needed) or (clear and alignment > less * needed)):
        return _irregular(places, nearest, alignment=alignment, share=best.share)
    return GridMeasure(
        n, best.station, best.line, best.station, _azimuth(angle), regular=True,
        area=_regular_area(places, angle, best), alignment=alignment, line_share=best.share,
    )  # fmt: skip


def _irregular(places: Floats, nearest: float, *, alignment: float, share: float) -> GridMeasure:
    return GridMeasure(
        len(places), nearest, nearest, nearest, np.nan, regular=False,
        area=_irregular_area(places, nearest), alignment=alignment, line_share=share,
    )  # fmt: skip


def number_lines(
    x: npt.ArrayLike, y: npt.ArrayLike, *, azimuth: float, line_spacing: float
) -> npt.NDArray[np.int64]:
    """Count off the lines that samples stand on, from the left of the line direction.

    Parameters
    ----------
    x, y : array_like, shape (n_samples,)
        Easting and northing, all finite. [m]
    azimuth : float
        Direction of the lines, clockwise from grid north. [degrees]
    line_spacing : float
        As measured. [m]

    Returns
    -------
    ndarray of int, shape (n_samples,)
        0, 1, 2 ... ; a new line begins where the step across is more than 0.4 line spacings.

    Examples
    --------
    >>> number_lines([0, 0, 100, 103], [0, 25, 0, 25], azimuth=0.0, line_spacing=100.0).tolist()
    [0, 0, 1, 1]
    """
    if not line_spacing > 0:
        raise WrongCall(f"the line spacing is {line_spacing}; give a length above 0 m.")
    turn = np.radians(azimuth)
    across = np.asarray(x, float) * np.cos(turn) - np.asarray(y, float) * np.sin(turn)
    order = np.argsort(across, kind="stable")
    number = np.zeros(across.size, dtype=np.int64)
    number[order[1:]] = np.cumsum(np.diff(across[order]) > 0.4 * line_spacing)
    return number


# --- places -----------------------------------------------------------------------------------


def _places(east: Floats, north: Floats) -> Floats:
    """Give the different places, shifted to their middle and sorted."""
    good = np.isfinite(east) & np.isfinite(north)
    xy = np.column_stack([east[good], north[good]])
    if not len(xy):
        return xy
    cells = np.unique(np.round(xy / SAME_PLACE).astype(np.int64), axis=0)
    places = cells.astype(float) * SAME_PLACE
    return np.asarray(places - np.round(np.median(places, axis=0), 3), dtype=float)


def _neighbours(places: Floats, k: int) -> tuple[Floats, npt.NDArray[np.intp]]:
    from scipy.spatial import cKDTree

    distance, index = cKDTree(places).query(places, k=k + 1)
    return distance[:, 1:], index[:, 1:]


# --- direction --------------------------------------------------------------------------------


def _direction(
    places: Floats, distance: Floats, index: npt.NDArray[np.intp], nearest: float
) -> tuple[float, float]:
    """Give the mathematical angle along the lines [rad] and how clearly neighbours line up."""
    asked = np.unique(np.linspace(0, len(places) - 1, min(ASKED, len(places))).astype(int))
    step = places[index[asked]] - places[asked][:, None, :]
    # the ground a place stands for; without the cap a few strays would decide
    ground = distance[asked, -1] ** 2
    ground = np.minimum(ground, 4.0 * np.median(ground))
    weight = np.repeat(ground / ground.sum() / step.shape[1], step.shape[1])
    dx, dy = step[..., 0].ravel(), step[..., 1].ravel()
    # the width within which two places are on one line grows with the local spacing
    width = np.repeat(0.2 * np.maximum(distance[asked, 0], 0.5 * nearest), step.shape[1])

    def aligned(angles: Floats) -> Floats:
        across = (dy[:, None] * np.cos(angles) - dx[:, None] * np.sin(angles)) / width[:, None]
        return weight @ np.exp(-0.5 * across**2)

    coarse = np.radians(np.arange(0.0, 180.0, 1.0))
    score = aligned(coarse)
    top = float(coarse[int(np.argmax(np.round(score, 9)))])
    fine = top + np.radians(np.arange(-3.0, 3.01, 0.1))
    finer = aligned(fine)
    angle = float(fine[int(np.argmax(np.round(finer, 9)))])
    # last step: principal axis of the pairs that lie along the line
    for _ in range(3):
        across = dy * np.cos(angle) - dx * np.sin(angle)
        w = weight * np.exp(-0.5 * (across / (2.0 * width)) ** 2)
        along2 = np.sum(w * (dx * dx - dy * dy))
        cross2 = np.sum(w * 2.0 * dx * dy)
        new = 0.5 * np.arctan2(cross2, along2)
        turn = (new - angle + np.pi / 2) % np.pi - np.pi / 2
        if abs(turn) > np.radians(4.0):
            break
        angle += float(turn)
    return angle, float(finer.max() / score.mean())


def _azimuth(angle: float) -> float:
    """Turn a mathematical angle into degrees clockwise from north, 0 to 180."""
    return float(np.round(90.0 - np.degrees(angle), 6)) % 180.0


# --- gaps -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Gaps:
    line: float
    station: float
    share: float  # of the ground with the commonest gap
    seen: float  # share of the strips in which that gap occurs
    ahead: float  # share of places whose next one lies ahead, not aside


def _gaps(places: Floats, angle: float, nearest: float, ground: Floats) -> _Gaps:
    """Measure the gaps across and along a direction; refined once with what was found."""
    along = places @ np.array([np.cos(angle), np.sin(angle)])
    across = places @ np.array([-np.sin(angle), np.cos(angle)])
    station, line, share, seen, straight = nearest, np.nan, 0.0, 0.0, 0.0
    merge = 0.5 * nearest
    for _ in range(2):
        gaps, strip, strips = _line_gaps(along, across, 2.5 * station, merge)
        if not gaps.size:
            return _Gaps(np.nan, station, 0.0, 0.0, 0.0)
        line = _commonest(gaps, gaps)
        usual = np.abs(gaps / line - 1.0) < 0.3
        share = float(gaps[usual].sum() / gaps[gaps < 2.6 * line].sum())
        seen = len(np.unique(strip[usual])) / strips
        merge = 0.35 * line
        station, straight = _station_gap(along, across, station, line, ground)
    return _Gaps(line, station, share, seen, straight)


def _line_gaps(
    along: Floats, across: Floats, width: float, merge: float
) -> tuple[Floats, npt.NDArray[np.int64], int]:
    """Give the gaps between neighbouring lines, the strip of each, and the number of strips."""
    strip = np.floor((along - along.min()) / width).astype(np.int64)
    order = np.lexsort((across, strip))
    p, s = across[order], strip[order]
    new = np.ones(p.size, dtype=bool)
    new[1:] = (s[1:] != s[:-1]) | (np.diff(p) > merge)
    start = np.flatnonzero(new)
    count = np.diff(np.append(start, p.size))
    centre = np.add.reduceat(p, start) / count
    same = s[start[1:]] == s[start[:-1]]
    return np.diff(centre)[same], s[start[1:]][same], len(np.unique(s))


def _station_gap(
    along: Floats, across: Floats, station: float, line: float, ground: Floats
) -> tuple[float, float]:
    """Give the commonest distance to the next place on the line, and how many lie ahead."""
    from scipy.spatial import cKDTree

    scaled = np.column_stack([along / station, across / (0.5 * line)])
    _, index = cKDTree(scaled).query(scaled, k=min(9, len(scaled)))
    da = along[index[:, 1:]] - along[:, None]
    dp = across[index[:, 1:]] - across[:, None]
    same_line = np.abs(dp) < 0.35 * line
    step = np.where(same_line & (da > 0.05 * station), da, np.inf)
    nearest = np.argmin(step, axis=1)[:, None]
    ahead = np.take_along_axis(step, nearest, axis=1)[:, 0]
    known = np.isfinite(ahead)
    if not known.any():
        return station, 0.0
    aside = np.abs(np.take_along_axis(dp, nearest, axis=1)[:, 0])
    straight = float(np.average(aside[known] < 0.5 * ahead[known], weights=ground[known]))
    first = _commonest(ahead[known], ground[known])
    # jitter makes some gaps short and some long, and re-orders places: all pairs up to three
    # stations apart together say it better than the single gaps do (periodogram near `first`)
    pair = same_line & (da > 0.4 * first) & (da < 3.5 * first)
    trial = first * np.linspace(0.88, 1.12, 121)
    lag, weight = da[pair], np.broadcast_to(ground[:, None], da.shape)[pair]
    if lag.size > 20000:
        pick = np.unique(np.linspace(0, lag.size - 1, 20000).astype(int))
        lag, weight = lag[pick], weight[pick]
    if not lag.size:
        return first, straight
    power = weight @ np.cos(2.0 * np.pi * lag[:, None] / trial)
    top = int(np.argmax(np.round(power / np.abs(power).max(), 9)))
    if not 0 < top < trial.size - 1:
        return first, straight
    before, here, after = power[top - 1 : top + 2]
    bend = before - 2.0 * here + after
    shift = 0.5 * (before - after) / bend if bend < 0 else 0.0
    return float(trial[top] + shift * (trial[1] - trial[0])), straight


def _commonest(gaps: Floats, weights: Floats) -> float:
    """Give the commonest gap: the highest point of the density of log gaps, then a local mean."""
    low, high = np.log(gaps.min()) - 0.5, np.log(gaps.max()) + 0.5
    grid = np.linspace(low, high, max(int((high - low) / 0.02), 3))
    step = grid[1] - grid[0]
    counts = np.bincount(
        np.round((np.log(gaps) - low) / step).astype(int), weights=weights, minlength=grid.size
    )
    reach = np.arange(-20, 21) * step
    kernel = np.exp(-0.5 * (reach / 0.12) ** 2)
    density = np.convolve(counts, kernel)[20 : 20 + grid.size]
    centre = float(np.exp(grid[int(np.argmax(np.round(density / density.max(), 9)))]))
    for _ in range(4):
        near = (gaps > 0.65 * centre) & (gaps < 1.35 * centre)
        if not near.any():
            break
        centre = float(np.average(gaps[near], weights=weights[near]))
    return centre


# --- area -------------------------------------------------------------------------------------


def _regular_area(places: Floats, angle: float, gaps: _Gaps) -> float:
    """Count cells of one line spacing by one station spacing; [m2].

    Of a grid without infill every place stands for one cell; where several places share a cell
    around one of them, each stands for its part.
    """
    from scipy.spatial import cKDTree

    along = places @ np.array([np.cos(angle), np.sin(angle)]) / gaps.station
    across = places @ np.array([-np.sin(angle), np.cos(angle)]) / gaps.line
    cell = np.column_stack([along, across])
    # a hair aside, so that of two places half a cell away on either side one counts
    here = cKDTree(cell).query_ball_point(cell + 1e-4, 0.5, p=np.inf, return_length=True)
    return float(np.sum(1.0 / here)) * gaps.line * gaps.station


def _irregular_area(places: Floats, nearest: float) -> float:
    """Sum the Delaunay triangles that are not wide open; [m2].

    Nearly all triangles of random points have a circumscribed radius below four times the
    median distance to the nearest neighbour.
    """
    from scipy.spatial import Delaunay, QhullError

    if len(places) < 4 or not nearest > 0:
        return len(places) * nearest**2
    try:
        corner = places[Delaunay(places).simplices]
    except QhullError:  # all in one row
        return len(places) * nearest**2
    a = np.linalg.norm(corner[:, 1] - corner[:, 0], axis=1)
    b = np.linalg.norm(corner[:, 2] - corner[:, 1], axis=1)
    c = np.linalg.norm(corner[:, 0] - corner[:, 2], axis=1)
    u, v = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    area = 0.5 * np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    with np.errstate(divide="ignore", invalid="ignore"):
        radius = a * b * c / (4.0 * area)
    inside = np.isfinite(radius) & (radius < 4.0 * nearest)
    return float(max(area[inside].sum(), len(places) * nearest**2))
