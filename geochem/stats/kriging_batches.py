"""Kriging systems solved in batches by numpy.

What lives here: the record `Task`, the order of goals in tiles, covariances computed once per tile
and gathered per neighbourhood, elimination of the drift, the pseudo-inverse for systems that have
no stable solution. Tiles are independent of one another, so that threads change no digit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.stats.threads import in_threads

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.stats.variogram_model import Variogram

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]
    Solved = tuple[FloatArray, FloatArray, FloatArray, int]

_TILE = 500
#: a solution is stable when its weights stay below this in sum, and its variance not negative
_LARGEST_WEIGHTS = 1.0e3


@dataclass(frozen=True, slots=True, eq=False)
class Task:
    """What a solver gets: everything in reduced coordinates.

    Parameters
    ----------
    points, z, error : ndarray, shape (n, 2), (n,), (n,)
        Samples: place, value minus a level, error variance.
    drift : ndarray, shape (n, p)
        Drift functions at the samples, the constant first.
    goal, drift_goal : ndarray, shape (m, 2), (m, p)
        Goals.
    offsets : ndarray, shape (b, 2), optional
        Discretising points of a block, relative to a goal.
    sets : ndarray of int, shape (m, k)
        Neighbours of each goal, -1 at the end of short rows.
    variogram : Variogram
        Model.
    """

    points: FloatArray
    z: FloatArray
    error: FloatArray
    drift: FloatArray
    goal: FloatArray
    drift_goal: FloatArray
    offsets: FloatArray | None
    sets: IntArray
    variogram: Variogram

    def own_covariance(self) -> float:
        """Covariance of a goal with itself: the sill, or the mean within the block."""
        if self.offsets is None:
            return float(self.variogram.sill)
        apart = np.sqrt(((self.offsets[:, None] - self.offsets[None]) ** 2).sum(axis=2))
        return float(self.variogram.continuous(apart).mean())


def solve_batches(task: Task, weights: FloatArray | None = None) -> Solved:
    """Solve all neighbourhoods.

    Parameters
    ----------
    task : Task
        Samples, goals, neighbourhoods, model.
    weights : ndarray, shape (m, k), optional
        Is filled with the weights of the neighbours.

    Returns
    -------
    values, variance, lagrange : ndarray, shape (m,)
        Estimates relative to the level, kriging variance, multipliers times drift.
    mended : int
        Systems solved by the pseudo-inverse.
    """
    m = len(task.goal)
    out = np.zeros((3, m))
    out[1] = task.own_covariance()
    if not m or not task.sets.shape[1]:
        return out[0], out[1], out[2], 0
    tiles = _tiles(task.goal)

    def work(rows: IntArray) -> int:
        solved, own, mended = _solve(task, rows)
        out[:, rows] = solved
        if weights is not None:
            weights[rows] = own
        return mended

    mended = sum(in_threads(work, tiles))
    return out[0], np.maximum(out[1], 0.0), out[2], mended


def _tiles(goal: FloatArray) -> list[IntArray]:
    """Group goals that stand together, about `_TILE` of them."""
    low = goal.min(axis=0)
    size = np.maximum(goal.max(axis=0) - low, 1e-9)
    side = float(np.sqrt(size[0] * size[1] * min(1.0, _TILE / len(goal))))
    side = max(side, float(size.max()) * _TILE / len(goal) / 50, 1e-9)
    column, row = ((goal - low) / side).astype(np.int64).T
    order = np.lexsort([column, row])
    key = row[order] * (column.max() + 1) + column[order]
    starts = np.flatnonzero(np.r_[True, key[1:] != key[:-1]])
    parts: list[IntArray] = []
    for part in np.split(order, starts[1:]):
        parts += np.array_split(part, -(-len(part) // (2 * _TILE)))
    return parts


def _solve(task: Task, rows: IntArray) -> tuple[FloatArray, FloatArray, int]:
    sets = task.sets[rows]
    variogram = task.variogram
    count, k = sets.shape
    missing = sets < 0
    used, place = np.unique(np.where(missing, sets[:, :1], sets), return_inverse=True)
    if used[0] < 0:  # goals without any neighbour
        used = used[1:]
        place = np.maximum(place - 1, 0)
        if not len(used):
            used = np.zeros(1, dtype=np.intp)
    place = place.reshape(count, k)
    near = task.points[used]
    members = near[place]
    if len(used) ** 2 < count * k * k:
        # goals share neighbours: each pair of samples is worked out once
        between = variogram.covariance(_apart(near[:, None], near[None]))
        between[np.diag_indices(len(used))] += task.error[used]
        matrix = between.ravel()[place[:, :, None] * len(used) + place[:, None, :]]
    else:
        matrix = variogram.covariance(_apart(members[:, :, None], members[:, None]))
        matrix[:, np.arange(k), np.arange(k)] += task.error[used][place]
    right = _to_goal(members, task.goal[rows], task.offsets, variogram)
    drift = task.drift[used][place]
    z = task.z[used][place]
    if missing.any():
        matrix[missing] = 0.0
        np.swapaxes(matrix, 1, 2)[missing] = 0.0
        spot, at = np.nonzero(missing)
        matrix[spot, at, at] = variogram.sill or 1.0
        right[missing], drift[missing], z[missing] = 0.0, 0.0, 0.0
    wanted = task.drift_goal[rows]
    own = task.own_covariance()
    weights, multipliers = _eliminate(matrix, right, drift, wanted)
    values = (weights * z).sum(axis=1)
    variance = own - (weights * right).sum(axis=1) - (multipliers * wanted).sum(axis=1)
    bad = ~np.isfinite(values) | (np.abs(weights).sum(axis=1) > _LARGEST_WEIGHTS)
    bad |= variance < -1e-9 * variogram.sill
    bad &= ~missing.all(axis=1)
    for i in np.flatnonzero(bad):
        weights[i], multipliers[i] = _mended(matrix[i], right[i], drift[i], wanted[i])
        values[i] = weights[i] @ z[i]
        variance[i] = own - weights[i] @ right[i] - multipliers[i] @ wanted[i]
    lagrange = (multipliers * wanted).sum(axis=1)
    return np.stack([values, variance, lagrange]), weights, int(bad.sum())


def _apart(one: FloatArray, other: FloatArray) -> FloatArray:
    square = (one[..., 0] - other[..., 0]) ** 2
    square += (one[..., 1] - other[..., 1]) ** 2
    return np.asarray(np.sqrt(square))


def _to_goal(
    members: FloatArray, goal: FloatArray, offsets: FloatArray | None, variogram: Variogram
) -> FloatArray:
    """Covariance of each neighbour with the goal, or its mean over the block."""
    if offsets is None:
        apart = np.sqrt(((members - goal[:, None, :]) ** 2).sum(axis=2))
        return variogram.covariance(apart)
    total = np.zeros(members.shape[:2])
    for offset in offsets:
        apart = np.sqrt(((members - (goal + offset)[:, None, :]) ** 2).sum(axis=2))
        # the nugget belongs to a point, of which a block has infinitely many
        total += variogram.continuous(apart)
    return total / len(offsets)


def _eliminate(
    matrix: FloatArray, right: FloatArray, drift: FloatArray, wanted: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Solve C w + F mu = c, F' w = f for many systems."""
    p = drift.shape[2]
    both = np.concatenate([right[:, :, None], drift], axis=2)
    with np.errstate(all="ignore"):
        solved = _solve_each(matrix, both)
        alone, spread = solved[:, :, 0], solved[:, :, 1:]
        if not p:
            return alone, np.zeros((len(right), 0))
        turned = np.swapaxes(drift, 1, 2)
        small = turned @ spread
        excess = (turned @ alone[:, :, None])[:, :, 0] - wanted
        multipliers = _solve_each(small, excess[:, :, None])[:, :, 0]
        return alone - (spread @ multipliers[:, :, None])[:, :, 0], multipliers


def _solve_each(matrix: FloatArray, right: FloatArray) -> FloatArray:
    """Solve; a singular matrix gives NaN for itself only."""
    try:
        return np.asarray(np.linalg.solve(matrix, right), dtype=float)
    except np.linalg.LinAlgError:
        out = np.full(right.shape, np.nan)
        for i in range(len(matrix)):
            try:
                out[i] = np.linalg.solve(matrix[i], right[i])
            except np.linalg.LinAlgError:
                continue
        return out


def _mended(
    matrix: FloatArray, right: FloatArray, drift: FloatArray, wanted: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Solve one bordered system by the pseudo-inverse: shortest weights among the best."""
    k, p = drift.shape
    scale = float(matrix.diagonal().max()) or 1.0
    whole = np.zeros((k + p, k + p))
    whole[:k, :k] = matrix / scale
    whole[:k, k:], whole[k:, :k] = drift, drift.T
    inverse = np.linalg.pinv(whole, rcond=1e-10, hermitian=True)
    found = inverse @ np.r_[right / scale, wanted]
    return found[:k], found[k:] * scale
