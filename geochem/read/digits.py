"""Plain decimal numbers straight from the bytes of a file, many rows at a time.

A cell of at most fifteen digits with at most one point is an integer below 2**53 divided by a
power of ten up to 10**22; both are exact in double precision, so that one division gives the
correctly rounded number (Clinger 1990, How to read floating point numbers accurately, PLDI,
doi:10.1145/93542.93557). Everything else is left to the text parser.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

#: marks: 0 empty, 1 number, 2 below (``<5``), 3 above (``>5``), 255 something else
_ELSE = 255
_BLOCK = 1 << 15
_POWERS = 10.0 ** np.arange(23)
_LONGEST = 17


def read_digits(
    data: npt.NDArray[np.uint8], starts: npt.NDArray[Any], ends: npt.NDArray[Any]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.uint8]]:
    """Read plain numbers and plain limits; mark all other cells.

    Parameters
    ----------
    data : ndarray of uint8
        Bytes of the file.
    starts, ends : ndarray of int, shape (n_rows,)
        Where each cell begins and ends.

    Returns
    -------
    number : ndarray, shape (n_rows,)
        The number, NaN where there is none.
    mark : ndarray of uint8, shape (n_rows,)
        0 empty, 1 number, 2 below, 3 above, 255 something else.

    Examples
    --------
    >>> data = np.frombuffer(b"1.5,<20,x,", dtype=np.uint8)
    >>> read_digits(data, np.array([0, 4, 8]), np.array([3, 7, 9]))
    (array([ 1.5, 20. ,  nan]), array([  1,   2, 255], dtype=uint8))
    """
    n = len(starts)
    number = np.full(n, np.nan)
    mark = np.full(n, _ELSE, dtype=np.uint8)
    if not len(data):
        mark[:] = 0
        return number, mark
    for a in range(0, n, _BLOCK):
        b = min(a + _BLOCK, n)
        _read_block(
            data,
            starts[a:b].astype(np.int64),
            ends[a:b].astype(np.int64),
            number[a:b],
            mark[a:b],
        )
    return number, mark


def _read_block(
    data: npt.NDArray[np.uint8],
    start: npt.NDArray[np.int64],
    end: npt.NDArray[np.int64],
    number: npt.NDArray[np.float64],
    mark: npt.NDArray[np.uint8],
) -> None:
    last = len(data) - 1
    low, high = int(start.min()), int(end.max())
    window = data[low : high + 1]  # stays in the cache
    last = len(window) - 1
    start = start - low
    length = (end - low - start).astype(np.int32)
    empty = length == 0
    first = window[np.minimum(start, last)]
    sign = np.ones(len(start), dtype=np.uint8)
    sign[first == 60] = 2
    sign[first == 62] = 3
    signed = (sign > 1) & ~empty
    start = start + signed
    length = length - signed
    good = (length > 0) & (length <= _LONGEST)
    longest = int(length[good].max()) if good.any() else 0
    mantissa = np.zeros(len(start), dtype=np.int64)
    points = np.zeros(len(start), dtype=np.int8)
    decimals = np.zeros(len(start), dtype=np.int8)
    digits = np.zeros(len(start), dtype=np.int8)
    for k in range(longest):
        live = k < length
        char = window[np.minimum(start + k, last)]
        digit = char - np.uint8(48)  # wraps round for what lies before "0"
        is_digit = (digit < 10) & live
        is_point = (char == 46) & live
        good &= is_digit | is_point | ~live
        mantissa = np.where(is_digit, mantissa * 10 + digit, mantissa)
        points += is_point
        decimals += is_digit & (points > 0)
        digits += is_digit
    good &= (points <= 1) & (digits > 0) & (digits <= 15)
    number[good] = mantissa[good] / _POWERS[decimals[good]]
    mark[good] = sign[good]
    mark[empty] = 0
