"""Square blocks of neighbouring samples: what lies close together is not independent.

An interval that takes neighbours as independent is too narrow. Samples are gathered in square
blocks; blocks, not samples, are then drawn anew (`draw_blocks`) or summed (`inflation`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Whole = npt.NDArray[np.int64]

#: fewer blocks than this say little about how far blocks differ
FEW_BLOCKS = 10


def block_numbers(coordinates: npt.ArrayLike, *, wide: float = 1.0) -> Whole:
    """Gather samples in square blocks of about the root of their number.

    With n samples in the plane, blocks as wide as n**(1/4) samples shrink bias and variance of
    the bootstrap at the same pace; there are then about n**(1/2) of them.

    Parameters
    ----------
    coordinates : array_like, shape (n, 2)
        Easting, northing. [m]
    wide : float, default 1
        Blocks so many times as wide. [-]

    Returns
    -------
    ndarray of int, shape (n,)
        Number of the block; a sample without position is a block of its own.

    Raises
    ------
    WrongCall
        If the shape is wrong.

    References
    ----------
    .. [1] Lahiri 2003, Resampling Methods for Dependent Data, Springer, chapters 7 and 12 (spatial
       blocks, order of their size).

    Examples
    --------
    >>> x, y = np.meshgrid(np.arange(16.0), np.arange(16.0))
    >>> numbers = block_numbers(np.column_stack([x.ravel(), y.ravel()]))
    >>> np.unique(numbers, return_counts=True)[1].tolist() == [16] * 16
    True
    """
    xy = np.asarray(coordinates, dtype=float)
    if xy.ndim != 2 or xy.shape[1] != 2:
        raise WrongCall(
            f"coordinates must have the shape (n, 2), easting and northing; got {xy.shape}."
        )
    n = len(xy)
    out = np.arange(n, dtype=np.int64)
    located = np.isfinite(xy).all(axis=1)
    m = int(located.sum())
    if m < 4:
        return out
    place = xy[located] - xy[located].min(axis=0)
    east, north = place.max(axis=0)
    # the outermost samples stand for half a spacing beyond themselves
    ground = max(east * north, 1e-12 * max(east, north) ** 2)
    if ground > 0:
        spacing = float(np.sqrt(ground)) / m**0.5
        side = spacing * m**0.25 * wide
        east, north = east + spacing, north + spacing
        columns, rows = (max(round(length / side), 1) for length in (east, north))
        column = np.minimum((place[:, 0] * (columns / east)).astype(int), columns - 1)
        row = np.minimum((place[:, 1] * (rows / north)).astype(int), rows - 1)
        out[located] = n + column * rows + row
    else:  # all at one place
        out[located] = n
    return np.asarray(np.unique(out, return_inverse=True)[1], dtype=np.int64)


def inflation(influence: Array, blocks: Whole | None, weights: Array | None = None) -> float:
    """Say how much wider an interval is because neighbours are alike.

    Parameters
    ----------
    influence : ndarray, shape (n,)
        What each value adds to the estimate, up to a factor; it is centred here.
    blocks : ndarray of int, shape (n,) or (n, m), optional
        From `block_numbers`; of several divisions the one that widens most counts. None means
        that nothing is known.
    weights : ndarray, shape (n,), optional
        Of the values.

    Returns
    -------
    float
        Root of the variance of sums over blocks by that of independent values, times the ratio of
        Student's to the normal 95 % quantile for so many blocks; at least one. [-]

    References
    ----------
    .. [1] Kish 1965, Survey Sampling, Wiley (design effect of clusters).
    """
    if blocks is None or influence.size < 4:
        return 1.0
    w = np.ones(influence.size) if weights is None else weights
    d = w * (influence - float(np.average(influence, weights=w)))
    alone = float(np.sort(d * d).sum())
    factor = 1.0
    for division in blocks.reshape(len(blocks), -1).T:
        sums = np.bincount(division, weights=d)
        used = int(np.count_nonzero(np.bincount(division)))
        if alone > 0 and used >= 3:
            together = float(np.sort(sums * sums).sum()) * used / (used - 1)
            factor = max(factor, _student(used - 1) * float(np.sqrt(together / alone)))
    # the last digits depend on the order of rows: they are cut
    return round(factor, 9)


def _student(freedom: int) -> float:
    """Ratio of Student's 95 % quantile to the normal one (Cornish and Fisher's first terms)."""
    z = 1.6448536
    return 1 + (z * z + 1) / (4 * freedom) + (5 * z**4 + 16 * z * z + 3) / (96 * freedom**2)


def draw_blocks(blocks: Whole, draws: int, seed: int) -> list[npt.NDArray[np.intp]]:
    """Draw bootstrap samples: as many blocks as there are, with replacement.

    Parameters
    ----------
    blocks : ndarray of int, shape (n,)
        Block of every sample.
    draws : int
        How many samples of samples.
    seed : int
        Same seed, same draws.

    Returns
    -------
    list of ndarray of int
        Row numbers of each draw; their number varies with the size of the blocks.
    """
    rng = np.random.default_rng(seed)
    order = np.argsort(blocks, kind="stable")
    numbers, first = np.unique(blocks[order], return_index=True)
    parts = np.split(order, first[1:])
    out = []
    for _draw in range(draws):
        taken = rng.integers(0, numbers.size, numbers.size)
        out.append(np.concatenate([parts[i] for i in taken]))
    return out
