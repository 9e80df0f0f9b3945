"""A normal (or lognormal) population fitted to values of which some lie beyond a limit.

By maximum likelihood, with limits below and above and weights; means of what is hidden under a
limit. Unreliable above 80 % below (Helsel 2005, Nondetects and Data Analysis, Wiley).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.stats.censored import Censored, finite_with_flags, flags

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class NormalFit:
    """A normal population fitted to partly censored values.

    Parameters
    ----------
    mean, sd : float
        On the scale of the input.
    covariance : ndarray, shape (2, 2)
        Of mean and sd, from the information matrix; NaN where it cannot be inverted.
    log_likelihood : float
        At the optimum; weights scaled to the effective number of values.
    n, n_below, n_above : int
        Values used.
    converged : bool
        Whether the gradient vanished.
    """

    mean: float
    sd: float
    covariance: Array
    log_likelihood: float
    n: int
    n_below: int
    n_above: int
    converged: bool

    def quantile(self, q: float) -> tuple[float, float]:
        """Give a quantile and its standard error.

        Parameters
        ----------
        q : float
            Probability. [-]

        Returns
        -------
        value, error : float
            On the scale of the input.
        """
        from scipy.special import ndtri

        z = float(ndtri(q))
        slope = np.array([1.0, z])
        variance = float(slope @ self.covariance @ slope)
        return self.mean + z * self.sd, float(np.sqrt(variance)) if variance >= 0 else float("nan")


def lognormal_likelihood(values: npt.ArrayLike, below: npt.ArrayLike | None = None) -> Censored:
    """Summarise left-censored values by the lognormal population of greatest likelihood.

    Parameters
    ----------
    values : array_like, shape (n,)
        Positive detected values, and limits where `below`.
    below : array_like of bool, shape (n,), optional
        True where the value is a limit.

    Returns
    -------
    Censored
        Median, mean and sd of the fitted lognormal population.

    References
    ----------
    .. [1] Helsel 2005, Nondetects and Data Analysis, Wiley, chapter 6.
    """
    x, b = finite_with_flags(values, below)
    nan, empty = float("nan"), np.zeros(0)
    fit = fit_censored_normal(np.log(x), b) if (x > 0).all() and x.size else None
    if fit is None:
        return Censored(
            "lognormal_likelihood", x.size, int(b.sum()), nan, nan, nan, nan, empty, empty
        )
    mean = float(np.exp(fit.mean + fit.sd**2 / 2))
    sd = mean * float(np.sqrt(np.expm1(fit.sd**2)))
    return Censored(
        "lognormal_likelihood", x.size, int(b.sum()), float(np.exp(fit.mean)), mean, sd, nan,
        empty, empty,
    )  # fmt: skip


def fit_censored_normal(
    values: npt.ArrayLike,
    below: npt.ArrayLike | None = None,
    above: npt.ArrayLike | None = None,
    weights: npt.ArrayLike | None = None,
) -> NormalFit | None:
    """Fit a normal population to partly censored values by maximum likelihood.

    In the parameters 1/sd and mean/sd the likelihood has a single peak, which Newton steps find
    from any start (Olsen 1978). Take logarithms first for a lognormal population.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values, and limits where flagged.
    below, above : array_like of bool, shape (n,), optional
        True where the true value lies under / over the one given.
    weights : array_like, shape (n,), optional
        Zero or more; scaled to the effective number of values.

    Returns
    -------
    NormalFit or None
        None with fewer than three distinct detected values: the spread is then not determined.

    References
    ----------
    .. [1] Olsen 1978, Note on the uniqueness of the maximum likelihood estimator for the tobit
       model, Econometrica 46:1211-1215.

    Examples
    --------
    >>> fit = fit_censored_normal([1.0, 2.0, 3.0, 4.0, 0.5], [0, 0, 0, 0, 1])
    >>> fit.n_below, 1.9 < fit.mean < 2.3
    (1, True)
    """
    x = np.asarray(values, dtype=float).ravel()
    b, a = flags(x.size, below), flags(x.size, above, "above")
    w = np.ones(x.size) if weights is None else np.asarray(weights, dtype=float).ravel()
    keep = np.isfinite(x) & (w > 0)
    x, b, a, w = x[keep], b[keep], a[keep], w[keep]
    # sorted, so that row order does not reach the last digit of any sum
    if x.size and np.ptp(w) == 0:
        order = np.concatenate([np.flatnonzero(~(b | a)), np.flatnonzero(b), np.flatnonzero(a)])
        n_seen, n_low = int((~(b | a)).sum()), int(b.sum())
        x = np.concatenate(
            [np.sort(part) for part in np.split(x[order], [n_seen, n_seen + n_low])]
        )
        b, a = b[order], a[order]
    else:
        order = np.lexsort((w, a, b, x))
        x, b, a, w = x[order], b[order], a[order], w[order]
    detected = ~(b | a)
    seen = x[detected]
    if (
        seen.size == 0
        or seen[0] == seen[-1]
        or (seen == seen[0]).sum() + (seen == seen[-1]).sum() == seen.size
    ):
        return None
    w = w * (w.sum() / (w**2).sum())
    return _fit_censored_normal(x, b, a, w, detected)


def _group(x: Array, w: Array) -> tuple[Array, Array]:
    """Sum the weights of equal limits."""
    distinct, place = np.unique(x, return_inverse=True)
    return distinct, np.asarray(
        np.bincount(place, weights=w, minlength=distinct.size), dtype=float
    )


def _fit_censored_normal(x: Array, b: Mask, a: Mask, w: Array, detected: Mask) -> NormalFit:
    from scipy.special import log_ndtr

    centre = float(np.average(x[detected], weights=w[detected]))
    spread = float(np.sqrt(np.average((x[detected] - centre) ** 2, weights=w[detected])))
    u = (x - centre) / spread
    s0, s1 = float(w[detected].sum()), float((w * u)[detected].sum())
    s2 = float((w * u * u)[detected].sum())
    low, w_low = _group(u[b], w[b])
    high, w_high = _group(u[a], w[a])
    log_root = 0.5 * np.log(2 * np.pi)

    def likelihood(alpha: float, theta: float) -> float:
        if theta <= 0:
            return -np.inf
        body = s0 * (np.log(theta) - log_root)
        body -= 0.5 * (theta**2 * s2 - 2 * theta * alpha * s1 + alpha**2 * s0)
        tails = w_low @ log_ndtr(theta * low - alpha) + w_high @ log_ndtr(alpha - theta * high)
        return float(body + tails)

    alpha, theta = 0.0, 1.0
    value, converged = likelihood(alpha, theta), False
    hessian = np.eye(2)
    for _step in range(200):
        z, y = theta * low - alpha, alpha - theta * high
        mills_z = np.exp(-0.5 * z * z - log_root - log_ndtr(z))
        mills_y = np.exp(-0.5 * y * y - log_root - log_ndtr(y))
        g = np.array(
            [
                theta * s1 - alpha * s0 - w_low @ mills_z + w_high @ mills_y,
                s0 / theta - theta * s2 + alpha * s1
                + w_low @ (mills_z * low) - w_high @ (mills_y * high),
            ]
        )  # fmt: skip
        curve_z = w_low * mills_z * (z + mills_z)
        curve_y = w_high * mills_y * (y + mills_y)
        cross = s1 + curve_z @ low + curve_y @ high
        hessian = np.array(
            [
                [s0 + curve_z.sum() + curve_y.sum(), -cross],
                [-cross, s0 / theta**2 + s2 + curve_z @ low**2 + curve_y @ high**2],
            ]
        )
        if np.abs(g).max() <= 1e-9 * max(s0, 1.0):
            converged = True
            break
        step = np.linalg.solve(hessian, g)
        size = 1.0
        while size > 1e-10:
            trial = likelihood(alpha + size * step[0], theta + size * step[1])
            if trial >= value - 1e-12 * abs(value):
                break
            size /= 2
        alpha, theta, value = alpha + size * step[0], theta + size * step[1], trial
    # delta method: mean = alpha / theta, sd = 1 / theta, in units of the detected spread
    jacobian = np.array([[1 / theta, -alpha / theta**2], [0.0, -1 / theta**2]]) * spread
    try:
        covariance = jacobian @ np.linalg.inv(hessian) @ jacobian.T
    except np.linalg.LinAlgError:
        covariance = np.full((2, 2), np.nan)
    return NormalFit(
        float(centre + spread * alpha / theta), float(spread / theta), covariance,
        float(value - s0 * np.log(spread)), x.size, int(b.sum()), int(a.sum()), converged,
    )  # fmt: skip


def mean_below(mean: npt.ArrayLike, sd: npt.ArrayLike, limit: npt.ArrayLike) -> Array:
    """Give the mean of a normal population of which only values under a limit are seen.

    Parameters
    ----------
    mean, sd, limit : array_like
        Same scale, broadcast together.

    Returns
    -------
    ndarray
        Never above `limit`.

    Examples
    --------
    >>> float(np.exp(mean_below(1.0, 0.5, 1.0)).round(8))
    1.82404711
    """
    from scipy.special import log_ndtr

    m, s, top = np.broadcast_arrays(
        np.asarray(mean, dtype=float), np.asarray(sd, dtype=float), np.asarray(limit, dtype=float)
    )
    z = (top - m) / s
    ratio = np.exp(-0.5 * z * z - 0.5 * np.log(2 * np.pi) - log_ndtr(z))
    return np.minimum(m - s * ratio, top)
