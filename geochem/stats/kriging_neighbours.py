"""Neighbourhoods of kriging: nearest samples, by distance, sector and exclusion."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

#: with sectors, so many times the wanted number of nearest samples are looked through
_WIDER = 4


def neighbour_sets(
    points: FloatArray,
    goal: FloatArray,
    *,
    most: int,
    max_distance: float | None = None,
    sectors: int = 1,
    per_sector: int | None = None,
    own: IntArray | None = None,
) -> IntArray:
    """Give the samples that serve each estimate, nearest first.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Different places. [m]
    goal : ndarray, shape (m, 2)
        Where estimates are wanted. [m]
    most : int
        Samples per goal at most.
    max_distance : float, optional
        Farther samples are left out. [m]
    sectors : int, default 1
        Equal sectors around each goal, the first beginning at the first axis.
    per_sector : int, optional
        Samples per sector at most; default an even share of `most`.
    own : ndarray of int, shape (m,), optional
        Sample that a goal must not use; -1 for none.

    Returns
    -------
    ndarray of int, shape (m, k)
        Rows of `points`; -1 fills rows that have fewer.

    Raises
    ------
    WrongCall
        If a number is not possible.
    """
    from scipy.spatial import cKDTree

    if most < 1 or sectors < 1 or (per_sector is not None and per_sector < 1):
        raise WrongCall("neighbours, sectors and samples per sector must be at least 1.")
    if max_distance is not None and not max_distance > 0:
        raise WrongCall(f"max_distance is {max_distance}; a positive number of metres is needed.")
    n, m = len(points), len(goal)
    wanted = min(n, most * (_WIDER if sectors > 1 else 1) + (own is not None))
    if not wanted or not m:
        return np.empty((m, 0), dtype=np.intp)
    limit = np.inf if max_distance is None else max_distance * (1 + 1e-12)
    tree = cKDTree(points)
    _, found = tree.query(goal, k=wanted, distance_upper_bound=limit, workers=-1)
    found = np.asarray(found, dtype=np.intp).reshape(m, wanted)
    found[found >= n] = -1
    if own is not None:
        found[(found == own[:, None]) & (own >= 0)[:, None]] = -1
        found = _to_the_left(found, found >= 0)
    if sectors > 1:
        share = -(-most // sectors) if per_sector is None else per_sector
        found = _by_sector(points, goal, found, sectors, share)
    return found[:, :most]


def _by_sector(
    points: FloatArray, goal: FloatArray, found: IntArray, sectors: int, share: int
) -> IntArray:
    """Keep the nearest `share` of every sector."""
    offset = points[found] - goal[:, None, :]
    angle = np.arctan2(offset[:, :, 1], offset[:, :, 0]) % (2 * np.pi)
    sector = np.minimum((angle * (sectors / (2 * np.pi))).astype(np.intp), sectors - 1)
    sector[found < 0] = -1
    keep = np.zeros(found.shape, dtype=bool)
    for s in range(sectors):
        mine = sector == s
        keep |= mine & (np.cumsum(mine, axis=1) <= share)
    return _to_the_left(found, keep)


def _to_the_left(found: IntArray, keep: npt.NDArray[np.bool_]) -> IntArray:
    """Move what is kept to the front of each row, in order; -1 fills the rest."""
    order = np.argsort(~keep, axis=1, kind="stable")
    moved = np.where(keep, found, -1)
    return np.take_along_axis(moved, order, axis=1)
