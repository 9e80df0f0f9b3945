"""A filter that lets a coherent halo stand out of continuous background.

What lives here: weights of the neighbours of each place, for halos of several sizes, in the form
of sparse matrices; arrays in, numbers out. What does not: the data, the judgement.

Background is continuous, so a plain mean of neighbours calls every broad swell of barren ground
hot. The weights used here are those that, of all linear ones, tell a bell-shaped halo of a given
size best from background of the given variogram (a matched filter: Turin 1960, IRE Transactions
on Information Theory 6:311-329); the level around the place is taken as known within `drift`.
The filtered value has mean 0 and standard deviation 1 in that background.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.stats.threads import in_threads

if TYPE_CHECKING:
    import numpy.typing as npt
    from scipy.sparse import csr_array

    FloatArray = npt.NDArray[np.float64]

#: sizes of halo that are looked for: standard deviation of the bell, in mean spacings
SCALES = (1.5, 2.2, 3.0)
#: places that take part
NEIGHBOURS = 48
#: a halo narrower than this many spacings cannot be seen, across or along the lines
NARROWEST = 0.6
#: level of the surroundings is known within this many standard deviations of the score
DRIFT = 0.3
#: a nugget below this share is not trusted: it would let one sample decide
LEAST_NUGGET = 0.25


def halo_filter(
    scaled: npt.ArrayLike,
    spacings: tuple[float, float],
    *,
    nugget: float,
    range_m: float,
    count: npt.ArrayLike | None = None,
    scales: tuple[float, ...] = SCALES,
    neighbours: int = NEIGHBOURS,
) -> list[csr_array]:
    """Make the filter of each size; see `halo_filters`, which says how well each sees as well.

    Parameters
    ----------
    scaled : array_like, shape (n, 2)
        Position across and along the lines, in line and station spacings. [-]
    spacings : (float, float)
        Line and station spacing. [m]
    nugget : float
        Share of the variance without continuity, 0-1. [-]
    range_m : float
        Range parameter of the exponential covariance of the rest. [m]
    count : array_like, shape (n,), optional
        Samples averaged at each place; their nugget is that much smaller.
    scales : tuple of float
        Sizes of halo, in mean spacings. [-]
    neighbours : int
        Places that take part in each filtered value.

    Returns
    -------
    list of scipy.sparse.csr_array, shape (n, n)
        One per scale; ``w @ values`` has mean 0 and standard deviation 1 where the values are
        background of variance 1.

    Examples
    --------
    >>> grid = [(i, j) for i in range(8) for j in range(8)]
    >>> w = halo_filter(grid, (200.0, 100.0), nugget=1.0, range_m=100.0)[0]
    >>> round(float((w[[27]] @ w[[27]].T).toarray()[0, 0]), 6)
    1.0
    """
    return halo_filters(
        scaled, spacings, nugget=nugget, range_m=range_m, count=count, scales=scales,
        neighbours=neighbours,
    )[0]  # fmt: skip


def halo_filters(
    scaled: npt.ArrayLike,
    spacings: tuple[float, float],
    *,
    nugget: float,
    range_m: float,
    count: npt.ArrayLike | None = None,
    scales: tuple[float, ...] = SCALES,
    neighbours: int = NEIGHBOURS,
    at: npt.ArrayLike | None = None,
) -> tuple[list[csr_array], FloatArray]:
    """Make the filter of each size, and say how well it sees a halo of that size.

    Parameters
    ----------
    scaled, spacings, nugget, range_m, count, scales, neighbours
        As in `halo_filter`.
    at : array_like, shape (m, 2), optional
        Positions that are asked about; default: those of the values.

    Returns
    -------
    operators : list of scipy.sparse.csr_array, shape (m, n)
        One per scale.
    gain : ndarray, shape (n_scales, m)
        Filtered value that a halo of height 1 and of that size gives at its summit.
    """
    from scipy.sparse import csr_array
    from scipy.spatial import cKDTree

    points = np.asarray(scaled, dtype=float)
    asked = points if at is None else np.asarray(at, dtype=float)
    n, m = len(points), len(asked)
    if n == 0 or m == 0:
        return [csr_array((m, n)) for _ in scales], np.zeros((len(scales), m))
    size = np.asarray(spacings, dtype=float)
    samples = np.ones(n) if count is None else np.asarray(count, dtype=float)
    k = min(neighbours, n)
    index = cKDTree(points).query(asked, k=k)[1].reshape(m, k)
    # neighbours in order of their number: sums then do not depend on ties in distance
    index = np.sort(index, axis=1)
    metres, centre = points * size, asked * size
    mean = float(np.sqrt(size.prod()))
    width = np.array([np.maximum(s * mean, NARROWEST * size) for s in scales])
    weights, gain = np.empty((len(scales), m, k)), np.empty((len(scales), m))
    step = max(1, 100_000 // (k * k))  # systems that fit into the cache together

    def fill(first: int) -> None:
        rows = slice(first, min(first + step, m))
        weights[:, rows], gain[:, rows] = _block(
            metres[index[rows]], centre[rows], samples[index[rows]], width, nugget, range_m
        )

    in_threads(fill, range(0, m, step))
    start = np.arange(0, m * k + 1, k)
    return [
        csr_array((weights[s].ravel(), index.ravel(), start), shape=(m, n))
        for s in range(len(scales))
    ], gain


def _block(
    around: FloatArray,
    centre: FloatArray,
    samples: FloatArray,
    width: FloatArray,
    nugget: float,
    range_m: float,
) -> tuple[FloatArray, FloatArray]:
    k = around.shape[1]
    # one matrix is worked on in place: it holds squares, distances, covariances, the system
    design = np.square(around[:, :, None, 0] - around[:, None, :, 0])
    other = around[:, :, None, 1] - around[:, None, :, 1]
    design += np.square(other, out=other)
    np.sqrt(design, out=design)
    design /= -range_m
    np.exp(design, out=design)
    trusted = max(nugget, LEAST_NUGGET)
    design *= 1.0 - trusted
    design += DRIFT**2
    own = np.arange(k)
    design[:, own, own] += trusted / samples
    offset = around - centre[:, None, :]
    halo = np.stack([np.exp(-0.5 * ((offset / w) ** 2).sum(axis=-1)) for w in width], axis=-1)
    weight = np.linalg.solve(design, halo)
    # w'Dw is w'h, so the variance in the true background needs no second matrix
    alone = (weight**2 / samples[:, :, None]).sum(axis=1)
    seen = (weight * halo).sum(axis=1)
    continuous = seen - DRIFT**2 * weight.sum(axis=1) ** 2 - trusted * alone
    share = (1.0 - nugget) / (1.0 - trusted) if nugget < trusted else 1.0
    deviation = np.sqrt(share * continuous + nugget * alone)
    return np.moveaxis(weight / deviation[:, None, :], -1, 0), (seen / deviation).T
