"""Tables of a plan as CSV and workbook."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.outputs.text_cells import disarmed, workbook_cell

if TYPE_CHECKING:
    import pandas as pd


def write_csv(frame: pd.DataFrame, path: Path) -> Path:
    """Write a table as CSV (UTF-8, comma, point); a geometry column is left out."""
    flat = _flat(frame)
    disarmed(flat).to_csv(
        path, index=False, encoding="utf-8", lineterminator="\n", date_format="%Y-%m-%d"
    )
    return path


def write_book(sheets: Mapping[str, pd.DataFrame], path: Path, notes: Sequence[str] = ()) -> Path:
    """Write tables as sheets of one workbook, header bold and fixed.

    Parameters
    ----------
    sheets : mapping of str to pandas.DataFrame
        Name of the sheet -> table.
    path : Path
        File.
    notes : sequence of str
        Lines of a last sheet ``notes``.

    Returns
    -------
    Path
        The file.
    """
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    book = Workbook(write_only=True)
    for name, frame in sheets.items():
        flat = _flat(frame)
        sheet = book.create_sheet(name)
        sheet.freeze_panes = "A2"
        for number, column in enumerate(flat.columns):
            texts = [str(column), *map(str, flat[column].head(200))]
            sheet.column_dimensions[_letter(number)].width = min(max(map(len, texts)) + 2, 60)
        head = []
        for column in flat.columns:
            cell = WriteOnlyCell(sheet, value=workbook_cell(str(column)))
            cell.font = Font(bold=True)
            head.append(cell)
        sheet.append(head)
        for row in flat.itertuples(index=False):
            sheet.append([_plain(value) for value in row])
    if notes:
        sheet = book.create_sheet("notes")
        for line in notes:
            sheet.append([workbook_cell(line)])
    book.save(path)
    return path


def _flat(frame: pd.DataFrame) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(frame.drop(columns="geometry", errors="ignore"))


def _letter(number: int) -> str:
    from openpyxl.utils import get_column_letter

    return str(get_column_letter(number + 1))


def _plain(value: Any) -> Any:
    if value is None or value != value:
        return None
    return workbook_cell(value.item() if hasattr(value, "item") else value)
