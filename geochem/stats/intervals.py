"""Intervals of thresholds that cost little: a small bootstrap, or draws of order statistics.

Up to `FEW` values the statistic is computed anew on resamples. Above, quantiles are drawn from
their large-sample joint distribution and read off the ordered values, which costs the same for a
thousand values as for a million. Values are sorted first, so row order does not matter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING

import numpy as np

from geochem.stats.declustering import effective_n

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

FEW = 300
_DRAWS = 200
#: values of a resample at least, however alike neighbours are
_LEAST = 8
_SEED = 20240


_POINT_ONLY: ContextVar[bool] = ContextVar("point_only", default=False)


@contextmanager
def point_only() -> Iterator[None]:
    """Leave out draws that cost time: intervals are then NaN or of no width."""
    token = _POINT_ONLY.set(True)
    try:
        yield
    finally:
        _POINT_ONLY.reset(token)


def wanted() -> bool:
    """Say whether intervals are wanted."""
    return not _POINT_ONLY.get()


def resamples(x: Array, weights: Array | None = None, *, inflation: float = 1.0) -> Array:
    """Draw bootstrap samples of values, with probability in proportion to their weights.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Finite values.
    weights : ndarray, shape (n,), optional
        Zero or more; samples then have the effective number of values.
    inflation : float, default 1
        How much wider intervals are because values are not independent: so many times fewer values,
        squared, are drawn from. Multiplying the draws instead would blow up the steps of rounding.

    Returns
    -------
    ndarray, shape (200, m)
        The same draws for the same values.
    """
    rng = np.random.default_rng(_SEED)
    if weights is None:
        x = np.sort(x)
        m = max(_LEAST, round(x.size / inflation**2)) if inflation > 1 else x.size
        return np.asarray(x[rng.integers(0, x.size, (_DRAWS, m))])
    order = np.lexsort((weights, x))
    x, w = x[order], weights[order]
    m = max(2 if inflation == 1 else _LEAST, round(effective_n(w) / inflation**2))
    cumulative = np.cumsum(w) / w.sum()
    place = np.searchsorted(cumulative, rng.random((_DRAWS, m)), side="right")
    return np.asarray(x[np.minimum(place, x.size - 1)])


def quantile_draws(
    x: Array, probabilities: list[float], weights: Array | None = None, *, inflation: float = 1.0
) -> Array:
    """Draw what the quantiles of other samples like this one would be.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Finite values.
    probabilities : list of float
        Which quantiles, ascending.
    weights : ndarray, shape (n,), optional
        Zero or more.
    inflation : float, default 1
        How much wider intervals are because values are not independent: so many times fewer values,
        squared, are drawn from. Multiplying the draws instead would blow up the steps of rounding.

    Returns
    -------
    ndarray, shape (200, m)
        Drawn quantiles.

    References
    ----------
    .. [1] Bahadur 1966, A note on quantiles in large samples, Ann. Math. Stat. 37:577-580.
    """
    from geochem.stats.robust import weighted_quantile

    p = np.asarray(probabilities)
    n = float(x.size) if weights is None else effective_n(weights)
    covariance = (np.minimum.outer(p, p) - np.outer(p, p)) / n * inflation**2
    u = p + _normals(covariance)
    u = np.sort(np.clip(u, 0, 1), axis=1)
    return weighted_quantile(x, u.ravel(), weights).reshape(u.shape)


def median_mad_draws(
    x: Array, weights: Array | None = None, *, inflation: float = 1.0
) -> tuple[Array, Array]:
    """Draw what median and scaled MAD of other samples like this one would be.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Finite values.
    weights : ndarray, shape (n,), optional
        Zero or more.
    inflation : float, default 1
        How much wider intervals are because values are not independent: so many times fewer values,
        squared, are drawn from. Multiplying the draws instead would blow up the steps of rounding.

    Returns
    -------
    median, mad : ndarray, shape (200,)
        Drawn together.
    """
    from geochem.stats.robust import MAD_SCALE, mad, median, weighted_quantile

    if x.size <= FEW:
        draws = resamples(x, weights, inflation=inflation)
        middle = np.median(draws, axis=1)
        return middle, MAD_SCALE * np.median(np.abs(draws - middle[:, None]), axis=1)
    middle0, spread0 = median(x, weights), mad(x, weights, scaled=False)
    w = np.ones(x.size) if weights is None else weights
    n = effective_n(w)
    both = float(w[(x <= middle0) & (x >= middle0 - spread0)].sum() / w.sum())
    covariance = np.array([[0.25, both - 0.25], [both - 0.25, 0.25]]) / n * inflation**2
    u = np.clip(0.5 + _normals(covariance), 0, 1)
    middle = weighted_quantile(x, u[:, 0], weights)
    spread = weighted_quantile(np.abs(x - middle0), u[:, 1], weights)
    return middle, MAD_SCALE * spread


def expensive_draws(
    n: int,
    weights: Array | None,
    statistic: Callable[[npt.NDArray[np.intp]], float],
    *,
    draws: int = 60,
    most: int = 2000,
) -> Array:
    """Draw a statistic that costs too much to be had from whole resamples.

    Above `most` values smaller samples are drawn and their spread is scaled down by the root of
    how much smaller they are.

    Parameters
    ----------
    n : int
        How many sorted values there are.
    weights : ndarray, shape (n,), optional
        Of them.
    statistic : callable
        Gets the sorted places of a resample, gives a number.
    draws : int, default 60
        How many.
    most : int, default 2000
        Size of a resample at most.

    Returns
    -------
    ndarray, shape (draws,)
        Departures from their median, spread as those of whole resamples.

    References
    ----------
    .. [1] Bickel, Goetze & van Zwet 1997, Resampling fewer than n observations, Statistica Sinica
       7:1-31.
    """
    if _POINT_ONLY.get():
        return np.full(1, np.nan)
    rng = np.random.default_rng(_SEED)
    size = float(n) if weights is None else effective_n(weights)
    m = max(2, min(round(size), most))
    cumulative = None if weights is None else np.cumsum(weights) / weights.sum()
    out = np.empty(draws)
    for i in range(draws):
        if cumulative is None:
            at = np.sort(rng.integers(0, n, m))
        else:
            at = np.searchsorted(cumulative, np.sort(rng.random(m)), side="right")
        out[i] = statistic(np.minimum(at, n - 1))
    if not np.isfinite(out).any():
        return np.full(1, np.nan)
    return np.asarray((out - np.nanmedian(out)) * np.sqrt(m / size))


def interval(draws: Array) -> tuple[float, float]:
    """Give the 5 % and 95 % quantiles of draws.

    Parameters
    ----------
    draws : ndarray
        Any number.

    Returns
    -------
    low, high : float
        NaN when no draw is finite.
    """
    ok = draws[np.isfinite(draws)]
    if ok.size == 0:
        return float("nan"), float("nan")
    low, high = np.quantile(ok, [0.05, 0.95])
    return float(low), float(high)


def _normals(covariance: Array) -> Array:
    rng = np.random.default_rng(_SEED)
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0))
    return np.asarray(rng.standard_normal((_DRAWS, len(covariance))) @ root.T)
