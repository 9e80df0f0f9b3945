"""Local kriging and inverse distance, solved in batches of neighbourhoods.

Arrays in, numbers out. Points at one place must be merged before (`merge_places`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall
from geochem.stats.variogram import Variogram, model_value

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

_CHUNK = 4000


def merge_places(
    xy: npt.ArrayLike, values: npt.ArrayLike, error_variance: npt.ArrayLike | None = None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Average samples that stand at one place, sorted by position.

    Parameters
    ----------
    xy : array_like, shape (n, 2)
        Easting and northing. [m]
    values : array_like, shape (n,)
        Rows with NaN are left out.
    error_variance : array_like, shape (n,), optional
        Variance of the error of each value; default 0.

    Returns
    -------
    xy : ndarray, shape (m, 2)
        Different places.
    values : ndarray, shape (m,)
        Plain means.
    error_variance : ndarray, shape (m,)
        Of the means.
    """
    points, z = np.asarray(xy, float), np.asarray(values, float)
    error = np.zeros(len(z)) if error_variance is None else np.asarray(error_variance, float)
    keep = np.isfinite(z) & np.isfinite(points).all(axis=1)
    points, z, error = points[keep], z[keep], np.nan_to_num(error[keep])
    places, which, count = np.unique(points, axis=0, return_inverse=True, return_counts=True)
    which = which.ravel()
    mean = np.bincount(which, weights=z, minlength=len(places)) / np.maximum(count, 1)
    spread = np.bincount(which, weights=error, minlength=len(places)) / np.maximum(count, 1) ** 2
    return places, mean, spread


def ordinary_kriging(
    xy: npt.ArrayLike,
    values: npt.ArrayLike,
    where: npt.ArrayLike,
    variogram: Variogram,
    *,
    neighbours: int = 24,
    error_variance: npt.ArrayLike | None = None,
    leave_own_out: bool = False,
) -> tuple[FloatArray, FloatArray]:
    """Estimate by ordinary kriging in a local neighbourhood.

    Parameters
    ----------
    xy : array_like, shape (n, 2)
        Different places. [m]
    values : array_like, shape (n,)
        Values on the scale of the variogram.
    where : array_like, shape (m, 2)
        Where estimates are wanted. [m]
    variogram : Variogram
        Nugget, sill, range.
    neighbours : int, default 24
        Nearest samples used for one estimate.
    error_variance : array_like, shape (n,), optional
        Error variance of each value, added on the diagonal: uncertain values weigh less and are
        not honoured exactly.
    leave_own_out : bool, default False
        `where` are the samples themselves and each is estimated from the others
        (cross-validation).

    Returns
    -------
    estimate, variance : ndarray, shape (m,)
        Kriging estimate and variance; NaN when there are no samples.

    Raises
    ------
    WrongCall
        If shapes do not fit or two samples stand at one place.

    References
    ----------
    Matheron, G. 1963. Principles of geostatistics. Economic Geology 58:1246-1266.
    Goovaerts, P. 1997. Geostatistics for natural resources evaluation, section 5.3. Oxford.
    """
    points, z, goal = _checked(xy, values, where)
    n = len(points)
    if n - leave_own_out < 1:
        return np.full(len(goal), np.nan), np.full(len(goal), np.nan)
    error = np.zeros(n) if error_variance is None else np.asarray(error_variance, float)
    sets = _neighbour_sets(points, goal, neighbours, leave_own_out=leave_own_out)
    unique, which = _shared_sets(sets)
    estimate, variance = np.empty(len(goal)), np.empty(len(goal))
    order = np.argsort(which, kind="stable")
    starts = np.searchsorted(which[order], np.arange(len(unique) + 1))
    sill = variogram.sill
    for first in range(0, len(unique), _CHUNK):
        chunk = unique[first : first + _CHUNK]
        inverse = np.linalg.inv(_system(points[chunk], error[chunk], variogram))
        rows = order[starts[first] : starts[min(first + _CHUNK, len(unique))]]
        for part in np.array_split(rows, max(1, len(rows) // _CHUNK)):
            members = sets_of = chunk[which[part] - first]
            h = np.sqrt(((points[sets_of] - goal[part][:, None, :]) ** 2).sum(axis=2))
            right = np.ones((len(part), members.shape[1] + 1))
            right[:, :-1] = sill - _gamma(h, variogram)
            weights = np.matmul(inverse[which[part] - first], right[:, :, None])[:, :, 0]
            estimate[part] = (weights[:, :-1] * z[members]).sum(axis=1)
            variance[part] = sill - (weights * right).sum(axis=1)
    return estimate, np.maximum(variance, 0.0)


def inverse_distance(
    xy: npt.ArrayLike,
    values: npt.ArrayLike,
    where: npt.ArrayLike,
    *,
    power: float = 2.0,
    neighbours: int = 12,
    leave_own_out: bool = False,
) -> FloatArray:
    """Estimate by inverse distance weighting.

    Parameters
    ----------
    xy, values, where, neighbours, leave_own_out
        As in `ordinary_kriging`.
    power : float, default 2
        Of the distance.

    Returns
    -------
    ndarray, shape (m,)
        Estimates; the value itself at a sample.
    """
    points, z, goal = _checked(xy, values, where)
    if len(points) - leave_own_out < 1:
        return np.full(len(goal), np.nan)
    sets = _neighbour_sets(points, goal, neighbours, leave_own_out=leave_own_out)
    square = ((points[sets] - goal[:, None, :]) ** 2).sum(axis=2)
    at_sample = square == 0
    weights = np.where(at_sample, 1.0, np.maximum(square, 1e-12) ** (-power / 2))
    weights[at_sample.any(axis=1)[:, None] & ~at_sample] = 0.0
    found: FloatArray = (weights * z[sets]).sum(axis=1) / weights.sum(axis=1)
    return found


def _checked(
    xy: npt.ArrayLike, values: npt.ArrayLike, where: npt.ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    points, z, goal = (np.asarray(a, dtype=float) for a in (xy, values, where))
    if points.ndim != 2 or points.shape[1] != 2 or z.shape != (len(points),):
        raise WrongCall(
            f"coordinates have shape {points.shape} and values {z.shape}; (n, 2) and (n,) are "
            "needed."
        )
    if goal.ndim != 2 or goal.shape[1] != 2:
        raise WrongCall(f"'where' has shape {goal.shape}; (m, 2) is needed.")
    if len(np.unique(points, axis=0)) != len(points):
        raise WrongCall("two samples stand at one place; merge them first with merge_places.")
    shift = points.mean(axis=0) if len(points) else 0.0
    return points - shift, z, goal - shift


def _neighbour_sets(
    points: FloatArray, goal: FloatArray, neighbours: int, *, leave_own_out: bool
) -> npt.NDArray[np.intp]:
    """Give sorted neighbour indices per estimate."""
    from scipy.spatial import cKDTree

    k = min(neighbours + leave_own_out, len(points))
    _, found = cKDTree(points).query(goal, k=k)
    found = np.asarray(found).reshape(len(goal), k)
    if leave_own_out:
        own = np.arange(len(goal))[:, None]
        mine = found == own
        mine[~mine.any(axis=1), -1] = True  # pragma: no cover - cannot happen at unique places
        found = found[~mine].reshape(len(goal), k - 1)
    return np.sort(found, axis=1)


def _shared_sets(
    sets: npt.NDArray[np.intp],
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Find equal neighbourhoods, so that each is factored once."""
    order = np.lexsort(sets.T[::-1])
    ranked = sets[order]
    new = np.ones(len(sets), dtype=bool)
    new[1:] = (ranked[1:] != ranked[:-1]).any(axis=1)
    which = np.empty(len(sets), dtype=np.intp)
    which[order] = np.cumsum(new) - 1
    return ranked[new], which


def _gamma(h: FloatArray, variogram: Variogram) -> FloatArray:
    return model_value(variogram.model, h, variogram.nugget, variogram.sill, variogram.range_m)


def _system(points: FloatArray, error: FloatArray, variogram: Variogram) -> FloatArray:
    """Build the ordinary kriging systems of many neighbourhoods: (sets, k + 1, k + 1)."""
    count, k, _ = points.shape
    dx = points[:, :, None, 0] - points[:, None, :, 0]
    dy = points[:, :, None, 1] - points[:, None, :, 1]
    matrix = np.ones((count, k + 1, k + 1))
    matrix[:, :k, :k] = variogram.sill - _gamma(np.sqrt(dx * dx + dy * dy), variogram)
    diagonal = np.arange(k)
    matrix[:, diagonal, diagonal] += error
    matrix[:, k, k] = 0.0
    return matrix
