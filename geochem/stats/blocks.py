"""Square blocks of neighbouring samples: what lies close together is not independent.

An interval that takes neighbours as independent is too narrow. Samples are gathered in square
blocks; blocks, not samples, are then drawn anew (`draw_blocks`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Whole = npt.NDArray[np.int64]


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
