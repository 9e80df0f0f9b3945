"""Chance that a true value lies beyond a threshold: error, limits and the threshold together.

A measured value near a threshold is more often a lower one read high than a higher one read low,
because there are more low ones. The populations of all values say how much more.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Mask = npt.NDArray[np.bool_]

#: nodes and weights of the average over an uncertain threshold (Gauss-Hermite, 7 points)
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
_LEGENDRE = np.polynomial.legendre.leggauss(24)


def chance_beyond(
    values: Array,
    below: Mask,
    above: Mask,
    error: Array,
    threshold: Array,
    threshold_sd: Array,
    populations: tuple[Array, Array, Array],
    *,
    shift: Array | None = None,
) -> Array:
    """Give the probability that the true value is larger than the threshold.

    Parameters
    ----------
    values : ndarray, shape (n,)
        On a scale on which populations are normal (log10); limits where flagged; finite.
    below, above : ndarray of bool, shape (n,)
        True where the value lies under / over the one given: it is then drawn from the populations
        cut at the limit, as an imputation would.
    error : ndarray, shape (n,)
        One standard uncertainty of each value on that scale; 0 when not known.
    threshold, threshold_sd : ndarray, shape (n,)
        And its standard error, same scale.
    populations : tuple of ndarray, shape (k,)
        Share, mean, standard deviation of the measured values.
    shift : ndarray, shape (n,), optional
        Added to the means, where the background drifts.

    Returns
    -------
    ndarray, shape (n,)
        0 to 1. The spread of a population holds the usual error, which is taken out first.

    References
    ----------
    .. [1] Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., CRC Press, chapters 2 and 22
       (normal mixtures); Efron 2011, Tweedie's formula and selection bias, J. Am. Stat. Assoc.
       106:1602-1614.
    """
    from scipy.special import ndtr

    weight, mean, sd = (np.asarray(a, dtype=float) for a in populations)
    m = mean[None, :] + (np.zeros(values.size) if shift is None else shift)[:, None]
    known = (error > 0) & ~below & ~above
    usual = float(np.median(error[known])) if known.any() else 0.0
    own = sd**2 - np.minimum(usual**2, 0.9 * sd**2)
    y, e2 = values[:, None], (error**2)[:, None]
    total = own + e2
    with np.errstate(divide="ignore"):
        log = np.log(weight) - 0.5 * np.log(total) - 0.5 * (y - m) ** 2 / total
    member = np.exp(log - log.max(axis=1, keepdims=True))
    member /= member.sum(axis=1, keepdims=True)
    at = m + own / total * (y - m)
    spread = np.sqrt(own * e2 / total + (threshold_sd**2)[:, None])
    away = at - threshold[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(spread > 0, ndtr(away / spread), (away > 0).astype(float))
    p = (member * part).sum(axis=1)
    for flag, side in ((below, 1.0), (above, -1.0)):
        if flag.any():
            limit, cut, centre = side * values[flag], side * threshold[flag], side * m[flag]
            inside = ndtr((limit[:, None] - centre) / sd) @ weight
            joint = np.zeros(limit.size)
            for node, share in zip(_NODES, _WEIGHTS, strict=True):
                t = cut + node * threshold_sd[flag]
                joint += share * _joint(limit, t, centre, weight, np.sqrt(own), usual)
            ratio = np.where(inside > 1e-300, joint / np.maximum(inside, 1e-300), 0.0)
            p[flag] = ratio if side > 0 else 1 - ratio
    return np.clip(p, 0.0, 1.0)


def _joint(limit: Array, cut: Array, m: Array, weight: Array, sd: Array, error: float) -> Array:
    """Probability that the true value lies over the cut and its reading under the limit."""
    from scipy.special import ndtr

    if not error > 0:
        top = np.maximum(cut, limit)
        return np.asarray((ndtr((top[:, None] - m) / sd) - ndtr((cut[:, None] - m) / sd)) @ weight)
    # far over the limit a reading under it does not happen
    top = np.maximum(limit + 5 * error, cut)
    half = (top - cut) / 2
    out = np.zeros(limit.size)
    for node, share in zip(*_LEGENDRE, strict=True):
        t = cut + half * (1 + node)
        z = (t[:, None] - m) / sd
        density = (np.exp(-0.5 * z * z) / sd) @ weight / np.sqrt(2 * np.pi)
        out += share * half * density * ndtr((limit - t) / error)
    return out
