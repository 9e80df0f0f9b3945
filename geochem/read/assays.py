"""Readings and laboratory results: tables of any shape to one long table in mg/kg."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from geochem.elements import element_rank
from geochem.errors import DataRefused, WrongCall, unknown
from geochem.model import tables as contract
from geochem.model.finding import Finding, name_some
from geochem.model.reading import AssayRead, ColumnMeaning, Dialect
from geochem.read.blocks import wide_blocks
from geochem.read.columns import Plan, plan_columns
from geochem.read.control_names import read_patterns
from geochem.read.depths import at_several_depths, one_depth
from geochem.read.describe import describe_columns
from geochem.read.detection import ValueBlock, settle_limits, settle_sigma
from geochem.read.headers import understand_header
from geochem.read.long_table import long_blocks
from geochem.read.open_table import open_table
from geochem.read.plausible import judge_plausible
from geochem.read.row_facts import RowFacts, depths_in, row_facts
from geochem.read.synonyms import DIGESTIONS
from geochem.read.text_table import TextTable
from geochem.read.values import Kind
from geochem.read.ways import separate_ways

if TYPE_CHECKING:
    import pandas as pd

SOURCES = ("pxrf", "laboratory")


def read_assays(
    paths: Sequence[str | Path],
    *,
    assay: str,
    source: str,
    columns: Mapping[str, str] | None = None,
    sigma: float | None = None,
    batch: str | None = None,
    laboratory: str | None = None,
    method: str | None = None,
    digestion: str | None = None,
    fraction_um: float | None = None,
    limits: Mapping[str, float] | None = None,
    received: dt.date | str | None = None,
    analytes: Mapping[str, Any] | None = None,
    sheet: str | None = None,
    separator: str | None = None,
    decimal: str | None = None,
    encoding: str | None = None,
    header_rows: int | Sequence[int] | None = None,
    controls: Mapping[str, Any] | None = None,
) -> AssayRead:
    """Read the tables of one assay.

    Parameters
    ----------
    paths : sequence of str or Path
        One table or several of the same assay.
    assay : str
        Its name.
    source : {"pxrf", "laboratory"}
        What made the values.
    columns : mapping of str to str, optional
        Contract name -> header; what is not given is recognised.
    sigma : float, optional
        Level of the errors, where their header does not state it.
    batch, laboratory, method, digestion : str, optional
        For rows that do not say it themselves.
    fraction_um : float, optional
        Size fraction that was analysed. [um]
    limits : mapping of str to float, optional
        Detection limits of elements. [mg/kg]
    received : date or str, optional
        When the results came.
    analytes : mapping, optional
        Header -> ``{"element", "is", "unit", "sigma", "method"}``: overrides of what was
        understood.
    sheet, separator, decimal, encoding, header_rows : optional
        What is known of the files; by default it is found out.
    controls : mapping, optional
        Patterns of ids -> role, for controls that are known by their names.

    Returns
    -------
    AssayRead
        One row per value, in mg/kg of the element; analytes (with laboratory and ``parted_from`` in
        columns after those of the contract); findings. Where one element comes by several laboratories,
        methods or digestions, the results are parted into several assays.

    Raises
    ------
    DataRefused
        If a file cannot be used at all.
    WrongCall
        If an option is not possible.
    """
    if source not in SOURCES:
        raise unknown("source", source, SOURCES)
    if digestion is not None and digestion not in DIGESTIONS:
        raise unknown("digestion", digestion, DIGESTIONS)
    if sigma is not None and not 0 < sigma <= 5:
        raise WrongCall(
            f"sigma is {sigma!r}; it is 1, 2 or 3: the level at which errors are given."
        )
    if isinstance(paths, (str, Path)):
        paths = [paths]
    if not paths:
        raise WrongCall(f"the assay '{assay}' names no file.")
    checked = _limits(limits or {})
    named = read_patterns(controls)
    day = _received(received)
    findings: list[Finding] = []
    blocks: list[ValueBlock] = []
    roles: list[pd.DataFrame] = []
    meanings: list[ColumnMeaning] = []
    dialect: Dialect | None = None
    groups: dict[tuple[Any, Any], int] = {}
    opened: list[tuple[TextTable, Plan]] = []
    for path in paths:
        table = open_table(
            path, sheet=sheet, separator=separator, decimal=decimal, encoding=encoding,
            header_rows=header_rows,
        )  # fmt: skip
        plan = plan_columns(
            table, "assays", columns=columns, analytes=analytes, source=source, decimal=decimal
        )
        findings += [*table.findings, *plan.findings]
        _refuse_unusable(table, plan)
        opened.append((table, plan))
    depths = [depths_in(table, plan) for table, plan in opened]
    several = at_several_depths(depths)
    for table, plan in opened:
        facts = row_facts(
            table, plan, assay=assay, source=source, batch=batch, method=method,
            digestion=digestion, received=day, groups=groups, controls=named,
            laboratory=laboratory, several=several,
        )  # fmt: skip
        findings += facts.findings
        made = (long_blocks if plan.is_long else wide_blocks)(
            table, plan, facts, limits=checked, decimal=decimal, source=source
        )
        findings += made.findings
        blocks += made.blocks
        roles.append(facts.roles)
        meanings += describe_columns(table, plan, decimal=decimal)
        findings += _say_ignored(table, plan)
        dialect = dialect or table.dialect
    level, found = settle_sigma(blocks, sigma, assay)
    findings += found
    for block in blocks:
        block.err = block.err / (block.sigma if block.sigma is not None else level)
    findings += settle_limits(blocks)
    blocks, found = separate_ways(blocks, assay)
    findings += found
    findings += judge_plausible(blocks)
    results = _results(blocks, source)
    if not len(results):
        findings.append(
            Finding("no-values", "error",
                    f"assay '{assay}' holds no values: "
                    f"{name_some([Path(p).name for p in paths])}.", Path(paths[0]).name)
        )  # fmt: skip
    assert dialect is not None
    import pandas as pd

    return AssayRead(
        results,
        pd.concat(roles, ignore_index=True),
        _analytes(blocks, assay, source, fraction_um),
        dialect,
        tuple(meanings),
        tuple(findings),
        one_depth(depths),
    )


def _limits(limits: Mapping[str, float]) -> dict[str, float]:
    from geochem.read.analyte_column import name_of_element

    out = {}
    for name, value in limits.items():
        element, _ = name_of_element(name)
        if not value > 0:
            raise WrongCall(
                f"limits.{name} is {value!r}; it is a number above zero: the limit in ppm."
            )
        out[element] = float(value)
    return out


def _received(received: dt.date | str | None) -> np.datetime64 | None:
    if received is None:
        return None
    if isinstance(received, str):
        try:
            received = dt.date.fromisoformat(received)
        except ValueError as error:
            raise WrongCall(f"received is '{received}'; write the date as 2026-03-20.") from error
    return np.datetime64(received, "ns")


def _refuse_unusable(table: TextTable, plan: Plan) -> None:
    if plan.is_long or plan.analytes:
        return
    first = table.columns[0].texts().tolist() if table.columns else []
    named = [t for t in first if t and understand_header(t) is not None]
    if len(named) >= 3 and len(named) >= 0.5 * len([t for t in first if t]):
        raise DataRefused(
            f"'{table.file}' seems to be turned: its first column names elements "
            f"({name_some(named, 3)}), one per row. Turn it so that each row is a sample and each "
            "column an element."
        )
    why = [
        f.message
        for f in plan.findings
        if f.code
        in ("column-not-values", "symbol-in-doubt", "unit-not-believable", "unit-not-known")
    ]
    if why:
        raise DataRefused(
            f"no column of '{table.file}' can be read as an element: {' '.join(why)}"
        )
    raise DataRefused(
        f"no column of '{table.file}' is known as an element "
        f"({name_some([n for n in table.names if n])}); write headers such as Cu_ppm, Fe_%, "
        "Au_ppb, or state them under `analytes`."
    )


def _say_ignored(table: TextTable, plan: Plan) -> list[Finding]:
    names = [table.names[i] for i in plan.ignored if table.names[i]]
    nameless = [i for i in plan.ignored if not table.names[i] and any(table.columns[i].texts())]
    findings = []
    if nameless:
        findings.append(
            Finding(
                "column-without-name", "warning",
                f"{len(nameless)} columns of '{table.file}' have cells and no name, and were not "
                f"used (counted from the left: {name_some([i + 1 for i in nameless])}).",
                table.file,
            )
        )  # fmt: skip
    if not names:
        return findings
    return [
        *findings,
        Finding(
            "columns-not-used", "note",
            f"{len(names)} columns of '{table.file}' are neither elements nor known otherwise and "
            f"were not used: {name_some(names)}.", table.file,
        )
    ]  # fmt: skip


def _results(blocks: Sequence[ValueBlock], source: str) -> pd.DataFrame:
    """Put all values under each other, elements by atomic number, rows as in the file."""
    import pandas as pd

    ordered = sorted(range(len(blocks)), key=lambda i: (*element_rank(blocks[i].element), i))
    kept = []
    for i in ordered:
        block = blocks[i]
        keep = np.flatnonzero(
            (
                (block.kind == Kind.READING)
                | (block.kind == Kind.BELOW)
                | (block.kind == Kind.ABOVE)
            )
            & np.isfinite(block.value)
        )
        if len(keep):
            kept.append((block, keep))
    if not kept:
        return contract.empty(contract.RESULTS)
    size = sum(len(k) for _, k in kept)
    data: dict[str, Any] = {}
    for name, kind in contract.RESULTS.items():
        if name == "source":
            # repeated, not filled: filling makes a text of its own for every row
            data[name] = np.repeat(np.array([source], dtype=object), size)
        elif name == "assay":
            data[name] = np.repeat(
                np.array([b.columns["assay"] for b, _ in kept], dtype=object),
                [len(k) for _, k in kept],
            )
        elif name == "element":
            data[name] = np.repeat(
                np.array([b.element for b, _ in kept], dtype=object), [len(k) for _, k in kept]
            )
        elif name == "value":
            data[name] = np.concatenate([b.value[k] for b, k in kept])
        elif name == "err":
            data[name] = np.concatenate([b.err[k] for b, k in kept])
        elif name == "below":
            data[name] = np.concatenate([b.kind[k] == Kind.BELOW for b, k in kept])
        elif name == "above":
            data[name] = np.concatenate([b.kind[k] == Kind.ABOVE for b, k in kept])
        elif name == "limit_inferred":
            data[name] = np.concatenate([b.inferred[k] for b, k in kept])
        elif name == "row":
            data[name] = pd.array(np.concatenate([b.rows[k] for b, k in kept]), dtype="Int64")
        else:
            data[name] = np.concatenate([_piece(b, name, kind, k) for b, k in kept])
    # no copy: the arrays are the columns, in the order of the contract
    return pd.DataFrame(
        {
            n: pd.Series(v, dtype=object, copy=False) if contract.RESULTS[n] == "text" else v
            for n, v in data.items()
        },
        copy=False,
    )


def _piece(
    block: ValueBlock, name: str, kind: str, keep: npt.NDArray[np.int64]
) -> npt.NDArray[Any]:
    given = block.columns.get(name)
    if given is None or isinstance(given, str):
        if kind == "number":
            return np.full(len(keep), np.nan)
        if kind == "date":
            return np.full(len(keep), np.datetime64("NaT"), dtype="datetime64[ns]")
        return np.repeat(np.array([given], dtype=object), len(keep))
    if callable(given):
        return np.asarray(given(keep))
    return np.asarray(given[keep])


def _analytes(
    blocks: Sequence[ValueBlock], table: str, source: str, fraction_um: float | None
) -> pd.DataFrame:
    """Describe each element of the assay, columns of several files taken together."""
    import pandas as pd

    groups: dict[tuple[Any, ...], list[ValueBlock]] = {}
    for b in blocks:
        c = b.columns
        key = (
            b.element, b.name, c["unit"], c["factor"], c["method_name"], c["digestion_name"],
            c["assay"],
        )  # fmt: skip
        groups.setdefault(key, []).append(b)
    rows = []
    for key in sorted(groups, key=lambda k: (*element_rank(k[0]), str(k[1]), str(k[2:]))):
        element, name, unit, factor, method, digestion, assay = key
        mine = groups[key]
        below = np.concatenate([b.value[b.kind == Kind.BELOW] for b in mine])
        above = np.concatenate([b.value[b.kind == Kind.ABOVE] for b in mine])
        stated = [b.limit for b in mine if np.isfinite(b.limit)]
        high = [h for h in (b.columns["limit_high"] for b in mine) if np.isfinite(h)]
        rows.append(
            {
                "assay": assay, "source": source, "element": element, "name": name,
                "unit_given": unit, "factor": factor,
                "limit_low": min(stated) if stated else (float(np.median(below)) if len(below) else np.nan),
                "limit_high": min(high) if high else (float(above.min()) if len(above) else np.nan),
                "method": method, "digestion": digestion,
                "fraction_um": np.nan if fraction_um is None else float(fraction_um),
                "n": sum(int((b.kind == Kind.READING).sum()) for b in mine) + len(below) + len(above),
                "n_below": len(below), "n_above": len(above), "laboratory": _laboratory(mine),
                "parted_from": table if assay != table else None,
            }
        )  # fmt: skip
    frame = pd.DataFrame(rows)
    if not len(frame):
        return contract.empty(contract.ANALYTES)
    # readings that another method replaced leave no analyte of their own
    frame = frame.loc[(frame["n"] > 0) | (frame.groupby("element")["n"].transform("max") == 0)]
    return contract.conform(frame, contract.ANALYTES, extra=True)


def _laboratory(blocks: Sequence[ValueBlock]) -> str | None:
    words = sorted(
        {str(w) for b in blocks for w in set(b.columns["laboratory"].tolist()) if w is not None}
    )
    return ", ".join(words) or None


__all__ = ["SOURCES", "RowFacts", "read_assays"]
