"""Where every cell of a regular text table lies in the bytes of its file.

Held as the start of each row and the distance of each separator from it: a row of fewer than 256
bytes then takes one byte per cell, where a place in the file would take four.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

_QUOTE, _NEWLINE = 34, 10
_BLOCK = 1 << 22


class Places:
    """The cells of a table in its bytes; found when first asked for.

    Parameters
    ----------
    data : ndarray of uint8
        The body, whole rows, ending in a line feed.
    separator : int
        Byte that parts the cells.
    width : int
        Cells per row.
    quoted : bool
        Whether there are quotation marks, all closed within their row.
    n_rows : int
        Rows; -1 when they are yet to be counted.
    """

    __slots__ = ("_gaps", "_rows", "data", "n_rows", "quoted", "separator", "width")

    def __init__(
        self,
        data: npt.NDArray[np.uint8],
        separator: int,
        width: int,
        *,
        quoted: bool = False,
        n_rows: int = -1,
    ) -> None:
        self.data, self.separator, self.width, self.quoted = data, separator, width, quoted
        self.n_rows = n_rows
        self._rows: npt.NDArray[Any] | None = None
        self._gaps: npt.NDArray[Any] | None = None

    def find(self) -> bool:
        """Find all cells; say whether every row is regular (otherwise nothing is kept)."""
        if self._gaps is not None:
            return True
        count = _count(self.data)
        rows = np.empty(count, dtype=np.uint32 if len(self.data) < 2**32 else np.int64)
        gaps: npt.NDArray[Any] = np.empty((count, self.width), dtype=np.uint8)
        n = a = 0
        while a < len(self.data):
            b = _row_end(self.data, a)
            block = self.data[a:b]
            hit = (block == self.separator) | (block == _NEWLINE)
            if self.quoted:
                parity = np.bitwise_xor.accumulate((block == _QUOTE).view(np.uint8))
                hit &= parity == 0
            found = np.flatnonzero(hit)
            if len(found) % self.width:
                return False
            found = found.reshape(-1, self.width)  # type: ignore[assignment]
            m = len(found)
            if n + m > count or (block[found[:, -1]] != _NEWLINE).any():
                return False
            if int(np.count_nonzero(block == _NEWLINE)) != m:
                return False
            first = np.empty(m, dtype=np.int64)
            first[:1] = 0
            first[1:] = found[:-1, -1] + 1
            found -= first[:, None]
            # a row of separators only (or a blank one) is no record; leave it to the careful way
            if (found[:, -1] == self.width - 1).any():
                return False
            needed = np.min_scalar_type(int(found[:, -1].max()) if m else 0)
            if needed.itemsize > gaps.itemsize:
                gaps = gaps.astype(needed)
            gaps[n : n + m] = found
            rows[n : n + m] = first + a
            n, a = n + m, b
        if n != count:
            return False
        self.n_rows, self._rows, self._gaps = n, rows, gaps
        return True

    def bounds(
        self, column: int, rows: npt.NDArray[Any] | None = None
    ) -> tuple[npt.NDArray[Any], npt.NDArray[Any]]:
        """Give where the cells of a column begin and end, for some rows or all."""
        if not self.find():
            raise RuntimeError("the rows of the table are not regular")
        assert self._rows is not None
        assert self._gaps is not None
        begin = self._rows if rows is None else self._rows[rows]
        gap = self._gaps[:, column] if rows is None else self._gaps[rows, column]
        if column == 0:
            return begin, begin + gap
        before = self._gaps[:, column - 1] if rows is None else self._gaps[rows, column - 1]
        return begin + before + begin.dtype.type(1), begin + gap


def _count(data: npt.NDArray[np.uint8]) -> int:
    return sum(
        int(np.count_nonzero(data[a : a + _BLOCK] == _NEWLINE))
        for a in range(0, len(data), _BLOCK)
    )


def _row_end(data: npt.NDArray[np.uint8], a: int) -> int:
    """Give the end of the last whole row of the block that begins at `a`."""
    b = min(a + _BLOCK, len(data))
    while b < len(data) or data[b - 1] != _NEWLINE:
        back = np.flatnonzero(data[max(a, b - 65536) : b] == _NEWLINE)
        if len(back):
            return max(a, b - 65536) + int(back[-1]) + 1
        if b == len(data):
            return b
        b = min(b + _BLOCK, len(data))  # one row longer than the block
        if b == len(data):
            return b
    return b
