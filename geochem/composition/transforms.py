"""Log-ratio transforms of compositions: closure, clr, ilr, alr, their inverses, distances.

All take arrays (or tables) whose last axis holds the parts, and give plain arrays of the same
number of dimensions. Natural logarithms throughout.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall
from geochem.stats.logratio import (
    alr_rows,
    closure_rows,
    clr_inv_rows,
    clr_rows,
    ilr_inv_rows,
    ilr_rows,
    pivot_rows,
)

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]


def _positive(x: Any, least: int = 2) -> Array:
    """Check a composition: numbers, one or two dimensions, all positive."""
    a = _numbers(x, "a composition")
    if a.shape[-1] < least:
        raise WrongCall(f"a composition needs {least} parts or more, got {a.shape[-1]}.")
    lowest, highest = a.min(initial=np.inf), a.max(initial=-np.inf)
    if (lowest > 0 and highest < np.inf) or a.size == 0:
        return a
    if np.isnan(a).any():
        rows = int(np.isnan(np.atleast_2d(a)).any(axis=1).sum())
        raise WrongCall(
            f"{rows} of {np.atleast_2d(a).shape[0]} samples have a missing part; leave those "
            "samples or parts out."
        )
    bad = int((~((a > 0) & np.isfinite(a))).sum())
    raise WrongCall(
        f"{bad} values are zero, negative or infinite; log-ratios need positive ones. Replace "
        "values below detection first (replace_below)."
    )


def _numbers(x: Any, what: str) -> Array:
    try:
        a = np.asarray(x, dtype=float)
    except (TypeError, ValueError) as error:
        raise WrongCall(f"{what} must be numbers ({error}).") from error
    if a.ndim not in (1, 2) or a.shape[-1] == 0:
        raise WrongCall(
            f"{what} must have the shape (n_samples, n_parts) or (n_parts,), got {a.shape}."
        )
    return a


def _basis(basis: npt.ArrayLike | None, n_parts: int) -> Array:
    if basis is None:
        return pivot_rows(n_parts)
    b = np.asarray(basis, dtype=float)
    if b.shape != (n_parts - 1, n_parts):
        raise WrongCall(
            f"the basis of {n_parts} parts must have the shape ({n_parts - 1}, {n_parts}), got "
            f"{b.shape}; make it with pivot_basis or partition_basis."
        )
    if not np.allclose(b @ b.T, np.eye(n_parts - 1), atol=1e-8) or not np.allclose(
        b.sum(axis=1), 0, atol=1e-8
    ):
        raise WrongCall(
            "the rows of a basis must be orthonormal and sum to zero; make it with pivot_basis or "
            "partition_basis."
        )
    return b


def closure(x: npt.ArrayLike, total: float = 1.0) -> Array:
    """Scale every sample to a common sum.

    Parameters
    ----------
    x : array_like, shape (n_samples, n_parts) or (n_parts,)
        Positive values in one unit; zeros are allowed here.
    total : float, default 1.0
        The sum, for example 100 for percent.

    Returns
    -------
    ndarray, shape of `x`
        Rows that sum to `total`.

    Raises
    ------
    WrongCall
        If a value is negative or missing, or a whole row is zero.

    Examples
    --------
    >>> closure([1, 2, 5], total=100).tolist()
    [12.5, 25.0, 62.5]
    """
    a = _numbers(x, "a composition")
    if not np.isfinite(a).all() or (a < 0).any() or not (a.sum(axis=-1) > 0).all():
        raise WrongCall(
            "closure needs values of zero or more, none missing, and at least one above zero in "
            "each sample."
        )
    if not total > 0:
        raise WrongCall(f"the total must be positive, got {total!r}.")
    return closure_rows(a, float(total))


def clr(x: npt.ArrayLike) -> Array:
    """Give centred log-ratios: each part against the geometric mean of all.

    Parameters
    ----------
    x : array_like, shape (n_samples, n_parts) or (n_parts,)
        Positive values in one unit; they need not sum to anything.

    Returns
    -------
    ndarray, shape of `x`
        Rows sum to zero.

    Raises
    ------
    WrongCall
        If a value is not positive or missing, or there are fewer than two parts.

    References
    ----------
    .. [1] Aitchison 1986, The Statistical Analysis of Compositional Data, Chapman & Hall.

    Examples
    --------
    >>> clr([0.1, 0.3, 0.4, 0.2]).round(4).tolist()
    [-0.7945, 0.3041, 0.5918, -0.1014]
    """
    return clr_rows(_positive(x))


def clr_inv(z: npt.ArrayLike) -> Array:
    """Go back from centred log-ratios to a composition that sums to one.

    Parameters
    ----------
    z : array_like, shape (n_samples, n_parts) or (n_parts,)
        Finite numbers.

    Returns
    -------
    ndarray, shape of `z`
        Positive, rows sum to one.

    Raises
    ------
    WrongCall
        If a value is missing or infinite.
    """
    return clr_inv_rows(_finite(z))


def _finite(z: npt.ArrayLike) -> Array:
    a = _numbers(z, "coordinates")
    if not np.isfinite(a).all():
        raise WrongCall("coordinates must be finite; some are missing or infinite.")
    return a


def ilr(x: npt.ArrayLike, basis: npt.ArrayLike | None = None) -> Array:
    """Give isometric log-ratio coordinates; pivot coordinates unless a basis is given.

    Parameters
    ----------
    x : array_like, shape (n_samples, n_parts) or (n_parts,)
        Positive values in one unit.
    basis : array_like, shape (n_parts - 1, n_parts), optional
        From `pivot_basis` or `partition_basis`.

    Returns
    -------
    ndarray, shape (n_samples, n_parts - 1) or (n_parts - 1,)
        Coordinates; distances between them are Aitchison distances.

    Raises
    ------
    WrongCall
        If a value is not positive, or the basis does not fit.

    References
    ----------
    .. [1] Egozcue et al. 2003, Isometric logratio transformations for compositional data analysis,
       Math. Geol. 35:279-300; Fiserova & Hron 2011, Math. Geosci. 43:455-468 (pivot coordinates).

    Examples
    --------
    >>> ilr([0.1, 0.3, 0.4, 0.2]).round(4).tolist()
    [-0.9174, 0.0481, 0.4901]
    """
    a = _positive(x)
    return ilr_rows(a, _basis(basis, a.shape[-1]))


def ilr_inv(z: npt.ArrayLike, basis: npt.ArrayLike | None = None) -> Array:
    """Go back from isometric coordinates to a composition that sums to one.

    Parameters
    ----------
    z : array_like, shape (n_samples, n_parts - 1) or (n_parts - 1,)
        Finite coordinates.
    basis : array_like, shape (n_parts - 1, n_parts), optional
        The one they were made with.

    Returns
    -------
    ndarray, shape (n_samples, n_parts) or (n_parts,)
        Positive, rows sum to one.

    Raises
    ------
    WrongCall
        If a value is missing or the basis does not fit.
    """
    a = _finite(z)
    return ilr_inv_rows(a, _basis(basis, a.shape[-1] + 1))


def _part(denominator: int, n_parts: int) -> int:
    if isinstance(denominator, bool) or not -n_parts <= denominator < n_parts:
        raise WrongCall(
            f"denominator must be the place of one of {n_parts} parts, {-n_parts} to "
            f"{n_parts - 1}; got {denominator!r}."
        )
    return int(denominator) % n_parts


def alr(x: npt.ArrayLike, denominator: int = -1) -> Array:
    """Give additive log-ratios: each part against one of them.

    Parameters
    ----------
    x : array_like, shape (n_samples, n_parts) or (n_parts,)
        Positive values in one unit.
    denominator : int, default -1
        Place of the part that divides the others; the last one by default.

    Returns
    -------
    ndarray, shape (n_samples, n_parts - 1) or (n_parts - 1,)
        Not isometric: distances depend on the denominator.

    Raises
    ------
    WrongCall
        If a value is not positive, or there is no such part.

    Examples
    --------
    >>> alr([0.1, 0.3, 0.4, 0.2]).round(4).tolist()
    [-0.6931, 0.4055, 0.6931]
    """
    a = _positive(x)
    place = _part(denominator, a.shape[-1])
    return alr_rows(a, place)


def alr_inv(z: npt.ArrayLike, denominator: int = -1) -> Array:
    """Go back from additive log-ratios to a composition that sums to one.

    Parameters
    ----------
    z : array_like, shape (n_samples, n_parts - 1) or (n_parts - 1,)
        Finite numbers.
    denominator : int, default -1
        Place that the dividing part takes in the composition.

    Returns
    -------
    ndarray, shape (n_samples, n_parts) or (n_parts,)
        Positive, rows sum to one.

    Raises
    ------
    WrongCall
        If a value is missing, or there is no such place.
    """
    a = _finite(z)
    place = _part(denominator, a.shape[-1] + 1)
    return clr_inv_rows(np.insert(a, place, 0.0, axis=-1))


def aitchison_distance(x: npt.ArrayLike, y: npt.ArrayLike) -> Any:
    """Give the distance between compositions.

    Parameters
    ----------
    x, y : array_like, shape (n_samples, n_parts) or (n_parts,)
        Positive values; rows are taken in pairs, a single one against all.

    Returns
    -------
    float or ndarray, shape (n_samples,)
        A float for two single compositions. [-]

    Raises
    ------
    WrongCall
        If a value is not positive, or the shapes do not agree.

    Examples
    --------
    >>> round(aitchison_distance([0.1, 0.3, 0.4, 0.2], [0.2, 0.4, 0.2, 0.2]), 8)
    1.01142314
    """
    a, b = _positive(x), _positive(y)
    if a.shape[-1] != b.shape[-1] or (a.ndim == b.ndim == 2 and len(a) != len(b)):
        raise WrongCall(f"compositions of shapes {a.shape} and {b.shape} cannot be compared.")
    distance = np.linalg.norm(clr_rows(a) - clr_rows(b), axis=-1)
    return float(distance) if distance.ndim == 0 else distance


def variation_matrix(x: npt.ArrayLike, *, robust: bool = False) -> Array:
    """Give the variance of the log-ratio of every two parts.

    Parameters
    ----------
    x : array_like, shape (n_samples, n_parts)
        Positive values, two samples or more.
    robust : bool, default False
        From the minimum covariance determinant of the ilr coordinates, which a minority of
        unusual samples cannot change.

    Returns
    -------
    ndarray, shape (n_parts, n_parts)
        Symmetric, zero on the diagonal; its sum over twice the number of parts is the total
        variance. Divided by n - 1.

    Raises
    ------
    WrongCall
        If there are too few samples, a value is not positive, or (robust) too many samples lie in
        one plane.

    References
    ----------
    .. [1] Aitchison 1986, The Statistical Analysis of Compositional Data, Chapman & Hall; Filzmoser
       & Hron 2008, Math. Geosci. 40:233-248 (robust).
    """
    a = _positive(x)
    if a.ndim != 2 or len(a) < 2:
        raise WrongCall(f"a variation matrix needs two samples or more, got shape {a.shape}.")
    if robust:
        basis = pivot_rows(a.shape[1])
        covariance = basis.T @ _robust(a)[1] @ basis
    else:
        covariance = np.cov(clr_rows(a), rowvar=False)
    own = np.diag(covariance)
    matrix = own[:, None] + own[None, :] - 2 * covariance
    np.fill_diagonal(matrix, 0.0)
    return np.maximum((matrix + matrix.T) / 2, 0.0)


def centre(x: npt.ArrayLike, *, robust: bool = False) -> Array:
    """Give the centre of compositions: their geometric mean, closed to one.

    Parameters
    ----------
    x : array_like, shape (n_samples, n_parts)
        Positive values.
    robust : bool, default False
        Location of the minimum covariance determinant of the ilr coordinates instead.

    Returns
    -------
    ndarray, shape (n_parts,)
        Positive, sums to one.

    Raises
    ------
    WrongCall
        If there are too few samples, or a value is not positive.

    References
    ----------
    .. [1] Aitchison 1986; Filzmoser & Hron 2008, Math. Geosci. 40:233-248 (robust).

    Examples
    --------
    >>> centre([[1, 4, 5], [4, 1, 5]]).round(4).tolist()
    [0.2222, 0.2222, 0.5556]
    """
    a = _positive(x)
    if a.ndim != 2 or not len(a):
        raise WrongCall(f"a centre needs samples, got shape {a.shape}.")
    if robust:
        return ilr_inv_rows(_robust(a)[0], pivot_rows(a.shape[1]))
    return clr_inv_rows(clr_rows(a).mean(axis=0))


def subcomposition(x: npt.ArrayLike, parts: Sequence[int]) -> Array:
    """Give some of the parts, closed to one: ratios among them stay what they were.

    Parameters
    ----------
    x : array_like, shape (n_samples, n_parts) or (n_parts,)
        Positive values.
    parts : sequence of int
        Places of two parts or more, each once.

    Returns
    -------
    ndarray, shape (n_samples, len(parts)) or (len(parts),)
        Rows sum to one.

    Raises
    ------
    WrongCall
        If a place is wrong or comes twice.

    Examples
    --------
    >>> subcomposition([0.1, 0.3, 0.4, 0.2], [1, 2]).round(4).tolist()
    [0.4286, 0.5714]
    """
    a = _positive(x)
    places = [_part(p, a.shape[-1]) for p in parts]
    if len(places) < 2 or len(set(places)) < len(places):
        raise WrongCall(f"a subcomposition needs two different parts or more, got {list(parts)}.")
    return closure_rows(a[..., places])


def _robust(a: Array) -> tuple[Array, Array]:
    """Give location and covariance of the pivot coordinates by their MCD."""
    from geochem.stats.mcd import mcd, mcd_obstacles

    z = ilr_rows(a, pivot_rows(a.shape[1]))
    obstacles = mcd_obstacles(z, 0.75)
    if obstacles:
        raise WrongCall(f"no robust covariance: {' '.join(obstacles)}")
    found = mcd(z, alpha=0.75)
    return found.location, found.covariance
