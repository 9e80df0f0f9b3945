"""What may stand behind limits, given the other columns: expected values and draws.

Rows are taken as multivariate normal (logarithms, or log-ratios); a limit says on which side of a
number the value lies. `expected` gives each its mean, `draws` gives values that differ as the
unknown ones may, for carrying the uncertainty on (multiple imputation).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.stats.censored_normal import mean_below
from geochem.stats.mcd import sorted_rows

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Mask = npt.NDArray[np.bool_]
    Rows = list[tuple[int, npt.NDArray[np.intp], npt.NDArray[np.bool_]]]

#: rounds of the expected values; of draws before the first that is kept, and between two
_ROUNDS, _FIRST, _BETWEEN = 4, 6, 2


def expected(log: Array, below: Mask, above: Mask, start: Array) -> Array:
    """Give every value behind a limit its expectation given the other columns.

    Parameters
    ----------
    log : ndarray, shape (n, p)
        Values, the limit where flagged.
    below, above : ndarray of bool, shape (n, p)
        Where the value lies under, over the number given.
    start : ndarray, shape (n, p)
        First guesses.

    Returns
    -------
    ndarray, shape (n, p)
        Never on the wrong side of a limit. With fewer than 2 p + 2 rows, `start`.

    Notes
    -----
    The regression of one column on all others is read off the inverse covariance; the variance
    that replacing hides is put back into the covariance before the next round, as in EM.

    References
    ----------
    .. [1] Palarea-Albaladejo & Martin-Fernandez 2008, Comput. Geosci. 34:902-917.
    """
    n, p = log.shape
    if n < 2 * p + 2 or not (below | above).any():
        return start.copy()
    order = _order(log, below | above)
    limit, y = log[order], start[order]
    columns = _behind(below[order], above[order])
    room = np.empty_like(y)
    hidden = np.zeros(p)
    for j, rows, _ in columns:
        hidden[j] = rows.size * float(y[:, j].var()) * 0.3 / n
    for _round in range(_ROUNDS):
        centre = y.mean(axis=0)
        deviation = np.subtract(y, centre, out=room)
        precision = _precision(deviation.T @ deviation / n, hidden)
        moved = 0.0
        for j, rows, sign in columns:
            mean, sd = _given_others(y, rows, j, centre, precision)
            side = np.where(sign, -1.0, 1.0)
            new = side * mean_below(side * mean, sd, side * limit[rows, j])
            hidden[j] = (
                float(_variance_below(side * (limit[rows, j] - mean) / sd).sum()) * sd**2 / n
            )
            moved = max(moved, float(np.abs(new - y[rows, j]).max()))
            y[rows, j] = new
        if moved < 1e-2:
            break
    out = np.empty_like(y)
    out[order] = y
    return out


def draws(
    log: Array, below: Mask, above: Mask, start: Array, *, number: int, seed: int
) -> tuple[Array, Array, Array]:
    """Draw values behind limits several times, as far apart as they are uncertain.

    Parameters
    ----------
    log, below, above : ndarray, shape (n, p)
        As `expected` takes them.
    start : ndarray, shape (n, p)
        Its answer.
    number : int
        Of draws.
    seed : int
        Of the random numbers.

    Returns
    -------
    drawn, centre, spread : ndarray, shape (number, n_flagged)
        In the order of ``np.nonzero(below | above)``: the values, and mean and standard deviation of
        the normal distribution, not yet cut at the limit, that each was drawn from.

    Notes
    -----
    Data augmentation: values are drawn from their truncated normal given the others, centre and
    covariance anew from the completed rows under random weights (Bayesian bootstrap), in turn.

    References
    ----------
    .. [1] Tanner & Wong 1987, J. Am. Stat. Assoc. 82:528-540; Rubin 1981, Ann. Statist. 9:130-134;
       Rubin 1987, Multiple Imputation for Nonresponse in Surveys, Wiley.
    """
    from scipy.special import log_ndtr, ndtri_exp

    n, p = log.shape
    flagged = below | above
    rng = np.random.default_rng(seed)
    order = _order(log, below | above)
    limit, y = log[order], start[order]
    columns = _behind(below[order], above[order])
    shape = (number, int(flagged.sum()))
    out, centres, spreads = np.empty(shape), np.empty(shape), np.empty(shape)
    if not out.size:
        return out, centres, spreads
    back = np.empty_like(y)
    means, sds = np.zeros_like(y), np.zeros_like(y)
    nothing = np.zeros(p)
    for step in range(_FIRST + _BETWEEN * (number - 1) + 1):
        weight = np.asarray(rng.standard_exponential(n))
        weight = weight / np.sum(weight)
        centre = weight @ y
        deviation = y - centre
        precision = _precision((deviation * weight[:, None]).T @ deviation, nothing)
        for j, rows, sign in columns:
            mean, sd = _given_others(y, rows, j, centre, precision)
            side = np.where(sign, -1.0, 1.0)
            top = side * (limit[rows, j] - mean) / sd
            z = ndtri_exp(np.log(rng.uniform(size=rows.size)) + log_ndtr(top))
            y[rows, j] = mean + side * sd * np.minimum(z, top)
            means[rows, j], sds[rows, j] = mean, sd
        done = step - _FIRST
        if done >= 0 and done % _BETWEEN == 0:
            for kept, one in ((out, y), (centres, means), (spreads, sds)):
                back[order] = one
                kept[done // _BETWEEN] = back[flagged]
    return out, centres, spreads


def _order(log: Array, flagged: Mask) -> npt.NDArray[np.intp]:
    """Put rows in an order of their own, by the columns with the fewest equal limits first."""
    return sorted_rows(log[:, np.argsort(flagged.sum(axis=0), kind="stable")])


def _behind(below: Mask, above: Mask) -> Rows:
    """List, by column, the rows behind a limit and whether they lie above it."""
    flagged = below | above
    rows = [(j, np.flatnonzero(flagged[:, j])) for j in range(below.shape[1])]
    return [(j, at, above[at, j]) for j, at in rows if at.size]


def _precision(covariance: Array, hidden: Array) -> Array:
    p = len(covariance)
    covariance = covariance.copy()
    covariance[np.diag_indices(p)] += hidden + 1e-10 * np.trace(covariance) / p + 1e-12
    return np.asarray(np.linalg.inv(covariance))


def _given_others(
    y: Array, rows: npt.NDArray[np.intp], j: int, centre: Array, precision: Array
) -> tuple[Array, float]:
    slope = -precision[j] / precision[j, j]
    slope[j] = 0.0
    mean: Array = y[rows] @ slope + (centre[j] - centre @ slope)
    return mean, float(1 / np.sqrt(precision[j, j]))


def _variance_below(z: Array) -> Array:
    """Give the variance of a standard normal value that lies under `z`."""
    from scipy.special import log_ndtr

    mills = np.exp(-0.5 * z * z - 0.5 * np.log(2 * np.pi) - log_ndtr(z))
    return np.clip(1 - mills * (z + mills), 0, 1)
