"""Columns of plain numbers and limits, block by block, by Arrow's reader where it is installed.

The same numbers as `digits` and `numerals` give: both round correctly. A ``<`` at the beginning of
a cell becomes a minus sign for the time of reading, and the sign of the number then is the mark;
this holds as long as no cell of the column begins with a minus sign itself, which is looked for.
A column in which any cell is more than a plain number, a limit or empty is left to the other way,
and so is a table whose rows are not regular.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from geochem.optional import available

#: smaller bodies are read as fast without [bytes]
LEAST = 4 << 20
BLOCK = 4 << 20
#: so many columns may turn out not to be plain before the whole table is left to the other way
MOST_ODD = 40
_PLAIN = re.compile(rb"<?(?:\d+\.?\d*|\.\d+)?")
_AT = re.compile(r"column #(\d+)")
_MINUS = bytes.maketrans(b"<", b"-")
_NEWLINE, _DASH = 10, 45


@dataclass(slots=True, eq=False)
class BlockNumbers:
    """Numbers and marks (as `digits` gives them) of plain columns, by index of the column."""

    n_rows: int
    columns: dict[int, tuple[npt.NDArray[np.float64], npt.NDArray[np.uint8]]]


def read_blocks(
    data: bytes, start: int, stop: int, separator: str, width: int
) -> BlockNumbers | None:
    """Read the plain columns of a regular body without quotation marks.

    Parameters
    ----------
    data : bytes
        UTF-8 with line feeds.
    start, stop : int
        The body: whole rows, ending in a line feed; no quotation mark, no NUL.
    separator : str
        One ASCII character.
    width : int
        Cells per row.

    Returns
    -------
    BlockNumbers or None
        None where it cannot be used: no Arrow, a small or irregular body, no plain column.
    """
    if stop - start < LEAST or width < 2 or not available("pyarrow"):
        return None
    import pyarrow as pa
    from pyarrow import csv

    sep = separator.encode()
    live = _plain_columns(data[start : min(stop, start + (1 << 16))], sep, width)
    n_rows = data.count(b"\n", start, stop)
    names = [str(j) for j in range(width)]
    number = {j: np.empty(n_rows) for j in live}
    mark = {j: np.empty(n_rows, dtype=np.uint8) for j in live}
    parsing = csv.ParseOptions(
        delimiter=separator, quote_char=False, escape_char=False, ignore_empty_lines=False,
        newlines_in_values=False,
    )  # fmt: skip
    row, a, odd = 0, start, 0
    while a < stop:
        b = _row_end(data, a, stop)
        block = data[a:b]
        live -= _negative(block, sep, width)
        block = block.translate(_MINUS)
        table = None
        while live and table is None:
            wanted = [names[j] for j in sorted(live)]
            try:
                table = csv.read_csv(
                    pa.py_buffer(block),
                    csv.ReadOptions(
                        use_threads=False, block_size=len(block) + 1, column_names=names
                    ),
                    parsing,
                    csv.ConvertOptions(
                        check_utf8=False, column_types=dict.fromkeys(wanted, pa.float64()),
                        include_columns=wanted, null_values=[""],
                    ),
                )  # fmt: skip
            except pa.ArrowInvalid as error:
                at = _AT.search(str(error))
                odd += 1
                if at is None or int(at[1]) not in live or odd > MOST_ODD:
                    return None
                live.discard(int(at[1]))
        if table is None:
            return None
        m = table.num_rows
        nothing = min(column.null_count for column in table.columns) > 0
        if row + m > n_rows or (nothing and _only_separators(block, sep, width)):
            return None
        for j, column in zip(sorted(live), table.columns, strict=True):
            if not _take(column, number[j][row : row + m], mark[j][row : row + m]):
                live.discard(j)
        row, a = row + m, b
    if row != n_rows or not live:
        return None
    return BlockNumbers(n_rows, {j: (number[j], mark[j]) for j in sorted(live)})


def _take(column: Any, number: npt.NDArray[np.float64], mark: npt.NDArray[np.uint8]) -> bool:
    """Fill in one block of one column; say whether all of it is finite."""
    if column.num_chunks != 1:
        return False
    chunk = column.chunk(0)
    values = np.frombuffer(chunk.buffers()[1], dtype=np.float64)
    values = values[chunk.offset : chunk.offset + len(chunk)]
    np.abs(values, out=number)
    np.add(np.signbit(values), 1, out=mark, casting="unsafe")
    if chunk.null_count:
        empty = ~chunk.is_valid().to_numpy(zero_copy_only=False)
        number[empty] = 0.0
        mark[empty] = 0
    if not np.isfinite(number).all():
        return False
    if chunk.null_count:
        number[empty] = np.nan
    return True


def _plain_columns(data: bytes, sep: bytes, width: int) -> set[int]:
    """Give the columns whose first cells are plain numbers, limits or empty."""
    lines = data.split(b"\n")[:-1][:100]
    live = set(range(width))
    for line in lines:
        cells = line.split(sep)
        live = {j for j in live if j < len(cells) and _PLAIN.fullmatch(cells[j])}
    return live


def _row_end(data: bytes, a: int, stop: int) -> int:
    """Give the end of the last whole row of the block that begins at `a`."""
    if a + BLOCK >= stop:
        return stop
    back = data.rfind(b"\n", a, a + BLOCK)
    return (back if back >= 0 else data.find(b"\n", a + BLOCK, stop)) + 1


def _only_separators(block: bytes, sep: bytes, width: int) -> bool:
    """Say whether a row is blank or holds nothing but separators: that is no record."""
    if block.startswith(b"\n") or b"\n\n" in block:
        return True
    nothing = sep * (width - 1) + b"\n"
    return block.startswith(nothing) or b"\n" + nothing in block


def _negative(block: bytes, sep: bytes, width: int) -> set[int]:
    """Give the columns of which a cell begins with a minus sign."""
    if b"-" not in block:  # most tables of numbers: the quickest of all searches
        return set()
    if sep + b"-" not in block and b"\n-" not in block and block[:1] != b"-":
        return set()
    array = np.frombuffer(block, dtype=np.uint8)
    parting = (array == sep[0]) | (array == _NEWLINE)
    opens = np.concatenate([[-1], np.flatnonzero(parting)[:-1]])
    return set(np.unique(np.flatnonzero(array[opens + 1] == _DASH) % width).tolist())
