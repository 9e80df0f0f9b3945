"""More about the pairs of one role, assay and element: error against concentration, bias, grains."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from geochem.stats.precision import (
    half_absolute_relative_difference,
    horwitz_rsd_pct,
    pair_cv,
    precision_chart,
    thompson_howarth,
)
from geochem.stats.regression import reduced_major_axis

Floats = npt.NDArray[np.float64]

COLUMNS = (
    "hard_median_pct", "n_outside", "outside_pct", "th_s0", "th_k", "th_practical_limit",
    "chart_over_90_pct", "chart_over_99_pct", "chart_verdict", "rma_slope", "rma_slope_se",
    "rma_intercept", "coarse_grains", "horwitz_ratio",
)  # fmt: skip

#: a pair lies outside when its difference is beyond this many SD of the acceptable CV
OUTSIDE_SD = 1.959964
#: usual acceptance of a Horwitz ratio (from memory)
HORWITZ_FAIR = (0.5, 2.0)


def describe_pairs(a: Floats, b: Floats, role: str, allowed_pct: float) -> dict[str, object]:
    """Give the statistics of `COLUMNS` for pairs that are clear of the detection limit.

    Parameters
    ----------
    a, b : ndarray, shape (n_pairs,)
        First and second result. [mg/kg]
    role : str
        Only ``umpire`` pairs, of two laboratories, have a Horwitz ratio.
    allowed_pct : float
        Acceptable RMS CV; NaN when there is none. [%]

    Returns
    -------
    dict
        NaN, None or False where a statistic needs more pairs: Thompson-Howarth regression from
        50 (the chart from 10 to 50), the reduced major axis from 5.

    References
    ----------
    .. [1] Thompson, Howarth 1976, Analyst 101:690-709; 1978, J. Geochem. Explor. 9:23-30; Abzalov
       2008, Explor. Mining Geol. 17:131-144; Horwitz et al. 1980, J. AOAC 63:1344-1354.
    """
    out: dict[str, object] = dict.fromkeys(COLUMNS, float("nan"))
    out["n_outside"], out["coarse_grains"], out["chart_verdict"] = 0, False, None
    n = len(a)
    if not n:
        return out
    cv = pair_cv(a, b)
    out["hard_median_pct"] = float(np.median(half_absolute_relative_difference(a, b)))
    if np.isfinite(allowed_pct):
        over = int((cv > OUTSIDE_SD * allowed_pct).sum())
        out["n_outside"], out["outside_pct"] = over, 100 * over / n
    if n >= 50:
        line = thompson_howarth(a, b)
        out["th_s0"], out["th_k"] = line.s0, line.k
        out["th_practical_limit"] = line.practical_limit
    elif n >= 10 and np.isfinite(allowed_pct):
        # The chart's required precision is at two standard deviations.
        over90, over99, fine = precision_chart(a, b, required_pct=2 * allowed_pct)
        out["chart_over_90_pct"], out["chart_over_99_pct"] = 100 * over90, 100 * over99
        out["chart_verdict"] = "acceptable" if fine else "not acceptable"
    if n >= 5 and np.ptp(a) > 0 and np.ptp(b) > 0:
        axis = reduced_major_axis(a, b)
        out["rma_slope"], out["rma_slope_se"] = axis.slope, axis.slope_se
        out["rma_intercept"] = axis.intercept
    out["coarse_grains"] = coarse_grains(a, b)
    if role == "umpire":
        expected = horwitz_rsd_pct((a + b) / 2 * 1e-6)
        out["horwitz_ratio"] = float(np.sqrt(np.mean((cv / expected) ** 2)))
    return out


def coarse_grains(a: Floats, b: Floats) -> bool:
    """Say whether pairs scatter as a few coarse grains make them do.

    From ten pairs on: more than a tenth differ by a factor of two or more, and the few largest
    differences carry most of the squares (common practice, no source).

    Parameters
    ----------
    a, b : ndarray, shape (n_pairs,)
        Positive results.

    Returns
    -------
    bool
        True when they do.
    """
    n = len(a)
    if n < 10:
        return False
    squares = np.sort(((a - b) / (a + b)) ** 2)[::-1]
    wide = np.mean(np.maximum(a, b) >= 2 * np.minimum(a, b))
    # Of normal errors the largest fifth carries 65 %; of few grains more (measured on 10^6).
    most = squares[: max(n // 5, 1)].sum() > 0.75 * squares.sum()
    return bool(wide > 0.1 and most)
