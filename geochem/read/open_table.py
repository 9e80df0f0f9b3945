"""One door to the text layer: the kind of file decides who reads it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from geochem.errors import WrongCall
from geochem.read.delimited import read_delimited
from geochem.read.old_workbook import ENDINGS as OTHER_WORKBOOKS
from geochem.read.old_workbook import read_old_workbook
from geochem.read.source_file import check_local, check_table
from geochem.read.text_table import TextTable
from geochem.read.vector_table import ENDINGS as VECTORS
from geochem.read.vector_table import read_vector
from geochem.read.workbook import ENDINGS, read_workbook


def open_table(
    path: str | Path,
    *,
    sheet: str | None = None,
    separator: str | None = None,
    decimal: str | None = None,
    encoding: str | None = None,
    header_rows: int | Sequence[int] | None = None,
) -> TextTable:
    """Read any table into text.

    Parameters
    ----------
    path : str or Path
        Delimited text, a workbook, GPX waypoints or a vector file of points.
    sheet, separator, decimal, encoding, header_rows : optional
        What is known of the file; by default it is found out.

    Returns
    -------
    TextTable
        Text cells with true row numbers.

    Raises
    ------
    DataRefused
        If it is no table.
    WrongCall
        If an option is not possible.
    """
    if decimal not in (None, ".", ","):
        raise WrongCall(f"the decimal mark {decimal!r} is not possible; possible: '.' and ','.")
    given = [header_rows] if isinstance(header_rows, int) else (header_rows or [])
    if header_rows is not None and (not given or min(given) < 1):
        raise WrongCall(
            f"header_rows is {header_rows!r}; it is a whole number of at least 1: how many rows "
            "the header has; or a list of the rows that hold it, as a spreadsheet counts."
        )
    local = check_local(path)
    if local.suffix.lower() in VECTORS:
        return read_vector(local, sheet=sheet)
    place = check_table(path)
    if place.suffix.lower() in OTHER_WORKBOOKS:
        return read_old_workbook(place, sheet=sheet, decimal=decimal, header_rows=header_rows)
    if place.suffix.lower() in ENDINGS:
        return read_workbook(place, sheet=sheet, decimal=decimal, header_rows=header_rows)
    return read_delimited(
        place, separator=separator, decimal=decimal, encoding=encoding, header_rows=header_rows
    )
