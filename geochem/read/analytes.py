"""Columns of values in a wide table: element, unit, factor, error, limit, method."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from geochem import units
from geochem.errors import WrongCall, unknown
from geochem.model.finding import Finding, name_some
from geochem.read.analyte_column import (
    AnalyteColumn,
    Found,
    element_factor,
    name_of_element,
)
from geochem.read.attached import attach
from geochem.read.header_rows import is_error_word, row_kind
from geochem.read.headers import (
    AMBIGUOUS_CAPITALS,
    OTHERS,
    HeaderMeaning,
    case_of_table,
    strange_unit,
    understand_header,
)
from geochem.read.numerals import plain
from geochem.read.text_table import TextTable
from geochem.read.values import HELD, MISSING, Kind, Parsed, parse_column, understand

#: elements that make up rock: as ppm a median below this level is not believable without a unit.
#: [mg/kg]; common practice, no source
_MAJORS = {"Si": 60.0, "Al": 60.0, "Fe": 60.0, "Ca": 10.0, "Mg": 10.0, "K": 10.0, "Na": 10.0}


def find_analytes(
    table: TextTable,
    free: Sequence[int],
    stated: Mapping[int, Mapping[str, Any]],
    *,
    source: str,
    decimal: str | None = None,
    unit_column: int | None = None,
    quiet: bool = False,
) -> Found:
    """Find the columns of values among the free columns of a wide table.

    Parameters
    ----------
    table : TextTable
        The table.
    free : sequence of int
        Columns that are nothing else.
    stated : mapping of int to mapping
        What the user says of columns.
    source : {"laboratory", "pxrf"}
        Decides how serious a missing unit is.
    decimal : {".", ","}, optional
        Decimal mark the user states.
    unit_column : int, optional
        A column that states the unit of the whole row.
    quiet : bool, default False
        Only find the columns, parse nothing (a field log leaves them to the assays).

    Returns
    -------
    Found
        Columns with everything that belongs to them.
    """
    out = Found()
    rows = _other_rows(table)
    meanings: dict[int, HeaderMeaning | None] = {}
    for i in free:
        meanings[i] = _meaning(table, i, rows)
        cell = rows["unit"][i] if "unit" in rows else ""
        bad = _bad_unit(table.names[i], cell, meanings[i])
        if bad is not None and i not in stated:
            meanings[i] = None
            out.attached[i] = "not read"
            out.findings.append(
                Finding(
                    "unit-not-known", "warning",
                    f"column '{table.names[i]}' was not read: '{bad}' is no unit of mass per mass "
                    "that leaves no doubt. State the column under `analytes` with a unit such as "
                    "ppm, %, ppb, g/t, 'oz/short ton'.", table.file, None, table.names[i],
                )
            )  # fmt: skip
    for i, entry in stated.items():
        if entry["is"] == "ignored":
            out.attached[i] = "ignored"
            continue
        meanings[i] = _stated_meaning(table.names[i], entry)
    _judge_case(table, meanings, stated, out)
    values = sorted(
        i for i, m in meanings.items() if m is not None and m.kind in ("value", "other")
    )
    if quiet:
        for i in values:
            m = meanings[i]
            assert m is not None
            out.analytes.append(AnalyteColumn(i, m.element, m.unit or "ppm", 1.0))
        out.attached.update(
            {i: m.kind for i, m in meanings.items() if m is not None and i not in values}
        )
        return out
    parsed = {i: parse_column(table.columns[i], decimal=decimal) for i in values}
    if decimal is None and any(p.notation.decimal == "," for p in parsed.values()):
        # another column proves the decimal comma: points before three digits are now in doubt
        for i in values:
            parsed[i] = parse_column(table.columns[i], comma_table=True)
    elif decimal is None and table.dialect.separator == ";" and not _proves_point(parsed):
        # the semicolon goes with the decimal comma: 1.350 alone may then be 1350
        for i in values:
            parsed[i] = parse_column(table.columns[i], comma_table=True)
    values = [i for i in values if _holds_values(table, i, parsed[i], i in stated, out)]
    for i in values:
        m = meanings[i]
        assert m is not None
        out.analytes.append(_column(i, m, parsed[i], rows))
    _row_units(table, out, unit_column)
    _say_units(table, out, source)
    attach(table, meanings, set(free), out)
    _say_doubled(table, out)
    return out


def _proves_point(parsed: Mapping[int, Parsed]) -> bool:
    """Say whether any column shows that the point is a decimal mark."""
    return any(p.notation.proof and p.notation.decimal == "." for p in parsed.values())


def _other_rows(table: TextTable) -> dict[str, tuple[str, ...]]:
    """Sort the further header rows by what they hold."""
    rows: dict[str, tuple[str, ...]] = {}
    for row in table.under:
        # a row between the names and the units that is neither holds methods
        rows.setdefault(row_kind(row, table.names) or "method", row)
    for row in table.above:
        kind = row_kind(row, table.names, above=True)
        if kind:
            rows.setdefault(kind, row)
    return rows


def _meaning(table: TextTable, i: int, rows: dict[str, tuple[str, ...]]) -> HeaderMeaning | None:
    name = table.names[i]
    meaning = understand_header(name)
    cell = rows["unit"][i] if "unit" in rows else ""
    if not cell:
        return meaning
    if not name and is_error_word(cell):
        # one name over two columns: the value and its error
        left = next((n for n in reversed(table.names[:i]) if n), "")
        return understand_header(f"{left} {cell.strip('()[] ')}")
    unit = units.read_unit(cell)
    if meaning is not None and unit and meaning.unit in (None, unit):
        return dataclasses.replace(meaning, unit=unit)
    if meaning is not None and meaning.kind == "other":
        return dataclasses.replace(meaning, unit=unit or cell)
    if meaning is None or (unit is None and meaning.unit is None):
        # "error", "2s" in the row of units; or a symbol that only a unit makes one
        return understand_header(f"{name} {cell.strip('()[]')}") or meaning
    return meaning


def _bad_unit(name: str, cell: str, meaning: HeaderMeaning | None) -> str | None:
    """Give a unit, of the header or of the row of units, that must not be taken for ppm."""
    if meaning is None:
        return strange_unit(name)
    if meaning.kind == "value" and meaning.unit is None and any(c.isalpha() for c in cell):
        return strange_unit(name, cell)
    return None


def _stated_meaning(name: str, entry: Mapping[str, Any]) -> HeaderMeaning:
    told = understand_header(name)
    if "element" in entry:
        element, oxide = name_of_element(str(entry["element"]))
    elif told is not None:
        element, oxide = told.element, told.oxide
    else:
        raise WrongCall(f"analytes.'{name}' needs an `element`, for example {{ element = 'Cu' }}.")
    unit = entry.get("unit") or (told.unit if told is not None else None)
    other = element in {n for n, _ in OTHERS.values()}
    if unit is not None and not other:
        known = units.read_unit(str(unit))
        if known is None:
            raise unknown("unit", str(unit), units.FACTORS)
        unit = known
    kind = str(entry["is"])
    sigma = entry.get("sigma")
    return HeaderMeaning(
        "other" if other and kind == "value" else kind,
        element,
        name,
        unit or ("%" if other else None),
        oxide,
        float(sigma) if sigma is not None else (told.sigma if told is not None else None),
        entry.get("method") or (told.method if told is not None else None),
        "stated",
    )


def _judge_case(
    table: TextTable,
    meanings: dict[int, HeaderMeaning | None],
    stated: Mapping[int, Mapping[str, Any]],
    out: Found,
) -> None:
    """Drop symbols whose case leaves open what they are, and say so."""
    case = case_of_table(meanings.values())
    proper = {m.element for m in meanings.values() if m is not None and m.case == "proper"}
    twos = [m for m in meanings.values() if m is not None and len(m.symbol) == 2]
    alike = {c: sum(1 for m in twos if m.case == c) for c in ("upper", "lower")}
    for i, m in list(meanings.items()):
        if m is None or i in stated or m.oxide is not None or m.kind == "other":
            continue
        doubt = ""
        if m.case == "upper" and m.symbol in AMBIGUOUS_CAPITALS:
            if case == "proper" and not (m.symbol == "NA" and m.unit):
                doubt = "it is written in capitals beside symbols in chemical case"
            elif case == "upper" and alike["upper"] < 2:
                doubt = "it may be something else than an element"
        elif m.case == "lower" and m.unit is None and (case != "lower" or alike["lower"] < 2):
            doubt = "it is written in small letters"
        elif len(m.symbol) == 1 and m.unit is None and m.kind == "value":
            others = [o for j, o in meanings.items() if o is not None and j != i]
            if len(others) < 2:
                doubt = "a single letter may be anything"
        if doubt:
            meanings[i] = None
            named = m.element in proper and m.case != "proper"
            also = f" ({m.element} is there too)" if named else ""
            out.findings.append(
                Finding(
                    "symbol-in-doubt", "warning",
                    f"column '{table.names[i]}' was not read: {doubt}{also}. If it is "
                    f"{m.element}, write '{m.element}' or state it under `analytes`.",
                    table.file, None, table.names[i], None, m.element,
                )
            )  # fmt: skip
        elif m.case in ("upper", "lower") and m.symbol.upper() in AMBIGUOUS_CAPITALS:
            out.findings.append(
                Finding(
                    "symbol-case", "note",
                    f"column '{table.names[i]}' was read as {m.element}, because the whole table "
                    "writes its symbols this way.", table.file, None, table.names[i], None,
                    m.element,
                )
            )  # fmt: skip


def _holds_values(table: TextTable, i: int, got: Parsed, told: bool, out: Found) -> bool:  # noqa: FBT001
    filled = int((got.kind != Kind.EMPTY).sum())
    unread = int(got.is_kind(Kind.NOT_READ).sum())
    if filled == 0:
        out.findings.append(
            Finding(
                "column-empty", "note",
                f"column '{table.names[i]}' holds no cells.", table.file, None, table.names[i],
            )
        )  # fmt: skip
        return True
    held = (
        filled
        - unread
        - int(got.is_kind(*MISSING, Kind.DOUBTFUL).sum())
        + int(got.is_kind(Kind.EMPTY).sum())
    )
    if told or unread == 0 or (unread <= 0.5 * filled and held > 0):
        return True
    out.findings.append(
        Finding(
            "column-not-values", "warning",
            f"column '{table.names[i]}' is named like an element, but {unread} of its {filled} "
            "cells are no readings; it was not read. State it under `analytes` if it holds "
            "values.", table.file, None, table.names[i],
        )
    )  # fmt: skip
    return False


def _column(
    i: int, m: HeaderMeaning, got: Parsed, rows: dict[str, tuple[str, ...]]
) -> AnalyteColumn:
    other = m.kind == "other"
    unit, assumed = m.unit, False
    if other and unit == "%" and m.element != "pH":
        # instruments give the balance in ppm beside elements in ppm
        readings = got.number[got.is_kind(Kind.READING)]
        unit = "ppm" if len(readings) and float(np.max(readings)) > 110.0 else "%"
    if unit is None:
        assumed = True
        unit = "ppm"
        if m.oxide is not None:
            readings = got.number[got.is_kind(Kind.READING)]
            unit = "%" if not len(readings) or float(np.max(readings)) <= 100.0 else "ppm"
    factor = 1.0 if other else element_factor(unit, m.oxide)
    column = AnalyteColumn(
        i, m.element, unit, factor, other, m.method, assumed, parsed=got, oxide=m.oxide
    )
    if "method" in rows and rows["method"][i] and not column.method:
        column.method = rows["method"][i]
    for kind, name in (("limit", "limit_low"), ("limit_high", "limit_high")):
        if kind in rows and rows[kind][i]:
            cell = understand(rows[kind][i])
            value = _plain_number(cell.core)
            if value is not None:
                setattr(column, name, value * factor)
    return column


def _plain_number(core: str) -> float | None:
    from geochem.read.numerals import Notation, number

    core = plain(core)
    got = number(core)
    return got if got is not None else number(core, Notation(","))


def _row_units(table: TextTable, out: Found, unit_column: int | None) -> None:
    """Let a column of units speak for the columns whose header has none."""
    bare = [a for a in out.analytes if a.assumed]
    if unit_column is None or not bare:
        return
    import pandas as pd

    texts = table.columns[unit_column].texts()
    codes, distinct = pd.factorize(texts)
    known = [units.read_unit(t) if t else None for t in distinct]
    stated = [u for u in known if u]
    if not stated:
        return
    if len(set(stated)) == 1 and all(k or not t for k, t in zip(known, distinct, strict=True)):
        for a in bare:
            a.unit, a.assumed = stated[0], False
            a.factor = element_factor(a.unit, a.oxide)
        return
    for a in bare:
        factors = [element_factor(u, a.oxide) if u else float("nan") for u in known]
        names = np.empty(len(known), dtype=object)
        names[:] = known
        a.factor_rows, a.unit_rows, a.assumed = np.array(factors)[codes], names[codes], False
    unread = [t for t, u in zip(distinct, known, strict=True) if t and not u]
    blank = int(np.isin(codes, [j for j, u in enumerate(known) if not u]).sum())
    if blank:
        out.findings.append(
            Finding(
                "unit-of-row", "warning",
                f"{blank} rows state no known unit in column '{table.names[unit_column]}'"
                + (f" ({name_some(unread)})" if unread else "")
                + "; their values without a unit in the header were not read.",
                table.file, None, table.names[unit_column],
            )
        )  # fmt: skip


def _say_units(table: TextTable, out: Found, source: str) -> None:
    kept = []
    for a in out.analytes:
        assert a.parsed is not None
        readings = a.parsed.number[a.parsed.is_kind(Kind.READING)]
        own = a.parsed.unit_rows
        rows = sum(len(w) for w in own.values())
        if a.assumed and len(own) == 1 and rows == int(HELD[a.parsed.kind].sum()):
            # every cell states its unit, and all the same
            a.unit, a.assumed = next(iter(own)), False
            a.factor = element_factor(a.unit, a.oxide)
        if (
            a.assumed
            and a.element in _MAJORS
            and a.oxide is None
            and len(readings)
            and float(np.median(readings)) < _MAJORS[a.element]
            and float(np.max(readings)) <= 100.0
        ):
            out.findings.append(
                Finding(
                    "unit-not-believable", "warning",
                    f"column '{table.names[a.index]}' states no unit, and its median "
                    f"{float(np.median(readings)):.3g} can hardly be ppm of {a.element}; it was "
                    f"not read. Write '{a.element}_%' (or ppm) as header, or state the unit "
                    "under `analytes`.", table.file, None, table.names[a.index], None, a.element,
                )
            )  # fmt: skip
            out.attached[a.index] = "not read"
            continue
        kept.append(a)
    out.analytes[:] = kept
    for unit in ("ppm", "%"):
        bare = [table.names[a.index] for a in kept if a.assumed and a.unit == unit]
        if not bare:
            continue
        what = "oxides in %" if unit == "%" else "ppm"
        out.findings.append(
            Finding(
                "unit-assumed", "note" if source == "pxrf" and unit == "ppm" else "warning",
                f"no unit is stated for {name_some(bare)}; {what} was assumed. Write the unit in "
                "the header (Cu_ppm, Fe_%, Au_ppb) or state it under `analytes`.",
                table.file, table.dialect.header_row,
            )
        )  # fmt: skip


def _say_doubled(table: TextTable, out: Found) -> None:
    groups: dict[str, list[AnalyteColumn]] = {}
    for a in out.analytes:
        groups.setdefault(a.element, []).append(a)
    for element, columns in groups.items():
        if len(columns) < 2:
            continue
        names = [table.names[a.index] for a in columns]
        out.findings.append(
            Finding(
                "element-doubled", "warning",
                f"{element} stands in {len(columns)} columns ({name_some(names)}); all were kept, "
                "each with its method. To use one only, mark the others "
                "{ is = 'ignored' } under `analytes`.",
                table.file, None, names[0], None, element,
            )
        )  # fmt: skip
