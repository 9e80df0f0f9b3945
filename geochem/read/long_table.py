"""Long tables: one value per row, named by its analyte, with a unit, a limit, an error beside it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from geochem import units
from geochem.errors import WrongCall
from geochem.model.finding import Finding, name_some
from geochem.read.analyte_column import AnalyteColumn, element_factor, name_of_element
from geochem.read.blocks import Blocks, block_of, say_missing
from geochem.read.columns import Plan
from geochem.read.headers import OTHERS, understand_header
from geochem.read.qualifiers import apply_qualifiers
from geochem.read.row_facts import RowFacts
from geochem.read.text_table import TextTable
from geochem.read.values import Kind, parse_column

_OTHER_NAMES = {name for name, _ in OTHERS.values()}


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
        out.findings += block_of(table, a, parsed, column, where, facts, limits, decimal, out)
        out.blocks[-1].name = name
        out.blocks[-1].columns["long"] = True
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
    out.findings += say_missing(table, lost)
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
