"""How one table is understood, as JSON and as a table a geologist reads; writes nothing."""

from __future__ import annotations

import dataclasses
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from geochem.errors import DataRefused, WrongCall
from geochem.model.finding import SEVERITIES, Finding, name_some
from geochem.model.reading import ColumnMeaning, Dialect
from geochem.read.blocks import wide_blocks
from geochem.read.columns import Plan, plan_columns
from geochem.read.describe import describe_columns
from geochem.read.detection import settle_limits, settle_sigma
from geochem.read.long_table import long_blocks
from geochem.read.numerals import plain
from geochem.read.open_table import open_table
from geochem.read.places import read_positions
from geochem.read.plausible import judge_plausible
from geochem.read.row_facts import row_facts
from geochem.read.text_table import TextTable
from geochem.read.ways import separate_ways

_MARKS = {" ": "a space", ",": "a comma", ".": "a point", "'": "an apostrophe"}
_GROUPS = re.compile(r"\d([ ,.'])\d{3}(?!\d)")
_SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "pipe", "": "none"}


@dataclass(frozen=True, slots=True, eq=False)
class Inspection:
    """How one table is understood.

    Parameters
    ----------
    file : str
        Name of the file.
    dialect : Dialect or None
        None when the file was refused.
    rows : int
        Records.
    columns : tuple of ColumnMeaning
        Every column.
    findings : tuple of Finding
        What is wrong; severity ``error`` when the table cannot be used at all.
    """

    file: str
    dialect: Dialect | None
    rows: int
    columns: tuple[ColumnMeaning, ...]
    findings: tuple[Finding, ...]

    def as_json(self) -> dict[str, Any]:
        """Give the document of ``inspect --json``."""
        d = self.dialect
        return {
            "file": self.file,
            "sheet": d.sheet if d else None,
            "encoding": d.encoding if d else None,
            "separator": d.separator if d else None,
            "decimal": d.decimal if d else None,
            "rows": self.rows,
            "columns": [
                {
                    "name": c.name,
                    "read_as": c.read_as,
                    "element": c.element,
                    "unit": c.unit,
                    "factor": c.factor,
                    "n": c.n,
                    "below": c.below,
                    "above": c.above,
                    "missing": c.missing,
                }
                for c in self.columns
            ],
            "findings": [f.as_json() for f in self.findings],
        }

    def as_text(self) -> str:
        """Give a table for the screen."""
        lines = [self.file]
        if self.dialect is not None:
            d = self.dialect
            how = (
                f"sheet {d.sheet}"
                if d.sheet is not None
                else f"{d.encoding}, separator {_SEPARATORS.get(d.separator, d.separator)}"
            )
            lines.append(
                f"  {self.rows} rows, {len(self.columns)} columns, {how}, decimal mark "
                f"'{d.decimal}', column names in row {d.header_row}"
                + (
                    f", thousands parted by {_MARKS.get(d.thousands, d.thousands)}"
                    if d.thousands
                    else ""
                )
            )
        if self.columns:
            head = ("column", "read as", "element", "unit", "to mg/kg", "n", "below", "above",
                    "missing", "range", "look at")  # fmt: skip
            body = [
                (
                    c.name or "(no name)", c.read_as, c.element or "", c.unit or "",
                    "" if c.factor is None else f"{c.factor:.6g}", str(c.n), str(c.below),
                    str(c.above), str(c.missing),
                    "" if c.low is None or c.high is None else f"{c.low:.6g} to {c.high:.6g}",
                    c.suspicion,
                )
                for c in self.columns
            ]  # fmt: skip
            widths = [
                min(max(len(r[j]) for r in [head, *body]), 40 if j != 10 else 60)
                for j in range(len(head))
            ]
            lines.append("")
            for r in [head, tuple("-" * w for w in widths), *body]:
                cells = [
                    c[:w].rjust(w) if 4 <= j <= 8 else c[:w].ljust(w)
                    for j, (c, w) in enumerate(zip(r, widths, strict=True))
                ]
                lines.append("  " + "  ".join(cells).rstrip())
        lines.append("")
        if not self.findings:
            lines.append("Nothing to remark.")
        for severity in SEVERITIES:
            for f in self.findings:
                if f.severity == severity:
                    where = f" (row {f.row})" if f.row is not None else ""
                    lines.append(f"{severity.upper()} {f.code}{where}: {f.message}")
        return "\n".join(lines)


def inspect_table(
    path: str | Path, *, crs: str | None = None, sheet: str | None = None
) -> Inspection:
    """Say how one table is understood and what is wrong.

    Parameters
    ----------
    path : str or Path
        The table.
    crs : str, optional
        Of its coordinates.
    sheet : str, optional
        Of a workbook.

    Returns
    -------
    Inspection
        A file that cannot be used gives an ``error`` finding instead of an exception.

    Raises
    ------
    WrongCall
        If the CRS or the sheet is not known.
    """
    _check_crs(crs)
    file = Path(path).name
    try:
        table = open_table(path, sheet=sheet)
    except DataRefused as refusal:
        return Inspection(
            file, None, 0, (), tuple(Finding("table-refused", "error", r, file) for r in refusal.reasons)
        )  # fmt: skip
    plan = plan_columns(table, "any")
    findings = [*table.findings, *plan.findings]
    if not plan.columns and not plan.analytes:
        findings.append(
            Finding(
                "columns-unknown", "error",
                f"none of the columns of '{file}' is known "
                f"({name_some([n for n in table.names if n])}); name them in the campaign file.",
                file,
            )
        )  # fmt: skip
        return Inspection(
            file, table.dialect, len(table), describe_columns(table, plan), tuple(findings)
        )
    findings += _look(table, plan, crs)
    meanings = describe_columns(table, plan)
    comma = any(a.parsed is not None and a.parsed.notation.decimal == "," for a in plan.analytes)
    dialect = dataclasses.replace(
        table.dialect, decimal="," if comma else table.dialect.decimal,
        thousands=_thousands(table, plan),
    )  # fmt: skip
    return Inspection(file, dialect, len(table), meanings, tuple(findings))


def _thousands(table: TextTable, plan: Plan) -> str:
    """Give the mark that parts thousands in the first column where one was taken away."""
    for a in plan.analytes:
        if a.parsed is None:
            continue
        read = np.flatnonzero(np.isfinite(a.parsed.number[:400]) & (a.parsed.number[:400] >= 1000))
        for text in table.columns[a.index].some(read[:40]).tolist():
            found = _GROUPS.search(plain(text))
            if found and found[1] != a.parsed.notation.decimal:
                return str(found[1])
    return ""


def _check_crs(crs: str | None) -> None:
    if crs is None:
        return
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        CRS.from_user_input(crs)
    except CRSError as error:
        raise WrongCall(f"'{crs}' is no CRS; write it as EPSG:32735 or the like.") from error


def _look(table: TextTable, plan: Plan, crs: str | None) -> list[Finding]:
    """Read the table as field log and as results, and keep what was noticed."""
    findings: list[Finding] = []
    if "certified" in plan.columns:
        return findings
    facts = row_facts(
        table, plan, assay="table", source="laboratory", batch=None, method=None, digestion=None,
        received=None, groups={},
    )  # fmt: skip
    findings += facts.findings
    if plan.is_long or plan.analytes:
        made = (long_blocks if plan.is_long else wide_blocks)(
            table, plan, facts, limits={}, decimal=None, source="laboratory"
        )
        findings += made.findings
        level, found = settle_sigma(made.blocks, None, table.file)
        findings += found
        for block in made.blocks:
            block.err = block.err / (block.sigma if block.sigma is not None else level)
        findings += settle_limits(made.blocks)
        blocks, found = separate_ways(made.blocks, "table")
        findings += found
        findings += judge_plausible(blocks)
    if {"x", "y", "mgrs", "latlon"} & set(plan.columns):
        findings += read_positions(table, plan, crs, None)[1]
    if not plan.is_long:
        findings += _doubled(table, facts.ids)
    return findings


def _doubled(table: TextTable, ids: Any) -> list[Finding]:
    import pandas as pd

    known = pd.Series([i for i in ids if i is not None], dtype=object)
    doubled = known[known.duplicated()].drop_duplicates().tolist()
    if not doubled:
        return []
    rows = [int(r) for r, i in zip(table.rows, ids, strict=True) if i == doubled[0]]
    return [
        Finding(
            "id-doubled", "note",
            f"{len(doubled)} sample ids stand in more than one row ({name_some(doubled)}): repeat "
            "readings of a sample are fine, two samples of one id are not.", table.file,
            int(np.min(rows)), None, doubled[0],
        )
    ]  # fmt: skip
