"""Exact medians and MADs of millions of values: of one array, of columns, of columns by group.

A median needs no sorting: a small sample brackets it, values outside the bracket are only counted,
and those inside, a few in a hundred, are divided exactly. Tables are turned into contiguous
columns in tiles that stay in the cache.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

#: makes the MAD estimate the standard deviation of a normal population: 1 / Phi^-1(3/4)
MAD_SCALE = 1.4826
#: from so many values on the median is sought in a bracket
_MANY = 20_000
#: half width of the bracket, in standard errors of the sample's median
_REACH = 4.0
#: rows turned into columns at a time: with thirty columns they fill a quarter of a usual cache
_TILE = 1024
#: columns are copied together up to this size, and never fewer than a line of memory holds [bytes]
_COPIED, _LEAST_TOGETHER = 2**28, 8


def median_mad_columns(values: npt.ArrayLike) -> tuple[Array, Array]:
    """Give median and scaled MAD of every column of a table, quickly.

    Parameters
    ----------
    values : array_like, shape (n, m)
        Missing values are left out column by column.

    Returns
    -------
    median, mad : ndarray, shape (m,)
        NaN for a column without values.

    Raises
    ------
    WrongCall
        If it is no table.

    Examples
    --------
    >>> middle, spread = median_mad_columns([[1, 5], [2, 5], [4, 8]])
    >>> middle.tolist(), spread.round(4).tolist()
    ([2.0, 5.0], [1.4826, 0.0])
    """
    middle, spread = median_mad_groups(values, None, 1)
    return middle[0], spread[0]


def median_mad_groups(
    values: npt.ArrayLike, groups: npt.ArrayLike | None, n_groups: int
) -> tuple[Array, Array]:
    """Give median and scaled MAD of every column in every group, quickly.

    Parameters
    ----------
    values : array_like, shape (n, m)
        Missing values are left out.
    groups : array_like of int, shape (n,), or None
        Group number of every row, 0 to `n_groups` - 1; others are left out. None: all rows are
        one group.
    n_groups : int
        How many groups.

    Returns
    -------
    median, mad : ndarray, shape (n_groups, m)
        NaN where a group has no value.

    Raises
    ------
    WrongCall
        If it is no table, or the number of groups does not fit.
    """
    x = np.asarray(values, dtype=float)
    if x.ndim != 2:
        raise WrongCall(f"a table (n, m) is needed, got an array of {x.ndim} dimension(s).")
    order: npt.NDArray[np.intp] | None = None
    edges = np.array([0, len(x)])
    if groups is not None:
        g = np.asarray(groups)
        if g.shape != (len(x),):
            raise WrongCall(f"{len(x)} rows came with {g.shape} groups; give one per row.")
        # small whole numbers are sorted digit by digit
        small = g.astype(np.int16) if n_groups < 2**15 and _within(g, 2**15) else g
        order = np.argsort(small, kind="stable")
        edges = np.searchsorted(small, np.arange(n_groups + 1), sorter=order)
    middle = np.full((n_groups, x.shape[1]), np.nan)
    spread = np.full((n_groups, x.shape[1]), np.nan)
    together = max(_COPIED // (8 * max(len(x), 1)), _LEAST_TOGETHER)
    for start in range(0, x.shape[1], together):
        for j, column in enumerate(_columns(x[:, start : start + together], order), start):
            middle[:, j], spread[:, j] = median_mad_runs(column, edges)
    return middle, spread


def median_mad_runs(values: Array, edges: npt.NDArray[np.integer]) -> tuple[Array, Array]:
    """Give median and scaled MAD of runs of one array, each a group; the array is used up.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Sorted by group; missing values are left out. Its contents are overwritten.
    edges : ndarray of int, shape (n_groups + 1,)
        Where each group begins, and where the last ends.

    Returns
    -------
    median, mad : ndarray, shape (n_groups,)
        NaN where a group has no value.
    """
    middle = np.full(len(edges) - 1, np.nan)
    spread = middle.copy()
    for k in range(len(middle)):
        part = _without_missing(values[edges[k] : edges[k + 1]])
        if part.size:
            middle[k], spread[k] = _median_mad(part)
    return middle, spread


def row_medians(values: Array) -> Array:
    """Give the median of every row; the contents are used up.

    Parameters
    ----------
    values : ndarray, shape (n, k)
        Finite. Overwritten.

    Returns
    -------
    ndarray, shape (n,)
        Exact.
    """
    half = values.shape[1] // 2
    values.partition(half, axis=1)
    if values.shape[1] % 2:
        return values[:, half].copy()
    return np.asarray((values[:, :half].max(axis=1) + values[:, half]) / 2)


def exact_median(values: Array) -> float:
    """Give the median of finite values without changing them.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Without missing values.

    Returns
    -------
    float
        NaN when there is none.
    """
    if not values.size:
        return float("nan")
    found = _in_bracket(values, _sample(values)) if values.size >= _MANY else None
    return _divided(values.copy()) if found is None else found


def _within(g: npt.NDArray[np.generic], bound: int) -> bool:
    return bool(g.size == 0 or (g.min() >= -bound and g.max() < bound))


def _columns(x: Array, order: npt.NDArray[np.intp] | None) -> Array:
    """Copy a table column by column, its rows in the order given."""
    out = np.empty((x.shape[1], len(x)))
    for a in range(0, len(x), _TILE):
        tile = x[a : a + _TILE] if order is None else x[order[a : a + _TILE]]
        out[:, a : a + _TILE] = tile.T
    return out


def _without_missing(x: Array) -> Array:
    """Leave out NaN; a minimum tells soonest whether there is any."""
    return x[~np.isnan(x)] if x.size and np.isnan(x.min()) else x


def _median_mad(x: Array) -> tuple[float, float]:
    """Median and scaled MAD; the contents of `x` are used up."""
    sample = _sample(x) if x.size >= _MANY else None
    middle = _middle(x, sample)
    np.subtract(x, middle, out=x)
    np.abs(x, out=x)
    if sample is not None:
        sample = np.sort(np.abs(sample - middle))
    return middle, MAD_SCALE * _middle(x, sample)


def _middle(x: Array, sample: Array | None) -> float:
    found = None if sample is None else _in_bracket(x, sample)
    return _divided(x) if found is None else found


def _sample(x: Array) -> Array:
    """Sorted values of evenly spaced places: the more values, the larger and the narrower."""
    size = 4096 if x.size < 500_000 else 8192
    return np.sort(x[:: max(x.size // size, 1)])


def _in_bracket(x: Array, sample: Array) -> float | None:
    """Give the median if the bracket of a sorted sample holds it and is not most of the values."""
    half, centre = x.size // 2, sample.size // 2
    reach = int(_REACH / 2 * np.sqrt(sample.size)) + 1
    low, high = sample[centre - reach], sample[centre + reach]
    inside = x >= low
    place = half - (x.size - int(np.count_nonzero(inside)))
    inside &= x <= high
    n_inside = int(np.count_nonzero(inside))
    if not 1 <= place < n_inside:
        return None
    if low == high:  # many equal values: the median is theirs
        return float(low)
    return _at(np.compress(inside, x), place, even=x.size % 2 == 0)


def _divided(x: Array) -> float:
    """Median by dividing all values; their order is lost."""
    return _at(x, x.size // 2, even=x.size % 2 == 0)


def _at(x: Array, place: int, *, even: bool) -> float:
    """Value of a place in the order, of an even number the mean with the one before."""
    # dividing at one place and looking for the largest below is quicker than dividing at two
    x.partition(place)
    return float((x[:place].max() + x[place]) / 2) if even else float(x[place])
