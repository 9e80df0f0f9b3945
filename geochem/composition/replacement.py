"""Replacing values below detection so that log-ratios can be taken: always under their limit.

The results are for log-ratios only; tables, thresholds and maps keep limit and flag.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall, unknown
from geochem.stats.censored_normal import fit_censored_normal, mean_below
from geochem.stats.imputation import draws as draw_values
from geochem.stats.imputation import expected

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Mask = npt.NDArray[np.bool_]

METHODS = ("regression", "logratio_em", "lognormal", "simple")
#: share of the limit that the simple method puts in
_FRACTION = 0.65

_SIMPLE = "Martin-Fernandez et al. 2003, Math. Geol. 35:253-278"
_REFERENCES = {
    "simple": _SIMPLE,
    "lognormal": "Palarea-Albaladejo & Martin-Fernandez 2013, Anal. Chim. Acta 764:32-43",
    "logratio_em": "Palarea-Albaladejo & Martin-Fernandez 2008, Comput. Geosci. 34:902-917",
    "regression": "Palarea-Albaladejo & Martin-Fernandez 2008, Comput. Geosci. 34:902-917",
}


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
    row, part : ndarray of int, shape (n_replaced,)
        Places of what was replaced.
    draws : ndarray, shape (n_draws, n_replaced)
        Other values that may stand there, each as likely; no rows when none were asked for.
        [mg/kg]
    centre, spread : ndarray, shape (n_draws, n_replaced)
        Mean and standard deviation of the natural logarithm that each draw was taken from, given the
        other parts of the sample and not yet cut at the limit.
    """

    values: Array
    share: float
    share_of: Array
    method: str
    reference: str
    row: npt.NDArray[np.intp]
    part: npt.NDArray[np.intp]
    draws: Array
    centre: Array
    spread: Array


def replace_below(
    values: npt.ArrayLike,
    below: npt.ArrayLike,
    above: npt.ArrayLike | None = None,
    *,
    method: str = "regression",
    fraction: float = _FRACTION,
    total: float | None = None,
    draws: int = 0,
    seed: int = 1,
) -> Replaced:
    """Replace values below detection by values under their own limits, those above likewise.

    Parameters
    ----------
    values : array_like, shape (n_samples, n_parts)
        Positive concentrations in one unit; the limit where `below`. [mg/kg]
    below : array_like of bool, shape (n_samples, n_parts)
        True where the value is a limit.
    above : array_like of bool, shape (n_samples, n_parts), optional
        True where the value is known only to lie over the number given.
    method : {"regression", "logratio_em", "lognormal", "simple"}, default "regression"
        What is expected behind the limit given the other parts of the sample (truncated normal
        regression of logarithms; with ``"logratio_em"`` of log-ratios to a part that is always
        detected, which the unit of a sample cannot change); what is expected of the part's
        lognormal population; or a fixed `fraction` of the limit.
    fraction : float, default 0.65
        Of the limit, for ``"simple"`` and for parts with too few detected values; an upper limit
        is divided by it. [-]
    total : float, optional
        Sum that rows must keep (closed data): the detected values then share in what was added,
        their ratios unchanged.
    draws : int, default 0
        So many draws of what may stand behind the limits are made too.
    seed : int, default 1
        Of the draws.

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
    low = np.asarray(below, dtype=bool)
    high = np.zeros_like(low) if above is None else np.asarray(above, dtype=bool)
    _check(x, low, high, method, fraction, draws, total)
    flagged = low | high
    row, part = np.nonzero(flagged)
    filled, none = x.copy(), np.empty((0, row.size))
    drawn = none, none, none
    if flagged.any():
        first = _simple if method == "simple" else _lognormal
        filled = first(x, low, high, fraction)
        if method in ("regression", "logratio_em"):
            filled, drawn = _by_others(x, low, high, filled, method, draws, seed)
        if total is not None:
            filled = _keep_total(filled, flagged, float(total))
    share_of = flagged.mean(axis=0) if len(flagged) else np.zeros(x.shape[1])
    share = float(flagged.mean()) if flagged.size else 0.0
    return Replaced(filled, share, share_of, method, _REFERENCES[method], row, part, *drawn)


def _check(
    x: Array, low: Mask, high: Mask, method: str, fraction: float, draws: int, total: float | None
) -> None:
    if x.ndim != 2 or low.shape != x.shape or high.shape != x.shape:
        raise WrongCall(
            f"values and flags must have the same shape (n_samples, n_parts), got {x.shape} and "
            f"{low.shape}, {high.shape}."
        )
    if method not in METHODS:
        raise unknown("method of replacement", str(method), METHODS)
    if not 0 < fraction < 1:
        raise WrongCall(f"fraction must lie between 0 and 1, got {fraction!r}.")
    if not np.isfinite(x).all() or not (x > 0).all():
        raise WrongCall("values and limits must be positive and none missing.")
    if (low & high).any():
        raise WrongCall("a value cannot be both below and above a limit; mend the flags.")
    if draws < 0 or (draws and (method not in ("regression", "logratio_em") or total is not None)):
        raise WrongCall(
            f"{draws} draws cannot be had with method '{method}'"
            f"{' and a total' if total is not None else ''}; use 'regression' or 'logratio_em' "
            "without a total."
        )


def _by_others(
    x: Array, low: Mask, high: Mask, start: Array, method: str, draws: int, seed: int
) -> tuple[Array, tuple[Array, Array, Array]]:
    """Replace by regression on the other parts; also draw."""
    log = np.log(x)
    flagged = low | high
    first = log.copy()
    first[flagged] = np.log(start[flagged])
    keep = np.arange(x.shape[1])
    base = np.zeros((len(x), 1))
    if method == "logratio_em":
        at = _reference_part(flagged)
        if at is None:
            raise WrongCall(
                "log-ratios need a part that is detected in every sample, and there is none; use "
                "'regression'."
            )
        base, keep = log[:, [at]], np.delete(keep, at)
        first = np.log(_lognormal(np.exp(log - base), low, high, _FRACTION)) + base
    log = (log - base)[:, keep] if method == "logratio_em" else log
    given = log, low[:, keep], high[:, keep]
    y = expected(*given, (first - base)[:, keep])
    # the part that is divided by is never behind a limit: the order of cells is the same
    back = np.broadcast_to(base, x.shape)[flagged]
    side = x[flagged], low[flagged], high[flagged]
    filled = x.copy()
    filled[flagged] = _within(np.exp(y[flagged[:, keep]] + back), *side)
    none = np.empty((0, back.size))
    if not draws:
        return filled, (none, none, none)
    drawn, centre, spread = draw_values(*given, y, number=draws, seed=seed)
    return filled, (_within(np.exp(drawn + back), *side), centre + back, spread)


def _keep_total(filled: Array, mask: Mask, total: float) -> Array:
    added = np.where(mask, filled, 0.0).sum(axis=1, keepdims=True)
    seen = np.where(mask, 0.0, filled).sum(axis=1, keepdims=True)
    if (added >= total).any():
        raise WrongCall("limits add up to the total or more; check the unit of the limits.")
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(mask, filled, filled * (total - added) / seen)


def _lognormal(x: Array, low: Mask, high: Mask, fraction: float) -> Array:
    """Give what is expected behind the limit of each part's lognormal population."""
    out = _simple(x, low, high, fraction)
    for j in np.flatnonzero((low | high).any(axis=0)):
        log = np.log(x[:, j])
        fit = fit_censored_normal(log, low[:, j], high[:, j])
        if fit is None or not fit.converged:
            continue
        out[low[:, j], j] = np.exp(mean_below(fit.mean, fit.sd, log[low[:, j]]))
        out[high[:, j], j] = np.exp(-mean_below(-fit.mean, fit.sd, -log[high[:, j]]))
    return out


def _simple(x: Array, low: Mask, high: Mask, fraction: float) -> Array:
    """Put a fixed share of a lower limit, and as much over an upper one."""
    out = x.copy()
    out[low] *= fraction
    out[high] /= fraction
    return out


def _reference_part(flagged: Mask) -> int | None:
    """Give the first part that is never behind a limit: log-ratios are taken to it."""
    whole = np.flatnonzero(~flagged.any(axis=0))
    return int(whole[0]) if whole.size else None


def _within(y: Array, x: Array, low: Mask, high: Mask) -> Array:
    """Keep a hair off the limits, even where an expectation touches them."""
    y = np.where(low, np.minimum(y, x * (1 - 1e-9)), y)
    return np.asarray(np.where(high, np.maximum(y, x * (1 + 1e-9)), y))
