"""Workbooks of other kinds (XLS, XLSB, ODS), through a reader that is an extra."""

from __future__ import annotations

import zipfile
from collections.abc import Sequence
from pathlib import Path

from geochem.errors import DataRefused
from geochem.read.sheet_table import named_sheet, only_table, table_of_cells, text_of, without_tail
from geochem.read.source_file import check_unpacked
from geochem.read.text_table import TextTable

ENDINGS = frozenset({".xls", ".ods", ".xlsb"})


def read_old_workbook(
    path: str | Path,
    *,
    sheet: str | None = None,
    decimal: str | None = None,
    header_rows: int | Sequence[int] | None = None,
) -> TextTable:
    """Read one sheet of an XLS, XLSB or ODS workbook into a table of text.

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
        As from an XLSX workbook.

    Raises
    ------
    DataRefused
        If the extra is not installed, the file cannot be opened, or several sheets hold a table
        and none was named.
    WrongCall
        If there is no such sheet.
    """
    place = Path(path)
    file = place.name
    try:
        import python_calamine
    except ImportError:
        raise DataRefused(
            f"'{file}' is a workbook of an older or other kind, and what reads it is not "
            "installed; save it as .xlsx or .csv in a spreadsheet program, or install the extra: "
            'pip install "geochem[workbooks]".'
        ) from None
    if zipfile.is_zipfile(place):
        check_unpacked(place)
    try:
        book = python_calamine.CalamineWorkbook.from_path(place)
        titles = list(book.sheet_names)
        held = {t: book.get_sheet_by_name(t) for t in titles} if sheet is None else {}
    except Exception as error:  # the reader raises many kinds for a damaged file
        raise DataRefused(
            f"'{file}' cannot be opened as a workbook ({type(error).__name__}); it may be damaged "
            "or locked with a password. Save it again as .xlsx."
        ) from error
    if sheet is not None:
        title = named_sheet(file, titles, sheet)
        content = book.get_sheet_by_name(title).to_python(skip_empty_area=False)
    else:
        filled = {t: page.to_python(skip_empty_area=False) for t, page in held.items()}
        title = only_table(file, filled.items())
        content = filled[title]
    dates = [
        (i, j) for i, row in enumerate(content) for j, value in enumerate(row)
        if hasattr(value, "year")
    ]  # fmt: skip
    cells = without_tail([[text_of(value) for value in row] for row in content])
    return table_of_cells(place, title, cells, dates, decimal=decimal, header_rows=header_rows)
