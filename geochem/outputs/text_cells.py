"""Text that leaves the house: disarmed for spreadsheets, printable for documents and files."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

_STARTS = ("=", "+", "-", "@", "\t")


def disarm(value: Any) -> Any:
    """Put an apostrophe before a text that a spreadsheet would take for a formula.

    Parameters
    ----------
    value : object
        A cell; only texts are changed, numbers never.

    Returns
    -------
    object
        The cell. Our own readers take the apostrophe away again.

    Examples
    --------
    >>> disarm("=1+1"), disarm("-A12"), disarm(-3.5), disarm("A-1")
    ("'=1+1", "'-A12", -3.5, 'A-1')
    """
    return f"'{value}" if isinstance(value, str) and value.startswith(_STARTS) else value


def printable(text: object, *, instead: str = " ", keep: str = "") -> str:
    r"""Replace characters that cannot be printed: control and other invisible ones.

    Parameters
    ----------
    text : object
        Anything that has a text.
    instead : str, default " "
        Stands in their place; empty leaves them out (XML 1.0 allows none of them).
    keep : str, optional
        Characters that stay although they are not printable, such as a line break.

    Returns
    -------
    str
        The text.

    Examples
    --------
    >>> printable("a\x00b\nc"), printable("a\x00b\nc", instead="", keep="\n")
    ('a b c', 'ab\nc')
    """
    whole = str(text)
    if whole.isprintable():
        return whole
    return "".join(c if c.isprintable() or c in keep else instead for c in whole)


def workbook_cell(value: Any) -> Any:
    r"""Make a text fit for a cell of a workbook: disarmed, printable, not too long.

    Parameters
    ----------
    value : object
        A cell; only texts are changed.

    Returns
    -------
    object
        The cell: XLSX takes 32,767 characters and no control characters other than breaks.

    Examples
    --------
    >>> workbook_cell("=1\x1b[31m"), workbook_cell(2.5)
    ("'=1[31m", 2.5)
    """
    if not isinstance(value, str):
        return value
    return disarm(printable(value, instead="", keep="\n\t"))[:32_767]


def disarmed(frame: pd.DataFrame) -> pd.DataFrame:
    """Disarm every text cell and column name of a table.

    Parameters
    ----------
    frame : pandas.DataFrame
        Not changed.

    Returns
    -------
    pandas.DataFrame
        A new table.
    """
    from pandas.api.types import is_object_dtype, is_string_dtype

    out = frame.copy(deep=False)
    for name in frame.columns:
        column = frame[name]
        if is_object_dtype(column.dtype) or is_string_dtype(column.dtype):
            out[name] = column.map(disarm)
    out.columns = [disarm(str(c)) for c in frame.columns]
    return out
