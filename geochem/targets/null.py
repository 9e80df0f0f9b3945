"""The barren survey that outlines are judged against.

What lives here: the background of each score (spread and variogram, robust against the anomalous
tail) and the filtering that the real survey and the barren ones share. What does not: the barren
surveys themselves (`barren`), outlines of the real survey (`outlines`), what a strength is worth
(`false_discovery`).

How it is judged. All scores that compete are simulated together, with their correlation; at each
place the largest filtered value of all of them and of all halo sizes counts, so the multiplicity
of scores, sizes and places is in the null itself. An outline's strength is its highest filtered
value; what it is worth is decided in `false_discovery`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from geochem.stats.threads import in_threads
from geochem.stats.variogram import experimental_variogram, fit_variogram

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

Kind = TypeVar("Kind", bound=np.floating[Any])

#: scores are drawn in to these limits [-]
LOWEST, HIGHEST = -2.5, 5.0
#: the same for scores that few samples have: no single one may decide
SECOND_HIGHEST = 3.0
#: above the first, a score may exceed the highest one beside it by the second at most, so that no
#: single sample carries an outline [-]
LONELY, ABOVE_NEXT = 2.0, 1.0
#: the background is measured on scores drawn in to this [-]
BACKGROUND_HIGHEST = 3.0
#: filtered value from which a place may belong to an outline [-]
CUT = 2.0
#: filtered values at and above which the places of barren surveys are counted
LEVELS = np.arange(CUT, 12.0, 0.05)
#: places and lines that an outline needs at least
LEAST_PLACES, LEAST_LINES = 3, 2
#: reach of the variogram of the background, in mean spacings
REACH = 8.0
#: rows that one thread works on
_ROWS = 4000


@dataclass(frozen=True, slots=True, eq=False)
class Background:
    """How the scores of one part behave where nothing is.

    Parameters
    ----------
    centre, spread : ndarray, shape (n_associations,)
        Median and robust standard deviation of the scores.
    nugget : ndarray, shape (n_associations,)
        Share of the variance without continuity. [-]
    range_m : ndarray, shape (n_associations,)
        Range parameter of the exponential rest. [m]
    correlation : ndarray, shape (n_associations, n_associations)
        Between the scores.
    """

    centre: FloatArray
    spread: FloatArray
    nugget: FloatArray
    range_m: FloatArray
    correlation: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One grid, or the catchments of a stream survey, ready to be judged.

    Parameters
    ----------
    label : str
        For people.
    metres : ndarray, shape (p, 2)
        Places of the values. [m]
    count : ndarray, shape (p,)
        Samples at each.
    values : ndarray, shape (p, n_associations)
        Winsorised scores in standard deviations of the background.
    background : Background
        Of the scores.
    operators : list of scipy.sparse.csr_array, shape (m, p)
        Filters; each gives variance 1 in the background.
    edges : ndarray of int, shape (e, 2)
        Which of the m units are neighbours.
    line : ndarray of int, shape (m,)
        Line of each unit.
    beside : ndarray of int, shape (p, k)
        Places beside each place, padded with its own number.
    least_places, least_lines : int
        What an outline needs.
    second : SecondLayer, optional
        What a part of the samples tells beyond `values`.
    gain : ndarray, shape (n_scales, m)
        Filtered value that a halo of height 1 gives.
    """

    label: str
    metres: FloatArray
    count: FloatArray
    values: FloatArray
    background: Background
    operators: Sequence[Any]
    edges: IntArray
    line: IntArray
    beside: IntArray
    least_places: int = LEAST_PLACES
    least_lines: int = LEAST_LINES
    second: SecondLayer | None = None
    gain: FloatArray = field(default_factory=lambda: np.empty((0, 0)))


@dataclass(frozen=True, slots=True, eq=False)
class SecondLayer:
    """Scores that only some places have (laboratory values), filtered beside the dense ones.

    Parameters
    ----------
    metres : ndarray, shape (q, 2)
        Places of the values. [m]
    values : ndarray, shape (q, n_associations)
        Winsorised scores in standard deviations of their background.
    background : Background
        Of these scores.
    operators : list of scipy.sparse.csr_array, shape (m, q)
        Filters onto the m units of the part; each gives variance 1 in the background.
    share : ndarray, shape (n_scales, m, n_associations)
        Weight of the filtered value beside the dense one, 0-1: the square root of its part in
        what both tell of a halo there. The dense one has the rest, squares adding up to 1.
    """

    metres: FloatArray
    values: FloatArray
    background: Background
    operators: Sequence[Any]
    share: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Filtered:
    """Filtered scores of the real survey.

    Parameters
    ----------
    values : ndarray, shape (m, n_associations)
        Largest over the halo sizes, in standard deviations of the background.
    scale : ndarray of int, shape (m, n_associations)
        Which size that was.
    """

    values: FloatArray
    scale: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Barren:
    """What simulated barren surveys showed.

    Parameters
    ----------
    draws : int
        Surveys.
    strongest : ndarray, shape (draws,)
        Strongest outline of each; 0 where there was none.
    peaks : ndarray
        Strength of every outline of every survey, ascending.
    beyond : ndarray of int, shape (draws, n_levels)
        Places of each survey at or above each of `LEVELS`.
    """

    draws: int
    strongest: FloatArray
    peaks: FloatArray
    beyond: npt.NDArray[np.int64] = field(
        default_factory=lambda: np.zeros((1, len(LEVELS)), dtype=np.int64)
    )

    def expected(self, strength: npt.ArrayLike) -> FloatArray:
        """Give the mean number of barren outlines per survey that are at least so strong."""
        below = np.searchsorted(self.peaks, np.asarray(strength, dtype=float), side="left")
        return (len(self.peaks) - below) / max(self.draws, 1)


def describe_background(
    metres: FloatArray, scores: FloatArray, spacing: float, exclude: npt.NDArray[np.bool_]
) -> Background:
    """Measure spread, continuity and correlation of the scores of one part.

    Parameters
    ----------
    metres : ndarray, shape (p, 2)
        Places. [m]
    scores : ndarray, shape (p, n_associations)
        As they came.
    spacing : float
        Mean spacing. [m]
    exclude : ndarray of bool, shape (p,)
        Places inside outlines already found: they are no background.

    Returns
    -------
    Background
        Of winsorised scores.
    """
    n = scores.shape[1]
    kept = scores[~exclude] if (~exclude).sum() >= 30 else scores
    where = metres[~exclude] if (~exclude).sum() >= 30 else metres
    centre = np.median(kept, axis=0)
    spread = 1.4826 * np.median(np.abs(kept - centre), axis=0)
    spread = np.where(spread > 1e-6, spread, np.maximum(kept.std(axis=0), 1e-6))
    # the calibrated score has unit spread: a flat one must not be blown up
    spread = np.maximum(spread, 0.3)
    drawn = np.clip((kept - centre) / spread, LOWEST, BACKGROUND_HIGHEST)
    nugget, range_m = np.ones(n), np.full(n, spacing)
    for j in range(n):
        experimental = experimental_variogram(
            where, drawn[:, j], cutoff=REACH * spacing, n_bins=12, max_points=3000
        )
        fitted = fit_variogram(experimental, "exponential", max_range=2 * REACH * spacing)
        if np.isfinite(fitted.sill) and fitted.sill > 0:
            nugget[j] = np.clip(fitted.nugget / fitted.sill, 0.0, 1.0)
            range_m[j] = max(fitted.range_m, 0.1 * spacing)
            # what varies only beyond the reach of the filter is no part of the spread
            spread[j] *= np.sqrt(np.clip(fitted.sill, 0.5, 1.1))
    drawn = np.clip((kept - centre) / spread, LOWEST, BACKGROUND_HIGHEST)
    correlation = np.eye(n)
    if n > 1 and len(drawn) > 2:
        deviation = drawn.std(axis=0)
        live = deviation > 1e-9
        correlation[np.ix_(live, live)] = np.atleast_2d(np.corrcoef(drawn[:, live].T))
        np.fill_diagonal(correlation, 1.0)
    return Background(centre, spread, nugget, range_m, correlation)


def standardised(scores: FloatArray, background: Background) -> FloatArray:
    """Give winsorised scores in standard deviations of the background."""
    return np.clip((scores - background.centre) / background.spread, LOWEST, HIGHEST)


def without_spikes(values: npt.NDArray[Kind], beside: IntArray) -> npt.NDArray[Kind]:
    """Draw single high values in toward the highest one beside them.

    Parameters
    ----------
    values : ndarray, shape (p, ...)
        Scores at places.
    beside : ndarray of int, shape (p, k)
        Places beside each place, padded with its own number.

    Returns
    -------
    ndarray, shape as `values`
        A value above 2 is at most 1 higher than the highest value beside it, but not below 2.

    Examples
    --------
    >>> line = np.array([[1, 0], [0, 2], [1, 3], [2, 3]])
    >>> without_spikes(np.array([0.0, 4.0, 0.5, 0.0]), line).tolist()
    [0.0, 2.0, 0.5, 0.0]
    >>> without_spikes(np.array([0.0, 4.0, 3.5, 0.0]), line).tolist()
    [0.0, 4.0, 3.5, 0.0]
    """
    flat = values.reshape(len(values), -1)

    def drawn_in(first: int) -> tuple[IntArray, IntArray, npt.NDArray[Kind]]:
        place, column = np.nonzero(flat[first : first + _ROWS] > LONELY)
        place += first
        near = beside[place]
        around = np.where(near == place[:, None], -np.inf, flat[near, column[:, None]])
        highest = around.max(axis=1, initial=-np.inf) + ABOVE_NEXT
        return place, column, np.minimum(flat[place, column], np.maximum(highest, LONELY))

    found = in_threads(drawn_in, range(0, len(flat), _ROWS))
    out = flat.copy()
    for place, column, value in found:
        out[place, column] = value
    return out.reshape(values.shape)


def places_beside(n: int, edges: IntArray) -> IntArray:
    """Turn edges into a table of neighbours, padded with each place's own number."""
    i = np.concatenate([edges[:, 0], edges[:, 1]])
    j = np.concatenate([edges[:, 1], edges[:, 0]])
    order = np.lexsort([j, i])
    i, j = i[order], j[order]
    count = np.bincount(i, minlength=n)
    out = np.repeat(np.arange(n)[:, None], max(int(count.max(initial=0)), 1), axis=1)
    out[i, np.arange(len(i)) - np.repeat(np.cumsum(count) - count, count)] = j
    return out


def filter_part(part: Part, ratio: FloatArray) -> Filtered:
    """Filter the real scores of a part.

    Parameters
    ----------
    part : Part
        Values and filters.
    ratio : ndarray, shape (n_layers, n_scales, n_associations)
        Standard deviation of filtered barren values, from `simulate_barren`.

    Returns
    -------
    Filtered
        Largest over the sizes.
    """
    every = np.stack([w @ part.values for w in part.operators]) / ratio[0][:, None, :]
    if part.second is not None:
        more = np.stack([w @ part.second.values for w in part.second.operators])
        every = together(every, more / ratio[1][:, None, :], part.second.share)
    scale = every.argmax(axis=0)
    return Filtered(np.take_along_axis(every, scale[None], axis=0)[0], scale)


def together(
    dense: npt.NDArray[Kind], second: npt.NDArray[Kind], share: npt.NDArray[Kind]
) -> npt.NDArray[Kind]:
    """Add filtered values of two layers, each of variance 1, by what they tell."""
    return np.sqrt(1.0 - share**2) * dense + share * second
