"""A large survey as Parquet: one wide table in pieces, read a block or a column at a time.

The columns are those of the samples table (``sample_id, easting, northing, Cu_ppm, Cu_ppm_below``
...), so that what one run wrote another reads. Only the Parquet metadata are held in memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import DataRefused, WrongCall
from geochem.model.tables import Values
from geochem.optional import require

if TYPE_CHECKING:
    import numpy.typing as npt

_PURPOSE = "read Parquet"


@dataclass(frozen=True, slots=True)
class Block:
    """One piece of a survey: a row group of one file.

    Parameters
    ----------
    number : int
        Place in the order of the survey.
    path : str
        File.
    row_group : int
        Which of the file.
    first, rows : int
        Number of the first row in the survey, and how many there are.
    """

    number: int
    path: str
    row_group: int
    first: int
    rows: int


@dataclass(frozen=True, slots=True)
class SurveyTable:
    """What a Parquet survey holds; small enough to be sent to another process.

    Parameters
    ----------
    paths : tuple of str
        Files, sorted by name.
    columns : frozenset of str
        Names in every file.
    elements : tuple of str
        Those with a column ``<El>_ppm``.
    blocks : tuple of Block
        In the order of the survey.
    """

    paths: tuple[str, ...]
    columns: frozenset[str]
    elements: tuple[str, ...]
    blocks: tuple[Block, ...]

    @property
    def n(self) -> int:
        """Rows of the survey."""
        return sum(b.rows for b in self.blocks)


def open_survey(paths: Sequence[Path]) -> SurveyTable:
    """Look at the metadata of the files of a survey.

    Parameters
    ----------
    paths : sequence of Path
        Parquet files.

    Returns
    -------
    SurveyTable
        Columns, elements and blocks; no value is read.

    Raises
    ------
    DataRefused
        If a file is no Parquet, the files differ in their columns, or position, id or elements are
        missing.
    MissingExtra
        Without the extra ``big``.
    """
    parquet = require("pyarrow.parquet", extra="big", purpose=_PURPOSE)
    files = list(paths)
    if not files:
        raise DataRefused("the survey has no Parquet file.")
    columns: frozenset[str] = frozenset()
    blocks: list[Block] = []
    first = 0
    for number, path in enumerate(files):
        try:
            meta = parquet.ParquetFile(path).metadata
        except (OSError, ValueError) as error:
            raise DataRefused(f"{path.name} cannot be read as Parquet ({error}).") from None
        here = frozenset(meta.schema.to_arrow_schema().names)
        if number == 0:
            columns = here
            _check_columns(columns, path.name)
        elif here != columns:
            odd = ", ".join(sorted(here ^ columns)[:5])
            raise DataRefused(
                f"{path.name} has other columns than {files[0].name} ({odd}); all files of a survey "
                "must have the same."
            )
        for group in range(meta.num_row_groups):
            rows = meta.row_group(group).num_rows
            blocks.append(Block(len(blocks), str(path), group, first, rows))
            first += rows
    return SurveyTable(tuple(map(str, files)), columns, _elements(columns), tuple(blocks))


def _elements(columns: frozenset[str]) -> tuple[str, ...]:
    from geochem.elements import SYMBOLS, element_rank

    found = [c[: -len("_ppm")] for c in columns if c.endswith("_ppm")]
    return tuple(sorted((e for e in found if e in SYMBOLS), key=element_rank))


def _check_columns(columns: frozenset[str], name: str) -> None:
    missing = [c for c in ("sample_id", "easting", "northing") if c not in columns]
    if missing or not _elements(columns):
        what = ", ".join(missing) or "any element such as Cu_ppm"
        raise DataRefused(
            f"{name} lacks {what}; a Parquet survey has the columns of the samples table: "
            "sample_id, easting, northing, Cu_ppm, and where they are known Cu_ppm_below (true or "
            "false: the number is then the limit), Cu_ppm_above, Cu_ppm_err, medium and units. It "
            f"has: {', '.join(sorted(columns)[:12])} ..."
        )


def read_block(table: SurveyTable, block: Block, columns: Sequence[str]) -> dict[str, Any]:
    """Read some columns of one block.

    Parameters
    ----------
    table : SurveyTable
        The survey.
    block : Block
        Which piece.
    columns : sequence of str
        Names; those the survey does not have are passed over.

    Returns
    -------
    dict of str to ndarray
        Numbers with NaN for missing, flags with False for missing, texts as pyarrow arrays.
    """
    parquet = require("pyarrow.parquet", extra="big", purpose=_PURPOSE)
    wanted = [c for c in columns if c in table.columns]
    read = parquet.ParquetFile(block.path).read_row_group(block.row_group, columns=wanted)
    return {name: _array(read.column(name)) for name in wanted}


def read_column(table: SurveyTable, name: str) -> Any:
    """Read one column of the whole survey; None when it has no such column.

    Parameters
    ----------
    table : SurveyTable
        The survey.
    name : str
        Of the column.

    Returns
    -------
    ndarray or pyarrow array, shape (n,)
        As in `read_block`.
    """
    if name not in table.columns:
        return None
    pyarrow = require("pyarrow", extra="big", purpose=_PURPOSE)
    parquet = require("pyarrow.parquet", extra="big", purpose=_PURPOSE)
    pieces = [parquet.ParquetFile(p).read(columns=[name]).column(name) for p in table.paths]
    return _array(pyarrow.chunked_array([c for piece in pieces for c in piece.chunks]))


def _array(column: Any) -> Any:
    import pyarrow as pa

    kind = column.type
    if pa.types.is_boolean(kind):
        return column.fill_null(False).to_numpy()  # noqa: FBT003 - pyarrow takes the value by place
    if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_null(kind):
        return column.cast(pa.float64()).to_numpy()
    if pa.types.is_dictionary(kind):
        column = column.cast(kind.value_type)
        kind = column.type
    if pa.types.is_string(kind) or pa.types.is_large_string(kind):
        return column
    raise WrongCall(f"a column of type {kind} cannot be used; numbers, flags and texts can.")


def values_in(read: dict[str, Any], element: str, rows: int) -> Values:
    """Give the values of one element out of columns that were read.

    Parameters
    ----------
    read : dict
        From `read_block`.
    element : str
        Symbol.
    rows : int
        How many there are.

    Returns
    -------
    Values
        Shape (rows,) each; zero and negative numbers are missing values.
    """
    name = f"{element}_ppm"
    nothing = np.zeros(rows, dtype=bool)
    value = read[name]
    value = np.where(value > 0, value, np.nan)
    known = np.isfinite(value)
    err = read.get(f"{name}_err")
    return Values(
        value,
        np.asarray(read.get(f"{name}_below", nothing), dtype=bool) & known,
        np.asarray(read.get(f"{name}_above", nothing), dtype=bool) & known,
        np.full(rows, np.nan) if err is None else np.asarray(err, dtype=float),
    )


def element_columns(elements: Sequence[str]) -> list[str]:
    """Name the columns that hold values and flags of elements."""
    return [f"{e}_ppm{s}" for e in elements for s in ("", "_below", "_above", "_err")]


def texts_as_codes(column: Any, names: Sequence[str]) -> npt.NDArray[np.int16]:
    """Give each text its place in a list of names, -1 where it is not among them.

    Parameters
    ----------
    column : pyarrow array of text
        From `read_block`.
    names : sequence of str
        Known texts.

    Returns
    -------
    ndarray of int16, shape (rows,)
        Missing texts are ``""`` when that is among the names.
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    found = pc.index_in(pc.fill_null(column, ""), value_set=pa.array(list(names)))
    return np.asarray(pc.fill_null(found, -1).to_numpy(), dtype=np.int16)
