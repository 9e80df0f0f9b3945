"""Pair sums of a variogram, compiled (extra 'fast').

What lives here: the twin of `variogram._pair_sums` for all directions. Blocks of rows are summed
on their own and added in a fixed order, so that the number of threads changes no digit.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.optional import require

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

numba: Any = require("numba", extra="fast", purpose="compute variograms by compiled code")
_BLOCK = 64


def pair_sums(
    points: FloatArray, z: FloatArray, cutoff: float, n_bins: int, *, squares: bool
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sum count, distance and difference per bin.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Sorted by easting. [m]
    z : ndarray, shape (n,)
        Values.
    cutoff : float
        Largest distance. [m]
    n_bins : int
        Bins of equal width.
    squares : bool
        Sum squared differences, else square roots of absolute ones.

    Returns
    -------
    count, distance, difference : ndarray, shape (n_bins,)
        Sums.
    """
    x = np.ascontiguousarray(points[:, 0])
    y = np.ascontiguousarray(points[:, 1])
    last = np.searchsorted(x, x + cutoff, side="right")
    sums = _blocks(x, y, z, last, cutoff, n_bins, squares)
    total = sums.sum(axis=0)
    return total[0], total[1], total[2]


@numba.njit(parallel=True, cache=True)
def _blocks(x, y, z, last, cutoff, n_bins, squares):  # type: ignore[no-untyped-def]
    n = len(x)
    n_blocks = (n + _BLOCK - 1) // _BLOCK
    out = np.zeros((n_blocks, 3, n_bins))
    width = cutoff / n_bins
    limit = cutoff * cutoff
    for b in numba.prange(n_blocks):
        # the last row of bins takes pairs that are too far apart: no branch in the inner loops;
        # four sums per bin, taken in turn, do not wait for one another
        sums = np.zeros((4, n_bins + 2, 3))
        first, end = b * _BLOCK, min((b + 1) * _BLOCK, n)
        most = last[end - 1] - first
        which = np.empty(most, np.int32)
        apart, differ = np.empty(most), np.empty(most)
        for i in range(first, end):
            m = last[i] - i - 1
            xi, yi, zi = x[i], y[i], z[i]
            xs, ys, zs = x[i + 1 : last[i]], y[i + 1 : last[i]], z[i + 1 : last[i]]
            for j in range(m):
                dx, dy = xs[j] - xi, ys[j] - yi
                square = dx * dx + dy * dy
                h = np.sqrt(square)
                k = np.int32(np.ceil(h / width))
                k = min(k, np.int32(n_bins))
                which[j] = np.int32(n_bins + 1) if square > limit else k
                apart[j] = h
                d = zi - zs[j]
                differ[j] = d * d if squares else np.sqrt(abs(d))
            for j in range(m):
                k = which[j]
                sums[j & 3, k, 0] += 1.0
                sums[j & 3, k, 1] += apart[j]
                sums[j & 3, k, 2] += differ[j]
        for k in range(n_bins):
            for q in range(3):
                out[b, q, k] = (
                    sums[0, k + 1, q] + sums[1, k + 1, q] + sums[2, k + 1, q] + sums[3, k + 1, q]
                )
    return out
