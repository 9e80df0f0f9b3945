"""The text layer's nouns: a column of text cells, and a table of them with true row numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from geochem.model.finding import Finding
from geochem.model.reading import Dialect
from geochem.read.cells import Places

Plain = tuple[npt.NDArray[np.float64], npt.NDArray[np.uint8]]

_PLAIN_START, _PLAIN_END = frozenset("0123456789<>."), frozenset("0123456789")
#: what our own writers protect with a leading apostrophe, so that no spreadsheet runs a cell
_PROTECTED = ("'=", "'+", "'-", "'@", "'\t")


def clean_cell(text: str) -> str:
    """Take the white space around a cell and a protecting apostrophe away.

    Parameters
    ----------
    text : str
        A cell as delivered.

    Returns
    -------
    str
        Its text.

    Examples
    --------
    >>> clean_cell(" '-5 "), clean_cell("'quoted'")
    ('-5', "'quoted'")
    """
    text = text.strip(" \r\n\xa0\ufeff\u2007\u2009\u202f")
    if text.startswith(_PROTECTED):
        return text[1:].strip()
    return text.strip()


class TextColumn:
    """Text cells of one column, held as text or as places in the bytes of the file.

    A large regular file is kept as bytes: a number then never becomes a Python string unless
    somebody asks for its text.

    Parameters
    ----------
    texts : array_like of str, shape (n_rows,), optional
        Cleaned cells.
    data : ndarray of uint8, optional
        UTF-8 bytes of the file.
    starts, ends : ndarray of int, shape (n_rows,), optional
        Where each cell begins and ends in `data`.
    places : Places, optional
        Instead of these three: the cells of the whole table.
    index : int, default 0
        Of this column in `places`.
    plain : tuple of ndarray, optional
        Numbers and marks of the cells (as `digits.read_digits` gives them), where they were read
        with the file; given away once by `take_plain`.
    """

    __slots__ = ("_data", "_ends", "_index", "_places", "_plain", "_starts", "_texts")

    def __init__(
        self,
        texts: Sequence[str] | npt.NDArray[Any] | None = None,
        *,
        data: npt.NDArray[np.uint8] | None = None,
        starts: npt.NDArray[Any] | None = None,
        ends: npt.NDArray[Any] | None = None,
        places: Places | None = None,
        index: int = 0,
        plain: Plain | None = None,
    ) -> None:
        self._data, self._starts, self._ends = data, starts, ends
        self._places, self._index, self._plain = places, index, plain
        self._texts: npt.NDArray[np.object_] | None = None
        if texts is not None:
            self._texts = np.empty(len(texts), dtype=object)
            self._texts[:] = texts

    def __len__(self) -> int:
        if self._places is not None:
            return self._places.n_rows
        if self._ends is not None:
            return len(self._ends)
        assert self._texts is not None
        return len(self._texts)

    @property
    def in_bytes(self) -> bool:
        """Whether the cells are places in the bytes of a file."""
        return self._data is not None or self._places is not None

    def cut(
        self, rows: npt.NDArray[Any] | None = None
    ) -> tuple[npt.NDArray[np.uint8], npt.NDArray[Any], npt.NDArray[Any]]:
        """Give the bytes and where the cells of some rows (None for all) begin and end."""
        if self._places is not None:
            return (self._places.data, *self._places.bounds(self._index, rows))
        assert self._data is not None
        assert self._starts is not None
        assert self._ends is not None
        if rows is None:
            return self._data, self._starts, self._ends
        return self._data, self._starts[rows], self._ends[rows]

    def take_plain(self) -> Plain | None:
        """Give numbers and marks that were read with the file, once: they may be changed."""
        plain, self._plain = self._plain, None
        return plain

    def texts(self) -> npt.NDArray[np.object_]:
        """Give the cells as an object array of str, made once; equal cells share one object."""
        if self._texts is None:
            self._texts = self.some(None)
        return self._texts

    def some(self, rows: npt.NDArray[Any] | None) -> npt.NDArray[np.object_]:
        """Give the cells of some rows (indices or mask; None for all) without keeping them."""
        if self._texts is not None:
            return self._texts if rows is None else self._texts[rows]
        return _decode(*self.cut(rows))

    def take(self, rows: npt.NDArray[Any]) -> TextColumn:
        """Give a column of some rows (indices or mask)."""
        if self._texts is not None:
            return TextColumn(self._texts[rows])
        data, starts, ends = self.cut(rows)
        return TextColumn(data=data, starts=starts, ends=ends)


def _decode(
    data: npt.NDArray[np.uint8], starts: npt.NDArray[Any], ends: npt.NDArray[Any]
) -> npt.NDArray[np.object_]:
    """Cut cells out of UTF-8 bytes, unquote and clean them; each distinct cell is made once."""
    import pandas as pd

    n = len(starts)
    out = np.empty(n, dtype=object)
    if not n:
        return out
    starts = starts.astype(np.int64)
    lengths = ends.astype(np.int64) - starts
    # numbers and marks are short: cut them side by side as fixed-width bytes, eight at a time as
    # one integer, so that equal cells are found without making a string of each
    short = lengths <= 8
    if short.any():
        begin, size = starts[short], lengths[short]
        word = np.zeros(len(begin), dtype=np.uint64)
        last = len(data) - 1
        for k in range(int(size.max()) if len(size) else 0):
            live = k < size
            byte = data[np.minimum(begin + k, last)].astype(np.uint64)
            word |= np.where(live, byte, np.uint64(0)) << np.uint64(8 * k)
        codes, distinct = pd.factorize(word)
        made = np.empty(len(distinct), dtype=object)
        made[:] = [_cell(int(w).to_bytes(8, "little").rstrip(b"\0")) for w in distinct.tolist()]
        out[short] = made[codes]
    rest = np.flatnonzero(~short)
    if len(rest):
        seen: dict[bytes, str] = {}
        view = data.data
        cells: list[str] = []
        for a, b in zip(starts[rest].tolist(), (starts + lengths)[rest].tolist(), strict=True):
            piece = bytes(view[a:b])
            text = seen.get(piece)
            if text is None:
                text = seen[piece] = _cell(piece)
            cells.append(text)
        out[rest] = cells
    return out


def _cell(piece: bytes) -> str:
    text = piece.decode("utf-8")
    if text[:1] in _PLAIN_START and text[-1:] in _PLAIN_END:
        return text  # nearly all cells: nothing to take away
    if len(text) > 1 and text[0] == '"' and text[-1] == '"':
        text = text[1:-1].replace('""', '"')
    return clean_cell(text)


@dataclass(frozen=True, slots=True, eq=False)
class TextTable:
    """A table as text: names, columns, and the row of each record as a spreadsheet shows it.

    Parameters
    ----------
    path : Path
        The file.
    names : tuple of str
        Headers as delivered (of the row that names the columns); an empty one stays empty.
    columns : tuple of TextColumn
        One per name, all of the same length.
    rows : ndarray of int, shape (n_rows,)
        Row numbers, the first row of the file being 1.
    dialect : Dialect
        How the file was understood.
    above, under : tuple of tuple of str
        Further header rows above and under the names: units, methods, limits.
    under_rows : tuple of int
        Row numbers of `under`.
    preamble : tuple of str
        Lines before the header, as text.
    findings : tuple of Finding
        What was noticed.
    """

    path: Path
    names: tuple[str, ...]
    columns: tuple[TextColumn, ...]
    rows: npt.NDArray[np.int64]
    dialect: Dialect
    above: tuple[tuple[str, ...], ...] = ()
    under: tuple[tuple[str, ...], ...] = ()
    under_rows: tuple[int, ...] = ()
    preamble: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = field(default=())

    @property
    def file(self) -> str:
        """Name of the file, for findings."""
        return self.path.name

    def __len__(self) -> int:
        return len(self.rows)
