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
    Behind = tuple[npt.NDArray[np.intp], Array, Array]

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
    behind: Behind | None = None,
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
    behind : tuple of (rows, mean, sd), optional
        What imputation says of the flagged values of some rows, given the other elements of the
        same sample: mean and standard deviation of draws, shape (n_draws, n_rows), not yet cut at
        the limit, each draw as likely. It stands in the place of the populations there.

    Returns
    -------
    ndarray, shape (n,)
        0 to 1. The spread of a population holds the usual error, which is taken out first.

    References
    ----------
    .. [1] Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., CRC Press, chapters 2 and 22
       (normal mixtures); Efron 2011, Tweedie's formula and selection bias, J. Am. Stat. Assoc.
       106:1602-1614; Rubin 1987, Multiple Imputation for Nonresponse in Surveys, Wiley (mean over
       draws).
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
    own_sd = np.sqrt(own)
    given = np.full(values.size, -1)
    if behind is not None:
        given[behind[0]] = np.arange(len(behind[0]))
    for flag, side in ((below, 1.0), (above, -1.0)):
        for conditional in (False, True):
            at_rows = np.flatnonzero(flag & ((given >= 0) == conditional))
            if not at_rows.size:
                continue
            if conditional:
                assert behind is not None
                here = given[at_rows]
                centre, reading_sd = behind[1][:, here].T, behind[2][:, here].T
                true_sd = np.sqrt(reading_sd**2 - np.minimum(usual**2, 0.9 * reading_sd**2))
                share = np.full(centre.shape, 1 / centre.shape[1])
            else:
                centre, reading_sd, true_sd = m[at_rows], sd, own_sd
                share = np.broadcast_to(weight, centre.shape)
            p[at_rows] = _behind_limit(
                values[at_rows], threshold[at_rows], threshold_sd[at_rows],
                (share, centre, np.broadcast_to(reading_sd, centre.shape),
                 np.broadcast_to(true_sd, centre.shape)),
                usual, side, each=conditional,
            )  # fmt: skip
    return np.clip(p, 0.0, 1.0)


def _behind_limit(
    limit: Array, cut: Array, cut_sd: Array, populations: tuple[Array, Array, Array, Array],
    error: float, side: float, *, each: bool,
) -> Array:  # fmt: skip
    """Chance of values under (side 1) or over (side -1) a limit; populations have shape (n, k).

    With `each`, the chance is the mean of what each population says alone: they are draws.
    """
    from scipy.special import ndtr

    share, centre, reading_sd, true_sd = populations
    limit, cut, centre = side * limit, side * cut, side * centre
    inside = ndtr((limit[:, None] - centre) / reading_sd)
    if each:
        share = share / np.maximum(inside, 1e-300)
    out = np.zeros(limit.size)
    # a limit far under the threshold decides
    open_ = np.flatnonzero(limit + 5 * error > cut - 4 * cut_sd)
    if open_.size:
        joint = np.zeros(open_.size)
        for node, part in zip(_NODES, _WEIGHTS, strict=True):
            t = cut[open_] + node * cut_sd[open_]
            joint += part * _joint(
                limit[open_], t, centre[open_], share[open_], true_sd[open_], error
            )
        whole = np.ones(open_.size) if each else (inside * share).sum(axis=1)[open_]
        out[open_] = np.where(whole > 1e-300, joint / np.maximum(whole, 1e-300), 0.0)
    return out if side > 0 else 1 - out


def _joint(limit: Array, cut: Array, m: Array, weight: Array, sd: Array, error: float) -> Array:
    """Probability that the true value lies over the cut and its reading under the limit."""
    from scipy.special import ndtr

    if not error > 0:
        top = np.maximum(cut, limit)[:, None]
        inner = ndtr((top - m) / sd) - ndtr((cut[:, None] - m) / sd)
        return np.asarray((inner * weight).sum(axis=1))
    # far over the limit a reading under it does not happen
    top = np.maximum(limit + 5 * error, cut)
    half = (top - cut) / 2
    out = np.zeros(limit.size)
    for node, share in zip(*_LEGENDRE, strict=True):
        t = cut + half * (1 + node)
        z = (t[:, None] - m) / sd
        density = (np.exp(-0.5 * z * z) / sd * weight).sum(axis=1) / np.sqrt(2 * np.pi)
        out += share * half * density * ndtr((limit - t) / error)
    return out
