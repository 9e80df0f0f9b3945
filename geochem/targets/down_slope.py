"""Does an anomaly run down the slope instead of being a halo.

Water washes the waste of old workings down the nearest hollow long before it reaches a stream
that a map shows. Samples carry elevations, so the way of the water from a summit can be traced:
uphill to where the waste may lie, downhill to where it may have got. The scores are explained
twice, each time with one free strength: as a halo (a bell, round or stretched in any direction),
and as a strip along that way which begins somewhere above the summit and fades downhill. The gain
of each is the logarithm of how much more likely it makes the scores than background does; the
margin is the gain of the strip less that of the halo. A vein that happens to run down the slope
looks the same: what is taken for washed stays on the map as a lead to look at.

Elevations of a hand-held receiver are good to a few metres and steps between samples are large, so
the slope is read from a surface of the second order through the samples around, on two sizes.

What lives here: arrays in, margins out. What does not: lines on the map (`along_lines`), what a
target makes of it (`standing_out`). Common practice of the trade, no source for the sizes, which
were chosen on simulated surveys.
Test to copy: `tests/targets/test_down_slope.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.targets.along_lines import SHARED, halo_gain

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

DOWN_THE_SLOPE = "what water washed down the slope (waste of old workings, sediment)"
#: standard deviation of the weights around a point, in mean spacings, and how many samples count
SIZES = ((1.4, 40), (3.0, 150))
#: length of a step, and how far the way is followed uphill and downhill, in mean spacings
STEP, UPHILL, DOWNHILL = 0.5, 6.0, 15.0
#: half-widths of a strip, where it begins (downhill of the summit is positive), and how far it
#: runs, in mean spacings
WIDTHS, BEGINS, RUNS = (0.42, 0.7, 1.0), (-5.0, -4.0, -3.0, -2.0, -1.0, 0.0), (6.0, 10.0, 15.0)
#: what the choice of a beginning, a width and a size costs
SEARCHED = 1.0
#: samples without an elevation, as a share, from which no slope is read
UNKNOWN = 0.2
#: fewer samples than this around a summit decide nothing
FEWEST = 20


def washed_margins(
    xy: FloatArray,
    elevation: FloatArray,
    scores: FloatArray,
    which: npt.NDArray[np.intp],
    peaks: FloatArray,
    spacing: float,
) -> FloatArray:
    """Say how much better a strip down the slope explains each anomaly than a halo.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Samples of one grid. [m]
    elevation : ndarray, shape (n,)
        Of the ground at each; NaN where not known. [m]
    scores : ndarray, shape (n, n_associations)
        About N(0, 1) in background.
    which : ndarray of int, shape (m,)
        Column of the scores that each summit is a summit of.
    peaks : ndarray, shape (m, 2)
        Summits. [m]
    spacing : float
        Mean spacing of the grid. [m]

    Returns
    -------
    ndarray, shape (m,)
        Logarithm of a likelihood ratio, less what the search costs; NaN where the elevations or
        the samples do not suffice.

    Examples
    --------
    Samples 100 m apart on a plane that falls to the south; a strip runs down it from the middle.

    >>> east, north = np.meshgrid(np.arange(30) * 100.0, np.arange(30) * 100.0)
    >>> xy = np.column_stack([east.ravel(), north.ravel()])
    >>> height = 0.05 * xy[:, 1]
    >>> strip = 5.0 * ((np.abs(xy[:, 0] - 1500) < 60) & (xy[:, 1] < 1600) & (xy[:, 1] > 600))
    >>> halo = 5.0 * np.exp(-0.5 * ((xy - 1500) ** 2).sum(axis=1) / 200**2)
    >>> summit = np.array([[1500.0, 1500.0]])
    >>> scores, twice = np.column_stack([strip, halo]), np.vstack([summit, summit])
    >>> margin = washed_margins(xy, height, scores, np.array([0, 1]), twice, 100.0)
    >>> bool(margin[0] > 5), bool(margin[1] < -5)
    (True, True)
    """
    known = np.isfinite(elevation)
    out = np.full(len(peaks), np.nan)
    if not len(peaks) or (~known).mean() > UNKNOWN or known.sum() < FEWEST:
        return out
    from scipy.spatial import cKDTree

    here = xy[known] / spacing
    tree, every = cKDTree(here), cKDTree(xy / spacing)
    start = peaks / spacing
    ways = []
    for size, most in SIZES:
        up = _way(tree, here, elevation[known], start, size, most, UPHILL, 1.0)
        down = _way(tree, here, elevation[known], start, size, most, DOWNHILL, -1.0)
        ways.append([(u, d) for u, d in zip(up, down, strict=True)])
    for k, near in enumerate(every.query_ball_point(start, DOWNHILL + 1.0)):
        if len(near) < FEWEST:
            continue
        rows = np.sort(near)
        score = np.nan_to_num(scores[rows, which[k]])
        offset = xy[rows] / spacing - start[k]
        strip = max(_strip_gain(xy[rows] / spacing, score, *way[k]) for way in ways)
        out[k] = (strip - halo_gain(offset, score)) / SHARED - SEARCHED
    return out


def _way(
    tree: object,
    xy: FloatArray,
    elevation: FloatArray,
    start: FloatArray,
    size: float,
    most: int,
    far: float,
    sign: float,
) -> list[FloatArray]:
    """Follow the slope from every start, up (`sign` 1) or down (-1); stop in a pit, on a top."""
    points = [start]
    alive = np.ones(len(start), dtype=bool)
    last = np.ones(len(start), dtype=np.intp)
    for step in range(round(far / STEP)):
        now = points[-1].copy()
        move = np.zeros_like(now)
        move[alive] = _uphill(tree, xy, elevation, now[alive], size, most)
        now += sign * STEP * move
        # to and fro across a pit or a top: less than a step away from where it was before
        turned = np.zeros(len(start), dtype=bool)
        if step > 1:
            turned = np.hypot(*(now - points[-2]).T) < STEP
        alive &= ~turned & (np.abs(move).sum(axis=1) > 0)
        now[~alive] = points[-1][~alive]
        points.append(now)
        last[alive] = len(points)
        if not alive.any():
            break
    path = np.stack(points, axis=1)
    return [path[k, : last[k]] for k in range(len(start))]


def _uphill(
    tree: object, xy: FloatArray, elevation: FloatArray, at: FloatArray, size: float, most: int
) -> FloatArray:
    """Give the direction of the steepest rise, of length 1; 0 where there is none."""
    distance, near = tree.query(at, k=min(most, len(xy)))  # type: ignore[attr-defined]
    d = xy[near] - at[:, None, :]
    weight = np.exp(-0.5 * (distance / size) ** 2)
    terms = np.stack(
        [np.ones_like(distance), d[..., 0], d[..., 1], d[..., 0] ** 2, d[..., 0] * d[..., 1],
         d[..., 1] ** 2], axis=-1,
    )  # fmt: skip
    level = elevation[near] - elevation[near].mean(axis=1, keepdims=True)
    weighted = terms * weight[..., None]
    square = np.swapaxes(terms, 1, 2) @ weighted + 1e-6 * np.eye(6)
    slope = np.linalg.solve(square, (np.swapaxes(weighted, 1, 2) @ level[..., None]))[:, 1:3, 0]
    steep = np.hypot(*slope.T)[:, None]
    return np.where(steep > 1e-9, slope / np.maximum(steep, 1e-9), 0.0)


def _strip_gain(xy: FloatArray, score: FloatArray, up: FloatArray, down: FloatArray) -> float:
    """Give the gain of the best strip along the way."""
    import shapely
    from scipy.spatial import cKDTree

    way = np.vstack([up[::-1], down[1:]])
    if len(way) < 3:
        return 0.0
    # beyond three of its widths a strip is nothing
    beside = cKDTree(way).query(xy, distance_upper_bound=3.0 * max(WIDTHS) + STEP)[0]
    xy, score = xy[np.isfinite(beside)], score[np.isfinite(beside)]
    line = shapely.LineString(way)
    points = shapely.points(xy)
    off = shapely.distance(points, line)
    along = shapely.line_locate_point(line, points) - STEP * (len(up) - 1)
    # every width with every fading at once: the shapes are their products
    near = np.exp(-((off[None, :] / np.array(WIDTHS)[:, None]) ** 2))
    begin, run = (grid.ravel()[:, None] for grid in np.meshgrid(BEGINS, RUNS))
    fading = np.clip(1.0 - (along - begin) / run, 0.0, 1.0) * (along >= begin - STEP)
    likeness = np.maximum((near * score) @ fading.T, 0.0)
    size = near**2 @ (fading**2).T
    return float((likeness**2 / np.maximum(2.0 * size, 1e-12)).max())
