"""Robust centre and covariance: the minimum covariance determinant, from deterministic starts.

Give it isometric log-ratio coordinates (centred log-ratios are singular). Rows are sorted before
anything is computed, so that the answer does not depend on their order.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

#: above this number of rows the starts are judged on an even part of them
_PART = 4000
#: below this number of rows random starts are added: they cost little and never do harm
_FEW = 600


@dataclass(frozen=True, slots=True, eq=False)
class Mcd:
    """Robust centre, covariance and distances.

    Parameters
    ----------
    location : ndarray, shape (p,)
        Reweighted centre.
    covariance : ndarray, shape (p, p)
        Reweighted, with consistency and small-sample factors.
    distance : ndarray, shape (n,)
        Robust Mahalanobis distance of every row.
    cut : float
        ``sqrt(chi2(p, 0.975))``.
    h : int
        Rows in the subset of smallest determinant.
    log_determinant : float
        Natural logarithm of the determinant of the raw subset covariance, without factors.
    raw_location : ndarray, shape (p,)
        Mean of the subset.
    factors : tuple of four floats
        Consistency raw and reweighted, small-sample raw and reweighted.
    """

    location: Array
    covariance: Array
    distance: Array
    cut: float
    h: int
    log_determinant: float
    raw_location: Array
    factors: tuple[float, float, float, float]


def mcd_obstacles(x: npt.ArrayLike, alpha: float = 0.5) -> list[str]:
    """Say why a robust covariance cannot be had, in the order of the columns.

    Parameters
    ----------
    x : array_like, shape (n, p)
        Coordinates.
    alpha : float, default 0.5
        Share of rows in the subset.

    Returns
    -------
    list of str
        Sentences; empty when nothing stands in the way.
    """
    a = np.asarray(x, dtype=float)
    n, p = a.shape
    reasons = []
    if not np.isfinite(a).all():
        reasons.append(f"{int((~np.isfinite(a)).any(axis=1).sum())} rows have missing values.")
        return reasons
    if n < 2 * p + 2:
        reasons.append(
            f"{n} rows are too few for {p} coordinates; at least {2 * p + 2} are needed."
        )
        return reasons
    h = subset_size(n, p, alpha)
    for j in range(p):
        _, counts = np.unique(a[:, j], return_counts=True)
        if counts.max() >= h:
            reasons.append(f"coordinate {j + 1} has the same value in {counts.max()} of {n} rows.")
    rank = int(np.linalg.matrix_rank(a - a.mean(axis=0)))
    if rank < p:
        reasons.append(f"the {p} coordinates have rank {rank} only: one follows from the others.")
    return reasons


def subset_size(n: int, p: int, alpha: float) -> int:
    """Give the number of rows in the subset.

    Parameters
    ----------
    n, p : int
        Rows and columns.
    alpha : float
        0.5 (most robust) to 1. [-]

    Returns
    -------
    int
        ``(n + p + 1) // 2`` at 0.5, `n` at 1.
    """
    least = (n + p + 1) // 2
    return min(n, int(np.floor(2 * least - n + 2 * (n - least) * alpha)))


def mcd(x: npt.ArrayLike, *, alpha: float = 0.5, seed: int = 1) -> Mcd:
    """Find robust centre and covariance.

    Six estimates that need no chance (after Hubert et al. 2012) start concentration steps; below
    600 rows random starts with a fixed seed are added. The best subset is then reweighted.

    Parameters
    ----------
    x : array_like, shape (n, p)
        Coordinates without missing values, n well above 2 p.
    alpha : float, default 0.5
        Share of rows in the subset; 0.5 resists most, 0.75 is more precise. [-]
    seed : int, default 1
        Of the random starts.

    Returns
    -------
    Mcd
        Independent of row order.

    Raises
    ------
    WrongCall
        If `mcd_obstacles` names a reason.

    References
    ----------
    .. [1] Rousseeuw & Van Driessen 1999, Technometrics 41:212-223; Hubert, Rousseeuw & Verdonck
       2012, J. Comput. Graph. Stat. 21:618-637; Pison, Van Aelst & Willems 2002, Metrika
       55:111-123 (small-sample factors).
    """
    a = np.asarray(x, dtype=float)
    if a.ndim != 2:
        raise WrongCall(f"coordinates of shape (n, p) are needed, got shape {a.shape}.")
    if not 0.5 <= alpha <= 1:
        raise WrongCall(f"alpha must lie between 0.5 and 1, got {alpha!r}.")
    reasons = mcd_obstacles(a, alpha)
    if reasons:
        raise WrongCall("no robust covariance: " + " ".join(reasons))
    order = sorted_rows(a)
    result = _mcd(np.ascontiguousarray(a[order]), alpha, seed)
    distance = np.empty(len(a))
    distance[order] = result.distance
    return Mcd(
        result.location, result.covariance, distance, result.cut, result.h,
        result.log_determinant, result.raw_location, result.factors,
    )  # fmt: skip


def sorted_rows(a: Array) -> npt.NDArray[np.intp]:
    """Give the order of rows by their first column, then the second, and so on.

    Parameters
    ----------
    a : ndarray, shape (n, p)
        Any numbers.

    Returns
    -------
    ndarray of int, shape (n,)
        The same sequence of rows whatever order they came in.
    """
    few = min(a.shape[1], 2)
    order = np.lexsort(tuple(a[:, j] for j in range(few - 1, -1, -1)))
    first = a[order, :few]
    if few < a.shape[1] and (first[1:] == first[:-1]).all(axis=1).any():
        order = np.lexsort(tuple(a[:, j] for j in range(a.shape[1] - 1, -1, -1)))
    return order


def _mcd(a: Array, alpha: float, seed: int) -> Mcd:
    from scipy.stats import chi2

    n, p = a.shape
    h = subset_size(n, p, alpha)
    centre = np.median(a, axis=0)
    scale = _column_scale(a - centre)
    z = (a - centre) / scale
    # an even part of the sorted rows stands for all while starts are judged
    part = z if n <= _PART else z[np.linspace(0, n - 1, _PART).astype(int)]
    h_part = subset_size(len(part), p, alpha)
    candidates = [_concentrate(part, m, c, h_part, 3) for m, c in _starts(part)]
    if n <= _FEW:
        candidates += _random_starts(part, h_part, seed)
    candidates.sort(key=lambda found: found[0])
    best = None
    for _, m, c in candidates[: 10 if n <= _FEW else 2]:
        found = _concentrate(part, m, c, h_part, 100)
        if best is None or found[0] < best[0] - 1e-12:
            best = found
    assert best is not None
    if n > _PART:
        best = _concentrate(z, best[1], best[2], h, 30)
    log_det, m, c = best
    log_det += 2 * float(np.log(scale).sum())
    raw_share = h / n
    f_raw, s_raw = _consistency(raw_share, p), _small_sample(n, p, alpha, raw=True)
    distance = _distance(z, m, c * (f_raw * s_raw))
    cut = float(np.sqrt(chi2.ppf(0.975, p)))
    keep = distance <= cut
    f_new, s_new = _consistency(float(keep.mean()), p), _small_sample(n, p, alpha, raw=False)
    location = z[keep].mean(axis=0)
    covariance = np.cov(z[keep], rowvar=False).reshape(p, p) * (f_new * s_new)
    distance = _distance(z, location, covariance)
    return Mcd(
        location * scale + centre, covariance * np.outer(scale, scale), distance, cut, h,
        log_det, m * scale + centre, (f_raw, f_new, s_raw, s_new),
    )  # fmt: skip


def _column_scale(z: Array) -> Array:
    """MAD; where more than half are tied, the standard deviation."""
    scale = 1.4826 * np.median(np.abs(z), axis=0)
    return np.where(scale > 0, scale, z.std(axis=0))


def _distance(z: Array, m: Array, c: Array) -> Array:
    from scipy.linalg import solve_triangular

    lower = np.linalg.cholesky(c)
    y = solve_triangular(lower, (z - m).T, lower=True, check_finite=False)
    return np.asarray(np.sqrt(np.einsum("ij,ij->j", y, y)))


def _concentrate(z: Array, m: Array, c: Array, h: int, most: int) -> tuple[float, Array, Array]:
    """Concentration steps: the h nearest rows make the next centre and covariance."""
    last = np.inf
    for _i in range(most):
        try:
            distance = _distance(z, m, c)
        except np.linalg.LinAlgError:
            return np.inf, m, c
        near = np.sort(np.argpartition(distance, h - 1)[:h])
        subset = z[near]
        m = subset.mean(axis=0)
        centred = subset - m
        c = centred.T @ centred / (h - 1)
        sign, log_det = np.linalg.slogdet(c)
        if sign <= 0:
            return np.inf, m, c
        if last - log_det < 1e-9:
            return float(log_det), m, c
        last = log_det
    return float(last), m, c


def _starts(z: Array) -> list[tuple[Array, Array]]:
    """Six estimates of centre and covariance that need no chance."""
    from scipy.special import ndtri
    from scipy.stats import rankdata

    n, p = z.shape
    ranks = rankdata(z, axis=0)
    norm = np.linalg.norm(z, axis=1)
    shapes = [
        np.corrcoef(np.tanh(z), rowvar=False),
        np.corrcoef(ranks, rowvar=False),
        np.corrcoef(ndtri((ranks - 1 / 3) / (n + 1 / 3)), rowvar=False),
    ]
    sign = z / np.maximum(norm, 1e-12)[:, None]
    shapes.append(sign.T @ sign / n)
    half = np.argsort(norm, kind="stable")[: (n + 1) // 2]
    shapes.append(np.cov(z[half], rowvar=False))
    shapes.append(_pairwise(z))
    starts = []
    for shape in shapes:
        shape = np.reshape(shape, (p, p))
        if not np.isfinite(shape).all():
            continue
        # directions of the estimate, with robust scales along them
        _, vectors = np.linalg.eigh(shape)
        y = z @ vectors
        spread = _column_scale(y - np.median(y, axis=0))
        if (spread <= 0).any():
            continue
        c = (vectors * spread**2) @ vectors.T
        whitened = y / spread
        middle = vectors @ (np.median(whitened, axis=0) * spread)
        try:
            distance = _distance(z, middle, c)
        except np.linalg.LinAlgError:
            continue
        near = np.argsort(distance, kind="stable")[: (n + 1) // 2]
        subset = z[near]
        starts.append((subset.mean(axis=0), np.cov(subset, rowvar=False).reshape(p, p)))
    return starts


def _pairwise(z: Array) -> Array:
    """Covariances from robust scales of sums and differences (Gnanadesikan & Kettenring 1972)."""
    n, p = z.shape
    if n > 1000:
        z = z[np.linspace(0, n - 1, 1000).astype(int)]
    out = np.eye(p)
    for i in range(1, p):
        others = z[:, :i]
        plus = np.median(np.abs(z[:, i : i + 1] + others), axis=0)
        minus = np.median(np.abs(z[:, i : i + 1] - others), axis=0)
        out[i, :i] = out[:i, i] = 1.4826**2 * (plus**2 - minus**2) / 4
    return out


def _random_starts(z: Array, h: int, seed: int) -> list[tuple[float, Array, Array]]:
    """Concentrate 500 subsets of p + 1 rows by two steps each; the best twenty stay."""
    rng = np.random.default_rng(seed)
    n, p = z.shape
    trials = 500
    pick = np.argsort(rng.random((trials, n)), axis=1)[:, : p + 1]
    found = []
    subset = z[pick]
    m = subset.mean(axis=1)
    centred = subset - m[:, None, :]
    c = np.einsum("tij,tik->tjk", centred, centred) / p
    for _i in range(2):
        good = np.linalg.cond(c) < 1e12
        m, c = m[good], c[good]
        if not len(m):
            return []
        y = np.linalg.solve(c, (z[None] - m[:, None, :]).transpose(0, 2, 1))
        distance = np.einsum("tij,tji->ti", z[None] - m[:, None, :], y)
        near = np.sort(np.argpartition(distance, h - 1, axis=1)[:, :h], axis=1)
        subset = z[near]
        m = subset.mean(axis=1)
        centred = subset - m[:, None, :]
        c = np.einsum("tij,tik->tjk", centred, centred) / (h - 1)
    sign, log_det = np.linalg.slogdet(c)
    log_det = np.where(sign > 0, log_det, np.inf)
    for t in np.argsort(log_det, kind="stable")[:20]:
        found.append((float(log_det[t]), m[t], c[t]))
    return found


def _consistency(share: float, p: int) -> float:
    """Make the covariance of the nearest `share` of a normal population that of the whole."""
    from scipy.stats import chi2

    if share >= 1:
        return 1.0
    return float(share / chi2.cdf(chi2.ppf(share, p), p + 2))


# Pison et al. 2002: 1 - a / n**b at 50 and 87.5 %, raw and reweighted; p = 1, p = 2, and for
# more columns two curves in p from which a and b follow (coefficients from memory, pinned by
# the published hbk example)
_ONE_TWO = {
    (True, 1): ((0.262024211897096, 0.604756680630497), (-0.351584646688712, 1.01646567502486)),
    (True, 2): ((0.673292623522027, 0.691365864961895), (0.446537815635445, 1.06690782995919)),
    (False, 1): ((1.11098143415027, 1.5182890270453), (-0.66046776772861, 0.88939595831888)),
    (False, 2): ((3.11101712909049, 1.91401056721863), (0.79473550581058, 1.10081930350091)),
}
_MORE = {
    True: (
        ((-1.42764571687802, 1.26263336932151, 2), (-1.06141115981725, 1.28907991440387, 3)),
        ((-0.455179464070565, 1.11192541278794, 2), (-0.294241208320834, 1.09649329149811, 3)),
    ),
    False: (
        ((-1.02842572724793, 1.67659883081926, 2), (-0.26800273450853, 1.35968562893582, 3)),
        ((-0.544482443573914, 1.25994483222292, 2), (-0.343791072183285, 1.25159004257133, 3)),
    ),
}


def _small_sample(n: int, p: int, alpha: float, *, raw: bool) -> float:
    shares = []
    for place in (0, 1):
        if p <= 2:
            a, b = _ONE_TWO[raw, p][place]
        else:
            curves = _MORE[raw][place]
            y = [np.log(-g / p**e) for g, e, _ in curves]
            matrix = np.array([[1.0, -np.log(q * p**2)] for _, _, q in curves])
            a, b = np.linalg.solve(matrix, np.array(y))
        shares.append(1 - np.exp(a) / n**b)
    at_half, at_most = shares
    if alpha <= 0.875:
        share = at_half + (at_most - at_half) / 0.375 * (alpha - 0.5)
    else:
        share = at_most + (1 - at_most) / 0.125 * (alpha - 0.875)
    return float(1 / max(share, 0.1))
