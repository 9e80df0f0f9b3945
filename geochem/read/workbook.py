"""Workbooks (XLSX): a sheet to a table of text with true row numbers."""

from __future__ import annotations

import datetime as dt
import re
import warnings
import zipfile
from pathlib import Path
from typing import Any

import numpy as np

from geochem.errors import DataRefused, WrongCall, nearest
from geochem.model.finding import Finding, name_some
from geochem.model.reading import AssayRead, Dialect
from geochem.read.header_rows import find_header
from geochem.read.source_file import check_table
from geochem.read.text_table import TextColumn, TextTable, clean_cell

ENDINGS = frozenset({".xlsx", ".xlsm"})
#: unpacked size above which a workbook is not opened: a small file may unpack to fill the memory
MAX_UNPACKED = 2_000_000_000


class WorkbookReader:
    """Reads one sheet of an XLSX workbook."""

    name = "workbook"
    summary = "XLSX workbooks, wide or long, as laboratories and instruments send them"
    api_version = 1

    def can_read(self, path: str | Path) -> bool:
        """Say from the ending and the first bytes whether this reader fits."""
        place = Path(path)
        if place.suffix.lower() not in ENDINGS:
            return False
        try:
            with place.open("rb") as stream:
                return stream.read(4) == b"PK\x03\x04"
        except OSError:
            return False

    def read(
        self,
        path: str | Path,
        *,
        source: str = "laboratory",
        assay: str | None = None,
        sheet: str | None = None,
        decimal: str | None = None,
        header_rows: int | None = None,
    ) -> AssayRead:
        """Read a sheet of readings or results.

        Parameters
        ----------
        path : str or Path
            The file.
        source : {"laboratory", "pxrf"}, default "laboratory"
            What made the values.
        assay : str, optional
            Name of the assay; by default the source.
        sheet : str, optional
            Needed when more than one sheet holds a table.
        decimal, header_rows : optional
            What is known of the sheet; by default it is found out.

        Returns
        -------
        AssayRead
            Results, analytes and findings.
        """
        from geochem.read.assays import read_assays

        return read_assays(
            [Path(path)],
            assay=assay or source,
            source=source,
            sheet=sheet,
            decimal=decimal,
            header_rows=header_rows,
        )


def read_workbook(
    path: str | Path,
    *,
    sheet: str | None = None,
    decimal: str | None = None,
    header_rows: int | None = None,
) -> TextTable:
    """Read one sheet into a table of text.

    Parameters
    ----------
    path : str or Path
        The file.
    sheet : str, optional
        Name of the sheet; may be left out when only one holds a table.
    decimal : {".", ","}, optional
        Decimal mark of numbers that are stored as text.
    header_rows : int, optional
        Number of header rows; by default found out.

    Returns
    -------
    TextTable
        Dates as ISO text, whole numbers without decimals.

    Raises
    ------
    DataRefused
        If it is no workbook, holds no table, or several sheets hold one and none was named.
    WrongCall
        If there is no such sheet.
    """
    import openpyxl

    place = check_table(path)
    file = place.name
    _check_size(place)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(place, read_only=True, data_only=True)
    except Exception as error:  # openpyxl raises many kinds for a damaged file
        raise DataRefused(
            f"'{file}' cannot be opened as a workbook ({type(error).__name__}); open it in a "
            "spreadsheet program and save it again as .xlsx."
        ) from error
    try:
        titles = [s.title for s in book.worksheets]
        if sheet is not None:
            match = [t for t in titles if t == sheet] or [
                t for t in titles if t.strip().casefold() == sheet.strip().casefold()
            ]
            if len(match) != 1:
                raise WrongCall(
                    f"'{file}' has no sheet '{sheet}'; its sheets: {', '.join(titles)}."
                    f"{nearest(sheet, titles)}"
                )
            title = match[0]
        else:
            title = _only_table(book, file)
        cells, dates = _cells(book[title])
    finally:
        book.close()
    findings: list[Finding] = []
    uncached = _uncached(place, title, cells)
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


def _check_size(place: Path) -> None:
    try:
        with zipfile.ZipFile(place) as archive:
            unpacked = sum(i.file_size for i in archive.infolist())
    except (zipfile.BadZipFile, OSError) as error:
        raise DataRefused(
            f"'{place.name}' is not a whole workbook; copy or export it again, or save it as .csv."
        ) from error
    if unpacked > MAX_UNPACKED:
        raise DataRefused(
            f"'{place.name}' would unpack to {unpacked / 1e9:.1f} GB; save the table as .csv."
        )


def _only_table(book: Any, file: str) -> str:
    """Name the one sheet that holds a table, or refuse with the names of all that do."""
    holding = []
    for sheet in book.worksheets:
        sheet.reset_dimensions()
        rows = 0
        for row in sheet.iter_rows(max_row=200, values_only=True):
            if sum(1 for c in row if c not in (None, "")) >= 2:
                rows += 1
            if rows >= 2:
                holding.append(sheet.title)
                break
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
    return str(holding[0])


def _cells(sheet: Any) -> tuple[list[list[str]], list[tuple[int, int]]]:
    """Give all cells as text, and where dates stood: ``(row index, column index)``."""
    sheet.reset_dimensions()
    rows: list[list[str]] = []
    dates: list[tuple[int, int]] = []
    for i, row in enumerate(sheet.iter_rows(values_only=True)):
        cells = []
        for j, value in enumerate(row):
            if isinstance(value, (dt.datetime, dt.date)):
                dates.append((i, j))
            cells.append("" if value is None else text_of(value))
        while cells and not cells[-1]:
            cells.pop()
        rows.append(cells)
    while rows and not rows[-1]:
        rows.pop()
    return rows, dates


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


def _uncached(place: Path, title: str, cells: list[list[str]]) -> list[str]:
    """Name the cells that hold a formula without a saved result."""
    import openpyxl
    from openpyxl.utils import get_column_letter

    with zipfile.ZipFile(place) as archive:
        parts = [n for n in archive.namelist() if n.startswith("xl/worksheets/")]
        if not any(_holds_formula(archive, n) for n in parts):
            return []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(place, read_only=True, data_only=False)
    try:
        sheet = book[title]
        sheet.reset_dimensions()
        found = []
        for i, row in enumerate(sheet.iter_rows(values_only=True)):
            for j, value in enumerate(row):
                if isinstance(value, str) and value.startswith("=") and len(value) > 1:
                    shown = cells[i][j] if i < len(cells) and j < len(cells[i]) else ""
                    if not shown:
                        found.append(f"{get_column_letter(j + 1)}{i + 1}")
        return found
    finally:
        book.close()


def _holds_formula(archive: zipfile.ZipFile, part: str) -> bool:
    tail = b""
    with archive.open(part) as stream:
        while block := stream.read(1 << 20):
            if b"<f>" in tail + block or b"<f " in tail + block:
                return True
            tail = block[-3:]
    return False


def _eaten_ids(
    names: list[str], dates: list[tuple[int, int]], body: int, file: str
) -> list[Finding]:
    from geochem.read.synonyms import COLUMNS, squeeze

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
