"""Inverse distance weighting and the nearest sample: what kriging is compared with."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall
from geochem.stats.kriging_neighbours import neighbour_sets

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]


def inverse_distance(
    xy: npt.ArrayLike,
    values: npt.ArrayLike,
    where: npt.ArrayLike,
    *,
    power: float = 2.0,
    neighbours: int = 12,
    own: npt.ArrayLike | None = None,
) -> FloatArray:
    """Estimate by inverse distance weighting; with one neighbour, by the nearest sample.

    Parameters
    ----------
    xy : array_like, shape (n, 2)
        Places. [m]
    values : array_like, shape (n,)
        Values.
    where : array_like, shape (m, 2)
        Where estimates are wanted. [m]
    power : float, default 2.0
        Of the distance.
    neighbours : int, default 12
        Nearest samples used.
    own : array_like of int, shape (m,), optional
        Row of the sample each goal must not use; -1 for none.

    Returns
    -------
    ndarray, shape (m,)
        Estimates; the value itself at a sample; NaN when there are no samples.

    Raises
    ------
    WrongCall
        If shapes do not fit.

    Examples
    --------
    >>> inverse_distance([[0, 0], [3, 0]], [1.0, 4.0], [[1, 0]]).round(3).tolist()
    [1.6]
    """
    points, z, goal = (np.asarray(a, dtype=float) for a in (xy, values, where))
    if points.ndim != 2 or points.shape[1] != 2 or z.shape != (len(points),):
        raise WrongCall(
            f"coordinates have shape {points.shape} and values {z.shape}; (n, 2) and (n,) are "
            "needed."
        )
    if goal.ndim != 2 or goal.shape[1] != 2:
        raise WrongCall(f"'where' has shape {goal.shape}; (m, 2) is needed.")
    excluded = None if own is None else np.asarray(own, dtype=np.intp)
    sets = neighbour_sets(points, goal, most=neighbours, own=excluded)
    if not sets.shape[1]:
        return np.full(len(goal), np.nan)
    missing = sets < 0
    square = ((points[sets] - goal[:, None, :]) ** 2).sum(axis=2)
    at_sample = (square == 0) & ~missing
    with np.errstate(divide="ignore"):
        weights = np.where(at_sample, 1.0, np.maximum(square, 1e-12) ** (-power / 2))
    weights[(at_sample.any(axis=1)[:, None] & ~at_sample) | missing] = 0.0
    total = weights.sum(axis=1)
    found = (weights * z[sets]).sum(axis=1)
    return np.where(total > 0, found / np.where(total > 0, total, 1.0), np.nan)
