"""Rotated components of a correlation matrix: how many, turned so that each has few elements.

What lives here: the number of components by parallel analysis, the varimax rotation and the
likeness of two loadings. What does not: which data go in, what the components are called.

References: Horn 1965, Psychometrika 30:179-185 (number); Kaiser 1958, Psychometrika 23:187-200
(rotation); Tucker's congruence with the reading of Lorenzo-Seva and ten Berge 2006, Methodology
2:57-64: 0.85 is fair likeness, 0.95 the same (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]


def parallel_analysis(
    values: npt.ArrayLike, *, draws: int = 20, level: float = 0.95, seed: int = 1
) -> tuple[int, FloatArray, FloatArray]:
    """Count the components that explain more than those of columns shuffled one by one.

    Parameters
    ----------
    values : array_like, shape (n, p)
        Without gaps.
    draws : int, default 20
        Shuffled tables.
    level : float, default 0.95
        Quantile over the draws that an eigenvalue must exceed. [-]
    seed : int, default 1
        Of the shuffling.

    Returns
    -------
    number : int
        Leading eigenvalues above the quantile.
    seen, by_chance : ndarray, shape (p,)
        Eigenvalues of the correlation, and the quantiles of those of shuffled columns.
    """
    x = np.asarray(values, dtype=float)
    x = x - x.mean(axis=0)
    spread = np.sqrt((x**2).mean(axis=0))
    x = x / np.where(spread > 0, spread, 1.0)
    n = len(x)
    seen = np.linalg.eigvalsh(x.T @ x / n)[::-1]
    rng = np.random.default_rng([seed, 17])
    drawn = np.empty((draws, x.shape[1]))
    for i in range(draws):
        shuffled = rng.permuted(x, axis=0)
        drawn[i] = np.linalg.eigvalsh(shuffled.T @ shuffled / n)[::-1]
    by_chance = np.quantile(drawn, level, axis=0)
    above = seen > by_chance
    number = len(above) if above.all() else int(np.argmin(above))
    return number, seen, by_chance


def varimax(loadings: npt.ArrayLike, *, most: int = 500) -> FloatArray:
    """Turn loadings so that the variance of their squares is largest (Kaiser normalised).

    Parameters
    ----------
    loadings : array_like, shape (p, q)
        Columns scaled by the root of their eigenvalue.
    most : int, default 500
        Rounds at most.

    Returns
    -------
    ndarray, shape (p, q)
        Columns in order of descending sum of squares, the largest loading of each positive.
    """
    a = np.asarray(loadings, dtype=float)
    p, q = a.shape
    length = np.sqrt((a**2).sum(axis=1))
    length = np.where(length > 1e-12, length, 1.0)
    unit, turn, last = a / length[:, None], np.eye(q), 0.0
    for _ in range(most):
        moved = unit @ turn
        u, s, v = np.linalg.svd(unit.T @ (moved**3 - moved * (moved**2).sum(axis=0) / p))
        turn = u @ v
        if s.sum() < last * (1 + 1e-12):
            break
        last = float(s.sum())
    out = (unit @ turn) * length[:, None]
    out = out[:, np.argsort(-np.round((out**2).sum(axis=0), 9), kind="stable")]
    top = np.argmax(np.round(np.abs(out), 9), axis=0)
    sign = np.sign(out[top, np.arange(q)])
    return np.asarray(out * np.where(sign == 0, 1.0, sign))


def rotated(correlation: FloatArray, number: int) -> FloatArray:
    """Give the rotated loadings of the leading components of a correlation matrix.

    Parameters
    ----------
    correlation : ndarray, shape (p, p)
        Symmetric.
    number : int
        Components.

    Returns
    -------
    ndarray, shape (p, number)
        As from `varimax`.
    """
    value, vector = np.linalg.eigh(correlation)
    keep = np.argsort(value)[::-1][:number]
    return varimax(vector[:, keep] * np.sqrt(np.maximum(value[keep], 0.0)))


def congruence(one: npt.ArrayLike, other: npt.ArrayLike) -> FloatArray:
    """Compare every column of one table of loadings with every one of another.

    Parameters
    ----------
    one, other : array_like, shapes (p, q) and (p, r)
        Loadings of the same elements.

    Returns
    -------
    ndarray, shape (q, r)
        Tucker's coefficient, -1 to 1.

    Examples
    --------
    >>> congruence([[1.0], [0.0]], [[3.0, 0.0], [0.0, 2.0]]).tolist()
    [[1.0, 0.0]]
    """
    a, b = np.asarray(one, dtype=float), np.asarray(other, dtype=float)
    scale = np.outer(np.linalg.norm(a, axis=0), np.linalg.norm(b, axis=0))
    return np.asarray(a.T @ b / np.where(scale > 0, scale, 1.0))
