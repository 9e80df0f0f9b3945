"""Splitting delimited bytes into records: the regular file fast, the damaged file with care."""

from __future__ import annotations

import csv
import io
import itertools
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from geochem.read.block_numbers import read_blocks
from geochem.read.cells import Places
from geochem.read.text_table import TextColumn, clean_cell

_QUOTE, _NEWLINE = 34, 10
#: a quoted cell with line breaks spans at most so many lines; more is a forgotten quote
_MAX_LINES = 60
#: after so many forgotten quotes only the next lines are looked at
_MANY_MISSED = 200


@dataclass(slots=True, eq=False)
class Records:
    """The records under the header.

    Parameters
    ----------
    columns : list of TextColumn
        As many as the header has.
    rows : ndarray of int
        Row of each record, as a spreadsheet shows it.
    long, short, open_quote : list
        Damaged records: ``(row, first cell, number of cells)``.
    filled : int
        Records whose empty end had been cut off by the program that wrote them.
    closing : list
        Lines of text below the table: ``(row, text)``.
    """

    columns: list[TextColumn]
    rows: npt.NDArray[np.int64]
    long: list[tuple[int, str, int]] = field(default_factory=list)
    short: list[tuple[int, str, int]] = field(default_factory=list)
    open_quote: list[tuple[int, str, int]] = field(default_factory=list)
    filled: int = 0
    closing: list[tuple[int, str]] = field(default_factory=list)


def split_head(text: str, separator: str, limit: int = 400) -> tuple[list[list[str]], list[int]]:
    """Split the first records of a file with care.

    Parameters
    ----------
    text : str
        The beginning of the file, whole lines.
    separator : str
        One character.
    limit : int, default 400
        Records at most.

    Returns
    -------
    records : list of list of str
        Cleaned cells; a blank line is an empty list.
    offsets : list of int
        Index of the character at which each record ends (after its line feed).
    """
    records: list[list[str]] = []
    offsets: list[int] = []
    for cells, end, _ in _careful(text, separator, None):
        records.append(cells)
        offsets.append(end)
        if len(records) >= limit:
            break
    return records, offsets


def split_all(data: bytes, separator: str) -> list[list[str]]:
    """Split a whole file with care, whatever the number of cells; blank lines stay empty.

    Parameters
    ----------
    data : bytes
        UTF-8 with line feeds.
    separator : str
        One character.

    Returns
    -------
    list of list of str
        Cleaned cells.
    """
    text = data.decode("utf-8", errors="replace")
    return [cells for cells, _, _ in _careful(text, separator, None)]


def split_body(
    data: bytes, separator: str, width: int, first_row: int, *, start: int = 0
) -> Records:
    """Split everything under the header.

    Parameters
    ----------
    data : bytes
        UTF-8 with line feeds, ending in one.
    separator : str
        One ASCII character.
    width : int
        Number of cells in the header.
    first_row : int
        Row of the first record, as a spreadsheet shows it.
    start : int, default 0
        Where in `data` the first record begins.

    Returns
    -------
    Records
        Every record that has its cells in their places, and lists of those that have not.
    """
    # no copy of a large file: everything works on a view of its bytes
    stop = len(data)
    while stop > start and data[stop - 1] == _NEWLINE:
        stop -= 1
    if stop == start:
        return Records([TextColumn([]) for _ in range(width)], np.zeros(0, dtype=np.int64))
    array = np.frombuffer(data, dtype=np.uint8)[start : min(stop + 1, len(data))]
    quoted = data.find(b'"', start) >= 0
    places = _places(data, start, array, separator, width, quoted=quoted)
    if places is None:
        body = data[start:stop].decode("utf-8", errors="replace") + "\n"
        return _damaged(body, separator, width, first_row)
    found, numbers = places
    columns = [
        TextColumn(places=found, index=j, plain=numbers.get(j) if numbers else None)
        for j in range(width)
    ]
    return Records(columns, np.arange(first_row, first_row + found.n_rows, dtype=np.int64))


def _places(
    data: bytes,
    start: int,
    array: npt.NDArray[np.uint8],
    separator: str,
    width: int,
    *,
    quoted: bool,
) -> tuple[Places, dict[int, Any] | None] | None:
    """Give the places of all cells, and the numbers of plain columns; None unless regular."""
    if data.find(b"\0", start) >= 0 or (quoted and not _quotes_regular(array, ord(separator))):
        return None
    if not quoted:
        got = read_blocks(data, start, start + len(array), separator, width)
        if got is not None:
            # its rows are regular: the places of cells are found when somebody asks for a text
            return Places(array, ord(separator), width, n_rows=got.n_rows), got.columns
    places = Places(array, ord(separator), width, quoted=quoted)
    return (places, None) if places.find() else None


def _quotes_regular(array: npt.NDArray[np.uint8], separator: int) -> bool:
    """Say whether every quote opens at the start of a cell and closes at its end."""
    place = np.flatnonzero(array == _QUOTE)
    if len(place) % 2:
        return False
    opening, closing = place[0::2], place[1::2]
    before = array[np.maximum(opening - 1, 0)]
    ok = (opening == 0) | (before == separator) | (before == _NEWLINE) | (before == _QUOTE)
    after = array[np.minimum(closing + 1, len(array) - 1)]
    ok_end = (after == separator) | (after == _NEWLINE) | (after == _QUOTE)
    if not (ok.all() and ok_end.all()):
        return False
    # a quote directly after a closing one is only right as a doubled one inside a cell
    doubled = (before == _QUOTE) & (opening > 0)
    previous = np.concatenate([[-2], closing[:-1]])
    if (doubled & (previous != opening - 1)).any():
        return False
    # a forgotten quote pairs with the next one: the cell then swallows many lines
    # (such files go the careful way, also when the line breaks are meant)
    breaks = np.flatnonzero(array == _NEWLINE)
    return bool((np.searchsorted(breaks, opening) == np.searchsorted(breaks, closing)).all())


def _careful(
    text: str, separator: str, width: int | None
) -> Iterator[tuple[list[str], int, bool]]:
    """Yield ``(cells, end offset, open quote)`` per record, mending one forgotten quote a time."""
    start, n = 0, len(text)
    opening = _opening(separator)
    missed = 0
    while start < n:
        end = text.find("\n", start)
        end = n if end < 0 else end
        line = text[start:end]
        if '"' not in line:
            yield (
                [clean_cell(c) for c in line.split(separator)] if line.strip() else [],
                end + 1,
                False,
            )
            start = end + 1
            continue
        stop, joined, open_quote = end, line, False
        inside = _ends_inside(line, opening)
        if inside:
            # perhaps a line break inside a quoted cell: take lines until the quote closes
            lines, probe = 1, end
            found = False
            # a file full of forgotten quotes is not searched sixty lines deep at every one
            most = _MAX_LINES if missed < _MANY_MISSED else 3
            while probe < n and lines < most:
                following = text.find("\n", probe + 1)
                following = n if following < 0 else following
                inside = _ends_inside(text[probe + 1 : following], opening, inside=inside)
                probe, lines = following, lines + 1
                if not inside:
                    candidate = text[start:probe]
                    cells = _split(candidate, separator)
                    # a forgotten quote swallows whole records: each line is then one by itself
                    whole = width is not None and all(
                        len(part.split(separator)) == width for part in candidate.split("\n")
                    )
                    if not whole and (width is None or len(cells) == width):
                        stop, joined, found = probe, candidate, True
                    break
            open_quote = not found
        if open_quote:
            missed += 1
            cells = [clean_cell(c.strip().strip('"')) for c in line.split(separator)]
            yield cells, end + 1, True
            start = end + 1
            continue
        yield [clean_cell(c) for c in _split(joined, separator)], stop + 1, False
        start = stop + 1


@lru_cache(maxsize=16)
def _opening(separator: str) -> re.Pattern[str]:
    """Give the pattern of a quote that opens a cell: nothing but white space before it."""
    mark = re.escape(separator)
    return re.compile(rf'(?:^|{mark})[^\S{mark}]*"')


def _ends_inside(line: str, opening: re.Pattern[str], *, inside: bool = False) -> bool:
    """Say whether a quoted cell is still open at the end of a line."""
    at = 0
    while True:
        if inside:
            at = line.find('"', at)
            if at < 0:
                return True
            if line.startswith('"', at + 1):
                at += 2
                continue
            inside, at = False, at + 1
        else:
            match = opening.search(line, at)
            if match is None:
                return False
            inside, at = True, match.end()


def _split(text: str, separator: str) -> list[str]:
    limit = csv.field_size_limit()
    if len(text) > limit:
        return text.split(separator)
    try:
        rows = list(
            csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True)
        )
    except csv.Error:
        return text.split(separator)
    return rows[0] if rows else []


def _damaged(text: str, separator: str, width: int, first_row: int) -> Records:
    """Go record by record; what has its cells out of place is named, not used."""
    kept: list[list[str]] = []
    rows: list[int] = []
    cut: list[tuple[int, list[str]]] = []
    out = Records([], np.zeros(0, dtype=np.int64))
    ends_empty = False
    row = first_row - 1
    for cells, _, open_quote in _careful(text, separator, width):
        row += 1
        if not any(cells):
            continue
        while len(cells) > width and not cells[-1]:
            cells.pop()
        if open_quote:
            out.open_quote.append((row, cells[0], len(cells)))
            if len(cells) != width:
                continue
        if len(cells) > width:
            out.long.append((row, cells[0], len(cells)))
        elif len(cells) < width:
            cut.append((row, cells))
        else:
            ends_empty = ends_empty or not cells[-1]
            kept.append(cells)
            rows.append(row)
    last = rows[-1] if rows else 0
    while cut and cut[-1][0] > last and _is_sentence(cut[-1][1]):
        number, cells = cut.pop()
        out.closing.insert(0, (number, cells[0]))
    if cut:
        # programs that cut off the empty end of a record do it always: then no record ends empty
        # (a record broken in two is no such habit: its halves follow each other)
        broken = any(
            b[0] == a[0] + 1 and len(a[1]) + len(b[1]) in (width, width + 1)
            for a, b in itertools.pairwise(cut)
        )
        habit = (
            len(cut) >= 3
            and not broken
            and not ends_empty
            and all(c[-1] and len(c) > 1 for _, c in cut)
        )
        for number, cells in cut:
            if habit:
                kept.append([*cells, *[""] * (width - len(cells))])
                rows.append(number)
                out.filled += 1
            else:
                out.short.append((number, cells[0], len(cells)))
        if habit:
            order = np.argsort(rows, kind="stable")
            kept = [kept[i] for i in order]
            rows = [rows[i] for i in order]
    out.columns = (
        [TextColumn(list(c)) for c in zip(*kept, strict=True)]
        if kept
        else [TextColumn([]) for _ in range(width)]
    )
    out.rows = np.array(rows, dtype=np.int64)
    return out


def _is_sentence(cells: list[str]) -> bool:
    """Say whether a short record is text for people: one cell of several words."""
    filled = [c for c in cells if c]
    return len(filled) == 1 and (" " in filled[0] or filled[0][:1] in "*#/(") and bool(cells[0])
