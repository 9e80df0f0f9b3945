"""What a table of results says of its rows: id, batch, instrument, times, roles."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from geochem.model.finding import Finding, name_some
from geochem.read.columns import Plan
from geochem.read.control_names import ControlName, name_controls
from geochem.read.dates import add_clock, only_clock, read_dates
from geochem.read.depths import Depth, depths_by_id, depths_of, part_by_depth
from geochem.read.ids import row_ids, text_or_none
from geochem.read.synonyms import DIGESTIONS
from geochem.read.text_table import TextTable
from geochem.read.values import MISSING, Kind, parse_column
from geochem.read.words import read_roles

if TYPE_CHECKING:
    import pandas as pd


@dataclass(slots=True, eq=False)
class RowFacts:
    """Per row: everything that all its values share.

    Parameters
    ----------
    ids : ndarray of object, shape (n_rows,)
        None where the row has no id and is left out.
    group : ndarray of int, shape (n_rows,)
        Number of the instrument and mode.
    columns : dict of str to ndarray
        Columns of `tables.RESULTS`.
    roles : pandas.DataFrame
        ``sample_id, role, parent, standard`` where the table says so.
    findings : list of Finding
        What was noticed.
    """

    ids: npt.NDArray[np.object_]
    group: npt.NDArray[np.int64]
    columns: dict[str, Any]
    roles: pd.DataFrame
    findings: list[Finding] = field(default_factory=list)


def row_facts(
    table: TextTable,
    plan: Plan,
    *,
    assay: str,
    source: str,
    batch: str | None,
    method: str | None,
    digestion: str | None,
    received: np.datetime64 | None,
    groups: dict[tuple[Any, Any], int],
    controls: tuple[ControlName, ...] = (),
    laboratory: str | None = None,
    several: frozenset[str] = frozenset(),
) -> RowFacts:
    """Read the columns that are no values.

    Parameters
    ----------
    table, plan
        The table and what its columns are.
    assay, source, batch, method, digestion, received
        Of the whole assay; for rows that do not say it themselves.
    groups : dict
        Numbers of instruments and modes, shared by all files of the assay; added to.
    controls : tuple of ControlName
        Declared names of controls.
    laboratory : str, optional
        For rows that do not say it themselves.
    several : frozenset of str, optional
        Ids that stand at several depths in the tables of the assay.

    Returns
    -------
    RowFacts
        Per row.
    """
    n = len(table)
    ids, findings = row_ids(table, plan.columns.get("id"))
    elsewhere = {c: i for i, c in plan.elsewhere.items()} | plan.columns
    if {"depth", "depth_from", "depth_to"} & set(elsewhere):
        low, high = depths_of(table, elsewhere)
        ids, found = part_by_depth(
            ids, low, high, file=table.file, rows=table.rows, several=several
        )
        findings += found

    def texts(key: str) -> npt.NDArray[np.object_]:
        i = plan.columns.get(key)
        if i is None:
            return np.full(n, None, dtype=object)
        return text_or_none(table.columns[i].texts())

    columns: dict[str, Any] = {
        key: texts(key) for key in ("instrument", "mode", "reading", "batch")
    }
    columns["seconds"] = _seconds(table, plan, findings)
    columns["date_read"] = _moment(table, plan, findings)
    arrived = np.full(n, np.datetime64("NaT"), dtype="datetime64[ns]")
    i = plan.columns.get("received")
    if i is not None:
        got = read_dates(
            table.columns[i].texts(), file=table.file, column=table.names[i], rows=table.rows
        )
        findings += got.findings
        arrived = got.moment
    if received is not None:
        arrived = np.where(np.isnat(arrived), received, arrived)
    columns["date_received"] = arrived
    columns["laboratory"] = _filled(texts("laboratory"), laboratory)
    columns["batch"] = _batch(table, columns, assay, source, batch)
    columns["method"] = _filled(texts("method"), method)
    columns["digestion"] = _digestion(table, plan, texts("digestion"), digestion, findings)
    columns["file"] = table.file
    columns["sample_id"] = ids
    pairs = list(zip(columns["instrument"].tolist(), columns["mode"].tolist(), strict=True))
    group = np.fromiter((groups.setdefault(p, len(groups)) for p in pairs), np.int64, n)
    return RowFacts(
        ids, group, columns, _roles(table, plan, ids, texts, controls, findings), findings
    )


def depths_in(table: TextTable, plan: Plan) -> dict[str, set[Depth | None]]:
    """Give the depths of each id of a table of results; empty where it has none."""
    elsewhere = {c: i for i, c in plan.elsewhere.items()} | plan.columns
    if not {"depth", "depth_from", "depth_to"} & set(elsewhere):
        return {}
    ids, _ = row_ids(table, plan.columns.get("id"))
    return depths_by_id(ids, *depths_of(table, elsewhere))


def _filled(given: npt.NDArray[np.object_], value: str | None) -> npt.NDArray[np.object_]:
    if value is not None:
        given[np.array([g is None for g in given], dtype=bool)] = value
    return given


def _seconds(table: TextTable, plan: Plan, findings: list[Finding]) -> npt.NDArray[np.float64]:
    i = plan.columns.get("seconds")
    if i is None:
        return np.full(len(table), np.nan)
    parsed = parse_column(table.columns[i])
    odd = ~parsed.is_kind(Kind.READING, *MISSING)
    if odd.any():
        findings.append(
            Finding(
                "number-not-read", "note",
                f"{int(odd.sum())} cells of column '{table.names[i]}' are no seconds and were "
                f"not read: rows {name_some(table.rows[odd].tolist())}.", table.file,
                int(table.rows[odd][0]), table.names[i],
            )
        )  # fmt: skip
    return np.where(parsed.kind == Kind.READING, parsed.number, np.nan)


def _moment(table: TextTable, plan: Plan, findings: list[Finding]) -> npt.NDArray[Any]:
    moment = np.full(len(table), np.datetime64("NaT"), dtype="datetime64[ns]")
    day, time = plan.columns.get("date"), plan.columns.get("time")
    if time is not None:
        texts = table.columns[time].texts()
        if not only_clock(texts):
            got = read_dates(texts, file=table.file, column=table.names[time], rows=table.rows)
            findings += got.findings
            return got.moment
    if day is not None:
        got = read_dates(
            table.columns[day].texts(), file=table.file, column=table.names[day], rows=table.rows
        )
        findings += got.findings
        moment = got.moment
        if time is not None:
            moment = add_clock(moment, table.columns[time].texts())
    elif time is not None:
        findings.append(
            Finding(
                "date-missing", "note",
                f"column '{table.names[time]}' holds times of day, and '{table.file}' has no "
                "dates; the times were not used.", table.file, None, table.names[time],
            )
        )  # fmt: skip
    return moment


def _batch(
    table: TextTable, columns: dict[str, Any], assay: str, source: str, batch: str | None
) -> npt.NDArray[np.object_]:
    """Give the batch: as told, else instrument and day of a portable XRF, else the file."""
    given: npt.NDArray[np.object_] = columns["batch"]
    open_ = np.array([g is None for g in given], dtype=bool)
    if not open_.any():
        return given
    if batch is not None:
        given[open_] = batch
        return given
    moment = columns["date_read"]
    if source == "pxrf" and not np.isnat(moment).all():
        days = np.datetime_as_string(moment.astype("datetime64[D]")).tolist()
        made = [
            table.path.stem if d == "NaT" else f"{who or assay} {d}"
            for who, d in zip(columns["instrument"].tolist(), days, strict=True)
        ]
        given[open_] = np.array(made, dtype=object)[open_]
    else:
        labs = columns["laboratory"]
        several = len({w for w in labs.tolist() if w is not None}) > 1
        given[open_] = table.path.stem
        if several:  # one file of several laboratories is several jobs
            where = open_ & np.array([w is not None for w in labs], dtype=bool)
            given[where] = [f"{w} {table.path.stem}" for w in labs[where]]
    return given


def _digestion(
    table: TextTable,
    plan: Plan,
    texts: npt.NDArray[np.object_],
    digestion: str | None,
    findings: list[Finding],
) -> npt.NDArray[np.object_]:
    i = plan.columns.get("digestion")
    if i is not None:
        strange = []
        for j, text in enumerate(texts.tolist()):
            if text is None:
                continue
            word = text.strip().lower().replace(" ", "-").replace("_", "-")
            if word in DIGESTIONS:
                texts[j] = word
            else:
                strange.append(text)
                texts[j] = None
        if strange:
            findings.append(
                Finding(
                    "digestion-unknown", "warning",
                    f"column '{table.names[i]}' holds words that are no digestion "
                    f"({name_some(sorted(set(strange)))}); known: {', '.join(DIGESTIONS)}.",
                    table.file, None, table.names[i],
                )
            )  # fmt: skip
    return _filled(texts, digestion)


def _roles(
    table: TextTable,
    plan: Plan,
    ids: npt.NDArray[np.object_],
    texts: Any,
    controls: tuple[ControlName, ...],
    findings: list[Finding],
) -> pd.DataFrame:
    import pandas as pd

    names = ["sample_id", "role", "parent", "standard"]
    if not {"role", "parent", "standard"} & set(plan.columns) and not controls:
        return pd.DataFrame({n: pd.Series([], dtype=object) for n in names})
    role = texts("role")
    i = plan.columns.get("role")
    if i is not None:
        role, found = read_roles(role, file=table.file, column=table.names[i], rows=table.rows)
        findings += found
    parent, standard = texts("parent"), texts("standard")
    if controls:
        findings += name_controls(
            ids,
            controls,
            role=role,
            parent=parent,
            standard=standard,
            file=table.file,
            given=texts("role"),
        )
    frame = pd.DataFrame(
        {
            "sample_id": pd.Series(ids, dtype=object),
            "role": pd.Series(role, dtype=object),
            "parent": pd.Series(parent, dtype=object),
            "standard": pd.Series(standard, dtype=object),
        }
    )
    frame = frame[frame["sample_id"].notna()]
    return frame.drop_duplicates(ignore_index=True)
