"""Location and scale that a few wild values do not move: median, MAD, quantiles, Huber, medcouple.

Weighted quantiles follow type 7 (linear interpolation of order statistics) with weights as
frequencies: equal weights give exactly the unweighted quantile, whole-number weights give the
quantile of the values repeated that often.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall
from geochem.stats.robust_columns import MAD_SCALE, exact_median

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]


def _clean(values: npt.ArrayLike, weights: npt.ArrayLike | None) -> tuple[Array, Array | None]:
    x = np.asarray(values, dtype=float).ravel()
    keep = np.isfinite(x)
    if weights is None:
        return x[keep], None
    w = np.asarray(weights, dtype=float).ravel()
    if w.shape != x.shape:
        raise WrongCall(f"{x.size} values came with {w.size} weights; give one weight per value.")
    if not np.isfinite(w).all() or (w < 0).any():
        raise WrongCall("a weight is negative or missing; weights must be zero or more.")
    keep &= w > 0
    x, w = x[keep], w[keep]
    if w.size and np.ptp(w) <= 1e-12 * w.max():
        return x, None
    return x, w


def weighted_quantile(
    values: npt.ArrayLike, q: npt.ArrayLike, weights: npt.ArrayLike | None = None
) -> Array:
    """Give type-7 quantiles, weighted if weights are given.

    Parameters
    ----------
    values : array_like, shape (n,)
        Any unit; missing values are left out.
    q : array_like, shape (m,) or scalar
        Probabilities, 0 to 1. [-]
    weights : array_like, shape (n,), optional
        Zero or more; only their ratios count. [-]

    Returns
    -------
    ndarray, shape of `q`
        In the unit of `values`; NaN when nothing is left.

    Raises
    ------
    WrongCall
        If a weight is negative or missing, or a probability lies outside 0 to 1.

    Examples
    --------
    >>> float(weighted_quantile([1, 2, 4], 0.5))
    2.0
    >>> float(weighted_quantile([1, 2, 4], 0.5, [1, 1, 4]))
    4.0
    """
    p = np.asarray(q, dtype=float)
    if not ((p >= 0) & (p <= 1)).all():
        raise WrongCall(f"probabilities must lie between 0 and 1, got {q!r}.")
    x, w = _clean(values, weights)
    if x.size == 0:
        return np.full(p.shape, np.nan)
    if w is None:
        return np.asarray(np.quantile(x, p), dtype=float)
    order = np.lexsort((w, x))
    return _weighted_quantile(x[order], w[order], p)


def _weighted_quantile(x: Array, w: Array, p: Array) -> Array:
    """Quantiles of sorted values; weights are scaled to a mean of one."""
    n = x.size
    # rounding keeps 2.9999999 and 3 from choosing different neighbours
    cumulative = np.round(np.cumsum(w) * (n / w.sum()), 9)
    h = (n - 1) * p
    low = np.floor(h)
    below = x[np.minimum(np.searchsorted(cumulative, low, side="right"), n - 1)]
    above = x[np.minimum(np.searchsorted(cumulative, low + 1, side="right"), n - 1)]
    return np.asarray(below + (h - low) * (above - below))


def median(values: npt.ArrayLike, weights: npt.ArrayLike | None = None) -> float:
    """Give the median, weighted if weights are given.

    Parameters
    ----------
    values : array_like, shape (n,)
        Missing values are left out.
    weights : array_like, shape (n,), optional
        As in `weighted_quantile`.

    Returns
    -------
    float
        NaN when nothing is left.
    """
    x, w = _clean(values, weights)
    if x.size == 0:
        return float("nan")
    return exact_median(x) if w is None else float(weighted_quantile(x, 0.5, w))


def mad(
    values: npt.ArrayLike,
    weights: npt.ArrayLike | None = None,
    *,
    center: float | None = None,
    scaled: bool = True,
) -> float:
    """Give the median absolute deviation.

    Parameters
    ----------
    values : array_like, shape (n,)
        Missing values are left out.
    weights : array_like, shape (n,), optional
        As in `weighted_quantile`.
    center : float, optional
        From where; the (weighted) median if not given.
    scaled : bool, default True
        Times 1.4826, so that it estimates the standard deviation of a normal population.

    Returns
    -------
    float
        In the unit of `values`.

    Examples
    --------
    >>> round(mad([4.5, 4.9, 5.6, 4.2, 6.2, 5.2, 9.9]), 5)
    1.03782
    """
    x, w = _clean(values, weights)
    middle = median(x, w) if center is None else center
    return median(np.abs(x - middle), w) * (MAD_SCALE if scaled else 1.0)


def quartiles(
    values: npt.ArrayLike, weights: npt.ArrayLike | None = None
) -> tuple[float, float, float]:
    """Give lower quartile, median and upper quartile by the type-7 rule.

    Parameters
    ----------
    values : array_like, shape (n,)
        Missing values are left out.
    weights : array_like, shape (n,), optional
        As in `weighted_quantile`.

    Returns
    -------
    tuple of three floats
        In the unit of `values`.

    References
    ----------
    .. [1] Hyndman & Fan 1996, Sample quantiles in statistical packages, The American Statistician
       50:361-365 (type 7).
    """
    q1, q2, q3 = weighted_quantile(values, [0.25, 0.5, 0.75], weights)
    return float(q1), float(q2), float(q3)


def algorithm_a(
    values: npt.ArrayLike, *, start: float = 1.483, factor: float = 1.134, tol: float = 1e-10
) -> tuple[float, float]:
    """Give robust mean and standard deviation by Algorithm A of ISO 13528.

    Parameters
    ----------
    values : array_like, shape (n,)
        Missing values are left out.
    start : float, default 1.483
        What the raw MAD is multiplied by for the first scale. [-]
    factor : float, default 1.134
        Consistency factor of the winsorised standard deviation. [-]
    tol : float, default 1e-10
        Relative change at which it stops. [-]

    Returns
    -------
    location, scale : float
        In the unit of `values`; NaN with fewer than two values.

    References
    ----------
    .. [1] ISO 13528, Annex C; Analytical Methods Committee 1989, Analyst 114:1693-1697.
    """
    x, _ = _clean(values, None)
    if x.size < 2:
        return float("nan"), float("nan")
    location = float(np.median(x))
    scale = start * mad(x, scaled=False)
    for _step in range(1000):
        # always from the original values: a limit may move back out
        w = np.clip(x, location - 1.5 * scale, location + 1.5 * scale)
        new, spread = float(w.mean()), factor * float(w.std(ddof=1))
        moved = abs(new - location) + abs(spread - scale)
        location, scale = new, spread
        if moved <= tol * max(abs(location), scale, 1e-300):
            break
    return location, scale


def huber(
    values: npt.ArrayLike, *, k: float = 1.5, scale: float | None = None, tol: float = 1e-10
) -> float:
    """Give Huber's location with a fixed scale.

    Parameters
    ----------
    values : array_like, shape (n,)
        Missing values are left out.
    k : float, default 1.5
        Where values begin to be pulled in, in units of the scale. [-]
    scale : float, optional
        The scaled MAD if not given.
    tol : float, default 1e-10
        Change, in units of the scale, at which it stops. [-]

    Returns
    -------
    float
        In the unit of `values`.

    References
    ----------
    .. [1] Huber 1981, Robust Statistics, Wiley.
    """
    x, _ = _clean(values, None)
    if x.size == 0:
        return float("nan")
    s = mad(x) if scale is None else scale
    location = float(np.median(x))
    if s == 0:
        return location
    for _step in range(1000):
        new = float(np.clip(x, location - k * s, location + k * s).mean())
        if abs(new - location) <= tol * s:
            return new
        location = new
    return location


def huber_proposal_2(
    values: npt.ArrayLike, *, k: float = 1.5, tol: float = 1e-10
) -> tuple[float, float]:
    """Give location and scale together by Huber's proposal 2.

    Parameters
    ----------
    values : array_like, shape (n,)
        Missing values are left out.
    k : float, default 1.5
        Where values begin to be pulled in. [-]
    tol : float, default 1e-10
        Relative change at which it stops. [-]

    Returns
    -------
    location, scale : float
        In the unit of `values`; NaN with fewer than two values.

    References
    ----------
    .. [1] Huber 1964, Robust estimation of a location parameter, Ann. Math. Statist. 35:73-101.
    """
    from scipy.special import ndtr

    x, _ = _clean(values, None)
    if x.size < 2:
        return float("nan"), float("nan")
    theta = 2 * ndtr(k) - 1
    density = np.exp(-(k**2) / 2) / np.sqrt(2 * np.pi)
    beta = theta + k**2 * (1 - theta) - 2 * k * density
    location, scale = float(np.median(x)), mad(x)
    for _step in range(1000):
        w = np.clip(x, location - k * scale, location + k * scale)
        new = float(w.mean())
        spread = float(np.sqrt(((w - new) ** 2).sum() / (x.size - 1) / beta))
        moved = abs(new - location) + abs(spread - scale)
        location, scale = new, spread
        if moved <= tol * max(abs(location), scale, 1e-300):
            break
    return location, scale


#: makes Qn consistent at the normal distribution
_QN_SCALE = 2.21914
#: and unbiased for 2 to 12 values
_QN_SMALL = (
    0.399356, 0.99365, 0.51321, 0.84401, 0.61220, 0.85877, 0.66993, 0.87344, 0.72014, 0.88906, 0.75743,
)  # fmt: skip


def qn(values: npt.ArrayLike) -> float:
    """Give Qn, a robust scale that needs no centre: a low quantile of all pairwise distances.

    As resistant as the MAD, at 82 instead of 37 per cent efficiency, and it does not take the
    distribution for symmetric. All pairs are formed; above 2,001 values that many quantiles stand
    for them.

    Parameters
    ----------
    values : array_like, shape (n,)
        Missing values are left out.

    Returns
    -------
    float
        Estimates the standard deviation of a normal population; NaN with fewer than two values.

    References
    ----------
    .. [1] Rousseeuw & Croux 1993, Alternatives to the median absolute deviation, J. Am. Stat.
       Assoc. 88:1273-1283; corrections for small n as in R package robustbase (0.95).

    Examples
    --------
    >>> round(qn([4.5, 4.9, 5.6, 4.2, 6.2, 5.2, 9.9]), 4)
    1.334
    """
    x, _ = _clean(values, None)
    n = x.size
    if n < 2:
        return float("nan")
    if n > 2001:
        x = np.quantile(x, np.linspace(0, 1, 2001))
    m = x.size
    half = m // 2 + 1
    rank = half * (half - 1) // 2 - 1
    first, second = np.triu_indices(m, 1)
    distance = np.abs(x[first] - x[second])
    distance.partition(rank)
    if n <= 12:
        correction = _QN_SMALL[n - 2]
    elif n % 2:
        correction = 1 / ((1.60188 + (-2.1284 - 5.172 / n) / n) / n + 1)
    else:
        correction = 1 / ((3.67561 + (1.9654 + (6.987 - 77 / n) / n) / n) / n + 1)
    return float(_QN_SCALE * correction * distance[rank])


def medcouple(values: npt.ArrayLike, weights: npt.ArrayLike | None = None) -> float:
    """Give the medcouple, a robust measure of skewness between -1 and 1.

    Written for up to a few thousand values (it forms all pairs); more are thinned to 2,001
    quantiles first, which moves the result by less than 0.01.

    Parameters
    ----------
    values : array_like, shape (n,)
        Missing values are left out.
    weights : array_like, shape (n,), optional
        As in `weighted_quantile`; 501 weighted quantiles then stand for the values.

    Returns
    -------
    float
        0 for symmetric values, positive for a long upper tail.

    References
    ----------
    .. [1] Brys, Hubert & Struyf 2004, A robust measure of skewness, J. Comput. Graph. Stat.
       13:996-1017.

    Examples
    --------
    >>> medcouple([1, 2, 3, 4, 5])
    0.0
    """
    x, w = _clean(values, weights)
    if x.size < 3:
        return float("nan")
    if w is not None:
        x = weighted_quantile(x, np.linspace(0, 1, 501), w)
    elif x.size > 2001:
        x = np.quantile(x, np.linspace(0, 1, 2001))
    z = np.sort(x) - np.median(x)
    upper, lower = z[z >= 0][::-1], z[z <= 0][::-1]
    span = upper[:, None] - lower[None, :]
    with np.errstate(invalid="ignore", divide="ignore"):
        kernel = (upper[:, None] + lower[None, :]) / span
    ties = int((z == 0).sum())
    if ties:
        # pairs of values that all equal the median have a kernel of their own: a sign matrix
        i, j = np.arange(ties)[:, None], np.arange(ties)[None, :]
        kernel[-ties:, :ties] = np.sign(ties - 1 - i - j)
    return float(np.median(kernel))
