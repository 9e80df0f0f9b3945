"""Which column of a table is what: ids, positions, values with their errors and limits."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from geochem.errors import WrongCall, nearest, unknown
from geochem.model import tables as contract
from geochem.model.finding import Finding, name_some
from geochem.read.analyte_column import AnalyteColumn
from geochem.read.analytes import find_analytes
from geochem.read.headers import strip_unit, understand_header
from geochem.read.position_columns import PLACE_WORDS, holds_places
from geochem.read.synonyms import (
    ASSAY_COLUMNS,
    COLUMNS,
    DAY_OF_READING,
    FIELD_COLUMNS,
    MAYBE_ROLES,
    ROLE_WORDS,
    RUNNING_NUMBER,
    STANDARD_COLUMNS,
    STANDARD_NAMES,
    squeeze,
)
from geochem.read.text_table import TextTable
from geochem.read.words import are_roles

#: keys that `columns` may have, beside the names of the tables of contract
_KEYS = sorted({*COLUMNS, *contract.FIELD_LOG, *contract.RESULTS, "time", "received"})
_ALIASES = {"sample_id": "id", "easting": "x", "northing": "y", "date_read": "time",
            "date_received": "received", "err": "error", "element": "analyte"}  # fmt: skip
_DATE_LIKE = re.compile(r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}")
#: pairs of single letters that are coordinates when both are there
_PAIRS = (("x", "y"), ("e", "n"))


@dataclass(slots=True, eq=False)
class Plan:
    """What each column of a table is.

    Parameters
    ----------
    columns : dict of str to int
        Contract name -> index of the column.
    analytes : list of AnalyteColumn
        Columns of values, with what belongs to them.
    attached : dict of int to str
        Columns that belong to an analyte: index -> ``error``, ``limit`` ...
    elsewhere : dict of int to str
        Columns that another kind of table takes: index -> contract name.
    ignored : list of int
        Columns that mean nothing here.
    findings : list of Finding
        What was noticed.
    """

    columns: dict[str, int] = field(default_factory=dict)
    analytes: list[AnalyteColumn] = field(default_factory=list)
    attached: dict[int, str] = field(default_factory=dict)
    elsewhere: dict[int, str] = field(default_factory=dict)
    ignored: list[int] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    @property
    def is_long(self) -> bool:
        """Whether each row holds one value of one analyte."""
        return "analyte" in self.columns and (
            "value" in self.columns or "certified" in self.columns
        )


def plan_columns(
    table: TextTable,
    kind: str,
    *,
    columns: Mapping[str, str] | None = None,
    analytes: Mapping[str, Any] | None = None,
    source: str = "laboratory",
    decimal: str | None = None,
) -> Plan:
    """Understand the columns of a table.

    Parameters
    ----------
    table : TextTable
        The table.
    kind : {"field_log", "assays", "standards", "any"}
        What it is read as; ``any`` for inspection.
    columns : mapping of str to str, optional
        Contract name -> header, as the user states it.
    analytes : mapping, optional
        Header -> ``{"element", "is", "unit", "sigma", "method"}``, as the user states it.
    source : {"laboratory", "pxrf"}
        Decides how sure a missing unit is ppm.
    decimal : {".", ","}, optional
        Decimal mark the user states.

    Returns
    -------
    Plan
        Every column stands in exactly one of its parts.

    Raises
    ------
    WrongCall
        If `columns` or `analytes` name what is not there.
    """
    plan = Plan()
    taken = _stated(table, columns or {})
    plan.columns.update(taken)
    used = set(taken.values())
    names = [squeeze(n) for n in table.names]
    stripped = [strip_unit(n) for n in table.names]
    wanted: Sequence[str] = {
        "field_log": FIELD_COLUMNS,
        "assays": ASSAY_COLUMNS,
        "standards": STANDARD_COLUMNS,
        "any": tuple(dict.fromkeys([*FIELD_COLUMNS, *ASSAY_COLUMNS])),
    }[kind]
    if kind == "any" and set(names) & set(COLUMNS["certified"][:4]):
        wanted = (*STANDARD_COLUMNS[:-1], *wanted)  # a table of standards
    overridden = _overridden(table, analytes or {})
    used |= set(overridden)
    _take(plan.columns, wanted, table, names, stripped, used, kind)
    names_first = "analyte" in plan.columns and not {"value", "certified"} & set(plan.columns)
    if kind != "standards" and "id" not in plan.columns and names_first:
        # the row of element names is labelled in the column that holds the ids below it
        plan.columns["id"] = plan.columns.pop("analyte")
    if kind == "assays":
        others = [c for c in FIELD_COLUMNS if c not in plan.columns]
        found: dict[str, int] = {}
        _take(found, others, table, names, stripped, used, kind)
        plan.elsewhere = {i: c for c, i in found.items()}
    if kind != "standards" and "role" not in plan.columns:
        for i, name in enumerate(names):
            free_or_medium = i not in used or plan.elsewhere.get(i) == "medium"
            if name in MAYBE_ROLES and free_or_medium and _tells_roles(table, i):
                plan.columns["role"] = i
                plan.elsewhere.pop(i, None)
                used.add(i)
                break
    for i, name in enumerate(names):
        if i not in used and (name in RUNNING_NUMBER or table.names[i].strip() in {"#", "№"}):
            used.add(i)
            if "id" not in plan.columns and kind != "standards" and _are_names(table, i):
                plan.columns["id"] = i
                continue
            plan.ignored.append(i)
            if "id" not in plan.columns and kind != "standards":
                plan.findings.append(
                    Finding(
                        "running-number", "note",
                        f"column '{table.names[i]}' was taken for a running number, not for "
                        "sample ids; if it holds the ids, state it under `columns`.",
                        table.file, None, table.names[i],
                    )
                )  # fmt: skip
    if kind in ("field_log", "assays", "any"):
        _say_other_ids(plan, table, names)
    if not plan.is_long and kind in ("assays", "any"):
        for key in ("error", "limit"):
            if key in plan.columns and key not in taken:
                used.discard(plan.columns.pop(key))
    free = [i for i in range(len(names)) if i not in used]
    if plan.is_long:
        plan.ignored += free
        return plan
    got = find_analytes(
        table,
        free,
        overridden,
        source=source,
        decimal=decimal,
        unit_column=plan.columns.get("unit"),
        quiet=kind == "field_log",
    )
    plan.analytes = got.analytes
    plan.attached = got.attached
    plan.findings += got.findings
    known = {a.index for a in got.analytes} | set(got.attached)
    plan.ignored += [i for i in free if i not in known]
    return plan


def find_name(table: TextTable, header: str, what: str) -> int:
    """Find a header that the user states.

    Parameters
    ----------
    table : TextTable
        The table.
    header : str
        As stated.
    what : str
        Where it was stated, for the message.

    Returns
    -------
    int
        Index of the column.

    Raises
    ------
    WrongCall
        If no column, or more than one, has this name.
    """
    exact = [i for i, n in enumerate(table.names) if n == header.strip()]
    loose = exact or [i for i, n in enumerate(table.names) if n and squeeze(n) == squeeze(header)]
    if not loose and header.strip():
        # two headers may differ in punctuation only ("Cu" and "Cu +/-")
        loose = [i for i, n in enumerate(table.names) if n.casefold() == header.strip().casefold()]
    if len(loose) == 1 or (exact and len(exact) == 1):
        return loose[0]
    shown = ", ".join(f"'{n}'" for n in table.names[:30] if n)
    if not loose:
        raise WrongCall(
            f"{what} names a column '{header}' that '{table.file}' does not have; its columns: "
            f"{shown}.{nearest(header, table.names)}"
        )
    raise WrongCall(
        f"{what} names the column '{header}', and '{table.file}' has {len(loose)} of that name; "
        "give each its own name."
    )


def _stated(table: TextTable, columns: Mapping[str, str]) -> dict[str, int]:
    out = {}
    for key, header in columns.items():
        name = _ALIASES.get(key, key)
        if name not in _KEYS:
            raise unknown("key of `columns`", key, _KEYS)
        out[name] = find_name(table, str(header), f"columns.{key}")
    return out


def _overridden(table: TextTable, analytes: Mapping[str, Any]) -> dict[int, dict[str, Any]]:
    out: dict[int, dict[str, Any]] = {}
    for header, said in analytes.items():
        entry = {"element": said} if isinstance(said, str) else dict(said)
        allowed = ("element", "is", "unit", "sigma", "method")
        for key in entry:
            if key not in allowed:
                raise unknown(f"key of analytes.'{header}'", key, allowed)
        kinds = ("value", "error", "relative_error", "limit", "qualifier", "ignored")
        if entry.setdefault("is", "value") not in kinds:
            raise unknown(f"word for analytes.'{header}'.is", str(entry["is"]), kinds)
        out[find_name(table, header, "analytes")] = entry
    return out


def _take(
    found: dict[str, int],
    wanted: Sequence[str],
    table: TextTable,
    names: list[str],
    stripped: list[str],
    used: set[int],
    kind: str,
) -> None:
    """Give each wanted column the first header that its words name, surest word first."""
    present = set(names) | set(stripped)
    pair = next((p for p in _PAIRS if p[0] in present and p[1] in present), None)
    places: dict[str, list[int]] = {}
    for i, (name, short) in enumerate(zip(names, stripped, strict=True)):
        for word in dict.fromkeys((name, short)):
            places.setdefault(word, []).append(i)
    for column in wanted:
        if column in found:
            continue
        words: Sequence[str] = COLUMNS[column]
        if kind == "standards" and column == "standard":
            words = STANDARD_NAMES
        if kind == "assays" and column == "date" and "batch" in wanted:
            words = DAY_OF_READING
        for word in words:
            if len(word) == 1 and (pair is None or word not in pair) and column in ("x", "y"):
                continue
            hit = next(
                (
                    i
                    for i in places.get(word, ())
                    if i not in used
                    and (names[i] == word or column != "id")
                    and _fits(table, i, column)
                ),
                None,
            )
            if hit is not None:
                found[column] = hit
                used.add(hit)
                break


def _fits(table: TextTable, i: int, column: str) -> bool:
    """Refuse a header that names an element, and an id column without ids."""
    if column in ("x", "y") and len(squeeze(table.names[i])) == 1:
        return True
    meaning = understand_header(table.names[i])
    if meaning is not None and meaning.kind == "value" and column not in ("sd",):
        return False
    if column == "id":
        texts = table.columns[i].some(np.arange(min(len(table), 2000)))
        return len(table) == 0 or any(texts)
    if column == "date" and squeeze(table.names[i]) == "datum":
        # a date in some languages, the datum of the coordinates in others
        texts = table.columns[i].some(np.arange(min(len(table), 50)))
        return any(_DATE_LIKE.match(t) for t in texts)
    if column in PLACE_WORDS:
        return holds_places(table, i, column)
    return True


def _tells_roles(table: TextTable, i: int) -> bool:
    """Say whether the cells of a column are words for roles, controls among them."""
    texts = table.columns[i].texts()
    words = {squeeze(t) for t in set(texts.tolist()) if t}
    return are_roles(texts) and any(ROLE_WORDS.get(w, w) != "routine" for w in words)


def _are_names(table: TextTable, i: int) -> bool:
    """Say whether a column that is called a number holds names with letters, each once."""
    texts = [t for t in table.columns[i].some(np.arange(min(len(table), 2000))).tolist() if t]
    lettered = sum(1 for t in texts if re.search(r"[A-Za-z]", t) and re.search(r"\d", t))
    return len(texts) > 0 and lettered >= 0.9 * len(texts) and len(set(texts)) >= 0.9 * len(texts)


def _say_other_ids(plan: Plan, table: TextTable, names: list[str]) -> None:
    chosen = plan.columns.get("id")
    if chosen is None:
        return
    sure = COLUMNS["id"][: COLUMNS["id"].index("id") + 1]
    others = [
        table.names[i] for i, n in enumerate(names) if n in sure and i != chosen and n != "id"
    ]
    if others:
        plan.findings.append(
            Finding(
                "id-column-chosen", "note",
                f"column '{table.names[chosen]}' was taken as sample id; {name_some(others)} "
                "could be meant too. State it under `columns` if so.", table.file, None,
                table.names[chosen],
            )
        )  # fmt: skip
