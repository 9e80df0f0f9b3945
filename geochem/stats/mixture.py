"""Mixtures of normal populations fitted to partly censored values.

Values are usually log10 concentrations. Equal or nearly equal values are gathered in bins first
(each bin keeps its own mean, so the fit does not depend on where bins begin), which makes
100,000 values cost as much as two thousand.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall
from geochem.stats.censored import flags
from geochem.stats.mixture_climb import LOG_ROOT, Gathered, climb
from geochem.stats.robust_columns import exact_median
from geochem.stats.rounding import rounding_cells

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

#: no population may be narrower than this share of the spread of all values: rounded readings
#: would otherwise each become a population of their own
_NARROWEST = 0.05
#: values per distinct value from which on they were rounded
_REPEATED = 1.5
#: bins of the final fit and of the search for its start
_BINS = 500
_BINS_START = 120


@dataclass(frozen=True, slots=True, eq=False)
class MixtureFit:
    """Normal populations, ordered by mean.

    Parameters
    ----------
    weight, mean, sd : ndarray, shape (k,)
        Share, location and scale of each population, scale of the input.
    log_likelihood : float
        Mean per value. [-]
    bic : float
        Bayesian information criterion, smaller is better; effective number of values.
    bic_of : dict of int to float
        The criterion of every number of populations that was tried.
    covariance : ndarray, shape (3k - 1, 3k - 1)
        Of (weights but the last, means, sds), from the scores of the values; NaN where it cannot
        be had.
    n, n_effective : float
        Values, and the equally weighted number that carries as much information.
    converged : bool
        Whether the last change of the mean log-likelihood was below the tolerance.
    """

    weight: Array
    mean: Array
    sd: Array
    log_likelihood: float
    bic: float
    bic_of: dict[int, float]
    covariance: Array
    n: int
    n_effective: float
    converged: bool

    @property
    def k(self) -> int:
        """How many populations."""
        return int(self.mean.size)


def fit_mixture(
    values: npt.ArrayLike,
    *,
    below: npt.ArrayLike | None = None,
    above: npt.ArrayLike | None = None,
    weights: npt.ArrayLike | None = None,
    populations: int | None = None,
    max_populations: int = 4,
    tol: float = 1e-6,
    log10: bool = False,
    inflation: float = 1.0,
) -> MixtureFit | None:
    """Fit one to four normal populations by expectation-maximisation.

    Where values repeat, they were rounded: each then stands for all that rounds to it (its cell),
    and the likelihood is that of the cell. Taken as exact, the steps of rounding pass for
    populations.

    Every number of populations is started from several divisions of the ordered values, always
    the same ones, so the result does not depend on chance or on the order of the rows.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values, and limits where flagged; missing values are left out.
    below, above : array_like of bool, shape (n,), optional
        True where the true value lies under / over the one given.
    weights : array_like, shape (n,), optional
        Zero or more.
    populations : int, optional
        How many; not given: the number of smallest BIC.
    max_populations : int, default 4
        Largest number tried. A number that needs more than one population per eight distinct
        values is not tried.
    tol : float, default 1e-6
        Change of the mean log-likelihood at which it stops.
    log10 : bool, default False
        Say that the values are log10 of what was measured: rounding left even steps before.
    inflation : float, default 1
        How much wider intervals are because values are not independent (`likeness.inflation`): the
        effective number of values, which BIC counts with, is divided by its square. [-]

    Returns
    -------
    MixtureFit or None
        None with fewer than three distinct detected values.

    References
    ----------
    .. [1] Dempster, Laird & Rubin 1977, J. R. Stat. Soc. B 39:1-38; Lee & Scott 2012, EM
       algorithms for multivariate Gaussian mixture models with truncated and censored data,
       Comput. Stat. Data Anal. 56:2816-2829; Schwarz 1978, Ann. Stat. 6:461-464 (BIC); McLachlan
       & Jones 1988, Fitting mixture models to grouped and truncated data via the EM algorithm,
       Biometrics 44:571-578 (cells).
    """
    x = np.asarray(values, dtype=float).ravel()
    b, a = flags(x.size, below), flags(x.size, above, "above")
    w = np.ones(x.size) if weights is None else np.asarray(weights, dtype=float).ravel()
    if w.size != x.size:
        raise WrongCall(f"{x.size} values came with {w.size} weights; give one weight per value.")
    if populations is not None and not 1 <= populations <= 6:
        raise WrongCall(f"the number of populations must be 1 to 6, got {populations}.")
    keep = np.isfinite(x) & (w > 0)
    if not keep.all():
        x, b, a, w = x[keep], b[keep], a[keep], w[keep]
    data, distinct = _gather(x, b, a, w, log10=log10)
    if distinct < 3:
        return None
    if np.ptp(w) == 0:
        n_effective = x.size / inflation**2
    else:
        ordered = np.sort(w)
        n_effective = float(ordered.sum() ** 2 / (ordered**2).sum()) / inflation**2
    # a dozen distinct values are rounding steps, not populations
    most = max(1, min(max_populations, distinct // 8))
    tried = [populations] if populations is not None else list(range(1, most + 1))
    coarse = _coarser(data)
    best: tuple[float, int, tuple[Array, Array, Array], float, bool] | None = None
    bic_of: dict[int, float] = {}
    for k in tried:
        theta, loglik, converged = _fit(data, coarse, k, tol)
        bic_of[k] = float(-2 * n_effective * loglik + (3 * k - 1) * np.log(n_effective))
        if best is None or bic_of[k] < best[0] - 1e-9:
            best = (bic_of[k], k, theta, loglik, converged)
        elif k >= 3:
            break  # one more population than needed: more still will not help
    assert best is not None
    bic, k, (p, m, s), loglik, converged = best
    order = np.lexsort((s, m))
    p, m, s = p[order], m[order], s[order]
    covariance = _covariance(data, p, m, s, n_effective)
    return MixtureFit(
        p, m, s, loglik, bic, bic_of, covariance, int(x.size), n_effective, converged
    )


def _gather(
    x: Array, b: npt.NDArray[np.bool_], a: npt.NDArray[np.bool_], w: Array, *, log10: bool
) -> tuple[Gathered, int]:
    """Bin detected values and group limits; also say how many distinct values there are."""
    equal = bool(w.size == 0 or np.ptp(w) == 0)
    none = np.zeros(0)

    def group(mask: npt.NDArray[np.bool_]) -> tuple[Array, Array]:
        if not mask.any():
            return none, none
        # everything is summed in sorted order, so that row order does not reach the last digit
        if equal:
            v = np.sort(x if mask.all() else x[mask])
            u = np.ones(v.size)
            if not (v[1:] == v[:-1]).any():
                return v, u
        else:
            order = np.lexsort((w[mask], x[mask]))
            v, u = x[mask][order], w[mask][order]
        first = np.flatnonzero(np.append(True, v[1:] != v[:-1]))
        if first.size == v.size:
            return v, u
        return v[first], np.asarray(np.add.reduceat(u, first), dtype=float)

    detected = ~(b | a)
    v, u = group(detected)
    distinct, step = v.size, _step_of(v, u)
    seen = int(np.count_nonzero(detected))
    ends = rounding_cells(v, log10=log10) if seen >= _REPEATED * distinct >= 2 else None
    if ends is not None and b.any():
        # what lies under a limit is reported as that limit: the cell of the value there ends at it
        limits = np.unique(x[b])
        last = np.searchsorted(limits, v, side="right") - 1
        ends = (np.where(last >= 0, np.maximum(ends[0], limits[last]), ends[0]), ends[1])
    if distinct > _BINS:
        if ends is not None:
            place = _places(v, _BINS)
            # a bin of several cells is as wide as they are on average: its own width is no rounding
            ends = (v - _mean_in(v - ends[0], u, place), v + _mean_in(ends[1] - v, u, place))
            first = np.flatnonzero(np.append(True, place[1:] != place[:-1]))
            ends = ((v - ends[0])[first], (ends[1] - v)[first])
        v, u = _bin(v, u, _BINS)
        if ends is not None:
            ends = (v - ends[0], v + ends[1])
    low, w_low = group(b)
    high, w_high = group(a)
    total = float(u.sum() + w_low.sum() + w_high.sum())
    return Gathered(v, u / total, low, w_low / total, high, w_high / total, step, ends), distinct


def _step_of(v: Array, u: Array) -> float:
    """Weighted median distance of distinct values to their neighbours."""
    if v.size < 2:
        return 0.0
    both = np.empty_like(v)  # the distance from one neighbour to the other
    np.subtract(v[2:], v[:-2], out=both[1:-1])
    both[0], both[-1] = 2 * (v[1] - v[0]), 2 * (v[-1] - v[-2])
    if np.ptp(u) == 0:  # a plain median needs no sorting
        return exact_median(both) / 2
    order = np.argsort(both, kind="stable")
    cumulative = np.cumsum(u[order])
    return float(both[order][np.searchsorted(cumulative, cumulative[-1] / 2)]) / 2


def _places(v: Array, bins: int) -> npt.NDArray[np.int64]:
    low, high = v[0], v[-1]
    return np.minimum(((v - low) * (bins / (high - low))).astype(np.int64), bins - 1)


def _mean_in(y: Array, u: Array, place: npt.NDArray[np.int64]) -> Array:
    """Weighted mean of each value's bin."""
    total = np.bincount(place, weights=u)
    mean = np.bincount(place, weights=u * y) / np.maximum(total, 1e-300)
    return np.asarray(mean[place])


def _bin(v: Array, u: Array, bins: int) -> tuple[Array, Array]:
    """Gather sorted values in bins of equal width: mean and weight of those that hold any."""
    place = _places(v, bins)
    first = np.flatnonzero(np.append(True, place[1:] != place[:-1]))
    if np.ptp(u) == 0:
        total = np.diff(np.append(first, v.size)) * u[0]
        return np.add.reduceat(v, first) * u[0] / total, total
    total = np.asarray(np.add.reduceat(u, first), dtype=float)
    return np.asarray(np.add.reduceat(u * v, first)) / total, total


def _coarser(data: Gathered) -> Gathered:
    """Fewer bins, enough to find out where each population lies."""

    def thin(v: Array, u: Array) -> tuple[Array, Array]:
        return _bin(v, u, _BINS_START) if v.size > _BINS_START else (v, u)

    cells = data.cells if data.x.size <= _BINS_START else None
    return Gathered(
        *thin(data.x, data.w), *thin(data.low, data.w_low), *thin(data.high, data.w_high),
        data.step, cells,
    )  # fmt: skip


def _starts(data: Gathered, k: int) -> list[tuple[Array, Array, Array]]:
    """Divide the ordered values (limits taken as values) at fixed shares."""
    x = np.concatenate([data.x, data.low, data.high])
    w = np.concatenate([data.w, data.w_low, data.w_high])
    order = np.argsort(x, kind="stable")
    x, w = x[order], w[order]
    cumulative = np.cumsum(w) - w / 2
    cuts: dict[int, list[list[float]]] = {
        1: [[]],
        2: [[0.5], [0.8], [0.95], [0.2], [0.05]],
        3: [[1 / 3, 2 / 3], [0.6, 0.9], [0.1, 0.8], [0.85, 0.97], [0.2, 0.5]],
        4: [[0.25, 0.5, 0.75], [0.4, 0.7, 0.95], [0.1, 0.5, 0.9], [0.05, 0.8, 0.95]],
    }
    starts = []
    for cut in cuts.get(k, [list(np.arange(1, k) / k)]):
        part = np.searchsorted(cut, cumulative)
        share = np.asarray(np.bincount(part, weights=w, minlength=k), dtype=float)
        if (share <= 0).any():
            continue
        mean = np.bincount(part, weights=w * x, minlength=k) / share
        spread = np.bincount(part, weights=w * (x - mean[part]) ** 2, minlength=k) / share
        starts.append((share, mean, np.sqrt(spread)))
    if not starts:
        mean = np.quantile(x, (np.arange(k) + 0.5) / k)
        starts.append((np.full(k, 1 / k), mean, np.full(k, float(x.std()) / k + 1e-12)))
    return starts


def _fit(
    data: Gathered, coarse: Gathered, k: int, tol: float
) -> tuple[tuple[Array, Array, Array], float, bool]:
    total = float(data.w.sum())
    middle = float(data.w @ data.x) / total
    spread = float(np.sqrt(data.w @ (data.x - middle) ** 2 / total))
    # nor, unless the cells of rounding are known, narrower than its steps
    floor = _NARROWEST * spread if data.cells else max(_NARROWEST * spread, 0.7 * data.step)
    p, m, s = (np.stack(one) for one in zip(*_starts(coarse, k), strict=True))
    theta, reached, _ = climb(coarse, (p, m, np.maximum(s, floor)), floor, 1e-5, 8)
    order = np.argsort(-reached, kind="stable")
    behind = reached[order[0]] - reached[order]
    # a second start is finished only when it promises another peak as high as the first
    second = len(order) > 1 and 1e-4 <= behind[1] <= 3e-3
    finish = order[:2] if second else order[:1]
    (p, m, s), reached, converged = climb(
        data, (theta[0][finish], theta[1][finish], theta[2][finish]), floor, tol, 150
    )
    best = int(np.argmax(reached))
    return (p[best], m[best], s[best]), float(reached[best]), bool(converged[best])


def _covariance(data: Gathered, p: Array, m: Array, s: Array, n_effective: float) -> Array:
    """Inverse of the mean outer product of the scores, over the effective number of values."""
    from scipy.special import ndtr

    k = p.size
    rows, weights = [], []
    z = (data.x[:, None] - m) / s
    density = np.exp(-0.5 * z * z) / s
    total = np.maximum(density @ p, 1e-300)[:, None]
    by_p = (density[:, :-1] - density[:, -1:]) / total
    rows.append(
        np.hstack([by_p, p * density * z / s / total, p * density * (z * z - 1) / s / total])
    )
    weights.append(data.w)
    for limit, w, sign in ((data.low, data.w_low, 1.0), (data.high, data.w_high, -1.0)):
        if limit.size:
            z = (limit[:, None] - m) / s
            inside = ndtr(sign * z)
            edge = sign * np.exp(-0.5 * z * z - LOG_ROOT) / s
            total = np.maximum(inside @ p, 1e-300)[:, None]
            by_p = (inside[:, :-1] - inside[:, -1:]) / total
            rows.append(np.hstack([by_p, -p * edge / total, -p * edge * z / total]))
            weights.append(w)
    score, w = np.vstack(rows), np.concatenate(weights)
    information = (score * w[:, None]).T @ score * n_effective
    size = 3 * k - 1
    if not np.isfinite(information).all() or np.linalg.cond(information) > 1e12:
        return np.full((size, size), np.nan)
    return np.asarray(np.linalg.inv(information))


def quantile_error(fit: MixtureFit, population: int, z: float) -> float:
    """Give the standard error of ``mean + z * sd`` of one population.

    Parameters
    ----------
    fit : MixtureFit
        The populations.
    population : int
        Which one, 0 the lowest.
    z : float
        Normal score. [-]

    Returns
    -------
    float
        On the scale of the input; NaN where it cannot be had.
    """
    slope = np.zeros(3 * fit.k - 1)
    slope[fit.k - 1 + population] = 1.0
    slope[2 * fit.k - 1 + population] = z
    variance = float(slope @ fit.covariance @ slope)
    return float(np.sqrt(variance)) if variance >= 0 else float("nan")


def crossing(fit: MixtureFit, lower: int, upper: int) -> float:
    """Give the value between two populations at which both are equally likely.

    Parameters
    ----------
    fit : MixtureFit
        The populations.
    lower, upper : int
        Which two.

    Returns
    -------
    float
        Between the two means; NaN when one population is the likelier one all the way.
    """
    p, m, s = fit.weight, fit.mean, fit.sd
    a = 1 / s[upper] ** 2 - 1 / s[lower] ** 2
    b = 2 * (m[lower] / s[lower] ** 2 - m[upper] / s[upper] ** 2)
    c = m[upper] ** 2 / s[upper] ** 2 - m[lower] ** 2 / s[lower] ** 2
    c += 2 * np.log(p[lower] / s[lower]) - 2 * np.log(p[upper] / s[upper])
    roots = np.array([-c / b]) if abs(a) < 1e-12 else np.roots([a, b, c])
    real = np.real(roots[np.abs(np.imag(roots)) < 1e-9])
    inside = real[(real > m[lower]) & (real < m[upper])]
    return float(inside.min()) if inside.size else float("nan")


def crossing_error(fit: MixtureFit, lower: int, upper: int) -> float:
    """Give the standard error of the value at which two populations are equally likely.

    Parameters
    ----------
    fit : MixtureFit
        The populations.
    lower, upper : int
        Which two.

    Returns
    -------
    float
        Delta method, from differences; on the scale of the input, NaN where it cannot be had.
    """
    k = fit.k
    theta = np.concatenate([fit.weight[:-1], fit.mean, fit.sd])
    slope = np.zeros(theta.size)
    for i in range(theta.size):
        step = 1e-4 * (fit.weight[i] if i < k - 1 else fit.sd[(i - k + 1) % k])
        ends = []
        for sign in (1.0, -1.0):
            t = theta.copy()
            t[i] += sign * step
            weight = np.append(t[: k - 1], 1 - t[: k - 1].sum())
            moved = replace(fit, weight=weight, mean=t[k - 1 : 2 * k - 1], sd=t[2 * k - 1 :])
            ends.append(crossing(moved, lower, upper))
        slope[i] = (ends[0] - ends[1]) / (2 * step)
    variance = float(slope @ fit.covariance @ slope)
    return float(np.sqrt(variance)) if variance >= 0 else float("nan")


def background_population(fit: MixtureFit) -> int:
    """Say which population is the background: the lowest of those that hold a large share.

    A share is large when it is at least half of the largest one: a survey of which most lies over
    mineralised ground keeps its lower population as background (our rule, no source).

    Parameters
    ----------
    fit : MixtureFit
        The populations, ordered by mean.

    Returns
    -------
    int
        Its place.
    """
    return int(np.flatnonzero(fit.weight >= 0.5 * fit.weight.max())[0])
