"""Values below a limit: Kaplan-Meier and order statistics; maximum likelihood: `censored_normal`.

A value below detection is given as its limit with `below` True. How far each method reaches:
Kaplan-Meier needs no distribution and gives no median when more than half are below;
regression on order statistics and maximum likelihood assume a lognormal (or normal) population,
the first is the safer one for fewer than 50 values, both grow unreliable above 80 % below
(Helsel 2005, Nondetects and Data Analysis, Wiley).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Censored:
    """Summary of values of which some lie below a limit.

    Parameters
    ----------
    method : str
        ``kaplan_meier``, ``order_statistics`` or ``lognormal_likelihood``.
    n, n_below : int
        Values used and how many are limits.
    median, mean, sd : float
        In the unit of the values; NaN where the method cannot say.
    sd_from_error : float
        Standard error of the mean times the root of n (Kaplan-Meier only, else NaN).
    values, cdf : ndarray, shape (m,)
        Kaplan-Meier: distinct detected values, ascending, and the share at or below each.
        Order statistics: all n values, modelled ones included, and their plotting positions.
    """

    method: str
    n: int
    n_below: int
    median: float
    mean: float
    sd: float
    sd_from_error: float
    values: Array
    cdf: Array


def flags(n: int, mask: npt.ArrayLike | None, name: str = "below") -> Mask:
    """Make a flag array, checking its length.

    Parameters
    ----------
    n : int
        How many values there are.
    mask : array_like of bool, optional
        None means no flag is set.
    name : str
        For the message.

    Returns
    -------
    ndarray of bool, shape (n,)
        The flags.

    Raises
    ------
    WrongCall
        If the length differs.
    """
    if mask is None:
        return np.zeros(n, dtype=bool)
    out = np.asarray(mask, dtype=bool).ravel()
    if out.size != n:
        raise WrongCall(f"{n} values came with {out.size} flags '{name}'; give one per value.")
    return out


def finite_with_flags(values: npt.ArrayLike, below: npt.ArrayLike | None) -> tuple[Array, Mask]:
    """Give the finite values and their flags.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values, and limits where flagged.
    below : array_like of bool, shape (n,), optional
        True where the value is a limit.

    Returns
    -------
    x : ndarray, shape (m,)
        Finite values.
    below : ndarray of bool, shape (m,)
        Their flags.
    """
    x = np.asarray(values, dtype=float).ravel()
    b = flags(x.size, below)
    keep = np.isfinite(x)
    return x[keep], b[keep]


def kaplan_meier_steps(
    values: npt.ArrayLike,
    below: npt.ArrayLike | None = None,
    weights: npt.ArrayLike | None = None,
) -> tuple[Array, Array, Array]:
    """Give the Kaplan-Meier distribution of left-censored values.

    Parameters
    ----------
    values : array_like, shape (n,)
        Detected values and limits.
    below : array_like of bool, shape (n,), optional
        True where the value is a limit.
    weights : array_like, shape (n,), optional
        Zero or more.

    Returns
    -------
    values, cdf, mass : ndarray, shape (m,)
        Distinct detected values, ascending; share at or below each; share exactly there. What the
        smallest share at or below exceeds the share exactly there lies below all detected values.
    """
    x = np.asarray(values, dtype=float).ravel()
    b = flags(x.size, below)
    w = np.ones(x.size) if weights is None else np.asarray(weights, dtype=float).ravel()
    keep = np.isfinite(x) & (w > 0)
    x, b, w = x[keep], b[keep], w[keep]
    if b.all():
        return np.zeros(0), np.zeros(0), np.zeros(0)
    order = np.lexsort((w, b, x))
    x, b, w = x[order], b[order], w[order]
    at_risk = np.cumsum(w)
    distinct, first = np.unique(x[~b], return_index=True)
    detected = np.add.reduceat(w[~b], first)
    # a limit equal to a detected value counts as at risk there
    risk = at_risk[np.searchsorted(x, distinct, side="right") - 1]
    stay = np.clip(1 - detected / risk, 0.0, 1.0)
    above = np.append(np.cumprod(stay[::-1])[::-1], 1.0)  # above[j] = F just below distinct[j]
    cdf = above[1:]
    return distinct, cdf, cdf - above[:-1]


def kaplan_meier(values: npt.ArrayLike, below: npt.ArrayLike | None = None) -> Censored:
    """Summarise left-censored values without assuming a distribution.

    Parameters
    ----------
    values : array_like, shape (n,)
        Detected values, and limits where `below`.
    below : array_like of bool, shape (n,), optional
        True where the value is a limit.

    Returns
    -------
    Censored
        `sd` is the standard deviation of the estimated distribution, `sd_from_error` the standard
        error of the mean times the root of n.

    Notes
    -----
    When the smallest values are limits their share is put at the smallest detected value, so the
    mean is then an upper bound.

    References
    ----------
    .. [1] Helsel 2005, Nondetects and Data Analysis, Wiley, chapter 6.

    Examples
    --------
    >>> kaplan_meier([20, 10, 7, 3, 3], [0, 1, 0, 0, 1]).median
    3.0
    """
    x, b = finite_with_flags(values, below)
    n, n_below = x.size, int(b.sum())
    distinct, cdf, mass = kaplan_meier_steps(x, b)
    nan = float("nan")
    if distinct.size == 0:
        return Censored("kaplan_meier", n, n_below, nan, nan, nan, nan, distinct, cdf)
    lower = cdf[0] - mass[0]
    mass[0] = cdf[
        0
    ]  # Efron's convention: what lies below all detected values is put at the lowest
    mean = float(mass @ distinct)
    sd = float(np.sqrt(mass @ (distinct - mean) ** 2))
    place = int(np.searchsorted(cdf, 0.5 - 1e-12))
    median = nan if lower > 0.5 else float(distinct[place])
    # Greenwood: areas below each step of the flipped curve
    ordered = np.sort(x)
    risk = np.searchsorted(ordered, distinct, side="right").astype(float)
    detected = np.diff(np.append(np.searchsorted(np.sort(x[~b]), distinct), (~b).sum()))
    steps = np.diff(distinct)
    area = np.append(0.0, np.cumsum(cdf[:-1] * steps))
    with np.errstate(divide="ignore", invalid="ignore"):
        term = np.where(risk > detected, area**2 * detected / (risk * (risk - detected)), 0.0)
    # Kaplan and Meier's correction for the number of detected values
    events = float(detected.sum())
    error = float(np.sqrt(term.sum() * events / (events - 1))) if events > 1 else nan
    return Censored(
        "kaplan_meier", n, n_below, median, mean, sd, error * float(np.sqrt(n)), distinct, cdf
    )


def order_statistics(values: npt.ArrayLike, below: npt.ArrayLike | None = None) -> Censored:
    """Summarise left-censored values by lognormal regression on order statistics.

    Parameters
    ----------
    values : array_like, shape (n,)
        Positive detected values, and limits where `below`.
    below : array_like of bool, shape (n,), optional
        True where the value is a limit; several limits are allowed.

    Returns
    -------
    Censored
        Detected values are kept, those below are modelled; NaN with fewer than two distinct
        detected values.

    References
    ----------
    .. [1] Helsel & Cohn 1988, Estimation of descriptive statistics for multiply censored water
       quality data, Water Resources Research 24:1997-2004.
    """
    from scipy.special import ndtri

    x, b = finite_with_flags(values, below)
    n, n_below = x.size, int(b.sum())
    nan = float("nan")
    if np.unique(x[~b]).size < 2 or (x <= 0).any():
        empty = np.zeros(0)
        return Censored("order_statistics", n, n_below, nan, nan, nan, nan, empty, empty)
    position = _helsel_cohn(x, b)
    z = ndtri(position)
    slope, intercept = np.polyfit(z[~b], np.log(x[~b]), 1)
    filled = np.where(b, np.exp(intercept + slope * z), x)
    order = np.lexsort((b, filled))
    return Censored(
        "order_statistics", n, n_below, float(np.median(filled)), float(filled.mean()),
        float(filled.std(ddof=1)) if n > 1 else nan, nan, filled[order], position[order],
    )  # fmt: skip


def _helsel_cohn(x: Array, below: Mask) -> Array:
    """Give the plotting positions of Helsel & Cohn for several limits."""
    limits = np.unique(x[below])
    if limits.size == 0 or x[~below].min() < limits[0]:
        limits = np.append(0.0, limits)
    edges = np.append(limits, np.inf)
    exceed = np.zeros(limits.size + 1)
    counts = []
    for j in range(limits.size - 1, -1, -1):
        detected = int((~below & (x >= edges[j]) & (x < edges[j + 1])).sum())
        under = int((~below & (x < edges[j])).sum() + (below & (x <= edges[j])).sum())
        counts.append((j, detected))
        if detected + under:
            exceed[j] = exceed[j + 1] + detected / (detected + under) * (1 - exceed[j + 1])
        else:
            exceed[j] = exceed[j + 1]
    position = np.empty(x.size)
    for j, detected in counts:
        here = np.flatnonzero(~below & (x >= edges[j]) & (x < edges[j + 1]))
        rank = np.argsort(np.argsort(x[here], kind="stable"), kind="stable") + 1
        position[here] = (1 - exceed[j]) + (exceed[j] - exceed[j + 1]) * rank / (detected + 1)
        lower = np.flatnonzero(below & (x == edges[j]))
        position[lower] = (1 - exceed[j]) * np.arange(1, lower.size + 1) / (lower.size + 1)
    return position
