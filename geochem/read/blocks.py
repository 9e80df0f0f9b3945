"""From understood columns to blocks of values in mg/kg, for wide and for long tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from geochem import units
from geochem.errors import WrongCall
from geochem.model.finding import Finding, name_some
from geochem.read.analyte_column import AnalyteColumn, element_factor, name_of_element
from geochem.read.columns import Plan
from geochem.read.detection import ValueBlock
from geochem.read.headers import OTHERS, understand_header
from geochem.read.row_facts import RowFacts
from geochem.read.suspicious import judge_numbers
from geochem.read.text_table import TextColumn, TextTable
from geochem.read.values import MARKS, Kind, Parsed, parse_column

_OTHER_NAMES = {name for name, _ in OTHERS.values()}
_TRUE = frozenset({"true", "1", "yes", "y", "t", "x"})
#: marks of a column of qualifiers -> kind of the value beside it
_QUALIFIERS = {"<": Kind.BELOW, "u": Kind.BELOW, "bdl": Kind.BELOW, "lt": Kind.BELOW,
               "nd": Kind.BELOW, "below": Kind.BELOW, "<lod": Kind.BELOW, "<dl": Kind.BELOW,
               "<=": Kind.BELOW, ">": Kind.ABOVE, "gt": Kind.ABOVE, "above": Kind.ABOVE,
               ">=": Kind.ABOVE, "over": Kind.ABOVE}  # fmt: skip
_NO_QUALIFIER = frozenset({"", "=", "j", "ok", "eq", "d", "detect", "detected"})


@dataclass(slots=True, eq=False)
class Blocks:
    """Blocks of values and what was noticed."""

    blocks: list[ValueBlock] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)


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
        out.findings += _block(table, a, parsed, column, rows, facts, limits, decimal, out)
        for kind in (Kind.NO_SAMPLE, Kind.NOT_ANALYSED, Kind.ERROR_CELL):
            n = int(a.parsed.is_kind(kind).sum())
            if n:
                lost[kind] = lost.get(kind, 0) + n
    out.findings += _say_missing(table, lost)
    return out


def _shift(
    unit_rows: Mapping[str, npt.NDArray[np.int64]], keep: npt.NDArray[np.bool_]
) -> dict[str, npt.NDArray[np.int64]]:
    place = np.cumsum(keep) - 1
    return {u: place[w[keep[w]]] for u, w in unit_rows.items()}


def _block(
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
    name = table.names[a.index]
    ids = facts.ids[rows]
    findings = _qualify(table, a, parsed, rows)
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
        errors = parse_column(_part(table, a.error, rows), decimal=decimal)
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
        got = parse_column(_part(table, a.limit, rows), decimal=decimal)
        good = got.is_kind(Kind.READING, Kind.BELOW) & (got.number > 0)
        row_limit = np.where(good, got.number * a.limit_factor, np.nan)
    method = a.method
    columns: dict[str, Any] = {k: _of_rows(v, rows, n) for k, v in facts.columns.items()}
    if method is not None:
        columns["method"] = np.full(n, method, dtype=object)
    columns["unit_given"] = (
        unit if isinstance(unit, np.ndarray) else np.full(n, unit, dtype=object)
    )
    columns["raw"] = column.some
    columns["file"] = np.full(n, table.file, dtype=object)
    methods = sorted({m for m in columns["method"].tolist() if m is not None})
    digestions = sorted({m for m in columns["digestion"].tolist() if m is not None})
    columns |= {
        "unit": a.unit if not isinstance(unit, np.ndarray) else "by row",
        "factor": 1.0 if a.is_other else a.factor,
        "method_name": method or (methods[0] if len(methods) == 1 else None),
        "digestion_name": digestions[0] if len(digestions) == 1 else None,
        "limit_high": a.limit_high,
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


def _part(table: TextTable, i: int, rows: npt.NDArray[np.int64]) -> TextColumn:
    column = table.columns[i]
    return column if len(rows) == len(column) else column.take(rows)


def _qualify(
    table: TextTable,
    a: AnalyteColumn,
    parsed: Parsed,
    rows: npt.NDArray[np.int64],
) -> list[Finding]:
    """Let columns of marks and flags beside the values say what is below or above."""
    for i, kind in ((a.below, Kind.BELOW), (a.above, Kind.ABOVE)):
        if i is None:
            continue
        flag = np.array([t.lower() in _TRUE for t in _part(table, i, rows).texts()], dtype=bool)
        parsed.kind[flag & (parsed.kind == Kind.READING)] = kind
    if a.qualifier is None:
        return []
    return apply_qualifiers(
        parsed, _part(table, a.qualifier, rows).texts(), table=table,
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


def long_blocks(
    table: TextTable,
    plan: Plan,
    facts: RowFacts,
    *,
    limits: Mapping[str, float],
    decimal: str | None,
    source: str,
) -> Blocks:
    """Make one block per analyte and unit of a long table (one value per row).

    Parameters
    ----------
    table, plan, facts
        The table, its columns, its rows.
    limits : mapping of str to float
        Of the campaign. [mg/kg]
    decimal : {".", ","}, optional
        Decimal mark the user states.
    source : {"laboratory", "pxrf"}
        Decides how serious a missing unit is.

    Returns
    -------
    Blocks
        Rows without an id are left out.
    """
    import pandas as pd

    out = Blocks()
    n = len(table)
    name_codes, names = pd.factorize(table.columns[plan.columns["analyte"]].texts())
    if "unit" in plan.columns:
        unit_codes, given = pd.factorize(table.columns[plan.columns["unit"]].texts())
    else:
        unit_codes, given = np.zeros(n, dtype=np.int64), np.array([""], dtype=object)
    has_id = np.array([i is not None for i in facts.ids], dtype=bool)
    values = table.columns[plan.columns["value"]]
    comma = bool(decimal is None and parse_column(values).notation.decimal == ",")
    unknown: dict[str, npt.NDArray[np.int64]] = {}
    bare: list[str] = []
    lost: dict[Kind, int] = {}
    key = name_codes.astype(np.int64) * len(given) + unit_codes
    for k in pd.unique(key):
        where = np.flatnonzero((key == k) & has_id)
        if not len(where):
            continue
        name, unit_text = str(names[k // len(given)]), str(given[k % len(given)])
        made = _long_column(plan, name, unit_text)
        if made is None:
            label = f"{name} [{unit_text}]" if unit_text else name
            unknown[label] = table.rows[where]
            continue
        a = made
        if a.assumed:
            bare.append(name)
        column = values.take(where)
        parsed = parse_column(column, decimal=decimal or ("," if comma else None))
        a.parsed = parsed
        if "qualifier" in plan.columns:
            i = plan.columns["qualifier"]
            out.findings += apply_qualifiers(
                parsed, table.columns[i].take(where).texts(), table=table, name=table.names[i],
                element=a.element,
            )  # fmt: skip
        for part in ("error", "limit"):
            if part in plan.columns:
                setattr(a, part, plan.columns[part])
        if a.error is not None:
            meaning = understand_header(f"Cu {table.names[a.error]}")
            a.error_sigma = meaning.sigma if meaning is not None else None
            a.error_factor = a.factor
        a.limit_factor = a.factor
        if "limit_high" in plan.columns:
            got = parse_column(table.columns[plan.columns["limit_high"]].take(where))
            high = got.number[got.kind == Kind.READING]
            a.limit_high = float(np.median(high)) * a.factor if len(high) else np.nan
        out.findings += _block(table, a, parsed, column, where, facts, limits, decimal, out)
        out.blocks[-1].name = name
        for kind in (Kind.NO_SAMPLE, Kind.NOT_ANALYSED, Kind.ERROR_CELL):
            count = int((values_kind := parsed.kind == kind).sum())
            del values_kind
            if count:
                lost[kind] = lost.get(kind, 0) + count
    if unknown:
        rows = np.concatenate(list(unknown.values()))
        out.findings.append(
            Finding(
                "analyte-unknown", "warning",
                f"{len(rows)} rows name analytes or units that are not known "
                f"({name_some(list(unknown))}) and were not read: rows "
                f"{name_some(np.sort(rows).tolist())}.", table.file, int(rows.min()),
                table.names[plan.columns["analyte"]],
            )
        )  # fmt: skip
    if bare:
        out.findings.append(
            Finding(
                "unit-assumed", "note" if source == "pxrf" else "warning",
                f"no unit is stated for {name_some(bare)}; ppm was assumed (oxides: %). Add a "
                "column of units.", table.file,
            )
        )  # fmt: skip
    out.findings += _say_missing(table, lost)
    return out


def _long_column(plan: Plan, name: str, unit_text: str) -> AnalyteColumn | None:
    """Understand the analyte and unit of a row; None if one of them is not known."""
    meaning = understand_header(name)
    if meaning is None or meaning.kind not in ("value", "other"):
        try:
            element, oxide = name_of_element(name)
        except WrongCall:
            return None
        method, own = None, None
    else:
        element, oxide = meaning.element, meaning.oxide
        method, own = meaning.method, meaning.unit
    index = plan.columns["value"]
    if element in _OTHER_NAMES:
        return AnalyteColumn(
            index, element, unit_text or own or "%", 1.0, is_other=True, method=method
        )
    unit = units.read_unit(unit_text) if unit_text else own
    if unit is None and unit_text:
        return None
    assumed = unit is None
    unit = unit or ("%" if oxide else "ppm")
    return AnalyteColumn(
        index,
        element,
        unit,
        element_factor(unit, oxide),
        method=method,
        assumed=assumed,
        oxide=oxide,
    )


def _say_missing(table: TextTable, lost: Mapping[Kind, int]) -> list[Finding]:
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
