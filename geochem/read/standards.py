"""Certified values of standards, wide or long; "no certified value" is missing, not zero."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from geochem import units
from geochem.elements import element_rank
from geochem.errors import DataRefused, WrongCall
from geochem.model import tables as contract
from geochem.model.finding import Finding, name_some
from geochem.model.reading import StandardsRead
from geochem.read.analyte_column import element_factor, name_of_element
from geochem.read.columns import Plan, plan_columns
from geochem.read.headers import OTHERS, understand_header
from geochem.read.ids import text_or_none
from geochem.read.open_table import open_table
from geochem.read.text_table import TextColumn, TextTable
from geochem.read.values import Kind, parse_column

_OTHER_NAMES = {name for name, _ in OTHERS.values()}
_LEVEL = re.compile(r"([23])\s*(?:s|sd|sigma|σ)", re.IGNORECASE)


def read_standards(
    path: str | Path,
    *,
    columns: Mapping[str, str] | None = None,
    sheet: str | None = None,
    separator: str | None = None,
    decimal: str | None = None,
    encoding: str | None = None,
    header_rows: int | Sequence[int] | None = None,
) -> StandardsRead:
    """Read a table of standards.

    Parameters
    ----------
    path : str or Path
        The table: one row per standard and element (standard, element, certified, sd, unit;
        optional method, digestion, kind_of_sd, n, status, matrix), or one row per standard with
        columns such as ``Cu_ppm`` and ``Cu_ppm sd``.
    columns : mapping of str to str, optional
        Contract name -> header; what is not given is recognised.
    sheet, separator, decimal, encoding, header_rows : optional
        What is known of the file; by default it is found out.

    Returns
    -------
    StandardsRead
        In mg/kg of the element; a value that is not certified is NaN.

    Raises
    ------
    DataRefused
        If the file cannot be used at all.
    WrongCall
        If an option is not possible.
    """
    table = open_table(
        path, sheet=sheet, separator=separator, decimal=decimal, encoding=encoding,
        header_rows=header_rows,
    )  # fmt: skip
    plan = plan_columns(table, "standards", columns=columns, decimal=decimal)
    if "value" in plan.columns:
        plan.columns.setdefault("certified", plan.columns.pop("value"))
    if "id" in plan.columns:
        plan.columns.setdefault("standard", plan.columns.pop("id"))
    findings: list[Finding] = [*table.findings, *plan.findings]
    if "standard" not in plan.columns:
        raise DataRefused(
            f"'{table.file}' has no column that names the standard; call one 'standard', or state "
            "it under `columns`."
        )
    if not plan.is_long and not plan.analytes:
        raise DataRefused(
            f"'{table.file}' names no certified values; give the columns standard, element, "
            "certified, sd and unit, or one column per element such as Cu_ppm."
        )
    names = text_or_none(table.columns[plan.columns["standard"]].texts())
    rows = (
        _long(table, plan, names, decimal, findings)
        if plan.is_long
        else _wide(table, plan, names, decimal, findings)
    )
    import pandas as pd

    rows.sort(key=lambda r: (r["row"], *element_rank(r["element"])))
    frame = contract.conform(pd.DataFrame(rows), contract.STANDARDS)
    lost = [int(r) for r, n in zip(table.rows, names, strict=True) if n is None]
    if lost:
        findings.append(
            Finding(
                "standard-without-name", "warning",
                f"{len(lost)} rows of '{table.file}' name no standard and were not used: rows "
                f"{name_some(lost)}.", table.file, lost[0],
            )
        )  # fmt: skip
    key = ["standard", "element", "method", "digestion"]
    doubled = frame[frame.duplicated(key, keep=False) & frame["certified"].notna()]
    if len(doubled):
        which = list(dict.fromkeys((doubled["standard"] + " " + doubled["element"]).tolist()))
        findings.append(
            Finding(
                "standard-doubled", "warning",
                f"{len(which)} certified values stand more than once ({name_some(which)}); give "
                "each its method, or keep one.", table.file, int(doubled["row"].iloc[0]),
            )
        )  # fmt: skip
    return StandardsRead(frame, tuple(findings))


def _numbers(
    column: TextColumn, decimal: str | None, table: TextTable, header: str, what: str,
    rows: npt.NDArray[Any], findings: list[Finding],
) -> npt.NDArray[np.float64]:  # fmt: skip
    parsed = parse_column(column, decimal=decimal)
    with np.errstate(invalid="ignore"):
        good = (parsed.kind == Kind.READING) & (parsed.number > 0)
        zero = (parsed.kind == Kind.READING) & (parsed.number <= 0)
    odd = parsed.is_kind(Kind.NOT_READ, Kind.DOUBTFUL, Kind.ABOVE)
    for where, code, said in (
        (zero, "certified-zero", "zero or negative and count as not certified"),
        (odd, "certified-not-read", "no plain numbers and were not read"),
    ):
        if where.any():
            findings.append(
                Finding(
                    code, "warning",
                    f"{int(where.sum())} cells of column '{header}' ({what}) are {said}: rows "
                    f"{name_some(rows[where].tolist())}.", table.file, int(rows[where][0]), header,
                )
            )  # fmt: skip
    return np.where(good, parsed.number, np.nan)


def _text(table: TextTable, plan: Plan, key: str) -> npt.NDArray[np.object_]:
    i = plan.columns.get(key)
    if i is None:
        return np.full(len(table), None, dtype=object)
    return text_or_none(table.columns[i].texts())


def _level(table: TextTable, plan: Plan, kind: str | None) -> float:
    """Give the level of the stated deviation: one unless header or kind says two or three."""
    header = table.names[plan.columns["sd"]] if "sd" in plan.columns else ""
    for text in (header, kind or ""):
        match = _LEVEL.search(text)
        if match:
            return float(match[1])
    return 1.0


def _long(
    table: TextTable,
    plan: Plan,
    names: npt.NDArray[np.object_],
    decimal: str | None,
    findings: list[Finding],
) -> list[dict[str, Any]]:
    c = plan.columns
    header = table.names[c["certified"]]
    certified = _numbers(
        table.columns[c["certified"]], decimal, table, header, "certified", table.rows, findings
    )
    n = len(table)
    sd = np.full(n, np.nan)
    if "sd" in c:
        sd = _numbers(
            table.columns[c["sd"]], decimal, table, table.names[c["sd"]], "sd", table.rows,
            findings,
        )  # fmt: skip
    number = np.full(n, np.nan)
    if "n" in c:
        got = parse_column(table.columns[c["n"]])
        number = np.where(got.kind == Kind.READING, got.number, np.nan)
    text = {
        k: _text(table, plan, k)
        for k in ("analyte", "unit", "method", "digestion", "kind_of_sd", "status", "matrix")
    }
    out: list[dict[str, Any]] = []
    unknown: list[tuple[str, int]] = []
    bare: list[str] = []
    for i in range(n):
        if names[i] is None or text["analyte"][i] is None:
            continue
        label = text["analyte"][i]
        try:
            element, oxide = name_of_element(label)
        except WrongCall:
            unknown.append((label, int(table.rows[i])))
            continue
        meaning = understand_header(label)
        unit = (
            units.read_unit(text["unit"][i])
            if text["unit"][i]
            else (meaning.unit if meaning is not None else None)
        )
        if unit is None and text["unit"][i] and element not in _OTHER_NAMES:
            unknown.append((f"{label} [{text['unit'][i]}]", int(table.rows[i])))
            continue
        if unit is None:
            unit = "%" if oxide else "ppm"
            bare.append(label)
        factor = 1.0 if element in _OTHER_NAMES else element_factor(unit, oxide)
        level = _level(table, plan, text["kind_of_sd"][i])
        out.append(
            {
                "standard": names[i], "element": element, "certified": certified[i] * factor,
                "sd": sd[i] * factor / level, "unit_given": unit, "method": text["method"][i],
                "digestion": text["digestion"][i], "kind_of_sd": text["kind_of_sd"][i],
                "n": number[i], "status": text["status"][i], "matrix": text["matrix"][i],
                "file": table.file, "row": int(table.rows[i]),
            }
        )  # fmt: skip
    if unknown:
        findings.append(
            Finding(
                "analyte-unknown", "warning",
                f"{len(unknown)} rows name elements or units that are not known "
                f"({name_some(list(dict.fromkeys(u for u, _ in unknown)))}) and were not used: "
                f"rows {name_some([r for _, r in unknown])}.", table.file, unknown[0][1],
            )
        )  # fmt: skip
    if bare:
        findings.append(_assumed(table, list(dict.fromkeys(bare))))
    return out


def _wide(
    table: TextTable,
    plan: Plan,
    names: npt.NDArray[np.object_],
    decimal: str | None,
    findings: list[Finding],
) -> list[dict[str, Any]]:
    text = {k: _text(table, plan, k) for k in ("method", "digestion", "matrix", "status")}
    out: list[dict[str, Any]] = []
    for a in plan.analytes:
        header = table.names[a.index]
        certified = _numbers(
            table.columns[a.index], decimal, table, header, "certified", table.rows, findings
        )
        sd = np.full(len(table), np.nan)
        if a.error is not None:
            raw = _numbers(
                table.columns[a.error], decimal, table, table.names[a.error], "sd", table.rows,
                findings,
            )  # fmt: skip
            level = a.error_sigma or 1.0
            sd = raw * a.error_factor / level
            if a.error_relative:
                sd = raw / 100.0 * certified * a.factor
        for i in range(len(table)):
            if names[i] is None or np.isnan(certified[i]):
                continue
            out.append(
                {
                    "standard": names[i], "element": a.element,
                    "certified": certified[i] * a.factor, "sd": sd[i], "unit_given": a.unit,
                    "method": a.method or text["method"][i], "digestion": text["digestion"][i],
                    "status": text["status"][i], "matrix": text["matrix"][i], "file": table.file,
                    "row": int(table.rows[i]),
                }
            )  # fmt: skip
    return out


def _assumed(table: TextTable, bare: list[str]) -> Finding:
    return Finding(
        "unit-assumed", "warning",
        f"no unit is stated for {name_some(bare)}; ppm was assumed (oxides: %). Add a column of "
        "units.", table.file,
    )  # fmt: skip
