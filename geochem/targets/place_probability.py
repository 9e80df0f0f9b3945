"""The probability, for every place, that an association exceeds its local background there.

How it is judged. Places are ordered by their largest filtered value. Beyond a value m the survey
has N(m) places, a simulated barren survey Nb(m), and barren places come in clusters: what of the
survey's own places may be background is the mean over barren surveys of min(Nb, N). The slope of
that number against N, made never to fall as m falls, is the share of background among places of
that value: the local false-discovery rate (Efron et al. 2001, Journal of the American Statistical
Association 96:1151-1160), estimated as Grenander did a falling density (Strimmer 2008, BMC
Bioinformatics 9:303), with clusters counted as they come. What is uncertain of the filtered value
(measurement, limits, weights, levels of batches; `doubt`) is drawn, and what another explanation
has for itself is taken off (`false_discovery.association_chance`).

On the map stand out the places of which, from the most probable down, no more than a tenth is
expected to be background (Newton et al. 2004, Biostatistics 5:155-176; all references from memory).

What lives here: filtered values and barren surveys in, probabilities out. What does not: the barren
surveys (`barren`), what a whole outline is worth (`false_discovery`).
Test to copy: `tests/targets/test_place_probability.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.targets.catchments import Catchments
from geochem.targets.doubt import Doubts
from geochem.targets.false_discovery import FALSE_DISCOVERY, association_chance
from geochem.targets.ground import Ground, Sites
from geochem.targets.null import CUT, LEVELS, Barren, Filtered, Part
from geochem.targets.outlines import Outline

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

#: points of a normal distribution that uncertainty is drawn at
_DRAWN = 9


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """What is known of the place of every sample.

    Parameters
    ----------
    strength : ndarray, shape (n_sites,)
        Largest filtered value, in standard deviations of the background; NaN where no ground or
        catchment could be judged.
    association : ndarray of int, shape (n_sites,)
        Which score that is; -1 where none.
    probability : ndarray, shape (n_sites,)
        That the association exceeds its local background; NaN as `strength`.
    stands_out : ndarray of bool, shape (n_sites,)
        Of those marked, a tenth is expected to be background.
    """

    strength: FloatArray
    association: IntArray
    probability: FloatArray
    stands_out: npt.NDArray[np.bool_]


def judge_places(
    sites: Sites,
    grounds: Sequence[Ground],
    catchments: Catchments | None,
    parts: Sequence[Part],
    filtered: Sequence[Filtered],
    ratios: Sequence[FloatArray],
    barren: Sequence[Barren],
    outlines: Sequence[Outline],
) -> Places:
    """Judge the place of every sample.

    Parameters
    ----------
    sites : Sites
        All samples.
    grounds : sequence of Ground
        Grids; the first parts.
    catchments : Catchments, optional
        The last part, if there is one.
    parts, filtered, ratios, barren : sequence
        Of every part: values and filters, filtered values, what brings them to one spread,
        simulated surveys.
    outlines : sequence of Outline
        Those kept and those explained: what is known of what else an outline may be holds for
        every sample in it.

    Returns
    -------
    Places
        In the order of `sites`.
    """
    n = len(sites.frame)
    strength, probability = np.full(n, np.nan), np.full(n, np.nan)
    association = np.full(n, -1, dtype=np.intp)
    margin = np.full(n, np.nan) if sites.margin is None else sites.margin.copy()
    for outline in outlines:
        margin[outline.sites] = outline.margin
    chance = association_chance(margin)
    for number, part in enumerate(parts):
        values = filtered[number].values
        if not values.size:
            continue
        best = values.argmax(axis=1)
        highest = values[np.arange(len(values)), best]
        noise = np.zeros(len(values))
        high = np.flatnonzero(highest >= CUT)
        if number < len(grounds):
            ground = grounds[number]
            rows, unit = ground.sites, ground.place_of
            doubts = Doubts(sites, ground, part, ratios[number][0])
            scale = filtered[number].scale
            noise[high] = [doubts.of(int(k), int(best[k]), int(scale[k, best[k]])) for k in high]
        else:
            assert catchments is not None
            rows, unit = catchments.sites, catchments.unit
            own = sites.noise[rows, best[unit]] / part.background.spread[best[unit]]
            square, count = (
                np.bincount(unit, weights=w, minlength=len(values)) for w in (own**2, np.ones(len(unit)))
            )  # fmt: skip
            noise = np.sqrt(square) / np.maximum(count, 1.0)
        p = place_probabilities(highest, noise, barren[number])
        strength[rows], association[rows] = highest[unit], best[unit]
        probability[rows] = p[unit] * chance[rows]
    stands = np.zeros(n, dtype=bool)
    known = np.isfinite(probability)
    stands[known] = surest(probability[known])
    return Places(strength, association, probability, stands)


def background_share(values: npt.ArrayLike, barren: Barren) -> FloatArray:
    """Give the share of background among the survey's places of each of `LEVELS`.

    Parameters
    ----------
    values : array_like, shape (m,)
        Largest filtered value of every place of the survey.
    barren : Barren
        Simulated surveys of the same places.

    Returns
    -------
    ndarray, shape (n_levels,)
        0-1, never rising along the levels.
    """
    from scipy.optimize import isotonic_regression

    every = np.sort(np.asarray(values, dtype=float))
    found = len(every) - np.searchsorted(every, LEVELS, side="left")
    chance = np.minimum(barren.beyond, found[None, :]).mean(axis=0)
    # from the highest level down: places that are added, and what of them may be background
    added, by_chance = np.diff(found[::-1], prepend=0), np.diff(chance[::-1], prepend=0.0)
    any_added = added > 0
    if not any_added.any():
        return np.ones(len(LEVELS))
    # a level without a place goes with the next lower one that has some
    group: IntArray = np.cumsum(any_added) - any_added
    n = int(any_added.sum())
    weight = added[any_added].astype(float)
    share = np.bincount(group, weights=by_chance, minlength=n)[:n] / weight
    falling = isotonic_regression(share, weights=weight, increasing=True).x
    return np.asarray(np.clip(falling, 0.0, 1.0)[np.minimum(group, n - 1)][::-1])


def place_probabilities(values: npt.ArrayLike, noise: npt.ArrayLike, barren: Barren) -> FloatArray:
    """Give the probability of every place of one part.

    Parameters
    ----------
    values, noise : array_like, shape (m,)
        Largest filtered value of every place and its standard deviation. [-]
    barren : Barren
        Simulated surveys of the same places.

    Returns
    -------
    ndarray, shape (m,)
        0-1; 0 where a drawn value lies below the cut of outlines.
    """
    m, e = np.asarray(values, dtype=float), np.asarray(noise, dtype=float)
    real = 1.0 - background_share(m, barren)
    at, weight = np.polynomial.hermite_e.hermegauss(_DRAWN)
    drawn = m[:, None] + e[:, None] * at[None, :]
    level = np.searchsorted(LEVELS, drawn, side="right") - 1
    p = np.where(level >= 0, real[np.maximum(level, 0)], 0.0) @ (weight / weight.sum())
    return np.asarray(p)


def surest(probability: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Mark the places of which a tenth at most is expected to be background.

    Parameters
    ----------
    probability : array_like, shape (m,)
        From `place_probabilities`, of all parts together.

    Returns
    -------
    ndarray of bool, shape (m,)
        The most probable ones.

    Examples
    --------
    >>> surest([0.99, 0.2, 0.95, 0.8, 0.6]).tolist()
    [True, False, True, True, False]
    """
    p = np.asarray(probability, dtype=float)
    order = np.argsort(-p, kind="stable")
    mean = np.cumsum(1.0 - p[order]) / np.arange(1, len(p) + 1)
    # places of one probability stand or fall together
    last = np.flatnonzero(mean <= FALSE_DISCOVERY)
    least = p[order[last[-1]]] if len(last) else np.inf
    return np.asarray((p >= least) & (p > 0))
