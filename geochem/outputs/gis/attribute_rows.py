"""Rows of an attribute table of a GeoPackage, put in through SQLite.

What lives here: rows for a table that GDAL has made empty. GDAL takes them one feature at a time;
SQLite takes them many times quicker, and quicker still when what does not change within a block of
rows (the element, the file, what is missing) stands in the statement and not in every row.
"""

from __future__ import annotations

import math
import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

#: rows whose values are in memory as objects together
_BLOCK = 30_000
#: rows of one statement: a third quicker than one by one; more are slower again
_TOGETHER = 16
#: question marks that every SQLite allows in a statement
_MARKS = 999
#: characters of a statement, should a text that all rows share be that long
_LONG = 100_000


def insert_rows(frame: pd.DataFrame, path: Path, table: str) -> None:
    """Put rows into an empty table of a GeoPackage.

    Parameters
    ----------
    frame : pandas.DataFrame
        Numbers, flags, texts, dates; the index is not written.
    path : Path
        GeoPackage in the making: not fit for use when this fails.
    table : str
        A table with these columns and no rows.
    """
    connection = sqlite3.connect(path)
    try:
        # nobody else sees a file in the making, and one that fails is thrown away
        connection.execute("PRAGMA synchronous=OFF")
        connection.execute("PRAGMA journal_mode=OFF")
        with connection:
            # GDAL's triggers count every row by itself; here they are counted once
            triggers = connection.execute(
                "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?",
                (table,),
            ).fetchall()
            for name, _ in triggers:
                connection.execute(f"DROP TRIGGER {_quoted(name)}")
            for first in range(0, len(frame), _BLOCK):
                _insert(connection, table, frame.iloc[first : first + _BLOCK])
            connection.execute(
                "UPDATE gpkg_ogr_contents SET feature_count = ? WHERE table_name = ?",
                (len(frame), table),
            )
            for _, statement in triggers:
                connection.execute(statement)
    finally:
        connection.close()


def _insert(connection: sqlite3.Connection, table: str, block: pd.DataFrame) -> None:
    names = ", ".join(_quoted(str(name)) for name in block.columns)
    changing, words = [], []
    for j in range(block.shape[1]):
        values = _values(block.iloc[:, j])
        word = _constant(values)
        words.append("?" if word is None else word)
        if word is None:
            changing.append(_without_gaps(values) if block.dtypes.iloc[j].kind == "O" else values)
    rows, wide = len(block), len(changing)
    flat: list[Any] = [None] * (rows * wide)
    for j, values in enumerate(changing):
        flat[j::wide] = values
    one = f"({', '.join(words)})"
    together = max(1, min(_TOGETHER, _MARKS // max(wide, 1), _LONG // len(one)))
    whole = rows - rows % together
    for first, last, n in ((0, whole, together), (whole, rows, 1)):
        connection.executemany(
            f"INSERT INTO {_quoted(table)} ({names}) VALUES {', '.join([one] * n)}",
            (flat[k * wide : (k + n) * wide] for k in range(first, last, n)),
        )


def _values(column: pd.Series) -> list[Any]:
    """Give what SQLite stores; None where missing."""
    import numpy as np
    import pandas as pd
    from pandas.api.types import is_bool_dtype, is_datetime64_any_dtype

    if isinstance(column.dtype, np.dtype) and column.dtype.kind == "f":
        return column.tolist()  # SQLite stores NaN as NULL
    if is_datetime64_any_dtype(column.dtype):
        code, distinct = pd.factorize(column, use_na_sentinel=True)
        days = pd.DatetimeIndex(distinct).strftime("%Y-%m-%dT%H:%M:%S.000Z").tolist()
        return list(np.array([*days, None], dtype=object)[code])
    if is_bool_dtype(column.dtype) and not column.isna().any():
        return column.to_numpy().astype(int).tolist()
    plain = column.to_numpy(dtype=object)
    if column.dtype == object:
        return list(plain)
    plain = plain.copy()
    plain[column.isna().to_numpy()] = None
    return list(plain)


def _without_gaps(values: list[Any]) -> list[Any]:
    """Give None for the marks of pandas that SQLite does not know."""
    import pandas as pd

    return [None if v is pd.NA or v is pd.NaT else v for v in values]


def _constant(values: list[Any]) -> str | None:
    """Write the value that all rows share as SQL; None when they differ or it cannot be written."""
    value = values[0]
    if isinstance(value, float) and math.isnan(value):
        return "NULL" if all(map(math.isnan, values)) else None
    if (
        type(value) is not type(values[-1])
        or values[-1] != value
        or values.count(value) != len(values)
    ):
        return None
    if value is None:
        return "NULL"
    if isinstance(value, str) and "\0" not in value:
        return "'" + value.replace("'", "''") + "'"
    if type(value) is int or (type(value) is float and math.isfinite(value)):
        return repr(value)
    return None


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
