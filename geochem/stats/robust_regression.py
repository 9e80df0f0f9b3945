"""Linear regression that a few wild values do not turn: Huber's M-estimate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall
from geochem.stats.robust import mad

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class RobustFit:
    """A fitted plane.

    Parameters
    ----------
    intercept : float
        Unit of the dependent variable.
    slopes : ndarray, shape (m,)
        Per predictor.
    fitted : ndarray, shape (n,)
        Values on the plane.
    scale : float
        Scaled MAD of the residuals.
    explained : float
        One less the square of residual by plain scaled MAD, 0 to 1. [-]
    """

    intercept: float
    slopes: Array
    fitted: Array
    scale: float
    explained: float


def huber_regression(
    x: npt.ArrayLike, y: npt.ArrayLike, *, k: float = 1.345, tol: float = 1e-10
) -> RobustFit:
    """Fit a plane by iteratively reweighted least squares.

    Wild values of `y` lose their pull; wild values of `x` do not, so predictors far out are first
    drawn in to four scaled MADs of their median.

    Parameters
    ----------
    x : array_like, shape (n, m)
        Predictors, finite.
    y : array_like, shape (n,)
        Dependent, finite.
    k : float, default 1.345
        Where residuals begin to lose weight, in their scale (95 % efficient). [-]
    tol : float, default 1e-10
        Relative change at which it stops.

    Returns
    -------
    RobustFit
        The scale is found anew at each step.

    Raises
    ------
    WrongCall
        If there are no more values than coefficients.

    References
    ----------
    .. [1] Huber 1981, Robust Statistics, Wiley, chapter 7.
    """
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    n, m = xs.shape
    if n <= m + 1:
        raise WrongCall(f"{n} values are too few for {m} predictors.")
    middle = np.median(xs, axis=0)
    spread = np.array([mad(xs[:, j]) for j in range(m)])
    spread = np.where(spread > 0, spread, np.maximum(xs.std(axis=0), 1e-300))
    u = (xs - middle) / spread
    design = np.column_stack([np.ones(n), np.clip(u, -4, 4)])
    # sorted, so that row order does not reach the last digit
    order = np.lexsort((*u.T[::-1], ys))
    d, v = design[order], ys[order]
    b = np.linalg.lstsq(d, v, rcond=None)[0]
    for _step in range(100):
        left = v - d @ b
        scale = mad(left, center=0.0)
        if not scale > 0:
            break
        w = np.minimum(1.0, k * scale / np.maximum(np.abs(left), 1e-300))
        new = np.linalg.solve(
            (d * w[:, None]).T @ d + 1e-12 * np.eye(m + 1), (d * w[:, None]).T @ v
        )
        moved = float(np.abs(new - b).max())
        b = new
        if moved <= tol * max(float(np.abs(b).max()), 1e-300):
            break
    fitted = design @ b
    rest, plain = mad(ys - fitted), mad(ys)
    slopes = b[1:] / spread
    return RobustFit(
        float(b[0] - slopes @ middle), slopes, fitted, rest,
        float(np.clip(1 - (rest / plain) ** 2, 0, 1)) if plain > 0 else 0.0,
    )  # fmt: skip
