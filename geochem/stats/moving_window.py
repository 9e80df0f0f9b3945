"""Median of the samples around each sample."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.stats.robust_columns import row_medians

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

#: rows worked on together, so that memory stays small
_ROWS = 20_000
#: entries of the list of neighbours that is kept for the next element [48 MB]
_KEPT = 12_000_000
_last: dict[tuple[int, bytes], npt.NDArray[np.int32]] = {}


def _nearest(xy: Array, k: int) -> npt.NDArray[np.int32]:
    """List the nearest samples of each; elements of one survey share the list."""
    from hashlib import blake2b

    from scipy.spatial import cKDTree

    key = (k, blake2b(np.ascontiguousarray(xy).tobytes(), digest_size=16).digest())
    near = _last.get(key)
    if near is None:
        near = cKDTree(xy).query(xy, k=k)[1].reshape(-1, k).astype(np.int32)
        _last.clear()
        if near.size <= _KEPT:
            _last[key] = near
    return near


def local_median(values: Array, coordinates: Array, neighbours: int) -> Array:
    """Give the median of the nearest samples, each sample's own value among them.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Finite.
    coordinates : ndarray, shape (n, 2)
        Easting, northing, finite. [m]
    neighbours : int
        How many samples; all, if there are fewer.

    Returns
    -------
    ndarray, shape (n,)
        In the unit of `values`. Samples at equal distance from the edge of the window are taken
        in the order of their coordinates and values.

    Examples
    --------
    >>> x = np.arange(5.0)
    >>> local_median(x**2, np.column_stack([x, 0 * x]), 3).tolist()
    [1.0, 1.0, 4.0, 9.0, 9.0]
    """
    n = len(values)
    k = min(neighbours, n)
    if n == 0 or k == 0:
        return np.full(n, np.nan)
    order = np.lexsort((values, coordinates[:, 1], coordinates[:, 0]))
    x, near = values[order], _nearest(coordinates[order], k)
    found = np.empty(n)
    for start in range(0, n, _ROWS):
        rows = slice(start, start + _ROWS)
        found[rows] = row_medians(x.take(near[rows], mode="wrap"))
    out = np.empty(n)
    out[order] = found
    return out
