"""Local statistics on a neighbourhood graph: the mean around a sample, and Gi*.

What lives here: formulas on arrays and sparse weights, for many variables at once. What does not:
the graphs (`neighbours`) and the simulated null (`random_fields`): the analytic z of this file
assumes independent values and calls far too much of autocorrelated barren ground hot, so it is
shown beside a simulated one and never judged alone.
To add a statistic: one public function, values (n,) or (n, m) first. Test to copy:
`tests/stats/test_local_statistics.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]


def getis_ord_gi_star(values: npt.ArrayLike, weights: Any) -> FloatArray:
    """Compute the local statistic Gi* as an analytic z-score.

    Parameters
    ----------
    values : array_like, shape (n,) or (n, m)
        One or many variables; NaN is missing: such a value counts for no neighbour, and its own
        result is NaN.
    weights : scipy.sparse array, shape (n, n)
        Weights of the neighbours, each sample's own weight included.

    Returns
    -------
    ndarray, shape as `values`
        z-score under randomisation; NaN where it is undefined: all values equal, or all samples
        are neighbours of this one.

    Raises
    ------
    WrongCall
        If the shapes do not fit.

    References
    ----------
    Ord, J. K. and Getis, A. 1995. Local spatial autocorrelation statistics: distributional issues
    and an application. Geographical Analysis 27:286-306, doi:10.1111/j.1538-4632.1995.tb00912.x

    Examples
    --------
    >>> from geochem.stats.neighbours import within
    >>> line = within([[i, 0] for i in range(7)], 1.0, include_self=True)
    >>> getis_ord_gi_star([1, 2, 3, 10, 12, 2, 1], line).round(5).tolist()[:4]
    [-1.07058, -1.21566, 0.28604, 1.9546]
    """
    x, w, flat = _checked(values, weights)
    known = np.isfinite(x)
    complete = bool(known.all())
    filled = x if complete else np.where(known, x, 0.0)
    if complete:
        n: Any = float(len(x))
        ones = np.ones((len(x), 1))
        mean = filled.mean(axis=0)
        spread = filled.std(axis=0)
    else:
        n = known.sum(axis=0).astype(float)
        ones = known.astype(float)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = filled.sum(axis=0) / n
            spread = np.sqrt(np.where(known, (x - mean) ** 2, 0.0).sum(axis=0) / n)
    centred = filled - mean if complete else np.where(known, filled - mean, 0.0)
    sum_w = w @ ones
    squares = w.copy()
    squares.data = squares.data**2
    sum_w2 = squares @ ones
    with np.errstate(invalid="ignore", divide="ignore"):
        within_root = (n * sum_w2 - sum_w**2) / (n - 1.0)
        tiny = within_root <= 1e-12 * np.maximum(n * sum_w2, 1e-300)
        bottom = spread * np.sqrt(np.where(tiny, np.nan, within_root))
        flat_spread = spread <= 1e-12 * np.maximum(np.abs(mean), 1e-300)
        z = (w @ centred) / np.where(flat_spread, np.nan, bottom)
    z[~known] = np.nan
    return z[:, 0] if flat else z


def local_mean(values: npt.ArrayLike, weights: Any) -> FloatArray:
    """Average the neighbours of each sample.

    Parameters
    ----------
    values : array_like, shape (n,) or (n, m)
        One or many variables; NaN is missing and counts for no neighbour.
    weights : scipy.sparse array, shape (n, n)
        Weights; the sample itself counts if it stands on the diagonal.

    Returns
    -------
    ndarray, shape as `values`
        Weighted mean; NaN for an island.

    Raises
    ------
    WrongCall
        If the shapes do not fit.
    """
    x, w, flat = _checked(values, weights)
    known = np.isfinite(x)
    total = w @ np.where(known, x, 0.0)
    share = w @ known.astype(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(share > 0, total / share, np.nan)
    return mean[:, 0] if flat else mean


def local_moran(values: npt.ArrayLike, weights: Any) -> FloatArray:
    """Compute the local Moran statistic I_i.

    Parameters
    ----------
    values : array_like, shape (n,) or (n, m)
        One or many variables, none missing.
    weights : scipy.sparse array, shape (n, n)
        Weights without the samples themselves; rows are scaled to sum one.

    Returns
    -------
    ndarray, shape as `values`
        Positive where a sample resembles its neighbours; NaN for an island or when all values are
        equal. The scale uses the sum of squares over n - 1.

    Raises
    ------
    WrongCall
        If the shapes do not fit or a value is missing.

    References
    ----------
    Anselin, L. 1995. Local indicators of spatial association: LISA. Geographical Analysis
    27:93-115, doi:10.1111/j.1538-4632.1995.tb00338.x
    """
    x, w, flat = _checked(values, weights)
    if not np.isfinite(x).all():
        raise WrongCall("local Moran needs values without gaps; leave the missing ones out first.")
    deviation = x - x.mean(axis=0)
    variance = (deviation**2).sum(axis=0) / (len(x) - 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        result = deviation * local_mean(deviation, w) / np.where(variance > 0, variance, np.nan)
    return result[:, 0] if flat else result


def permutation_p(
    values: npt.ArrayLike, weights: Any, *, n_permutations: int = 999, seed: int = 1
) -> FloatArray:
    """Give the one-sided conditional-permutation p-value of Gi* for one variable.

    Each sample keeps its value while its neighbours are drawn from all others without
    replacement; the same random draws serve samples with as many neighbours. The p-value
    assumes values that could stand anywhere, so it too is too small on autocorrelated ground.

    Parameters
    ----------
    values : array_like, shape (n,)
        One variable, none missing.
    weights : scipy.sparse array, shape (n, n)
        Binary, each sample itself included.
    n_permutations : int, default 999
        Number of draws.
    seed : int, default 1
        Of the draws.

    Returns
    -------
    ndarray, shape (n,)
        (draws at least as large + 1) / (draws + 1).

    Raises
    ------
    WrongCall
        If the shapes do not fit or a value is missing.

    References
    ----------
    Anselin, L. 1995. Geographical Analysis 27:93-115 (conditional randomisation).
    """
    x, w, flat = _checked(values, weights)
    if not flat or not np.isfinite(x).all():
        raise WrongCall("permutation_p takes one variable without missing values.")
    rng = np.random.default_rng(seed)
    v = x[:, 0]
    n = len(v)
    own = w.diagonal() != 0
    count = np.diff(w.indptr) - own
    observed = w @ v - np.where(own, v, 0.0)
    p = np.ones(n)
    for k in np.unique(count):
        rows = np.flatnonzero(count == k)
        if k == 0 or k >= n:
            continue
        # positions among the other n - 1 samples; shifting past the sample itself keeps it out
        draws = np.array([rng.choice(n - 1, size=int(k), replace=False)
                          for _ in range(n_permutations)])  # fmt: skip
        larger = np.zeros(len(rows))
        for start in range(0, len(rows), 512):
            part = rows[start : start + 512]
            sums = np.zeros((len(part), n_permutations))
            for column in draws.T:
                sums += v[column[None, :] + (column[None, :] >= part[:, None])]
            larger[start : start + 512] = (sums >= observed[part][:, None] - 1e-12).sum(axis=1)
        p[rows] = (larger + 1.0) / (n_permutations + 1.0)
    return p


def _checked(values: npt.ArrayLike, weights: Any) -> tuple[FloatArray, Any, bool]:
    from scipy.sparse import csr_array, issparse

    x = np.asarray(values, dtype=float)
    flat = x.ndim == 1
    x = x[:, None] if flat else x
    if x.ndim != 2:
        raise WrongCall(f"values have shape {np.shape(values)}; (n,) or (n, m) is needed.")
    w = csr_array(weights if issparse(weights) else np.asarray(weights, dtype=float))
    if w.shape != (len(x), len(x)):
        raise WrongCall(
            f"weights have shape {w.shape} for {len(x)} values; ({len(x)}, {len(x)}) is needed."
        )
    return x, w.astype(float), flat
