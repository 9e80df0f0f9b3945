"""Coordinates of a normal probability plot, with limits and weights allowed for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.stats.censored import kaplan_meier_steps

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class ProbabilityPositions:
    """Plotting positions of detected values, ascending.

    Parameters
    ----------
    values : ndarray, shape (m,)
        Scale of the input.
    probability : ndarray, shape (m,)
        Share below, half of the own share included; declustered, limits allowed for.
    normal_score : ndarray, shape (m,)
        Normal quantile of `probability`.
    """

    values: Array
    probability: Array
    normal_score: Array


def probability_positions(
    values: npt.ArrayLike,
    *,
    below: npt.ArrayLike | None = None,
    weights: npt.ArrayLike | None = None,
    most: int = 2000,
) -> ProbabilityPositions:
    """Give the coordinates of a normal probability plot.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values, and limits where `below`; take logarithms first for a lognormal plot.
    below : array_like of bool, shape (n,), optional
        True where the value is a limit: it shifts the positions of the others (Kaplan-Meier).
    weights : array_like, shape (n,), optional
        Declustering weights.
    most : int, default 2000
        More distinct values are thinned evenly along the normal scores; both ends are kept.

    Returns
    -------
    ProbabilityPositions
        Of the distinct detected values.

    References
    ----------
    .. [1] Sinclair 1976, Applications of probability graphs in mineral exploration, Association of
       Exploration Geochemists Special Volume 4.
    """
    from scipy.special import ndtri

    distinct, cdf, mass = kaplan_meier_steps(values, below, weights)
    if distinct.size == 0:
        return ProbabilityPositions(distinct, distinct, distinct)
    hidden = cdf - mass
    probability = np.clip(hidden + mass / 2, 1e-9, 1 - 1e-9)
    score = ndtri(probability)
    if distinct.size > most:
        grid = np.linspace(score[0], score[-1], most // 2)
        ranks = np.linspace(0, distinct.size - 1, most - most // 2).round().astype(int)
        pick = np.unique(np.append(np.searchsorted(score, grid).clip(0, score.size - 1), ranks))
        distinct, probability, score = distinct[pick], probability[pick], score[pick]
    return ProbabilityPositions(distinct, probability, score)
