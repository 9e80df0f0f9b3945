"""Expectation-maximisation of normal mixtures on binned, partly censored values.

What lives here: one pass and the accelerated climb from several starts at once. What does not:
bins, starts and the choice of the number of populations (`mixture`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.stats.rounding import share_in_cells

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    #: weight, mean and standard deviation of the populations, one row per start
    Theta = tuple[Array, Array, Array]
    Climbed = tuple[Theta, Array, npt.NDArray[np.bool_]]

LOG_ROOT = 0.5 * float(np.log(2 * np.pi))


@dataclass(frozen=True, slots=True, eq=False)
class Gathered:
    """Binned detected values and grouped limits; weights sum to one.

    Parameters
    ----------
    x, w : ndarray, shape (n,)
        Detected values and their weights.
    low, w_low, high, w_high : ndarray
        Limits that values lie under and over, and weights.
    step : float
        Typical distance between neighbouring detected values, what rounding leaves of them.
    cells : tuple of two ndarray, shape (n,), optional
        Ends of the cells that rounding gathers in `x`; None when values are not rounded.
    """

    x: Array
    w: Array
    low: Array
    w_low: Array
    high: Array
    w_high: Array
    step: float
    cells: tuple[Array, Array] | None = None


def climb(data: Gathered, start: Theta, floor: float, tol: float, most: int) -> Climbed:
    """Expectation-maximisation with extrapolated steps that are kept only when they help.

    Several starts climb side by side, each as if it were alone.

    Parameters
    ----------
    data : Gathered
        Values.
    start : tuple of three ndarray, shape (r, k)
        Weight, mean and standard deviation of r starts.
    floor : float
        Least standard deviation.
    tol : float
        Change of the mean log-likelihood at which a start stops.
    most : int
        Rounds at most.

    Returns
    -------
    theta, log_likelihood, converged
        Three arrays of shape (r, k), and two of shape (r,).
    """
    n_starts = len(start[0])
    ended = tuple(np.array(one) for one in start)
    reached, converged = np.full(n_starts, -np.inf), np.zeros(n_starts, dtype=bool)
    live = np.arange(n_starts)

    def end(which: npt.NDArray[np.bool_], theta: Theta, value: Array) -> None:
        for kept, one in zip(ended, theta, strict=True):
            kept[live[which]] = one[which]
        reached[live[which]], converged[live[which]] = value[which], True

    loglik, following = _step(data, start, floor)
    for _i in range(most):
        first, one = _step(data, following, floor)
        stop = first - loglik < tol * 1e-2
        if stop.any():
            end(stop, following, first)
            live, loglik, first = live[~stop], loglik[~stop], first[~stop]
            following, one = _rows(following, ~stop), _rows(one, ~stop)
            if not live.size:
                break
        _, two = _step(data, one, floor)
        base, near, far = _flat(following), _flat(one), _flat(two)
        r = near - base
        v = far - near - r
        size, bend = (np.sqrt((d * d).sum(axis=(0, 2))) for d in (r, v))
        alpha = np.clip(size / np.where(bend > 0, bend, 1.0), 1.0, 64.0)[:, None]
        theta = _unflat(base + 2 * alpha * r + alpha**2 * v, floor)
        best, after = _step(data, theta, floor)
        back = ~((bend > 0) & np.isfinite(best) & (best > first))
        if back.any():
            value, next_one = _step(data, _rows(two, back), floor)
            best[back] = value
            for k in range(3):
                theta[k][back], after[k][back] = two[k][back], next_one[k]
        following = after
        stop = best - loglik < tol
        if stop.any():
            end(stop, theta, best)
            live, loglik = live[~stop], best[~stop]
            theta, following = _rows(theta, ~stop), _rows(following, ~stop)
            if not live.size:
                break
        else:
            loglik = best
    else:
        end(np.ones(live.size, dtype=bool), theta, loglik)
        converged[live] = False
    return (ended[0], ended[1], ended[2]), reached, converged


def _rows(theta: Theta, which: npt.NDArray[np.bool_]) -> Theta:
    return theta[0][which], theta[1][which], theta[2][which]


def _flat(theta: Theta) -> Array:
    return np.stack([np.log(np.maximum(theta[0], 1e-12)), theta[1], np.log(theta[2])])


def _unflat(flat: Array, floor: float) -> Theta:
    p = np.exp(flat[0] - flat[0].max(axis=1, keepdims=True))
    sd = np.maximum(np.exp(np.clip(flat[2], -300, 300)), floor)
    return p / p.sum(axis=1, keepdims=True), flat[1].copy(), sd


def _step(data: Gathered, theta: Theta, floor: float) -> tuple[Array, Theta]:
    """One pass: mean log-likelihood of each `theta`, and the parameters that follow from it."""
    p, m, s = (one[:, None, :] for one in theta)
    z = (data.x[:, None] - m) / s
    density = np.exp(-0.5 * z * z)
    first = second = None
    if data.cells is not None:
        density, first, second = share_in_cells(z, density, data.cells, m, s)
    density = density * (p / s)
    sums = density.sum(axis=2)
    np.maximum(sums, 1e-300, out=sums)
    loglik = np.log(sums) @ data.w - LOG_ROOT * float(data.w.sum())
    share = density * (data.w / sums)[:, :, None]
    s0 = share.sum(axis=1)
    if first is None or second is None:
        s1, s2 = data.x @ share, (data.x * data.x) @ share
    else:
        m, s = theta[1], theta[2]
        s1 = m * s0 + s * (share * first).sum(axis=1)
        s2 = m * (2 * s1 - m * s0) + s**2 * (share * second).sum(axis=1)
    for limit, w, sign in ((data.low, data.w_low, 1.0), (data.high, data.w_high, -1.0)):
        if limit.size:
            more, t0, t1, t2 = _tail(limit, w, sign, theta)
            loglik += more
            s0, s1, s2 = s0 + t0, s1 + t1, s2 + t2
    s0 = np.maximum(s0, 1e-12)
    mean = s1 / s0
    sd = np.sqrt(np.maximum(s2 / s0 - mean**2, floor**2))
    return loglik, (s0 / s0.sum(axis=1, keepdims=True), mean, sd)


def _tail(limit: Array, w: Array, sign: float, theta: Theta) -> tuple[Array, Array, Array, Array]:
    """Contribution of values known to lie under (sign 1) or over (sign -1) a limit."""
    from scipy.special import log_ndtr

    p, m, s = (one[:, None, :] for one in theta)
    z = sign * (limit[:, None] - m) / s
    log_share = log_ndtr(z)
    inside = p * np.exp(log_share)
    sums = np.maximum(inside.sum(axis=2), 1e-300)
    share = inside * (w / sums)[:, :, None]
    mills = np.exp(-0.5 * z * z - LOG_ROOT - log_share)
    mean = m - sign * s * mills
    variance = s**2 * np.maximum(1 - mills * (z + mills), 0.0)
    return (
        np.log(sums) @ w,
        share.sum(axis=1),
        (share * mean).sum(axis=1),
        (share * (variance + mean**2)).sum(axis=1),
    )
