"""A line through pairs of which some are known only to lie under a limit.

Leaving out pairs below detection keeps those whose reading came out high by chance: near the limit
the line is then bent and too steep. Here every pair counts with what is known of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

#: the further error is at least this share of the stated one [-]
_NOTHING = 0.02
#: pairs measured on both sides that are needed
LEAST = 8


@dataclass(frozen=True, slots=True, eq=False)
class CensoredLine:
    """A line and its uncertainty.

    Parameters
    ----------
    slope, intercept : float
        Of y on x.
    slope_se, intercept_se, covariance : float
        One standard error each, and their covariance; NaN when the likelihood is too flat.
    extra : float
        Error added to both sides so that the scatter is explained.
    n, n_below : int
        Pairs, and those of them with a limit.
    """

    slope: float
    intercept: float
    slope_se: float
    intercept_se: float
    covariance: float
    extra: float
    n: int
    n_below: int

    def at(self, x: npt.ArrayLike) -> Floats:
        """Give y on the line."""
        return self.intercept + self.slope * np.asarray(x, dtype=float)


def censored_line(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    x_err: npt.ArrayLike,
    y_err: npt.ArrayLike,
    x_below: npt.ArrayLike,
    y_below: npt.ArrayLike,
) -> CensoredLine | None:
    """Fit a line with errors on both sides by maximum likelihood, limits included.

    True values are normally distributed (give logarithms), each side has its own normal error, and
    one further error, the same on both sides, is estimated.

    Parameters
    ----------
    x, y : array_like, shape (n_pairs,)
        Value, or the limit where below.
    x_err, y_err : array_like, shape (n_pairs,)
        One standard error of a value there, above zero.
    x_below, y_below : array_like of bool, shape (n_pairs,)
        Known only to lie under the limit.

    Returns
    -------
    CensoredLine or None
        None when fewer than `LEAST` pairs are measured on both sides, they hold no range, or no
        maximum with a rising line is found.

    Raises
    ------
    WrongCall
        If shapes differ, a number is not finite or an error is not above zero.

    References
    ----------
    .. [1] Fuller 1987, Measurement error models, section 1.2 (structural model); Cohen 1991,
       Truncated and censored samples, chapter 1 (the share of a limit in the likelihood).

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> true = rng.normal(1.0, 0.4, 300)
    >>> x, y = true + rng.normal(0, 0.1, 300), true + rng.normal(0, 0.05, 300)
    >>> hidden = x < 1.2
    >>> line = censored_line(np.maximum(x, 1.2), y, [0.1] * 300, [0.05] * 300, hidden, [False] * 300)
    >>> abs(line.slope - 1) < 0.1
    True
    """
    from scipy.optimize import minimize

    xs, ys, sx, sy = (np.asarray(v, dtype=float) for v in (x, y, x_err, y_err))
    under, over = np.asarray(x_below, dtype=bool), np.asarray(y_below, dtype=bool)
    if not (xs.shape == ys.shape == sx.shape == sy.shape == under.shape == over.shape):
        raise WrongCall("values, errors and flags of both sides must be equally long.")
    numbers = np.stack([xs, ys, sx, sy])
    if xs.ndim != 1 or not np.isfinite(numbers).all() or not (numbers[2:] > 0).all():
        raise WrongCall("values must be finite and errors above zero.")
    full = ~under & ~over
    if full.sum() < LEAST or np.ptp(xs[full]) == 0 or np.ptp(ys[full]) == 0:
        return None
    middle_x, middle_y = float(np.median(xs[full])), float(np.median(ys[full]))
    data = (xs - middle_x, ys - middle_y, sx, sy, under, over)

    def cost(theta: Floats) -> float:
        return _cost(theta, data)

    spread = max(float(np.std(xs)), 1e-6)
    slope = float(np.clip(np.std(ys[full]) / np.std(xs[full]), 0.05, 20.0))
    start = np.array([np.log(slope), 0.0, 0.0, np.log(spread), np.log(0.3 * np.median(sx))])
    best = minimize(cost, start, method="Nelder-Mead", options={"maxiter": 250, "maxfev": 300})
    best = minimize(cost, best.x, method="BFGS", options={"gtol": 1e-4 * len(xs) ** 0.5})
    theta = np.asarray(best.x, dtype=float)
    b = float(np.exp(theta[0]))
    if not np.isfinite(best.fun) or not 0.02 < b < 50:
        return None
    # without a further error the likelihood is flat in it
    some = theta[4] > np.log(2 * _NOTHING * float(np.median(sx)))
    covariance = _covariance(cost, theta, 5 if some else 4)
    # from (log slope, height at the middle) to (slope, intercept at zero)
    turn = np.array([[b, 0.0], [-b * middle_x, 1.0]])
    both = turn @ covariance @ turn.T
    errors = np.sqrt(np.where(np.diag(both) > 0, np.diag(both), np.nan))
    return CensoredLine(
        b, middle_y + float(theta[1]) - b * middle_x, float(errors[0]), float(errors[1]),
        float(both[0, 1]), float(np.exp(theta[4])), len(xs), int((~full).sum()),
    )  # fmt: skip


def _cost(theta: Floats, data: tuple[Floats, Floats, Floats, Floats, Flags, Flags]) -> float:
    """Give minus the log-likelihood at (log slope, height, mean, log SD, log extra error)."""
    from scipy.special import log_ndtr

    x, y, sx, sy, under, over = data
    if np.abs(theta).max() > 50.0:
        return 1e12
    # a further error far below the stated ones changes nothing
    least = np.log(_NOTHING * float(np.median(sx)))
    b, height, mean = float(np.exp(theta[0])), theta[1], theta[2]
    true, extra = float(np.exp(2 * theta[3])), float(np.exp(2 * max(theta[4], least)))
    vx, vy = sx**2 + extra, sy**2 + extra
    xx, yy, xy = true + vx, b * b * true + vy, b * true
    u, v = x - mean, y - height - b * mean
    total = 0.0
    k = ~under & ~over
    det = xx[k] * yy[k] - xy**2
    total += 0.5 * float(
        (np.log(det) + (yy[k] * u[k] ** 2 - 2 * xy * u[k] * v[k] + xx[k] * v[k] ** 2) / det).sum()
    )
    for hidden, p, q, pp, qq in ((under & ~over, u, v, xx, yy), (over & ~under, v, u, yy, xx)):
        if hidden.any():
            # the side that was measured, then the other one under its limit given that
            own = qq[hidden]
            given = xy / own * q[hidden]
            left = np.sqrt(pp[hidden] - xy**2 / own)
            total += 0.5 * float((np.log(own) + q[hidden] ** 2 / own).sum())
            total -= float(log_ndtr((p[hidden] - given) / left).sum())
    k = under & over
    if k.any():
        both = _both_under(
            u[k] / np.sqrt(xx[k]), v[k] / np.sqrt(yy[k]), xy / np.sqrt(xx[k] * yy[k])
        )
        total -= float(np.log(np.maximum(both, 1e-14)).sum())
    return total if np.isfinite(total) else 1e12


def _both_under(h: Floats, k: Floats, r: Floats) -> Floats:
    """Give the chance that two standard normals of correlation r both lie under h and k.

    Owen 1956, Annals of Mathematical Statistics 27:1075-1090.
    """
    from scipy.special import ndtr, owens_t

    h, k = (np.where(v == 0.0, 1e-12, v) for v in (h, k))
    root = np.sqrt(np.maximum(1.0 - r * r, 1e-15))
    found = 0.5 * (ndtr(h) + ndtr(k))
    found = found - owens_t(h, (k / h - r) / root) - owens_t(k, (h / k - r) / root)
    return np.asarray(np.where(h * k < 0, found - 0.5, found), dtype=float)


def _covariance(cost: Callable[[Floats], float], theta: Floats, n: int) -> Floats:
    """Give the covariance of slope and height from the curvature in the first n parameters."""
    step = 1e-3
    curve = np.empty((n, n))
    shift = step * np.eye(len(theta))
    for i in range(n):
        for j in range(i + 1):
            ends = [
                cost(theta + a * shift[i] + c * shift[j])
                for a, c in ((1, 1), (1, -1), (-1, 1), (-1, -1))
            ]
            curve[i, j] = curve[j, i] = (ends[0] - ends[1] - ends[2] + ends[3]) / (4 * step**2)
    try:
        inverse: Floats = np.asarray(np.linalg.inv(curve), dtype=float)
    except np.linalg.LinAlgError:
        return np.full((2, 2), np.nan)
    return inverse[:2, :2]
