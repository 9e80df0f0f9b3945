"""Calibration lines of elements of which many pairs lie below detection.

Where they are few they are left out. Where they are many, a line through the others is too steep:
near the limit only readings that came out high by chance are left. Then the likelihood of all
pairs decides, those below detection with what is known of them.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from geochem.quality.calibration_fit import Fit
from geochem.stats.censored_line import censored_line

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.float64]

#: share of pairs below detection from which they are used (common practice, no source)
FROM_SHARE = 0.2
#: standard errors on either side of a 90 % interval
_HALF = 1.6448536
#: pairs worked on at most: more settle nothing
_MOST = 1500


def count_below(pairs: pd.DataFrame) -> int:
    """Count the pairs of a group with a value below detection."""
    return int((pairs["reason"] == "below detection").sum())


def line_with_limits(fit: Fit, pairs: pd.DataFrame, wild: npt.NDArray[np.bool_]) -> Fit | None:
    """Fit again with the pairs below detection, where these are many.

    Parameters
    ----------
    fit : Fit
        Through the pairs measured on both sides.
    pairs : pandas.DataFrame
        Of one group, from `collect_pairs`.
    wild : ndarray of bool, shape (n_pairs,)
        Far off the line; left out.

    Returns
    -------
    Fit or None
        Residuals, error and bias are those of the pairs measured on both sides from the new line,
        not cross-validated; ``others`` holds the slope without limits. None when pairs below
        detection are fewer than `FROM_SHARE`, or no line is found.
    """
    below = (pairs["reason"] == "below detection").to_numpy()
    take = np.flatnonzero((pairs["used"].to_numpy(dtype=bool) & ~wild) | below)
    if not len(take) or not np.isfinite(fit.slope) or below.sum() < FROM_SHARE * len(take):
        return None
    take = take[:: -(-len(take) // _MOST)]
    columns = ("x", "y", "x_err", "y_err", "x_below", "y_below")
    x, y, sx, sy, under, over = (pairs[c].to_numpy()[take] for c in columns)
    if not ((x > 0) & (y > 0)).all():
        return None
    sx, sy = _near_limit(x, sx, under.astype(bool)), _near_limit(y, sy, over.astype(bool))
    if fit.log:
        sx, sy = sx / (x * np.log(10)), sy / (y * np.log(10))
        x, y = np.log10(x), np.log10(y)
    line = censored_line(x, y, sx, sy, under.astype(bool), over.astype(bool))
    if line is None or not np.isfinite([line.slope_se, line.intercept_se]).all():
        return None
    new = replace(
        fit, slope=line.slope, intercept=line.intercept, slope_se=line.slope_se,
        intercept_se=line.intercept_se, covariance=line.covariance, extra=line.extra, blocks=0,
    )  # fmt: skip
    kept = pairs["used"].to_numpy(dtype=bool) & ~wild
    at, true = pairs["x"].to_numpy(dtype=float)[kept], pairs["y"].to_numpy(dtype=float)[kept]
    guess = np.clip(new.at(at), 1e-3 * true, None)
    left = np.log(guess / true)
    size = np.log(guess) + np.log(true) if fit.log else guess + true
    top = np.argsort(size, kind="stable")[-max(3, len(true) // 3) :]
    half = _HALF
    return replace(
        new, residual=left, rmse_pct=100 * float(np.sqrt(np.mean(left**2))),
        bias_pct=100 * float(np.expm1(np.median(left[top]))),
        bias_se=125 * float(np.std(left[top], ddof=1)) / np.sqrt(len(top)),
        slope_interval=(line.slope - half * line.slope_se, line.slope + half * line.slope_se),
        intercept_interval=(
            line.intercept - half * line.intercept_se, line.intercept + half * line.intercept_se
        ),
        others={"without limits": fit.slope},
    )  # fmt: skip


def _near_limit(value: Floats, err: Floats, below: npt.NDArray[np.bool_]) -> Floats:
    """Give limits the relative error of the lowest measured values, where it is larger.

    Instruments state no error with a limit; one that differed from that of values just above it
    would bend the line.
    """
    if below.all() or not below.any():
        return err
    known = value[~below]
    lowest = known <= np.quantile(known, 0.2)
    relative = float(np.median(err[~below][lowest] / known[lowest]))
    return np.where(below, np.maximum(err, relative * value), err)
