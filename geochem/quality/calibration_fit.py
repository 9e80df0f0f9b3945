"""One calibration line: York with both errors, wild pairs set aside, error cross-validated."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from geochem.stats.regression import (
    Line,
    deming,
    excess_scatter,
    passing_bablok,
    reduced_major_axis,
    theil_sen,
    york,
)
from geochem.stats.york_bootstrap import york_bootstrap

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A line and how far it can be believed.

    Parameters
    ----------
    slope, intercept, slope_se, intercept_se, covariance : float
        On log10 scale with `log`.
    log : bool
        Whether.
    n : int
        Pairs used.
    extra : float
        Relative error (or that in mg/kg) added to both sides so that the scatter is explained.
    r2 : float
        Squared correlation on the scale of the fit.
    rmse_pct, bias_pct, bias_se : float
        Cross-validated relative error, bias in the upper third and its standard error. [%]
    wild : ndarray of bool, shape (n_pairs,)
        Pairs that were left out because they lie far off.
    residual : ndarray, shape (n,)
        Cross-validated, corrected over laboratory value, natural logarithm.
    blocks : int
        Blocks left out in turn; 0 when single pairs were dealt into folds.
    slope_interval, intercept_interval : tuple of float
        90 %, by the bootstrap of pairs.
    others : dict of str to float
        Slopes of other methods on the same pairs.
    """

    slope: float
    intercept: float
    slope_se: float
    intercept_se: float
    covariance: float
    log: bool
    n: int
    extra: float
    r2: float
    rmse_pct: float
    bias_pct: float
    bias_se: float
    wild: npt.NDArray[np.bool_]
    residual: Floats = field(default_factory=lambda: np.empty(0))
    blocks: int = 0
    slope_interval: tuple[float, float] = (float("nan"), float("nan"))
    intercept_interval: tuple[float, float] = (float("nan"), float("nan"))
    others: dict[str, float] = field(default_factory=dict)

    def at(self, x: Floats) -> Floats:
        """Give the corrected value. [mg/kg]."""
        if self.log:
            return np.asarray(10 ** (self.intercept + self.slope * np.log10(x)))
        return self.intercept + self.slope * x


def fit_line(
    x: Floats, y: Floats, x_err: Floats, y_err: Floats, *, log_range: float = 10.0,
    folds: int = 10, blocks: npt.ArrayLike | None = None, extras: bool = True,
    wild: npt.NDArray[np.bool_] | None = None,
) -> Fit:  # fmt: skip
    """Fit y on x with the errors of both.

    Parameters
    ----------
    x, y : ndarray, shape (n_pairs,)
        Reading and laboratory value, above zero, in a fixed order (sorted by sample id). [mg/kg]
    x_err, y_err : ndarray, shape (n_pairs,)
        One standard error each. [mg/kg]
    log_range : float, default 10
        Fit on log10 when x spans more than this ratio.
    folds : int, default 10
        Every folds-th pair is left out in turn when there are no blocks.
    blocks : array_like, shape (n_pairs,), optional
        What was measured together, such as the batch of the readings. From four blocks on whole
        blocks are left out in turn: pairs of one batch share its error, and leaving out single
        ones makes the error look too small.
    extras : bool, default True
        Cross-validation, bootstrap intervals and slopes of other methods too; without, residuals
        are those of the line itself.
    wild : ndarray of bool, shape (n_pairs,), optional
        Pairs far off, where they are known from an earlier fit of the same pairs.

    Returns
    -------
    Fit
        Standard errors already hold the scatter that the stated errors do not explain.
    """
    log = bool(x.max() > log_range * x.min() or y.max() > log_range * y.min())
    if log:
        u, v = np.log10(x), np.log10(y)
        su, sv = x_err / (x * np.log(10)), y_err / (y * np.log(10))
    else:
        u, v, su, sv = x, y, x_err, y_err
    if np.ptp(u) == 0:
        return _flat(len(u), log=log)
    wild = _wild(u, v, su, sv) if wild is None else wild
    u, v, su, sv = (a[~wild] for a in (u, v, su, sv))
    if np.ptp(u) == 0 or len(u) < 3:
        return _flat(len(u), log=log)
    extra = excess_scatter(u, v, su, sv)
    su, sv = np.hypot(su, extra), np.hypot(sv, extra)
    line = york(u, v, su, sv)
    block = None if blocks is None else np.asarray(blocks, dtype=object)[~wild]
    fold, n_blocks = _folds(len(u), folds, block)
    guess = _cross_validated(u, v, su, sv, fold) if extras else line.at(u)
    fitted = np.log(10) * (guess - v) if log else np.log(np.clip(guess, 1e-3 * v, None) / v)
    rmse = 100 * float(np.sqrt(np.mean(fitted**2)))
    # By the mean of both: choosing by either alone would make a bias of its own.
    top = np.argsort(guess + v, kind="stable")[-max(3, len(v) // 3) :]
    bias = 100 * float(np.expm1(np.median(fitted[top])))
    bias_se = 1.25 * 100 * float(np.std(fitted[top], ddof=1)) / np.sqrt(len(top))
    r = np.corrcoef(u, v)[0, 1] if np.ptp(v) > 0 else 0.0
    intervals = _intervals(u, v, su, sv) if extras else ((np.nan, np.nan), (np.nan, np.nan))
    return Fit(
        line.slope, line.intercept, line.slope_se, line.intercept_se, line.covariance, log,
        len(u), extra, float(r**2), rmse, bias, float(bias_se), wild, fitted, n_blocks,
        slope_interval=intervals[0], intercept_interval=intervals[1],
        others=_other_slopes(u, v, su, sv) if extras else {},
    )  # fmt: skip


def _intervals(
    u: Floats, v: Floats, su: Floats, sv: Floats
) -> tuple[tuple[float, float], tuple[float, float]]:
    if len(u) < 5:
        return (np.nan, np.nan), (np.nan, np.nan)
    return york_bootstrap(u, v, su, sv)


def _other_slopes(u: Floats, v: Floats, su: Floats, sv: Floats) -> dict[str, float]:
    """Give slopes by methods that lean on other assumptions; none may be far from York's."""
    line = theil_sen(u, v)
    out = {
        "deming": deming(u, v, ratio=float(np.median((sv / su) ** 2)), errors=False).slope,
        "reduced major axis": reduced_major_axis(u, v).slope,
        "theil-sen": line.slope,
        "theil-sen low": line.slope_low,
        "theil-sen high": line.slope_high,
    }
    if len(u) <= 300:
        out["passing-bablok"] = passing_bablok(u, v).slope
    return out


def _folds(
    n: int, folds: int, blocks: npt.NDArray[np.object_] | None
) -> tuple[npt.NDArray[np.intp], int]:
    """Deal pairs into folds: whole blocks, small ones together, or every k-th pair."""
    if blocks is not None:
        _, code = np.unique(blocks.astype(str), return_inverse=True)
        n_blocks = int(code.max()) + 1 if n else 0
        if n_blocks >= 4 and np.bincount(code).max() <= n / 2:
            return code % 20, n_blocks
    return np.arange(n) % min(folds, n), 0


def _wild(u: Floats, v: Floats, su: Floats, sv: Floats) -> npt.NDArray[np.bool_]:
    """Find single pairs far off; when many are, they are the truth and none is left out."""
    none = np.zeros(len(u), dtype=bool)
    if len(u) < 8:
        return none
    line = theil_sen(u, v)
    away = (v - line.at(u)) / np.sqrt(sv**2 + (line.slope * su) ** 2)
    middle = float(np.median(away))
    scale = 1.4826 * float(np.median(np.abs(away - middle)))
    if scale == 0:
        return none
    wild = np.abs(away - middle) > 4.5 * scale
    return wild if wild.mean() <= 0.1 else none


def _cross_validated(
    u: Floats, v: Floats, su: Floats, sv: Floats, fold: npt.NDArray[np.intp]
) -> Floats:
    guess = np.empty(len(u))
    for f in range(int(fold.max()) + 1):
        out = fold == f
        keep = ~out
        if keep.sum() < 3 or np.ptp(u[keep]) == 0:
            guess[out] = v[keep].mean()
            continue
        line: Line = york(u[keep], v[keep], su[keep], sv[keep])
        guess[out] = line.at(u[out])
    return guess


def _flat(n: int, *, log: bool) -> Fit:
    nan = float("nan")
    return Fit(nan, nan, nan, nan, nan, log, n, nan, 0.0, nan, nan, nan, np.zeros(n, dtype=bool))
