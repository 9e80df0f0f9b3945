"""Drift: slope of many short series with pooled error, change point, correction between standards.

Series are readings of standards relative to their usual value, over time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class GroupedLines:
    """One weighted straight line per group; the scatter is pooled over the groups of a pool.

    Parameters
    ----------
    slope, level : ndarray, shape (n_groups,)
        Slope, and value at `middle`; NaN where all times are the same.
    middle, span : ndarray, shape (n_groups,)
        Weighted mean time and range of times.
    slope_se, level_se : ndarray, shape (n_groups,)
        One standard error each.
    n : ndarray of int, shape (n_groups,)
        Points per group.
    freedom : ndarray, shape (n_groups,)
        Degrees of freedom of the pooled scatter.
    """

    slope: Floats
    level: Floats
    middle: Floats
    span: Floats
    slope_se: Floats
    level_se: Floats
    n: npt.NDArray[np.intp]
    freedom: Floats

    def p_slope(self) -> Floats:
        """Give the two-sided p of no slope."""
        from scipy.stats import t

        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(2 * t.sf(np.abs(self.slope / self.slope_se), self.freedom))

    def half_width(self, confidence: float = 0.9) -> Floats:
        """Give half the width of the interval of the slope."""
        from scipy.stats import t

        return np.asarray(t.isf((1 - confidence) / 2, self.freedom) * self.slope_se)


def grouped_lines(
    group: npt.ArrayLike,
    time: npt.ArrayLike,
    value: npt.ArrayLike,
    weight: npt.ArrayLike,
    pool: npt.ArrayLike,
) -> GroupedLines:
    """Fit a line to every group at once.

    Short series (four readings of standards in a day) tell their own scatter badly, so the
    residuals of all groups of one pool (an instrument and element) are put together.

    Parameters
    ----------
    group : array_like of int, shape (n,)
        Number of the group of each point, from 0 without gaps.
    time, value, weight : array_like, shape (n,)
        Finite; weights above zero, proportional to 1 / variance.
    pool : array_like of int, shape (n_groups,)
        Pool of each group.

    Returns
    -------
    GroupedLines
        Groups of fewer than three points, or of one time, have NaN.

    References
    ----------
    .. [1] Draper, Smith 1998, Applied regression analysis, chapter 1 and 9.

    Examples
    --------
    >>> lines = grouped_lines([0, 0, 0], [0, 1, 2], [1, 2, 3.1], [1, 1, 1], [0])
    >>> round(float(lines.slope[0]), 2)
    1.05
    """
    g = np.asarray(group, dtype=np.intp)
    t, y, w = (np.asarray(a, dtype=float) for a in (time, value, weight))
    pools = np.asarray(pool, dtype=np.intp)
    if not (len(g) == len(t) == len(y) == len(w)):
        raise WrongCall("group, time, value and weight must be equally long.")
    m = len(pools)
    n = np.bincount(g, minlength=m).astype(np.intp)
    with np.errstate(divide="ignore", invalid="ignore"):
        total = np.bincount(g, w, m)
        middle = np.bincount(g, w * t, m) / total
        level = np.bincount(g, w * y, m) / total
        u = t - middle[g]
        sxx = np.bincount(g, w * u**2, m)
        slope = np.bincount(g, w * u * (y - level[g]), m) / sxx
        able = (n >= 3) & (sxx > 1e-12 * np.bincount(g, w, m))
        slope = np.where(able, slope, np.nan)
        left = y - level[g] - np.where(able, slope, 0.0)[g] * u
        squares = np.bincount(g, w * left**2, m)
        freedom = np.clip(n - np.where(able, 2, 1), 0, None).astype(float)
        size = int(pools.max(initial=-1)) + 1
        pooled = np.bincount(pools, squares, size) / np.bincount(pools, freedom, size)
        scatter = pooled[pools]
        slope_se = np.where(able, np.sqrt(scatter / sxx), np.nan)
        level_se = np.sqrt(scatter / total)
    least = np.full(m, np.inf)
    most = np.full(m, -np.inf)
    np.minimum.at(least, g, t)
    np.maximum.at(most, g, t)
    span = np.where(n > 0, most - least, 0.0)
    degrees = np.asarray(np.bincount(pools, freedom, size)[pools], dtype=float)
    return GroupedLines(slope, level, middle, span, slope_se, level_se, n, degrees)


def change_point(values: npt.ArrayLike) -> tuple[int, float, float]:
    """Find the place where the level of a series changes.

    Parameters
    ----------
    values : array_like, shape (n,)
        In time order, finite, at least four.

    Returns
    -------
    first : int
        Index of the first value after the change.
    shift : float
        Median after less median before.
    p : float
        Approximate two-sided p of no change, at most 1.

    Raises
    ------
    WrongCall
        If fewer than four values came.

    References
    ----------
    .. [1] Pettitt 1979, Applied Statistics 28:126-135.

    Examples
    --------
    >>> change_point([1, 2, 1, 2, 1, 9, 8, 9, 8, 9])[0]
    5
    """
    from scipy.stats import rankdata

    x = np.asarray(values, dtype=float)
    n = len(x)
    if n < 4:
        raise WrongCall(f"a change point needs at least four values, got {n}.")
    at = np.arange(1, n)
    u = 2 * np.cumsum(rankdata(x))[:-1] - at * (n + 1)
    best = int(np.argmax(np.abs(u)))
    k = float(np.abs(u[best]))
    p = min(1.0, 2 * float(np.exp(-6 * k**2 / (n**3 + n**2))))
    return best + 1, float(np.median(x[best + 1 :]) - np.median(x[: best + 1])), p


def bracket(time: npt.ArrayLike, value: npt.ArrayLike, at: npt.ArrayLike, gap: float) -> Floats:
    """Interpolate between the standards read before and after.

    Readings of standards closer together than `gap` count as one bracket, their mean; outside
    the first and last the nearest holds.

    Parameters
    ----------
    time, value : array_like, shape (n,)
        Of the standards, in time order, at least one.
    at : array_like, shape (m,)
        Times asked for.
    gap : float
        [unit of time]

    Returns
    -------
    ndarray, shape (m,)
        Interpolated values.

    Examples
    --------
    >>> [float(v) for v in bracket([0, 0.1, 4], [1.0, 3.0, 4.0], [0.05, 2.025, 9], 0.5)]
    [2.0, 3.0, 4.0]
    """
    t, y = np.asarray(time, dtype=float), np.asarray(value, dtype=float)
    if len(t) == 0:
        raise WrongCall("brackets need at least one reading of a standard.")
    label = np.concatenate([[0], np.cumsum(np.diff(t) > gap)])
    counts = np.bincount(label)
    return np.interp(
        np.asarray(at, dtype=float),
        np.bincount(label, t) / counts, np.bincount(label, y) / counts,
    )  # fmt: skip


def left_out_line(time: npt.ArrayLike, value: npt.ArrayLike) -> Floats:
    """Predict each value from the straight line through all the others.

    Parameters
    ----------
    time, value : array_like, shape (n,)
        At least three points at two or more times.

    Returns
    -------
    ndarray, shape (n,)
        Predictions.
    """
    t, y = np.asarray(time, dtype=float), np.asarray(value, dtype=float)
    u = t - t.mean()
    sxx = float(u @ u)
    slope = float(u @ y) / sxx if sxx > 0 else 0.0
    left = y - y.mean() - slope * u
    leverage = 1 / len(t) + (u**2 / sxx if sxx > 0 else 0.0)
    with np.errstate(divide="ignore"):
        return np.asarray(y - left / np.clip(1 - leverage, 1e-9, None))


def left_out_brackets(time: npt.ArrayLike, value: npt.ArrayLike, gap: float) -> Floats:
    """Predict each bracket's values from the brackets on its two sides.

    Parameters
    ----------
    time, value : array_like, shape (n,)
        In time order, at least two brackets.
    gap : float
        As in `bracket`.

    Returns
    -------
    ndarray, shape (n,)
        Predictions.
    """
    t, y = np.asarray(time, dtype=float), np.asarray(value, dtype=float)
    label = np.concatenate([[0], np.cumsum(np.diff(t) > gap)])
    if label[-1] == 0:
        raise WrongCall("leaving brackets out needs at least two of them.")
    out = np.empty(len(t))
    for k in range(label[-1] + 1):
        here = label == k
        out[here] = bracket(t[~here], y[~here], t[here], gap)
    return out
