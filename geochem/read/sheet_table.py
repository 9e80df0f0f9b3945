"""The cells of one sheet of a workbook, whoever read them, to a table of text."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from geochem.errors import DataRefused, WrongCall, nearest
from geochem.model.finding import Finding, name_some
from geochem.model.reading import Dialect
from geochem.read.header_rows import find_header
from geochem.read.synonyms import COLUMNS, squeeze
from geochem.read.text_table import TextColumn, TextTable, clean_cell
from geochem.read.turned import looks_turned, set_upright


def table_of_cells(
    place: Path,
    title: str,
    cells: list[list[str]],
    dates: Sequence[tuple[int, int]],
    *,
    uncached: Sequence[str] = (),
    decimal: str | None = None,
    header_rows: int | Sequence[int] | None = None,
) -> TextTable:
    """Find the header of a sheet and make columns of what stands below.

    Parameters
    ----------
    place : Path
        The workbook.
    title : str
        Name of the sheet.
    cells : list of list of str
        All rows as text; blank ones are empty.
    dates : sequence of (int, int)
        Row and column index of cells that are stored as dates.
    uncached : sequence of str
        Cells that hold a formula without a saved result, like ``B7``.
    decimal : {".", ","}, optional
        Decimal mark of numbers that are stored as text.
    header_rows : int or sequence of int, optional
        Number of header rows, or the rows themselves; by default found out.

    Returns
    -------
    TextTable
        With true row numbers.

    Raises
    ------
    DataRefused
        If no row names columns.
    """
    file = place.name
    findings: list[Finding] = []
    dialect = Dialect(encoding="utf-8", separator="", decimal=decimal or ".", sheet=title)
    if uncached:
        findings.append(
            Finding(
                "formula-without-value", "warning",
                f"sheet '{title}': {len(uncached)} cells hold a formula whose result was not "
                f"saved (first: {name_some(uncached)}); they count as missing. Open the workbook "
                "in a spreadsheet program, save it, and read it again.", file,
                int(re.sub(r"\D", "", uncached[0])),
            )
        )  # fmt: skip
    if header_rows is None and looks_turned(cells[:400]):
        upright = set_upright(place, cells, dialect)
        return _with_findings(upright, findings)
    try:
        found = find_header(cells[:400], header_rows)
    except LookupError:
        raise DataRefused(
            f"sheet '{title}' of '{file}' has no row that names its columns; put the column "
            "names in the first row."
        ) from None
    names = list(cells[found.names])
    width = max((j + 1 for r in cells[found.names :] for j, c in enumerate(r) if c), default=0)
    names = [*names, *[""] * width][:width]
    kept = [(i + 1, r) for i, r in enumerate(cells) if i >= found.body and any(r)]
    padded = [[*r, *[""] * width][:width] for _, r in kept]
    columns = (
        tuple(TextColumn(list(c)) for c in zip(*padded, strict=True))
        if padded
        else tuple(TextColumn([]) for _ in range(width))
    )
    findings += _eaten_ids(names, dates, found.body, file)
    if any(any(r) for i, r in enumerate(cells[: found.names]) if i not in found.above):
        findings.append(
            Finding(
                "preamble", "note",
                f"sheet '{title}' of '{file}': the column names were found in row "
                f"{found.names + 1}; the rows before it were not read as data.", file,
                found.names + 1,
            )
        )  # fmt: skip
    return TextTable(
        path=place,
        names=tuple(names),
        columns=columns,
        rows=np.array([i for i, _ in kept], dtype=np.int64),
        dialect=Dialect(
            encoding="utf-8",
            separator="",
            decimal=decimal or ".",
            sheet=title,
            header_row=max((found.names, *found.under)) + 1,
        ),
        above=tuple(tuple([*cells[i], *[""] * width][:width]) for i in found.above),
        under=tuple(tuple([*cells[i], *[""] * width][:width]) for i in found.under),
        under_rows=tuple(i + 1 for i in found.under),
        preamble=tuple(
            " ".join(c for c in cells[i] if c)
            for i in range(found.names)
            if i not in found.above and any(cells[i])
        ),
        findings=tuple(findings),
    )


def _with_findings(table: TextTable, more: Sequence[Finding]) -> TextTable:
    import dataclasses

    return dataclasses.replace(table, findings=(*more, *table.findings))


def text_of(value: object) -> str:
    """Write the value of a workbook cell as text.

    Parameters
    ----------
    value : object
        As the workbook library gives it.

    Returns
    -------
    str
        A number as a spreadsheet shows it (at most 15 digits), a date in ISO form.

    Examples
    --------
    >>> text_of(101.0), text_of(0.1 + 0.2), text_of(dt.datetime(2026, 3, 17))
    ('101', '0.3', '2026-03-17')
    """
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        if value.is_integer() and abs(value) < 1e15:
            return str(int(value))
        return format(value, ".15g")
    if isinstance(value, dt.datetime):
        if value.time() == dt.time(0):
            return value.date().isoformat()
        return value.isoformat(sep=" ", timespec="seconds")
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    return clean_cell(str(value))


def _eaten_ids(
    names: list[str], dates: Sequence[tuple[int, int]], body: int, file: str
) -> list[Finding]:
    findings = []
    for j in sorted({j for i, j in dates if i >= body and j < len(names)}):
        if squeeze(names[j]) in COLUMNS["id"]:
            rows = [i + 1 for i, k in dates if k == j and i >= body]
            findings.append(
                Finding(
                    "id-is-date", "warning",
                    f"{len(rows)} ids in column '{names[j]}' are stored as dates (rows "
                    f"{name_some(rows)}): a spreadsheet program has turned ids such as '1-3' "
                    "into dates. Type them again as text.", file, rows[0], names[j],
                )
            )  # fmt: skip
    return findings


def named_sheet(file: str, titles: Sequence[str], wanted: str) -> str:
    """Find a sheet by its name, else by its name without case and outer spaces.

    Parameters
    ----------
    file : str
        Name of the workbook, for the message.
    titles : sequence of str
        Its sheets.
    wanted : str
        As given.

    Returns
    -------
    str
        The title.

    Raises
    ------
    WrongCall
        If there is none, or several.
    """
    match = [t for t in titles if t == wanted] or [
        t for t in titles if t.strip().casefold() == wanted.strip().casefold()
    ]
    if len(match) != 1:
        raise WrongCall(
            f"'{file}' has no sheet '{wanted}'; its sheets: {', '.join(titles)}."
            f"{nearest(wanted, titles)}"
        )
    return match[0]


def only_table(file: str, pages: Iterable[tuple[str, Iterable[Sequence[Any]]]]) -> str:
    """Name the one sheet that holds a table: two rows of two cells among its first 200.

    Parameters
    ----------
    file : str
        Name of the workbook, for the message.
    pages : iterable of (title, rows)
        Its sheets.

    Returns
    -------
    str
        The title.

    Raises
    ------
    DataRefused
        If none does, or several do; all are named.
    """
    holding = []
    for title, rows in pages:
        wide = (row for row in islice(rows, 200) if sum(c not in (None, "") for c in row) >= 2)
        if len(list(islice(wide, 2))) == 2:
            holding.append(title)
    if not holding:
        raise DataRefused(
            f"no sheet of '{file}' holds a table (two rows of at least two cells); check that it "
            "is the right file."
        )
    if len(holding) > 1:
        raise DataRefused(
            f"'{file}' has {len(holding)} sheets that hold a table: {', '.join(holding)}. Name "
            f'the one to read, for example sheet = "{holding[0]}".'
        )
    return holding[0]


def without_tail(rows: list[list[str]]) -> list[list[str]]:
    """Take away empty cells at the end of rows, and empty rows at the end.

    Parameters
    ----------
    rows : list of list of str
        Cells; changed.

    Returns
    -------
    list of list of str
        The same list.
    """
    for row in rows:
        while row and not row[-1]:
            row.pop()
    while rows and not rows[-1]:
        rows.pop()
    return rows
