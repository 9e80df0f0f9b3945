"""Cross-validation of interpolators: left-out samples, one by one or in blocks of ground.

What lives here: folds of ground, numbers that say how good and how honest an interpolation is.
What does not: the interpolation itself.
Test to copy: `tests/stats/test_cross_validation.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

#: shares of intervals whose coverage is reported
INTERVALS = (0.5, 0.8, 0.9, 0.95)


@dataclass(frozen=True, slots=True)
class Validation:
    """How well and how honestly left-out samples were predicted.

    Parameters
    ----------
    n : int
        Samples predicted.
    mean_error, rmse, mae : float
        Predicted minus true: mean, root mean square, mean absolute.
    correlation : float
        Of predicted and true.
    standardised_variance : float
        Mean of squared error over kriging variance; 1 when the variance is honest, above when it
        is too small. NaN without variance.
    coverage : tuple of float
        Share of true values inside the central normal intervals of `INTERVALS`.
    """

    n: int
    mean_error: float
    rmse: float
    mae: float
    correlation: float
    standardised_variance: float
    coverage: tuple[float, ...]


def validate(
    true: npt.ArrayLike, predicted: npt.ArrayLike, variance: npt.ArrayLike | None = None
) -> Validation:
    """Compare predictions with what was left out.

    Parameters
    ----------
    true, predicted : array_like, shape (n,)
        Rows with NaN do not count.
    variance : array_like, shape (n,), optional
        Of the error that was expected.

    Returns
    -------
    Validation
        NaN everywhere when nothing could be compared.

    Examples
    --------
    >>> found = validate([1.0, 2.0, 3.0], [1.5, 2.0, 2.5], [0.25, 0.25, 0.25])
    >>> round(found.rmse, 4), round(found.standardised_variance, 4)
    (0.4082, 0.6667)
    """
    from scipy.special import ndtri

    t, p = np.asarray(true, dtype=float), np.asarray(predicted, dtype=float)
    v = np.full(len(t), np.nan) if variance is None else np.asarray(variance, dtype=float)
    keep = np.isfinite(t) & np.isfinite(p)
    t, p, v = t[keep], p[keep], v[keep]
    nan = float("nan")
    if not len(t):
        return Validation(0, nan, nan, nan, nan, nan, (nan,) * len(INTERVALS))
    error = p - t
    flat = len(t) < 2 or np.ptp(t) == 0 or np.ptp(p) == 0
    known = v > 0
    z = error[known] / np.sqrt(v[known])
    covered = tuple(
        float(np.mean(np.abs(z) <= ndtri(0.5 + share / 2))) if known.any() else nan
        for share in INTERVALS
    )
    return Validation(
        len(t), float(error.mean()), float(np.sqrt(np.mean(error**2))),
        float(np.abs(error).mean()), nan if flat else float(np.corrcoef(t, p)[0, 1]),
        float(np.mean(z**2)) if known.any() else nan, covered,
    )  # fmt: skip


def ground_folds(xy: npt.ArrayLike, side: float, n_folds: int) -> IntArray:
    """Part samples into folds of square blocks of ground.

    Blocks are numbered along rows and dealt to the folds by a fixed pattern, so that blocks of one
    fold do not touch when there are five folds or more.

    Parameters
    ----------
    xy : array_like, shape (n, 2)
        Easting and northing. [m]
    side : float
        Of a block: at least the distance over which neighbours resemble one another. [m]
    n_folds : int
        Folds.

    Returns
    -------
    ndarray of int, shape (n,)
        Fold of each sample, 0 to `n_folds` - 1; some may be empty.

    Raises
    ------
    WrongCall
        If the side is not positive or fewer than two folds are asked for.

    References
    ----------
    Roberts, D. R. and others 2017. Cross-validation strategies for data with temporal, spatial,
    hierarchical, or phylogenetic structure. Ecography 40:913-929.
    """
    if not side > 0 or n_folds < 2:
        raise WrongCall(
            f"side {side} and {n_folds} folds: a positive side and at least two folds."
        )
    points = np.asarray(xy, dtype=float)
    column, row = np.floor((points - points.min(axis=0)) / side).astype(np.intp).T
    fold: IntArray = (column + 2 * row) % n_folds
    return fold


def reliability(
    chance: npt.ArrayLike, happened: npt.ArrayLike, *, bins: int = 10
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Compare predicted chances with how often it happened.

    Parameters
    ----------
    chance : array_like, shape (n,)
        Predicted, 0-1.
    happened : array_like of bool, shape (n,)
        Whether it did.
    bins : int, default 10
        Of equal width.

    Returns
    -------
    predicted, observed : ndarray, shape (bins,)
        Mean chance and share that happened; NaN in empty bins.
    count : ndarray of int, shape (bins,)
        Cases.
    """
    p, y = np.asarray(chance, dtype=float), np.asarray(happened, dtype=float)
    keep = np.isfinite(p) & np.isfinite(y)
    p, y = p[keep], y[keep]
    which = np.clip((p * bins).astype(np.intp), 0, bins - 1)
    count = np.bincount(which, minlength=bins)
    safe = np.where(count > 0, count, 1)
    predicted = np.where(count > 0, np.bincount(which, p, minlength=bins) / safe, np.nan)
    observed = np.where(count > 0, np.bincount(which, y, minlength=bins) / safe, np.nan)
    return predicted, observed, count
