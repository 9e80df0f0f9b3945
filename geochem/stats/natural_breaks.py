"""Classes of one variable that are as alike within as can be: exact, by dynamic programming."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Classes:
    """The best division.

    Parameters
    ----------
    breaks : ndarray, shape (k - 1,)
        Half way between the values on both sides, ascending.
    within : float
        Share of the variance left within classes. [-]
    """

    breaks: Array
    within: float


def best_classes(
    values: npt.ArrayLike, k: int, weights: npt.ArrayLike | None = None, *, most: int = 400
) -> Classes:
    """Divide values into classes of smallest squared deviation from their means.

    Exact for up to `most` distinct values. More are first gathered in so many bins of equal width,
    each with its own mean: breaks then lie within a bin's width of the best ones. (Written out
    because the one library that is light enough would compile on first use, and because the
    programme is thirty lines.)

    Parameters
    ----------
    values : array_like, shape (n,)
        Missing values are left out.
    k : int
        How many classes.
    weights : array_like, shape (n,), optional
        Zero or more.
    most : int, default 400
        Distinct values or bins.

    Returns
    -------
    Classes
        The division.

    Raises
    ------
    WrongCall
        If there are fewer distinct values than classes.

    References
    ----------
    .. [1] Fisher 1958, On grouping for maximum homogeneity, J. Am. Stat. Assoc. 53:789-798.

    Examples
    --------
    >>> best_classes([1, 2, 3, 10, 11, 12, 30], 3).breaks.tolist()
    [6.5, 21.0]
    """
    x = np.asarray(values, dtype=float).ravel()
    w = np.ones(x.size) if weights is None else np.asarray(weights, dtype=float).ravel()
    keep = np.isfinite(x) & (w > 0)
    x, w = x[keep], w[keep]
    order = np.lexsort((w, x))
    x, w = x[order], w[order]
    first = np.flatnonzero(np.append(True, x[1:] != x[:-1])) if x.size else np.zeros(0, dtype=int)
    if first.size < k or k < 1:
        raise WrongCall(f"{first.size} distinct values cannot be divided into {k} classes.")
    low, mass = x[first], np.add.reduceat(w, first)
    high = low
    mean = low
    if first.size > most:
        width = (x[-1] - x[0]) / most
        place = np.minimum(((low - x[0]) / width).astype(int), most - 1)
        start = np.flatnonzero(np.append(True, place[1:] != place[:-1]))
        total = np.add.reduceat(mass, start)
        mean = np.add.reduceat(mass * low, start) / total
        low, high = low[start], low[np.append(start[1:], low.size) - 1]
        mass = total
    cuts, left = _divide(mean, mass, k)
    spread = float(mass @ (mean - float(np.average(mean, weights=mass))) ** 2)
    return Classes((high[cuts - 1] + low[cuts]) / 2, left / spread if spread > 0 else 0.0)


def _divide(x: Array, w: Array, k: int) -> tuple[npt.NDArray[np.intp], float]:
    """First place of every class but the lowest, and the sum of squares left."""
    n = x.size
    u = x - float(np.average(x, weights=w))
    s0, s1, s2 = (np.append(0.0, np.cumsum(w * u**p)) for p in (0, 1, 2))
    # cost[i, j]: squares of values i to j - 1 about their mean
    with np.errstate(divide="ignore", invalid="ignore"):
        d0 = s0[None, :] - s0[:, None]
        cost = (s2[None, :] - s2[:, None]) - (s1[None, :] - s1[:, None]) ** 2 / d0
    cost = np.where(
        np.arange(n + 1)[None, :] > np.arange(n + 1)[:, None], np.maximum(cost, 0), np.inf
    )
    best = cost[0].copy()
    came: list[npt.NDArray[np.intp]] = []
    for _class in range(1, k):
        total = best[:, None] + cost
        came.append(np.argmin(total, axis=0))
        best = np.min(total, axis=0)
    cuts = []
    end = n
    for step in reversed(came):
        end = int(step[end])
        cuts.append(end)
    return np.array(cuts[::-1], dtype=np.intp), float(best[n])
