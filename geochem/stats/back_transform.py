"""From kriged logarithms, scores and indicators to values, means and chances of exceedance.

What lives here: lognormal back-transforms (median, mean), the chance that a value exceeds a
threshold under a normal distribution of errors, order of chances from indicators. What does not:
the kriging, log-ratios (`logratio`), normal scores (`normal_scores`).
Test to copy: `tests/stats/test_back_transform.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]


def lognormal_median(values: npt.ArrayLike, *, base: float = np.e) -> FloatArray:
    """Give the median of a value whose kriged logarithm is `values`.

    Parameters
    ----------
    values : array_like, shape (m,)
        Kriged logarithms.
    base : float, default e
        Of the logarithm.

    Returns
    -------
    ndarray, shape (m,)
        ``base ** values``.
    """
    return np.power(base, np.asarray(values, dtype=float))


def lognormal_mean(
    values: npt.ArrayLike,
    variance: npt.ArrayLike,
    lagrange: npt.ArrayLike = 0.0,
    *,
    base: float = np.e,
) -> FloatArray:
    """Give an unbiased estimate of a lognormal value from its kriged logarithm.

    Parameters
    ----------
    values, variance : array_like, shape (m,)
        Kriged logarithms and kriging variance, in squared units of the same logarithm.
    lagrange : array_like, shape (m,), default 0
        Multipliers as `kriging.Kriged.lagrange` has them; 0 for simple kriging.
    base : float, default e
        Of the logarithm.

    Returns
    -------
    ndarray, shape (m,)
        ``exp(y + variance / 2 + lagrange)`` in natural logarithms: the estimate has the variance
        ``C(0) - variance - 2 lagrange``, so that this factor makes its expectation that of the
        value. It trusts the lognormal tail: the higher the variance, the more.

    References
    ----------
    Journel, A. G. 1980. The lognormal approach to predicting local distributions of selective
    mining unit grades. Mathematical Geology 12:285-303.
    Cressie, N. 1993. Statistics for spatial data, section 3.2.2. Wiley (there the multiplier has
    the opposite sign).
    """
    scale = float(np.log(base))
    y, v, lag = (np.asarray(a, dtype=float) for a in (values, variance, lagrange))
    found: FloatArray = np.exp(scale * y + scale**2 * (v / 2 + lag))
    return found


def chance_of_exceeding(
    values: npt.ArrayLike, variance: npt.ArrayLike, threshold: float
) -> FloatArray:
    """Give the chance of exceeding a threshold when errors of kriging are normal.

    Parameters
    ----------
    values, variance : array_like, shape (m,)
        Kriged values and variance, on a scale on which the ground is (multi-)normal: normal scores
        or, of lognormal elements, logarithms.
    threshold : float
        On the same scale.

    Returns
    -------
    ndarray, shape (m,)
        0-1; where the variance is zero 0 or 1, and a half at the threshold itself.

    References
    ----------
    Goovaerts, P. 1997. Geostatistics for natural resources evaluation, section 7.2. Oxford.

    Examples
    --------
    >>> chance_of_exceeding([0.0, 1.0], [1.0, 0.25], 1.0).round(4).tolist()
    [0.1587, 0.5]
    """
    from scipy.special import ndtr

    y, v = np.asarray(values, dtype=float), np.asarray(variance, dtype=float)
    spread = np.sqrt(np.maximum(v, 0.0))
    sure = np.where(y > threshold, 1.0, np.where(y < threshold, 0.0, 0.5))
    with np.errstate(divide="ignore", invalid="ignore"):
        found = ndtr((y - threshold) / spread)
    out = np.where(spread > 0, found, sure)
    return np.where(np.isfinite(y) & np.isfinite(v), out, np.nan)


def indicators(
    values: npt.ArrayLike,
    thresholds: npt.ArrayLike,
    *,
    below: npt.ArrayLike | None = None,
    above: npt.ArrayLike | None = None,
) -> FloatArray:
    """Say which values exceed which thresholds.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values, or limits where `below` or `above`.
    thresholds : array_like, shape (t,)
        On the scale of the values.
    below, above : array_like of bool, shape (n,), optional
        Known only to lie under, over the limit.

    Returns
    -------
    ndarray, shape (n, t)
        0 or 1; NaN where undecided: a limit of detection above the threshold.

    Examples
    --------
    >>> indicators([5.0, 5.0], [3.0, 8.0], below=[False, True]).tolist()
    [[1.0, 0.0], [nan, 0.0]]
    """
    x = np.asarray(values, dtype=float)[:, None]
    limits = np.asarray(thresholds, dtype=float)[None, :]
    out = np.where(x > limits, 1.0, 0.0)
    out[np.broadcast_to(~np.isfinite(x), out.shape)] = np.nan
    if below is not None:
        out[np.asarray(below, dtype=bool)[:, None] & (x > limits)] = np.nan
    if above is not None:
        out[np.asarray(above, dtype=bool)[:, None] & (x <= limits)] = np.nan
    return out


def ordered_chances(chances: npt.ArrayLike) -> FloatArray:
    """Put kriged indicators of increasing thresholds in order.

    Parameters
    ----------
    chances : array_like, shape (m, t)
        Kriged indicators of exceeding thresholds that increase along the columns.

    Returns
    -------
    ndarray, shape (m, t)
        Within 0-1 and never rising with the threshold: the mean of the correction from the left
        and from the right.

    References
    ----------
    Deutsch, C. V. and Journel, A. G. 1998. GSLIB, section IV.1.9. Oxford.

    Examples
    --------
    >>> ordered_chances([[1.1, 0.4, 0.6]]).tolist()
    [[1.0, 0.5, 0.5]]
    """
    p = np.clip(np.asarray(chances, dtype=float), 0.0, 1.0)
    down = np.minimum.accumulate(p, axis=1)
    up = np.maximum.accumulate(p[:, ::-1], axis=1)[:, ::-1]
    ordered: FloatArray = (down + up) / 2
    return ordered
