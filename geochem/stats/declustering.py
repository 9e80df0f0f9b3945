"""Declustering weights: samples that stand close together speak for less ground each."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]


def cell_weights(coordinates: npt.ArrayLike, cell_size: float, *, shifts: int = 4) -> Array:
    """Weight samples by the number of others in the same square cell.

    The weight is one over the number of samples in the cell, averaged over `shifts` x `shifts`
    positions of the cells so that no single origin decides.

    Parameters
    ----------
    coordinates : array_like, shape (n, 2)
        Easting, northing. [m]
    cell_size : float
        Side of the cells; the spacing of the reconnaissance samples is a good choice. [m]
    shifts : int, default 4
        Positions of the cells along each axis.

    Returns
    -------
    ndarray, shape (n,)
        Weights with mean one; zero where a coordinate is missing. [-]

    Raises
    ------
    WrongCall
        If the shape is wrong or the cell size is not positive.

    References
    ----------
    .. [1] Journel 1983, Nonparametric estimation of spatial distributions, Math. Geol. 15:445-468;
       Deutsch & Journel 1998, GSLIB, Oxford University Press (cell declustering).

    Examples
    --------
    >>> cell_weights([[0, 0], [1, 1], [1, 2], [100, 100]], 20.0, shifts=1).round(3).tolist()
    [0.667, 0.667, 0.667, 2.0]
    """
    xy = np.asarray(coordinates, dtype=float)
    if xy.ndim != 2 or xy.shape[1] != 2:
        raise WrongCall(
            f"coordinates must have the shape (n, 2), easting and northing, got {xy.shape}."
        )
    if not (np.isfinite(cell_size) and cell_size > 0):
        raise WrongCall(f"the cell size must be a positive length in metres, got {cell_size!r}.")
    ok = np.isfinite(xy).all(axis=1)
    weights = np.zeros(len(xy))
    if not ok.any():
        return weights
    weights[ok] = _cell_weights(xy[ok], float(cell_size), max(int(shifts), 1))
    return weights


def _cell_weights(xy: Array, cell_size: float, shifts: int) -> Array:
    start = xy.min(axis=0)
    total = np.zeros(len(xy))
    # a quarter step off the corner: grid points never sit on a cell edge
    offsets = (np.arange(shifts) + 0.25) / shifts
    scaled = (xy - start) / cell_size
    for dx in offsets:
        column = np.floor(scaled[:, 0] + dx).astype(np.int64)
        for dy in offsets:
            row = np.floor(scaled[:, 1] + dy).astype(np.int64)
            key = column * (int(row.max()) + 1) + row
            _, place, counts = np.unique(key, return_inverse=True, return_counts=True)
            total += 1.0 / counts[place]
    # summed in sorted order, so that row order does not reach the last digit
    return np.asarray(total * (len(xy) / np.sort(total).sum()))


def reconnaissance_spacing(coordinates: npt.ArrayLike) -> float:
    """Estimate the spacing of the widely spaced samples from coordinates alone.

    It is the median distance to the nearest other place, each place weighted by the square of
    that distance (the ground it stands for), so that infill, however many samples it has, hardly
    counts. Distances above their 95th percentile are cut to it: a lost sample decides nothing.

    Parameters
    ----------
    coordinates : array_like, shape (n, 2)
        Easting, northing. [m]

    Returns
    -------
    float
        Spacing; NaN with fewer than three places. [m]
    """
    from scipy.spatial import cKDTree

    from geochem.stats.robust import weighted_quantile

    xy = np.asarray(coordinates, dtype=float)
    xy = np.unique(xy[np.isfinite(xy).all(axis=1)], axis=0)
    if len(xy) < 3:
        return float("nan")
    nearest = cKDTree(xy).query(xy, k=2)[0][:, 1]
    capped = np.minimum(nearest, np.quantile(nearest, 0.95))
    return float(weighted_quantile(capped, 0.5, capped**2))


def effective_n(weights: npt.ArrayLike) -> float:
    """Give the number of equally weighted values that carry as much information (Kish).

    Parameters
    ----------
    weights : array_like, shape (n,)
        Zero or more.

    Returns
    -------
    float
        ``sum(w)**2 / sum(w**2)``; zero without values.
    """
    w = np.asarray(weights, dtype=float)
    square = float((w**2).sum())
    return float(w.sum()) ** 2 / square if square > 0 else 0.0
