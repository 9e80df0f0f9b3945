"""Large tables as CSV: the same characters as pandas writes, column by column.

What lives here: a frame to UTF-8 text, in blocks of rows so that the texts of few cells are in
memory at a time. Values that repeat, as they do in columns of a survey, are put into words once
per block.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.outputs.text_cells import disarm

if TYPE_CHECKING:
    import pandas as pd

#: rows whose texts are in memory together
BLOCK = 4000
#: characters for which a cell is put into quotes (RFC 4180)
_QUOTED = (",", '"', "\n", "\r")


def write_csv(frame: pd.DataFrame, path: Path) -> None:
    r"""Write a table: UTF-8, ``\n`` after each line, dates as ``2026-05-31``, formulas disarmed.

    Parameters
    ----------
    frame : pandas.DataFrame
        The index is not written; a missing cell is empty.
    path : Path
        File to write.
    """
    with Path(path).open("w", encoding="utf-8", newline="") as stream:
        stream.write(",".join(_quoted(str(name)) for name in frame.columns) + "\n")
        for first in range(0, len(frame), BLOCK):
            block = frame.iloc[first : first + BLOCK]
            columns = [cells(block.iloc[:, j]) for j in range(block.shape[1])]
            lines = [",".join(row) for row in zip(*columns, strict=True)]
            if len(columns) == 1:  # an empty line would be no row
                lines = [line or '""' for line in lines]
            stream.write("\n".join(lines) + "\n")


def cells(column: pd.Series) -> list[str]:
    """Put the cells of a column into words.

    Parameters
    ----------
    column : pandas.Series
        Numbers, flags, dates, texts or a mixture.

    Returns
    -------
    list of str
        Numbers with all digits that they need; texts disarmed and quoted where they must be;
        empty where missing.

    Examples
    --------
    >>> import pandas as pd
    >>> cells(pd.Series([2.5, None])), cells(pd.Series(["=1", "a,b", None], dtype=object))
    (['2.5', ''], ["'=1", '"a,b"', ''])
    """
    import numpy as np
    import pandas as pd
    from pandas.api.types import is_datetime64_any_dtype, is_float_dtype

    if column.dtype == bool:
        return np.where(column.to_numpy(), "True", "False").tolist()
    if column.dtype == object and pd.api.types.infer_dtype(column, skipna=True) not in (
        "string", "empty",
    ):  # fmt: skip
        missing = column.isna().tolist()
        return ["" if gone else _word(v) for v, gone in zip(column.tolist(), missing, strict=True)]
    values: Any = column
    if is_float_dtype(column.dtype) and isinstance(column.dtype, np.dtype):
        values = column.to_numpy() + 0.0  # no zero has a sign
    code, distinct = pd.factorize(values, use_na_sentinel=True)
    if is_datetime64_any_dtype(column.dtype):
        words = pd.DatetimeIndex(distinct).strftime("%Y-%m-%d").tolist()
    elif values is not column:
        words = list(map(repr, distinct.tolist()))
    else:
        words = [_word(v) for v in distinct.tolist()]
    # a missing cell has the code -1, which takes the last word
    return np.array([*words, ""], dtype=object)[code].tolist()


def _word(value: Any) -> str:
    if isinstance(value, str):
        return _quoted(value)
    return repr(value) if type(value) is float else str(value)


def _quoted(text: str) -> str:
    text = disarm(text)
    if any(mark in text for mark in _QUOTED):
        return '"' + text.replace('"', '""') + '"'
    return text
