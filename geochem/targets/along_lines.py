"""Does an anomaly follow a stream or a road instead of being a halo.

Streams carry tailings and sediment and coat their banks with oxides; roads and fences shed zinc
and lead. Both raise what mineralisation raises, so chemistry cannot tell them; their shape can.
The scores around a summit are explained twice, each time with one free strength: as a bell around
the summit, and as a strip along the line. The gain of each is the logarithm of how much more
likely it makes the scores than background does; the margin is the gain of the strip less that of
the bell. Scores of neighbours are not independent, so gains are divided by what that inflates.

What lives here: arrays and lines in, a margin out. What does not: what a target makes of it
(`standing_out`). Common practice of the trade, no source for the widths.
Test to copy: `tests/targets/test_along_lines.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    from geochem.targets.ground import Ground

    FloatArray = npt.NDArray[np.float64]

#: half-widths of a strip [m], and how far along the line it may reach from the summit [m]
WIDTHS, REACHES = (50.0, 100.0), (400.0, 900.0)
#: sizes of the bell: standard deviation in mean spacings
BELLS = (1.5, 2.2, 3.0)
#: neighbouring scores share so much: gains are divided by it
SHARED = 3.0
#: how far off a sampling line its samples stand, in line spacings; words for what follows one
ON_LINE = 0.3
ALONG_ONE_LINE = "what stands along a single line of samples (a fence, a track, one day's work)"
#: fewer samples inside a strip, or away from it, decide nothing
FEWEST = 4
#: a strip in any direction: half-widths, reaches and shifts along it, in mean spacings; directions
NARROW, LONG, SHIFTS, DIRECTIONS = (0.42, 0.7), (2.8, 5.0), (-3.5, 0.0, 3.5), 12
#: what it is set beside, besides bells: standard deviations along and across, in mean spacings
STRETCHED = ((3.2, 1.4), (2.5, 1.1), (2.1, 1.4))
#: what the choice of a direction and a shift costs
SEARCHED = 1.4
ALONG_A_STRIP = "a narrow strip (washed or blown along a drain or a track, or a vein)"


def along_margin(
    xy: FloatArray, score: FloatArray, peak: FloatArray, spacing: float, line: BaseGeometry
) -> float:
    """Say how much better a strip along a line explains the scores than a bell.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Samples of the grid. [m]
    score : ndarray, shape (n,)
        About N(0, 1) in background.
    peak : ndarray, shape (2,)
        Summit. [m]
    spacing : float
        Mean spacing of the grid. [m]
    line : shapely geometry
        Streams, or roads.

    Returns
    -------
    float
        Logarithm of a likelihood ratio; NaN where too few samples stand beside the line or away
        from it.
    """
    import shapely

    away = np.hypot(*(xy - peak).T)
    rows = np.flatnonzero(away <= max(max(REACHES), 4.0 * spacing))
    if len(rows) < 2 * FEWEST:
        return float("nan")
    distance = shapely.distance(shapely.points(xy[rows]), line)
    near = distance <= max(WIDTHS)
    inside = away[rows] <= 2.5 * spacing
    if (near & inside).sum() < FEWEST or (~near & inside).sum() < FEWEST:
        return float("nan")
    s, r = np.nan_to_num(score[rows]), away[rows]
    bell = max(gain_of(s, np.exp(-0.5 * (r / (b * spacing)) ** 2)) for b in BELLS)
    strip = max(
        gain_of(s, np.exp(-((distance / w) ** 2) - 0.5 * (r / reach) ** 2))
        for w in WIDTHS
        for reach in REACHES
    )
    return (strip - bell) / SHARED


def gain_of(score: FloatArray, shape: FloatArray) -> float:
    """Give the gain of one shape with a free strength that is not negative.

    Parameters
    ----------
    score, shape : ndarray, shape (n,)
        Scores, and what they are explained by.

    Returns
    -------
    float
        Logarithm of a likelihood ratio.

    Examples
    --------
    >>> gain_of(np.array([2.0, 0.0]), np.array([1.0, 0.0]))
    2.0
    """
    along = float(score @ shape)
    return max(along, 0.0) ** 2 / (2.0 * float(shape @ shape))


def follows(
    xy: FloatArray,
    score: FloatArray,
    peak: FloatArray,
    spacing: float,
    lines: Mapping[str, BaseGeometry],
) -> tuple[float, str]:
    """Find the line that explains the scores best.

    Parameters
    ----------
    xy, score, peak, spacing
        As in `along_margin`.
    lines : mapping of str to shapely geometry
        In words, what follows such a line; may be empty.

    Returns
    -------
    margin : float
        Of the best one; NaN where none can be judged.
    what : str
        Its words; empty for NaN.
    """
    best, words = float("nan"), ""
    for what, line in lines.items():
        margin = along_margin(xy, score, peak, spacing, line)
        if np.isfinite(margin) and not margin <= best:
            best, words = margin, what
    return best, words


def sampling_line(ground: Ground, xy: FloatArray, peak: FloatArray) -> dict[str, BaseGeometry]:
    """Give the sampling line through a summit: fences and tracks run along lines.

    Parameters
    ----------
    ground : Ground
        One grid.
    xy : ndarray, shape (n, 2)
        Its samples. [m]
    peak : ndarray, shape (2,)
        Summit. [m]

    Returns
    -------
    dict of str to shapely geometry
        In words, what follows it; empty where the sampling has no lines.
    """
    import shapely

    if not ground.spacing.regular:
        return {}
    across = ground.to_scaled(peak[None, :])[0, 0]
    mine = np.flatnonzero(np.abs(ground.scaled[:, 0] - across) < ON_LINE)
    if len(mine) < FEWEST:
        return {}
    order = mine[np.argsort(ground.scaled[mine, 1], kind="stable")]
    return {ALONG_ONE_LINE: shapely.LineString(xy[order])}


def strip_margin(xy: FloatArray, score: FloatArray, peak: FloatArray, spacing: float) -> float:
    """Say how much better a narrow strip in any direction explains the scores than a halo.

    Tailings below an old working run along a drain that no map shows; so does a vein. The shape
    tells neither, but it tells both from a halo.

    Parameters
    ----------
    xy, score, peak, spacing
        As in `along_margin`.

    Returns
    -------
    float
        Logarithm of a likelihood ratio, less what the search costs; NaN where too few samples
        stand around.
    """
    offset = (xy - peak) / spacing
    away = np.hypot(*offset.T)
    rows = np.flatnonzero(away <= 2.0 * max(LONG))
    if len(rows) < 4 * FEWEST:
        return float("nan")
    s, d = np.nan_to_num(score[rows]), offset[rows]
    strip = 0.0
    for along, across in _turned(d):
        for width in NARROW:
            near = np.exp(-((across / width) ** 2))
            for reach in LONG:
                for shift in SHIFTS:
                    shape = near * np.exp(-0.5 * ((along - shift) / reach) ** 2)
                    strip = max(strip, gain_of(s, shape))
    return (strip - halo_gain(d, s)) / SHARED - SEARCHED


def halo_gain(offset: FloatArray, score: FloatArray) -> float:
    """Give the gain of the best halo: a bell, round or stretched in any direction.

    Parameters
    ----------
    offset : ndarray, shape (n, 2)
        From the summit, in mean spacings.
    score : ndarray, shape (n,)
        About N(0, 1) in background.

    Returns
    -------
    float
        Logarithm of a likelihood ratio.
    """
    away = np.hypot(*offset.T)
    best = max(gain_of(score, np.exp(-0.5 * (away / b) ** 2)) for b in BELLS)
    for along, across in _turned(offset):
        for a, b in STRETCHED:
            shape = np.exp(-0.5 * ((along / a) ** 2 + (across / b) ** 2))
            best = max(best, gain_of(score, shape))
    return best


def _turned(offset: FloatArray) -> list[tuple[FloatArray, FloatArray]]:
    """Give the offsets along and across each direction."""
    return [
        (offset @ np.array([np.cos(a), np.sin(a)]), offset @ np.array([-np.sin(a), np.cos(a)]))
        for a in np.arange(DIRECTIONS) * np.pi / DIRECTIONS
    ]
