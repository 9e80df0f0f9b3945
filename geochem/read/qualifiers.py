"""Marks beside values (``<``, ``U``, a flag for below): what they make of a value."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from geochem.model.finding import Finding, name_some
from geochem.read.analyte_column import AnalyteColumn
from geochem.read.text_table import TextColumn, TextTable
from geochem.read.values import MARKS, Kind, Parsed

_TRUE = frozenset({"true", "1", "yes", "y", "t", "x"})
#: marks of a column of qualifiers -> kind of the value beside it
_QUALIFIERS = {"<": Kind.BELOW, "u": Kind.BELOW, "uj": Kind.BELOW, "bdl": Kind.BELOW, "lt": Kind.BELOW,
               "nd": Kind.BELOW, "below": Kind.BELOW, "<lod": Kind.BELOW, "<dl": Kind.BELOW,
               "<=": Kind.BELOW, ">": Kind.ABOVE, "gt": Kind.ABOVE, "above": Kind.ABOVE,
               ">=": Kind.ABOVE, "over": Kind.ABOVE}  # fmt: skip
_NO_QUALIFIER = frozenset({"", "=", "j", "ok", "eq", "d", "detect", "detected"})


def part_of(table: TextTable, i: int, rows: npt.NDArray[np.int64]) -> TextColumn:
    """Give a column of some rows, the whole column where they are all."""
    column = table.columns[i]
    return column if len(rows) == len(column) else column.take(rows)


def qualify(
    table: TextTable,
    a: AnalyteColumn,
    parsed: Parsed,
    rows: npt.NDArray[np.int64],
) -> list[Finding]:
    """Let columns of marks and flags beside the values say what is below or above."""
    for i, kind in ((a.below, Kind.BELOW), (a.above, Kind.ABOVE)):
        if i is None:
            continue
        flag = np.array([t.lower() in _TRUE for t in part_of(table, i, rows).texts()], dtype=bool)
        parsed.kind[flag & (parsed.kind == Kind.READING)] = kind
    if a.qualifier is None:
        return []
    return apply_qualifiers(
        parsed, part_of(table, a.qualifier, rows).texts(), table=table,
        name=table.names[a.qualifier], element=a.element,
    )  # fmt: skip


def apply_qualifiers(
    parsed: Parsed,
    texts: npt.NDArray[Any],
    *,
    table: TextTable,
    name: str,
    element: str,
) -> list[Finding]:
    """Apply a column of marks such as ``<`` and ``U`` to the values beside it."""
    strange: dict[str, int] = {}
    lowered = np.array([t.lower().replace(" ", "") for t in texts], dtype=object)
    for mark in sorted(set(lowered.tolist())):
        where = lowered == mark
        kind = _QUALIFIERS.get(mark)
        if kind is None and mark in MARKS and MARKS[mark] == Kind.BARE_BELOW:
            kind = Kind.BELOW
        if kind is not None:
            hit = where & (parsed.kind == Kind.READING)
            parsed.kind[hit] = kind
            empty = where & (parsed.kind == Kind.EMPTY)
            parsed.kind[empty] = Kind.BARE_BELOW if kind == Kind.BELOW else Kind.BARE_ABOVE
        elif mark not in _NO_QUALIFIER:
            strange[mark] = int(where.sum())
    if not strange:
        return []
    return [
        Finding(
            "qualifier-unknown", "warning",
            f"column '{name}' holds marks that are not known ({name_some(sorted(strange))}); the "
            f"values of {element} beside them were read as they stand.", table.file, None, name,
            None, element,
        )
    ]  # fmt: skip
