"""From understood columns to blocks of values in mg/kg, for wide and for long tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from geochem import units
from geochem.model.finding import Finding, name_some
from geochem.read.analyte_column import AnalyteColumn, element_factor
from geochem.read.columns import Plan
from geochem.read.detection import ValueBlock
from geochem.read.qualifiers import part_of, qualify
from geochem.read.row_facts import RowFacts
from geochem.read.suspicious import judge_numbers
from geochem.read.text_table import TextColumn, TextTable
from geochem.read.values import Kind, Parsed, parse_column


@dataclass(slots=True, eq=False)
class Blocks:
    """Blocks of values and what was noticed."""

    blocks: list[ValueBlock] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    _same: dict[tuple[str | None, int], npt.NDArray[np.object_]] = field(default_factory=dict)

    def same(self, text: str | None, n: int) -> npt.NDArray[np.object_]:
        """Give an array of one text, made once for all columns; never written to."""
        if (text, n) not in self._same:
            self._same[text, n] = np.repeat(np.array([text], dtype=object), n)
        return self._same[text, n]


def wide_blocks(
    table: TextTable,
    plan: Plan,
    facts: RowFacts,
    *,
    limits: Mapping[str, float],
    decimal: str | None,
    source: str,  # noqa: ARG001 - one signature for both shapes of table
) -> Blocks:
    """Make one block per column of values of a wide table.

    Parameters
    ----------
    table, plan, facts
        The table, its columns, its rows.
    limits : mapping of str to float
        Of the campaign. [mg/kg]
    decimal : {".", ","}, optional
        Decimal mark the user states.
    source : {"laboratory", "pxrf"}
        Not used for wide tables.

    Returns
    -------
    Blocks
        Rows without an id are left out.
    """
    out = Blocks()
    keep = np.array([i is not None for i in facts.ids], dtype=bool)
    rows = np.flatnonzero(keep)
    whole = len(rows) == len(keep)
    lost: dict[Kind, int] = {}
    for a in plan.analytes:
        assert a.parsed is not None
        if whole:
            parsed = a.parsed
            parsed = Parsed(
                parsed.number.copy(), parsed.kind.copy(), parsed.notation, parsed.unit_rows
            )
        else:
            parsed = Parsed(
                a.parsed.number[rows],
                a.parsed.kind[rows],
                a.parsed.notation,
                _shift(a.parsed.unit_rows, keep),
            )
        column = table.columns[a.index] if whole else table.columns[a.index].take(rows)
        out.findings += block_of(table, a, parsed, column, rows, facts, limits, decimal, out)
        for kind in (Kind.NO_SAMPLE, Kind.NOT_ANALYSED, Kind.ERROR_CELL):
            n = int(a.parsed.is_kind(kind).sum())
            if n:
                lost[kind] = lost.get(kind, 0) + n
    out.findings += say_missing(table, lost)
    return out


def _shift(
    unit_rows: Mapping[str, npt.NDArray[np.int64]], keep: npt.NDArray[np.bool_]
) -> dict[str, npt.NDArray[np.int64]]:
    place = np.cumsum(keep) - 1
    return {u: place[w[keep[w]]] for u, w in unit_rows.items()}


def block_of(
    table: TextTable,
    a: AnalyteColumn,
    parsed: Parsed,
    column: TextColumn,
    rows: npt.NDArray[np.int64],
    facts: RowFacts,
    limits: Mapping[str, float],
    decimal: str | None,
    out: Blocks,
) -> list[Finding]:
    """Make one block of one column of values and keep it; give what was noticed.

    Parameters
    ----------
    table : TextTable
        The table.
    a : AnalyteColumn
        What the column is.
    parsed : Parsed
        Its values, changed where a number is none.
    column : TextColumn
        Its cells.
    rows : ndarray of int, shape (n,)
        Indices of the records.
    facts : RowFacts
        What else the rows say.
    limits : mapping of str to float
        Of the campaign. [mg/kg]
    decimal : {".", ","}, optional
        Decimal mark the user states.
    out : Blocks
        Gets the block.

    Returns
    -------
    list of Finding
        What was noticed.
    """
    name = table.names[a.index]
    ids = facts.ids[rows]
    findings = qualify(table, a, parsed, rows)
    findings += judge_numbers(
        parsed,
        file=table.file,
        column=name,
        element=a.element,
        rows=table.rows[rows],
        ids=ids,
        raw=lambda where: column.some(where).tolist(),
        may_be_negative=a.is_other,
    )
    n = len(rows)
    factor: Any = a.factor
    unit: Any = a.unit
    if a.factor_rows is not None and a.unit_rows is not None:
        factor, unit = a.factor_rows[rows], a.unit_rows[rows]
    value = parsed.number * factor
    for cell_unit, where in parsed.unit_rows.items():
        if a.is_other:
            continue
        value[where] = parsed.number[where] * element_factor(cell_unit, a.oxide)
        if cell_unit != a.unit and units.factor(cell_unit) != units.factor(a.unit):
            findings.append(
                Finding(
                    "unit-in-cell", "warning",
                    f"{len(where)} cells of column '{name}' state {cell_unit}, the column "
                    f"{a.unit}; the cell was believed ({name_some(ids[where].tolist())}).",
                    table.file, int(table.rows[rows][where[0]]), name, None, a.element,
                )
            )  # fmt: skip
    err = np.full(n, np.nan)
    if a.error is not None:
        errors = parse_column(part_of(table, a.error, rows), decimal=decimal)
        good = (errors.kind == Kind.READING) & (errors.number > 0)
        scale = (
            value / 100.0
            if a.error_relative
            else (factor if a.factor_rows is not None else a.error_factor)
        )
        err = np.where(good, errors.number * scale, np.nan)
        if a.error_relative:
            err[parsed.kind != Kind.READING] = np.nan
    row_limit = None
    if a.limit is not None:
        got = parse_column(part_of(table, a.limit, rows), decimal=decimal)
        good = got.is_kind(Kind.READING, Kind.BELOW) & (got.number > 0)
        row_limit = np.where(good, got.number * a.limit_factor, np.nan)
    method = a.method
    columns: dict[str, Any] = {k: _of_rows(v, rows, n) for k, v in facts.columns.items()}
    if method is not None:
        columns["method"] = out.same(method, n)
    columns["unit_given"] = unit if isinstance(unit, np.ndarray) else out.same(unit, n)
    columns["raw"] = column.some
    columns["file"] = out.same(table.file, n)
    methods = sorted({m for m in columns["method"].tolist() if m is not None})
    digestions = sorted({m for m in columns["digestion"].tolist() if m is not None})
    columns |= {
        "unit": a.unit if not isinstance(unit, np.ndarray) else "by row",
        "factor": 1.0 if a.is_other else a.factor,
        "method_name": method or (methods[0] if len(methods) == 1 else None),
        "digestion_name": digestions[0] if len(digestions) == 1 else None,
        "limit_high": a.limit_high,
        "oxide": a.oxide,
        "is_other": a.is_other,
    }
    _over_range(parsed, value, a.limit_high)
    out.blocks.append(
        ValueBlock(
            a.element, name, table.file, table.rows[rows], value, err, parsed.kind, a.error_sigma,
            a.limit_low if np.isfinite(a.limit_low) else limits.get(a.element, np.nan),
            row_limit, np.zeros(n, dtype=bool), facts.group[rows], columns,
        )
    )  # fmt: skip
    return findings


def _over_range(parsed: Parsed, value: npt.NDArray[np.float64], high: float) -> None:
    """Give ``over range`` the table's upper limit, where it states one."""
    bare = parsed.kind == Kind.BARE_ABOVE
    if bare.any() and np.isfinite(high):
        value[bare] = high
        parsed.kind[bare] = Kind.ABOVE


def _of_rows(given: Any, rows: npt.NDArray[np.int64], n: int) -> Any:
    if isinstance(given, np.ndarray):
        return given if len(given) == n else given[rows]
    return given


def say_missing(table: TextTable, lost: Mapping[Kind, int]) -> list[Finding]:
    """Count the cells that say why nothing is there, each kind apart."""
    said = {
        Kind.NO_SAMPLE: ("missing-no-sample", "note", "say that there was not enough sample"),
        Kind.NOT_ANALYSED: ("missing-not-analysed", "note", "say that nothing was analysed"),
        Kind.ERROR_CELL: ("missing-error-cell", "warning", "hold an error of a spreadsheet"),
    }
    return [
        Finding(
            said[kind][0], said[kind][1],  # type: ignore[arg-type]
            f"{n} cells of '{table.file}' {said[kind][2]}; they count as missing.", table.file,
        )
        for kind, n in sorted(lost.items())
    ]  # fmt: skip
