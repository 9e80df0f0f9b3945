"""Bare log-ratio formulas on arrays of positive numbers; the checks are made by the callers.

Rows are samples, the last axis holds the parts. A basis is an array of shape
(n_parts - 1, n_parts) whose rows are orthonormal and sum to zero.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

#: rows worked on at a time: logarithms then stay in the cache of the processor
_BLOCK = 2048


def closure_rows(x: Array, total: float = 1.0) -> Array:
    """Scale rows to a common sum.

    Parameters
    ----------
    x : ndarray, shape (..., n_parts)
        Positive.
    total : float, default 1.0
        The sum.

    Returns
    -------
    ndarray, shape of `x`
        Rows that sum to `total`.
    """
    return np.asarray(x * (total / x.sum(axis=-1, keepdims=True)))


def clr_rows(x: Array) -> Array:
    """Give centred log-ratios, natural logarithm.

    Parameters
    ----------
    x : ndarray, shape (..., n_parts)
        Positive.

    Returns
    -------
    ndarray, shape of `x`
        Rows sum to zero.
    """
    log = np.log(x)
    log -= log.mean(axis=-1, keepdims=True)
    return np.asarray(log)


def clr_inv_rows(z: Array) -> Array:
    """Go back from centred log-ratios to rows that sum to one.

    Parameters
    ----------
    z : ndarray, shape (..., n_parts)
        Any real numbers.

    Returns
    -------
    ndarray, shape of `z`
        Positive, rows sum to one.
    """
    e = np.exp(z - z.max(axis=-1, keepdims=True))
    return np.asarray(e / e.sum(axis=-1, keepdims=True))


def alr_rows(x: Array, place: int) -> Array:
    """Give additive log-ratios.

    Parameters
    ----------
    x : ndarray, shape (..., n_parts)
        Positive.
    place : int
        Of the part that divides the others.

    Returns
    -------
    ndarray, shape (..., n_parts - 1)
        The others in their order.
    """
    log = np.log(x)
    return np.asarray(np.delete(log, place, axis=-1) - log[..., place : place + 1])


def drawn_clr(
    clr: Array, row: npt.NDArray[np.intp], part: npt.NDArray[np.intp], change: Array
) -> Array:
    """Give the centred log-ratios of one draw of replaced values.

    Parameters
    ----------
    clr : ndarray, shape (n, n_parts)
        Of the values used.
    row, part : ndarray of int, shape (n_replaced,)
        Places that were replaced.
    change : ndarray, shape (n_replaced,)
        Natural logarithm of the drawn value over the one used.

    Returns
    -------
    ndarray, shape of `clr`
        Rows sum to zero.
    """
    out = clr.copy()
    out[row, part] += change
    touched = np.unique(row)
    out[touched] -= out[touched].mean(axis=1, keepdims=True)
    return out


def ilr_rows(x: Array, basis: Array) -> Array:
    """Give isometric log-ratio coordinates.

    Parameters
    ----------
    x : ndarray, shape (..., n_parts)
        Positive.
    basis : ndarray, shape (n_parts - 1, n_parts)
        Orthonormal rows that sum to zero.

    Returns
    -------
    ndarray, shape (..., n_parts - 1)
        Coordinates.
    """
    # rows of the basis sum to zero, so the centring of the clr cancels
    if x.ndim == 1 or len(x) <= _BLOCK:
        return np.asarray(np.log(x) @ basis.T)
    out = np.empty((len(x), basis.shape[0]))
    log = np.empty((_BLOCK, x.shape[1]))
    turned = np.ascontiguousarray(basis.T)
    for start in range(0, len(x), _BLOCK):
        block = x[start : start + _BLOCK]
        part = log[: len(block)]
        np.log(block, out=part)
        np.matmul(part, turned, out=out[start : start + _BLOCK])
    return out


def ilr_inv_rows(z: Array, basis: Array) -> Array:
    """Go back from isometric coordinates to rows that sum to one.

    Parameters
    ----------
    z : ndarray, shape (..., n_parts - 1)
        Coordinates.
    basis : ndarray, shape (n_parts - 1, n_parts)
        The basis they were made with.

    Returns
    -------
    ndarray, shape (..., n_parts)
        Positive, rows sum to one.
    """
    return clr_inv_rows(np.asarray(z @ basis))


def pivot_rows(n_parts: int) -> Array:
    """Give the basis of pivot coordinates.

    Parameters
    ----------
    n_parts : int
        Two or more.

    Returns
    -------
    ndarray, shape (n_parts - 1, n_parts)
        Row i sets part i against the geometric mean of the parts after it.

    References
    ----------
    .. [1] Fiserova & Hron 2011, On the interpretation of orthonormal coordinates for compositional
       data, Math. Geosci. 43:455-468.
    """
    basis = np.zeros((n_parts - 1, n_parts))
    for i in range(n_parts - 1):
        rest = n_parts - 1 - i
        norm = np.sqrt(rest / (rest + 1))
        basis[i, i] = norm
        basis[i, i + 1 :] = -norm / rest
    return basis
