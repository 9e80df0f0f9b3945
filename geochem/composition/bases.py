"""Orthonormal bases of log-ratio coordinates: pivot, sequential binary partition, principal."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall
from geochem.stats.logratio import pivot_rows

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]


def pivot_basis(n_parts: int) -> Array:
    """Give the basis of pivot coordinates, the default of `ilr`.

    Parameters
    ----------
    n_parts : int
        Two or more.

    Returns
    -------
    ndarray, shape (n_parts - 1, n_parts)
        Rows are orthonormal and sum to zero; the first coordinate holds all that the first part
        says about the others.

    Raises
    ------
    WrongCall
        If there are fewer than two parts.

    References
    ----------
    .. [1] Fiserova & Hron 2011, Math. Geosci. 43:455-468.

    Examples
    --------
    >>> pivot_basis(2).round(4).tolist()
    [[0.7071, -0.7071]]
    """
    if isinstance(n_parts, bool) or int(n_parts) != n_parts or n_parts < 2:
        raise WrongCall(f"a basis needs a whole number of parts, two or more; got {n_parts!r}.")
    return pivot_rows(int(n_parts))


def partition_basis(partition: npt.ArrayLike) -> Array:
    """Give the basis of a sequential binary partition.

    Parameters
    ----------
    partition : array_like of {-1, 0, 1}, shape (n_parts - 1, n_parts)
        Each row sets the parts marked 1 against those marked -1; every row divides one group of
        an earlier row (the first one divides all).

    Returns
    -------
    ndarray, shape (n_parts - 1, n_parts)
        Rows are orthonormal and sum to zero (balances), in the order given.

    Raises
    ------
    WrongCall
        If the signs are no sequential binary partition.

    References
    ----------
    .. [1] Egozcue & Pawlowsky-Glahn 2005, Groups of parts and their balances in compositional
       data analysis, Math. Geol. 37:795-828.

    Examples
    --------
    >>> partition_basis([[1, 1, -1], [1, -1, 0]]).round(4).tolist()
    [[0.4082, 0.4082, -0.8165], [0.7071, -0.7071, 0.0]]
    """
    signs = np.asarray(partition, dtype=float)
    if signs.ndim != 2 or signs.shape[1] != signs.shape[0] + 1:
        raise WrongCall(
            "a partition of n parts has n - 1 rows and n columns, got shape "
            f"{signs.shape}; give one row per division."
        )
    if not np.isin(signs, (-1, 0, 1)).all():
        raise WrongCall("a partition holds only 1, -1 and 0.")
    basis = np.zeros_like(signs)
    for i, row in enumerate(signs):
        plus, minus = int((row > 0).sum()), int((row < 0).sum())
        if not plus or not minus:
            raise WrongCall(
                f"row {i + 1} of the partition does not set parts against others; it needs at "
                "least one 1 and one -1."
            )
        basis[i, row > 0] = np.sqrt(minus / (plus * (plus + minus)))
        basis[i, row < 0] = -np.sqrt(plus / (minus * (plus + minus)))
    gram = basis @ basis.T
    if not np.allclose(gram, np.eye(len(signs)), atol=1e-10):
        i, j = np.argwhere(~np.isclose(gram, np.eye(len(signs)), atol=1e-10))[0]
        raise WrongCall(
            f"rows {i + 1} and {j + 1} of the partition overlap; each row must divide one group "
            "of an earlier row."
        )
    return basis


def principal_partition(
    x: npt.ArrayLike | None = None, *, covariance: npt.ArrayLike | None = None
) -> npt.NDArray[np.int64]:
    """Find a sequential binary partition whose first balances hold most of the variance.

    Parts are joined from the bottom by Ward's criterion on the square roots of the variation
    matrix: parts that keep a constant ratio first. The last division of that tree is between the
    two most different groups, so balances that name few parts hold nearly what principal
    components of all parts hold. Of the published ways it is the one whose cost does not explode
    with the number of parts and whose tree can be drawn.

    Parameters
    ----------
    x : array_like, shape (n_samples, n_parts), optional
        Positive values.
    covariance : array_like, shape (n_parts, n_parts), optional
        Of clr, for example a robust one, instead of values.

    Returns
    -------
    ndarray of {-1, 0, 1}, shape (n_parts - 1, n_parts)
        For `partition_basis`; balances of largest variance first, the first part of each row's
        groups positive.

    Raises
    ------
    WrongCall
        If neither or both are given, or a value is not positive.

    References
    ----------
    .. [1] Martin-Fernandez, Pawlowsky-Glahn, Egozcue & Tolosana-Delgado 2018, Advances in principal
       balances for compositional data, Math. Geosci. 50:273-298.

    Examples
    --------
    >>> x = [[1, 2, 9], [2, 4.1, 4], [3, 6, 2], [4, 7.9, 1]]
    >>> principal_partition(x).tolist()
    [[1, 1, -1], [1, -1, 0]]
    """
    from scipy.cluster.hierarchy import linkage
    from scipy.spatial.distance import squareform

    if (x is None) == (covariance is None):
        raise WrongCall("a principal partition needs values or a clr covariance, one of them.")
    if x is not None:
        from geochem.composition.transforms import clr

        z = clr(x)
        if z.ndim != 2 or len(z) < 2:
            raise WrongCall(f"a principal partition needs two samples or more, got {z.shape}.")
        c = np.cov(z, rowvar=False)
    else:
        c = np.asarray(covariance, dtype=float)
    p = len(c)
    if c.shape != (p, p) or p < 2 or not np.isfinite(c).all():
        raise WrongCall(f"a clr covariance is square, of two parts or more, got {c.shape}.")
    own = np.diag(c)
    variation = np.maximum(own[:, None] + own - 2 * c, 0.0)
    np.fill_diagonal(variation, 0.0)
    tree = linkage(squareform(np.sqrt((variation + variation.T) / 2), checks=False), "ward")
    groups = [[i] for i in range(p)]
    signs = np.zeros((p - 1, p), dtype=np.int64)
    for row, (a, b) in enumerate(tree[:, :2].astype(int)):
        # the group that holds the earlier part is positive
        first, second = sorted((groups[a], groups[b]), key=min)
        signs[row, first], signs[row, second] = 1, -1
        groups.append(first + second)
    basis = partition_basis(signs)
    spread = np.einsum("ij,jk,ik->i", basis, c, basis)
    return signs[np.lexsort((-np.arange(p - 1), -np.round(spread, 12)))]
