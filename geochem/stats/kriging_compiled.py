"""Kriging systems solved one by one in compiled code (extra 'fast').

What lives here: the twin of `kriging_batches`: Cholesky factor of the covariances, elimination of
the drift. Goals are visited along a curve, so that neighbours follow one another; the samples that
most of them share come first in their systems, and the rows of the factor that two have in common
are worked out once. Pieces of work do not depend on the number of threads. A system that has no
stable solution goes to `kriging_batches`, so that both tiers give the same numbers there too.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.optional import require
from geochem.stats.kriging_batches import Task, solve_batches

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

numba: Any = require("numba", extra="fast", purpose="solve kriging systems by compiled code")
_CODES = {"spherical": 0, "exponential": 1, "gaussian": 2}
_LARGEST_WEIGHTS = 1.0e3
#: goals of one piece of work for a thread, and goals whose samples are ranked together
_BLOCK, _GROUP = 256, 16
#: steps of each axis when goals are put in order
_FINEST = 65535.0


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
        whole(task.sets), _visits(task.goal),
        np.array([_CODES[s.model] for s in parts], dtype=np.int64),
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


def _visits(goal: FloatArray) -> IntArray:
    """Order goals along a curve that keeps neighbours together (bits of both axes in turn)."""
    low = goal.min(axis=0) if len(goal) else np.zeros(2)
    size = float((goal.max(axis=0) - low).max()) if len(goal) else 0.0
    step = ((goal - low) * (_FINEST / (size or 1.0))).astype(np.int64)
    for shift, mask in ((8, 0x00FF00FF), (4, 0x0F0F0F0F), (2, 0x33333333), (1, 0x55555555)):
        step = (step | (step << shift)) & mask
    return np.argsort(step[:, 0] | (step[:, 1] << 1), kind="stable")


@numba.njit(inline="always")
def _covariances(square, found, count, codes, sills, inverse):  # type: ignore[no-untyped-def]
    """Covariances without nugget at squared distances; simple loops that become vector code."""
    for j in range(count):
        found[j] = 0.0
    for s in range(len(codes)):
        part, scale = sills[s], inverse[s]
        if codes[s] == 0:
            for j in range(count):
                r = min(np.sqrt(square[j]) * scale, 1.0)
                found[j] += part * (1.0 - r * (1.5 - 0.5 * (r * r)))
        elif codes[s] == 1:
            for j in range(count):
                found[j] += part * np.exp(-np.sqrt(square[j]) * scale)
        else:
            for j in range(count):
                found[j] += part * np.exp(-square[j] * scale * scale)


@numba.njit(inline="always")
def _rank(sets, order, first, last, met, place):  # type: ignore[no-untyped-def]
    """Rank the samples of some goals: those that most of the goals share come first.

    `met` (zeros, one per sample) is scratch; `place` gets the rank of each sample that is met.
    """
    n_goals, most = last - first, sets.shape[1]
    for g in range(first, last):
        for i in range(most):
            j = sets[order[g], i]
            if j < 0:
                break
            met[j] += 1
    at = np.zeros(n_goals + 2, dtype=np.int64)  # where the samples of each count begin
    for g in range(first, last):
        for i in range(most):
            j = sets[order[g], i]
            if j < 0:
                break
            if met[j] > 0:  # once each: marked by the negative count
                at[n_goals - met[j] + 1] += 1
                met[j] = -met[j]
    for c in range(1, n_goals + 2):
        at[c] += at[c - 1]
    for g in range(first, last):
        for i in range(most):
            j = sets[order[g], i]
            if j < 0:
                break
            if met[j] < 0:
                place[j] = at[n_goals + met[j]]
                at[n_goals + met[j]] += 1
                met[j] = 0
    return at[n_goals]


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
    order,
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
        square, row = np.empty(most), np.empty(most)
        # columns: covariances with the goal, then the drift; rows of `side` are contiguous
        side = np.empty((p + 1, most))
        weight = np.empty(most)
        small, excess = np.empty((p, p)), np.empty(p)
        met, place = np.zeros(len(z), np.int64), np.empty(len(z), np.int64)
        ranked = np.full(_GROUP * most, -1)
        held, n_held = np.empty(most, np.int64), 0  # samples of the factor, in its order
        begin, end = part * _BLOCK, min((part + 1) * _BLOCK, m)
        for at in range(begin, end):
            if (at - begin) % _GROUP == 0:
                n_ranked = _rank(sets, order, at, min(at + _GROUP, end), met, place)
            g = order[at]
            k = 0
            while k < most and sets[g, k] >= 0:
                ranked[place[sets[g, k]]] = sets[g, k]
                k += 1
            if k == 0:
                out[1, g] = own
                continue
            # rows of the factor of the goal before stay as long as the samples are the same
            i, same = 0, True
            first = 0
            for r in range(n_ranked):
                j = ranked[r]
                if j < 0:
                    continue
                ranked[r] = -1
                same = same and i < n_held and held[i] == j
                if same:
                    first += 1
                held[i] = j
                px[i], py[i] = points[j, 0], points[j, 1]
                i += 1
            # Cholesky factor, rows
            stable = True
            for i in range(first, k):
                for j in range(i):
                    dx, dy = px[i] - px[j], py[i] - py[j]
                    square[j] = dx * dx + dy * dy
                _covariances(square, row, i, codes, sills, inverse)
                for j in range(i):
                    value = row[j]
                    for a in range(j):
                        value -= row[a] * factor[j, a]
                    row[j] = value * factor[j, j]
                    factor[i, j] = row[j]
                value = sill + error[held[i]]
                for a in range(i):
                    value -= row[a] * row[a]
                if not value > 1e-9 * sill:
                    stable = False
                    break
                factor[i, i] = 1.0 / np.sqrt(value)  # the reciprocal of the diagonal is kept
                for q in range(1, p + 1):
                    value = drift[held[i], q - 1]
                    for a in range(i):
                        value -= row[a] * side[q, a]
                    side[q, i] = value * factor[i, i]
            n_held = k if stable else 0
            if not stable:
                out[3, g] = 1.0
                continue
            weight[:k] = 0.0
            for b in range(len(offsets)):
                tx, ty = goal[g, 0] + offsets[b, 0], goal[g, 1] + offsets[b, 1]
                for j in range(k):
                    dx, dy = px[j] - tx, py[j] - ty
                    square[j] = dx * dx + dy * dy
                _covariances(square, row, k, codes, sills, inverse)
                for j in range(k):
                    weight[j] += sill if square[j] == 0.0 and not blocks else row[j]
            for i in range(k):
                value = weight[i] / len(offsets)
                for a in range(i):
                    value -= factor[i, a] * side[0, a]
                side[0, i] = value * factor[i, i]
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
                total += weight[i] * z[held[i]]
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
