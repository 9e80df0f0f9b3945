"""Workbooks (XLSX): a sheet to a table of text with true row numbers."""

from __future__ import annotations

import datetime as dt
import re
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from geochem.errors import DataRefused
from geochem.model.reading import AssayRead
from geochem.read.sheet_table import named_sheet, only_table, table_of_cells, text_of, without_tail
from geochem.read.source_file import check_table, check_unpacked
from geochem.read.text_table import TextTable

ENDINGS = frozenset({".xlsx", ".xlsm"})
_PADDED = re.compile(r"0{2,20}")


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
    header_rows: int | Sequence[int] | None = None,
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
    check_unpacked(place)
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
            title = named_sheet(file, titles, sheet)
        else:
            title = only_table(file, ((s.title, _rows(s)) for s in book.worksheets))
        cells, dates = _cells(book[title])
    finally:
        book.close()
    return table_of_cells(
        place, title, cells, dates, uncached=_uncached(place, title, cells), decimal=decimal,
        header_rows=header_rows,
    )  # fmt: skip


def _rows(sheet: Any) -> Iterator[tuple[Any, ...]]:
    sheet.reset_dimensions()
    rows: Iterator[tuple[Any, ...]] = sheet.iter_rows(max_row=200, values_only=True)
    return rows


def _cells(sheet: Any) -> tuple[list[list[str]], list[tuple[int, int]]]:
    """Give all cells as text, and where dates stood: ``(row index, column index)``."""
    sheet.reset_dimensions()
    rows: list[list[str]] = []
    dates: list[tuple[int, int]] = []
    for i, row in enumerate(sheet.iter_rows()):
        cells = []
        for j, cell in enumerate(row):
            value = cell.value
            if isinstance(value, (dt.datetime, dt.date)):
                dates.append((i, j))
            if type(value) in (int, float):
                cells.append(_as_shown(value, cell.number_format))
            else:
                cells.append("" if value is None else text_of(value))
        rows.append(cells)
    return without_tail(rows), dates


def _as_shown(value: float, shown: str) -> str:
    """Write a number as its cell shows it where that says another thing than the number.

    A cell that shows 3.2 % holds 0.032, and one that shows 0012 holds 12.
    """
    if shown.endswith("%") and "E" not in shown:
        return text_of(round(100.0 * value, 10)) + "%"
    if _PADDED.fullmatch(shown) and value >= 0 and value == int(value):
        return str(int(value)).zfill(len(shown))
    return text_of(value)


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
