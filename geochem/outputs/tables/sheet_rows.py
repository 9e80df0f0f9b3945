"""Many rows of a worksheet, written as SpreadsheetML in blocks.

What lives here: rows for a sheet that openpyxl has made with its head alone. One object per cell
is what makes large workbooks slow, so the rows are put together as text, a block at a time, and go
straight into the file (ECMA-376 part 1, 18.3.1: sheetData, row, c). What does not: what the cells
say (`renderer`).
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import IO
from xml.sax.saxutils import escape

_END = b"</sheetData>"
#: quicker by half than the highest compression, files 5 % larger
_COMPRESSION = 4


def number_cells(words: Iterable[str]) -> list[str]:
    """Make cells of numbers in words.

    Parameters
    ----------
    words : iterable of str
        As XML Schema writes numbers (``12.5``, ``1e-05``); empty for an empty cell.

    Returns
    -------
    list of str
        What follows the place of a cell.

    Examples
    --------
    >>> number_cells(["2.5", ""])
    ['"><v>2.5</v></c>', '"/>']
    """
    return [f'"><v>{word}</v></c>' if word else '"/>' for word in words]


def text_cells(words: Iterable[str]) -> list[str]:
    """Make cells of texts that a workbook allows.

    Parameters
    ----------
    words : iterable of str
        From `geochem.outputs.text_cells.workbook_cell`; empty for an empty cell.

    Returns
    -------
    list of str
        What follows the place of a cell.

    Examples
    --------
    >>> text_cells(["<5"])
    ['" t="inlineStr"><is><t>&lt;5</t></is></c>']
    """
    made = []
    for word in words:
        if not word:
            made.append('"/>')
            continue
        kept = ' xml:space="preserve"' if word != word.strip() or "\n" in word else ""
        made.append(f'" t="inlineStr"><is><t{kept}>{escape(word)}</t></is></c>')
    return made


def flag_cells(words: Iterable[bool]) -> list[str]:
    """Make cells of flags.

    Parameters
    ----------
    words : iterable of bool
        True or false.

    Returns
    -------
    list of str
        What follows the place of a cell.
    """
    return [f'" t="b"><v>{int(word)}</v></c>' for word in words]


def insert_rows(
    made: IO[bytes], path: Path, part: str, blocks: Iterable[Sequence[list[str]]]
) -> None:
    """Copy a workbook and put rows at the end of one of its sheets.

    Parameters
    ----------
    made : binary file
        A workbook whose sheet has one row, the head.
    path : Path
        The workbook to write.
    part : str
        Name of the sheet within the workbook, for example ``xl/worksheets/sheet1.xml``.
    blocks : iterable of sequence of list of str
        Blocks of rows, each a list of columns from `number_cells`, `text_cells`, `flag_cells`.
    """
    from openpyxl.utils import get_column_letter

    with (
        zipfile.ZipFile(made) as old,
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=_COMPRESSION) as new,
    ):
        for item in old.infolist():
            content = old.read(item)
            if item.filename != part:
                new.writestr(item, content)
                continue
            before, after = content.split(_END)
            number = 2
            with new.open(part, "w") as stream:
                stream.write(before)
                for columns in blocks:
                    letters = [get_column_letter(j + 1) for j in range(len(columns))]
                    row = '<row r="%s">' + "".join(f'<c r="{c}%s%s' for c in letters) + "</row>"
                    lines = []
                    for cells in zip(*columns, strict=True):
                        place = str(number)
                        filled = [place] * (2 * len(cells) + 1)
                        filled[2::2] = cells
                        lines.append(row % tuple(filled))
                        number += 1
                    stream.write("".join(lines).encode("utf-8"))
                stream.write(_END + after)
