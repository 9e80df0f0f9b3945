"""Pack arrays into short text: typed arrays in base64, flags as bits, values in four digits.

The page decodes an array once, when it is first shown (``assets/decode.js`` is the twin).
"""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

#: code of a missing value in a four-digit array
MISSING = 65535
#: decades that a four-digit array can span
DECADES = 7
_TYPES = {"u1": "u8", "i2": "i16", "u2": "u16", "i4": "i32", "u4": "u32", "f4": "f32"}


def pack(array: npt.NDArray[Any]) -> dict[str, str]:
    """Pack a numeric array, little-endian.

    Parameters
    ----------
    array : ndarray, shape (n,)
        Of type uint8, int16, uint16, int32, uint32 or float32.

    Returns
    -------
    dict
        ``{"t": type, "b": base64 text}``.

    Examples
    --------
    >>> pack(np.array([1, 2], dtype=np.uint16))
    {'t': 'u16', 'b': 'AQACAA=='}
    """
    kind = _TYPES[array.dtype.str[1:]]
    raw = np.ascontiguousarray(array).astype(array.dtype.newbyteorder("<"), copy=False).tobytes()
    return {"t": kind, "b": base64.b64encode(raw).decode("ascii")}


def pack_flags(flags: npt.NDArray[np.bool_]) -> dict[str, str] | None:
    """Pack flags as bits, first flag in the lowest bit; None when no flag is set.

    Parameters
    ----------
    flags : ndarray of bool, shape (n,)
        One per sample.

    Returns
    -------
    dict or None
        As `pack`, of type ``bits``.
    """
    if not flags.any():
        return None
    raw = np.packbits(flags, bitorder="little").tobytes()
    return {"t": "bits", "b": base64.b64encode(raw).decode("ascii")}


def pack_values(values: npt.NDArray[np.float64]) -> dict[str, Any]:
    """Pack positive values with exactly four significant decimal digits in two bytes each.

    A code is ``9000 * decade + (digits - 1000)`` with digits 1000 ... 9999; the value is
    ``digits * 10 ** (base + decade)``. Values that are zero or negative, or that span more than
    seven decades, are packed as 4-byte floats instead.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Concentrations; NaN where missing.

    Returns
    -------
    dict
        As `pack`, with ``base`` when in four digits (type ``d16``).

    Examples
    --------
    >>> pack_values(np.array([12.34, 5600.0]))["base"]
    -2
    """
    known = np.isfinite(values)
    if not known.any():
        return {**pack(np.full(len(values), MISSING, dtype=np.uint16)), "t": "d16", "base": 0}
    if values[known].min() <= 0:
        return dict(pack(np.where(known, values, np.nan).astype(np.float32)))
    exponent, digits = _four_digits(values[known])
    base = int(exponent.min())
    if int(exponent.max()) - base >= DECADES:
        return dict(pack(np.where(known, values, np.nan).astype(np.float32)))
    codes = np.full(len(values), MISSING, dtype=np.uint16)
    codes[known] = (exponent - base) * 9000 + (digits - 1000)
    return {**pack(codes), "t": "d16", "base": base}


def pack_hundredths(values: npt.NDArray[np.float64]) -> dict[str, str]:
    """Pack scores to two decimals in two bytes each, between -320 and 320; NaN stays missing.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Standardised scores.

    Returns
    -------
    dict
        As `pack`, of type ``c16``.
    """
    codes = np.full(len(values), -32768, dtype=np.int16)
    known = np.isfinite(values)
    codes[known] = np.rint(np.clip(values[known], -320, 320) * 100)
    return {**pack(codes), "t": "c16"}


def pack_codes(codes: npt.NDArray[np.integer[Any]], n_names: int) -> dict[str, str]:
    """Pack numbers of categories in as few bytes as their count allows.

    Parameters
    ----------
    codes : ndarray of int, shape (n,)
        Numbers from 0.
    n_names : int
        How many categories there are.

    Returns
    -------
    dict
        As `pack`.
    """
    kind = np.uint8 if n_names <= 256 else np.uint16 if n_names <= 65536 else np.uint32
    return pack(codes.astype(kind))


def _four_digits(
    values: npt.NDArray[np.float64],
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    exponent = np.floor(np.log10(values)).astype(np.int64) - 3
    # dividing by an exact power of ten rounds once; multiplying by 10 ** -3 would round twice
    scale = 10.0 ** np.abs(exponent)
    digits = np.rint(np.where(exponent < 0, values * scale, values / scale)).astype(np.int64)
    low, high = digits < 1000, digits > 9999  # log10 off by one unit in the last place
    exponent = exponent - low + high
    scale = 10.0 ** np.abs(exponent)
    digits = np.rint(np.where(exponent < 0, values * scale, values / scale)).astype(np.int64)
    return exponent, np.clip(digits, 1000, 9999)
