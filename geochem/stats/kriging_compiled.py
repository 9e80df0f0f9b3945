"""Kriging systems solved one by one in compiled code (extra 'fast').

What lives here: the twin of `kriging_batches`: Cholesky factor of the covariances, elimination of
the drift. A system that has no stable solution goes to `kriging_batches`, so that both tiers give
the same numbers there too.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.optional import require
from geochem.stats.kriging_batches import Task, solve_batches

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

numba: Any = require("numba", extra="fast", purpose="solve kriging systems by compiled code")
_CODES = {"spherical": 0, "exponential": 1, "gaussian": 2}
_LARGEST_WEIGHTS = 1.0e3
_BLOCK = 256


def solve_compiled(task: Task) -> tuple[FloatArray, FloatArray, FloatArray, int]:
    """Solve all neighbourhoods.

    Parameters
    ----------
    task : Task
        Samples, goals, neighbourhoods, model.

    Returns
    -------
    values, variance, lagrange : ndarray, shape (m,)
        As `kriging_batches.solve_batches`.
    mended : int
        Systems solved by the pseudo-inverse.
    """
    from dataclasses import replace

    parts = [s for s in task.variogram.structures if s.partial_sill > 0 and s.range_m > 0]
    offsets = np.zeros((1, 2)) if task.offsets is None else task.offsets
    # one memory layout of every array: one compiled version
    whole = np.ascontiguousarray
    out = _solve(
        whole(task.points), whole(task.z), whole(task.error), whole(task.drift),
        whole(task.goal), whole(task.drift_goal), whole(offsets), task.offsets is not None,
        whole(task.sets), np.array([_CODES[s.model] for s in parts], dtype=np.int64),
        np.array([s.partial_sill for s in parts]), np.array([1.0 / s.range_m for s in parts]),
        float(task.variogram.sill), task.own_covariance(),
    )  # fmt: skip
    bad = np.flatnonzero(out[3] != 0)
    mended = 0
    if len(bad):
        again = solve_batches(
            replace(
                task, goal=task.goal[bad], drift_goal=task.drift_goal[bad], sets=task.sets[bad]
            )
        )
        out[0, bad], out[1, bad], out[2, bad], mended = again
    return out[0], np.maximum(out[1], 0.0), out[2], mended


@numba.njit(inline="always")
def _rise(square, codes, sills, inverse):  # type: ignore[no-untyped-def]
    """Covariance without nugget at a squared distance."""
    total = 0.0
    h = np.sqrt(square)
    for s in range(len(codes)):
        r = h * inverse[s]
        if codes[s] == 0:
            r = min(r, 1.0)
            total += sills[s] * (1.0 - r * (1.5 - 0.5 * (r * r)))
        elif codes[s] == 1:
            total += sills[s] * np.exp(-r)
        else:
            total += sills[s] * np.exp(-(r * r))
    return total


@numba.njit(parallel=True, cache=True, fastmath={"reassoc", "contract", "nsz"})
def _solve(  # type: ignore[no-untyped-def]
    points,
    z,
    error,
    drift,
    goal,
    wanted,
    offsets,
    blocks,
    sets,
    codes,
    sills,
    inverse,
    sill,
    own,
):
    m, most = sets.shape
    p = drift.shape[1]
    out = np.zeros((4, m))
    for part in numba.prange((m + _BLOCK - 1) // _BLOCK):
        factor = np.empty((most, most))
        px, py = np.empty(most), np.empty(most)
        # columns: covariances with the goal, then the drift; rows of `side` are contiguous
        side = np.empty((p + 1, most))
        weight = np.empty(most)
        small, excess = np.empty((p, p)), np.empty(p)
        for g in range(part * _BLOCK, min((part + 1) * _BLOCK, m)):
            k = 0
            while k < most and sets[g, k] >= 0:
                k += 1
            if k == 0:
                out[1, g] = own
                continue
            for i in range(k):
                px[i], py[i] = points[sets[g, i], 0], points[sets[g, i], 1]
            for i in range(k):
                for j in range(i):
                    dx, dy = px[i] - px[j], py[i] - py[j]
                    factor[i, j] = _rise(dx * dx + dy * dy, codes, sills, inverse)
                factor[i, i] = sill + error[sets[g, i]]
                total = 0.0
                for b in range(len(offsets)):
                    dx = px[i] - goal[g, 0] - offsets[b, 0]
                    dy = py[i] - goal[g, 1] - offsets[b, 1]
                    square = dx * dx + dy * dy
                    if square == 0.0 and not blocks:
                        total += sill
                    else:
                        total += _rise(square, codes, sills, inverse)
                side[0, i] = total / len(offsets)
                for q in range(p):
                    side[q + 1, i] = drift[sets[g, i], q]
            # Cholesky factor, rows
            stable = True
            for i in range(k):
                for j in range(i):
                    value = factor[i, j]
                    for a in range(j):
                        value -= factor[i, a] * factor[j, a]
                    factor[i, j] = value * factor[j, j]
                value = factor[i, i]
                for a in range(i):
                    value -= factor[i, a] * factor[i, a]
                if not value > 1e-9 * sill:
                    stable = False
                    break
                factor[i, i] = 1.0 / np.sqrt(value)  # the reciprocal of the diagonal is kept
            if not stable:
                out[3, g] = 1.0
                continue
            for q in range(p + 1):
                for i in range(k):
                    value = side[q, i]
                    for a in range(i):
                        value -= factor[i, a] * side[q, a]
                    side[q, i] = value * factor[i, i]
            # with L u = c and L v = F: F' C^-1 c = v'u, F' C^-1 F = v'v
            for q in range(p):
                value = -wanted[g, q]
                for i in range(k):
                    value += side[q + 1, i] * side[0, i]
                excess[q] = value
                for r in range(q + 1):
                    value = 0.0
                    for i in range(k):
                        value += side[q + 1, i] * side[r + 1, i]
                    small[q, r] = value
                    small[r, q] = value
            if not _small_system(small, excess, p):
                out[3, g] = 1.0
                continue
            for i in range(k):
                value = side[0, i]
                for q in range(p):
                    value -= side[q + 1, i] * excess[q]
                weight[i] = value
            # variance before the back substitution: w'c = (u - v mu)'u
            variance = own
            for i in range(k):
                variance -= weight[i] * side[0, i]
            lagrange = 0.0
            for q in range(p):
                lagrange += excess[q] * wanted[g, q]
            variance -= lagrange
            for i in range(k - 1, -1, -1):
                value = weight[i] * factor[i, i]
                weight[i] = value
                for a in range(i):
                    weight[a] -= factor[i, a] * value
            total, size = 0.0, 0.0
            for i in range(k):
                total += weight[i] * z[sets[g, i]]
                size += abs(weight[i])
            out[0, g], out[1, g] = total, variance
            out[2, g] = lagrange
            if not (size <= _LARGEST_WEIGHTS and variance >= -1e-9 * sill):
                out[3, g] = 1.0
    return out


@numba.njit(inline="always")
def _small_system(matrix, right, p):  # type: ignore[no-untyped-def]
    """Solve in place by elimination with pivots; False when singular."""
    for i in range(p):
        pivot = i
        for r in range(i + 1, p):
            if abs(matrix[r, i]) > abs(matrix[pivot, i]):
                pivot = r
        if matrix[pivot, i] == 0.0:
            return False
        if pivot != i:
            for c in range(p):
                matrix[i, c], matrix[pivot, c] = matrix[pivot, c], matrix[i, c]
            right[i], right[pivot] = right[pivot], right[i]
        for r in range(i + 1, p):
            share = matrix[r, i] / matrix[i, i]
            for c in range(i, p):
                matrix[r, c] -= share * matrix[i, c]
            right[r] -= share * right[i]
    for i in range(p - 1, -1, -1):
        for c in range(i + 1, p):
            right[i] -= matrix[i, c] * right[c]
        right[i] /= matrix[i, i]
    return True
