"""Replacing values below detection so that log-ratios can be taken: always under their limit.

The results are for log-ratios only; tables, thresholds and maps keep limit and flag.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall, unknown
from geochem.stats.censored import fit_censored_normal, mean_below

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Mask = npt.NDArray[np.bool_]

METHODS = ("regression", "lognormal", "simple")
#: share of the limit that the simple method puts in
_FRACTION = 0.65


@dataclass(frozen=True, slots=True, eq=False)
class Replaced:
    """Values without anything below detection.

    Parameters
    ----------
    values : ndarray, shape (n_samples, n_parts)
        Positive; what was detected is unchanged (unless a total was given).
    share : float
        Share of all values that were replaced. [-]
    share_of : ndarray, shape (n_parts,)
        The same per part. [-]
    method : str
        How.
    reference : str
        Publication.
    """

    values: Array
    share: float
    share_of: Array
    method: str
    reference: str


def replace_below(
    values: npt.ArrayLike,
    below: npt.ArrayLike,
    *,
    method: str = "regression",
    fraction: float = _FRACTION,
    total: float | None = None,
) -> Replaced:
    """Replace values below detection by values under their own limits.

    Parameters
    ----------
    values : array_like, shape (n_samples, n_parts)
        Positive concentrations in one unit; the limit where `below`. [mg/kg]
    below : array_like of bool, shape (n_samples, n_parts)
        True where the value is a limit.
    method : {"regression", "lognormal", "simple"}, default "regression"
        What is expected under the limit given the other parts of the sample (truncated normal
        regression of logarithms); what is expected of the part's lognormal population; or a fixed
        `fraction` of the limit.
    fraction : float, default 0.65
        Of the limit, for ``"simple"`` and for parts with too few detected values. [-]
    total : float, optional
        Sum that rows must keep (closed data): the detected values then share in what was added,
        their ratios unchanged.

    Returns
    -------
    Replaced
        Nothing replaced lies above its limit.

    Raises
    ------
    WrongCall
        If shapes disagree, a value is not positive, or the method is unknown.

    References
    ----------
    .. [1] Martin-Fernandez, Barcelo-Vidal & Pawlowsky-Glahn 2003, Math. Geol. 35:253-278 (simple);
       Palarea-Albaladejo & Martin-Fernandez 2013, Anal. Chim. Acta 764:32-43 (lognormal);
       Palarea-Albaladejo & Martin-Fernandez 2008, Comput. Geosci. 34:902-917 (regression, EM).

    Examples
    --------
    >>> done = replace_below(
    ...     [[0.1, 60, 30, 10]], [[1, 0, 0, 0]], method="simple", total=100)
    >>> done.values.round(4).tolist(), done.share
    ([[0.065, 59.961, 29.9805, 9.9935]], 0.25)
    """
    x = np.array(values, dtype=float)
    mask = np.asarray(below, dtype=bool)
    if x.ndim != 2 or mask.shape != x.shape:
        raise WrongCall(
            f"values and flags must have the same shape (n_samples, n_parts), got {x.shape} and "
            f"{mask.shape}."
        )
    if method not in METHODS:
        raise unknown("method of replacement", str(method), METHODS)
    if not 0 < fraction < 1:
        raise WrongCall(f"fraction must lie between 0 and 1, got {fraction!r}.")
    if not np.isfinite(x).all() or not (x > 0).all():
        raise WrongCall("values and limits must be positive and none missing.")
    filled, reference = x.copy(), "Martin-Fernandez et al. 2003, Math. Geol. 35:253-278"
    if mask.any():
        if method == "simple":
            filled[mask] = fraction * x[mask]
        else:
            filled = _lognormal(x, mask, fraction)
            reference = "Palarea-Albaladejo & Martin-Fernandez 2013, Anal. Chim. Acta 764:32-43"
        if method == "regression":
            filled = _regression(x, mask, filled)
            reference = "Palarea-Albaladejo & Martin-Fernandez 2008, Comput. Geosci. 34:902-917"
        if total is not None:
            filled = _keep_total(filled, mask, float(total))
    share_of = mask.mean(axis=0) if len(mask) else np.zeros(x.shape[1])
    share = float(mask.mean()) if mask.size else 0.0
    return Replaced(filled, share, share_of, method, reference)


def _keep_total(filled: Array, mask: Mask, total: float) -> Array:
    added = np.where(mask, filled, 0.0).sum(axis=1, keepdims=True)
    seen = np.where(mask, 0.0, filled).sum(axis=1, keepdims=True)
    if (added >= total).any():
        raise WrongCall("limits add up to the total or more; check the unit of the limits.")
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(mask, filled, filled * (total - added) / seen)


def _lognormal(x: Array, mask: Mask, fraction: float) -> Array:
    """Give what is expected under the limit of each part's lognormal population."""
    out = x.copy()
    for j in np.flatnonzero(mask.any(axis=0)):
        low = mask[:, j]
        fit = fit_censored_normal(np.log(x[:, j]), low)
        if fit is None or not fit.converged:
            out[low, j] = fraction * x[low, j]
        else:
            out[low, j] = np.exp(mean_below(fit.mean, fit.sd, np.log(x[low, j])))
    return out


def _regression(x: Array, mask: Mask, start: Array, rounds: int = 4) -> Array:
    """Give what is expected under the limit given the other parts, by rounds of regression.

    The regression of one part on all others is read off the inverse covariance; the variance that
    replacing hides is put back into the covariance before the next round, as in EM.
    """
    from scipy.special import log_ndtr

    from geochem.stats.mcd import sorted_rows

    n, p = x.shape
    limit = np.log(x)
    order = sorted_rows(limit)
    limit, low = limit[order], mask[order]
    y = np.log(start)[order]
    if n < 2 * p + 2:
        return start
    columns = [(j, np.flatnonzero(low[:, j])) for j in range(p) if low[:, j].any()]
    hidden, room = np.zeros(p), np.empty_like(y)
    for j, rows in columns:
        hidden[j] = rows.size * float(y[:, j].var()) * 0.3 / n
    for _round in range(rounds):
        centre = y.mean(axis=0)
        deviation = np.subtract(y, centre, out=room)
        covariance = deviation.T @ deviation / n
        covariance[np.diag_indices(p)] += hidden + 1e-10 * np.trace(covariance) / p
        precision = np.linalg.inv(covariance)
        moved = 0.0
        for j, rows in columns:
            sd = 1 / np.sqrt(precision[j, j])
            slope = -precision[j] / precision[j, j]
            slope[j] = 0.0
            mean = centre[j] + (y[rows] - centre) @ slope
            new = mean_below(mean, sd, limit[rows, j])
            z = (limit[rows, j] - mean) / sd
            mills = np.exp(-0.5 * z * z - 0.5 * np.log(2 * np.pi) - log_ndtr(z))
            hidden[j] = float((sd**2 * np.clip(1 - mills * (z + mills), 0, 1)).sum()) / n
            moved = max(moved, float(np.abs(new - y[rows, j]).max()))
            y[rows, j] = new
        if moved < 1e-2:
            break
    out = x.copy()
    back = np.empty_like(y)
    back[order] = np.exp(y)
    # a hair under the limit even where the expectation touches it
    out[mask] = np.minimum(back[mask], x[mask] * (1 - 1e-9))
    return out
