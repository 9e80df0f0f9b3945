"""Intervals of a York line by drawing its pairs again."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall

#: numbers of each array that are worked on together
_TOGETHER = 50_000
Floats = npt.NDArray[np.float64]


def york_bootstrap(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    x_err: npt.ArrayLike,
    y_err: npt.ArrayLike,
    *,
    draws: int = 400,
    confidence: float = 0.9,
    seed: int = 1,
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Give intervals of slope and intercept by the bootstrap of pairs.

    Unlike the standard errors of `york` they hold the scatter that is really there, whatever the
    stated errors say.

    Parameters
    ----------
    x, y, x_err, y_err : array_like, shape (n_pairs,)
        As `york` takes them, at least five pairs.
    draws : int, default 400
        Sets of pairs drawn.
    confidence : float, default 0.9
        Two-sided. [-]
    seed : int, default 1
        Of the draws.

    Returns
    -------
    slope, intercept : tuple of float
        Low and high each. Half the width of the percentile interval is widened by
        ``sqrt(n / (n - 2)) t / z``: of few pairs the plain percentiles are too narrow.

    Raises
    ------
    WrongCall
        If fewer than five pairs came.

    References
    ----------
    .. [1] Efron, Tibshirani 1993, An introduction to the bootstrap, chapters 9 and 13; widening:
       Hesterberg 2015, The American Statistician 69:371-386.
    """
    from scipy.stats import norm, t

    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    wx = 1.0 / np.broadcast_to(np.asarray(x_err, dtype=float), xs.shape) ** 2
    wy = 1.0 / np.broadcast_to(np.asarray(y_err, dtype=float), ys.shape) ** 2
    n = len(xs)
    if n < 5:
        raise WrongCall(f"{n} pairs came; drawing them again needs at least 5.")
    rng = np.random.default_rng(seed)
    at = np.vstack([np.arange(n), rng.integers(0, n, (draws, n))])
    # Few rows at a time stay in the cache of the processor: more than twice as fast.
    several = np.array_split(at, max(1, at.size // _TOGETHER))
    done = [_york_rows(xs[a], ys[a], wx[a], wy[a]) for a in several]
    slope, intercept = np.concatenate(done, axis=1)
    tail = (1 - confidence) / 2
    wider = np.sqrt(n / (n - 2)) * t.isf(tail, n - 2) / norm.isf(tail)
    out = []
    for found in (slope, intercept):
        good = found[1:][np.isfinite(found[1:])]
        if len(good) < draws / 2:
            out.append((float("nan"), float("nan")))
            continue
        low, high = np.quantile(good, [tail, 1 - tail])
        out.append(
            (
                float(found[0] - wider * (found[0] - low)),
                float(found[0] + wider * (high - found[0])),
            )
        )
    return out[0], out[1]


def _york_rows(x: Floats, y: Floats, wx: Floats, wy: Floats) -> tuple[Floats, Floats]:
    """Fit one York line per row; rows whose x are all the same give NaN."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.median(wx / wy, axis=1)
        u, v = x - x.mean(axis=1, keepdims=True), y - y.mean(axis=1, keepdims=True)
        sxx, syy, sxy = (u * u).sum(axis=1), (v * v).sum(axis=1), (u * v).sum(axis=1)
        gap = syy - ratio * sxx
        slope = (gap + np.sqrt(gap**2 + 4 * ratio * sxy**2)) / (2 * sxy)
        x_bar = y_bar = np.zeros(len(x))
        for _ in range(60):
            b = slope[:, None]
            weight = wx * wy / (wx + b**2 * wy)
            total = weight.sum(axis=1)
            x_bar, y_bar = (weight * x).sum(axis=1) / total, (weight * y).sum(axis=1) / total
            u, v = x - x_bar[:, None], y - y_bar[:, None]
            beta = weight * (u / wy + b * v / wx)
            new = (weight * beta * v).sum(axis=1) / (weight * beta * u).sum(axis=1)
            still = np.abs(new - slope) > 1e-9 * np.abs(new)
            slope = new
            if not still.any():
                break
    return slope, y_bar - slope * x_bar
