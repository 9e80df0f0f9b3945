"""The field log: one row per sample, with its place and everything the crew wrote down."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from geochem.errors import DataRefused, unknown
from geochem.model import tables as contract
from geochem.model.finding import Finding, name_some
from geochem.model.reading import FieldLogRead
from geochem.read.columns import Plan, plan_columns
from geochem.read.control_names import name_controls, read_patterns
from geochem.read.dates import add_clock, only_clock, read_dates
from geochem.read.depths import depth_ranges, depth_unit, part_by_depth
from geochem.read.describe import describe_columns
from geochem.read.ids import row_ids, text_or_none
from geochem.read.local_grid import read_local_grid
from geochem.read.open_table import open_table
from geochem.read.places import read_positions
from geochem.read.suspicious import say_mixed
from geochem.read.text_table import TextTable
from geochem.read.values import MISSING, Kind, parse_column
from geochem.read.words import are_roles, read_media, read_roles

_USES = ("full", "context")


def read_field_log(
    path: str | Path,
    *,
    medium: str | None = None,
    grid: str | None = None,
    stage: str | None = None,
    use: str = "full",
    crs: str | None = None,
    columns: Mapping[str, str] | None = None,
    sheet: str | None = None,
    separator: str | None = None,
    decimal: str | None = None,
    encoding: str | None = None,
    header_rows: int | Sequence[int] | None = None,
    name: str | None = None,
    campaign_crs: str | None = None,
    local_grid: str | Path | None = None,
    controls: Mapping[str, Any] | None = None,
) -> FieldLogRead:
    """Read a field log.

    Parameters
    ----------
    path : str or Path
        The table.
    medium, grid, stage : str, optional
        For rows that do not say it themselves.
    use : {"full", "context"}, default "full"
        Historical data are shown, not used: ``context``.
    crs : str, optional
        Of the coordinates in the file; not guessed when left out.
    columns : mapping of str to str, optional
        Contract name -> header; what is not given is recognised.
    sheet, separator, decimal, encoding, header_rows : optional
        What is known of the file; by default it is found out.
    name : str, optional
        Name of the table in findings; by default the file's.
    campaign_crs : str, optional
        Settles hemisphere and datum of UTM zones where neither the table nor `crs` does.
    local_grid : path, optional
        Table of control points: the coordinates are those of a local grid and are brought to the
        map through them.
    controls : mapping, optional
        Patterns of ids -> role, for controls that are known by their names.

    Returns
    -------
    FieldLogRead
        Rows with an id; findings name the others.

    Raises
    ------
    DataRefused
        If the file cannot be used at all.
    WrongCall
        If an option is not possible.
    """
    if use not in _USES:
        raise unknown("use of a table", use, _USES)
    table = open_table(
        path, sheet=sheet, separator=separator, decimal=decimal, encoding=encoding,
        header_rows=header_rows,
    )  # fmt: skip
    plan = plan_columns(table, "field_log", columns=columns, decimal=decimal)
    if not plan.columns and not plan.analytes:
        raise DataRefused(
            f"none of the columns of '{table.file}' is known in a field log "
            f"({name_some([n for n in table.names if n])}); name at least the sample id and the "
            "coordinates under `columns`."
        )
    findings: list[Finding] = [*table.findings, *plan.findings]
    import pandas as pd

    ids, found = row_ids(table, plan.columns.get("id"))
    findings += found
    data: dict[str, Any] = {"sample_id": ids}
    axes, found = read_positions(table, plan, crs, decimal, campaign_crs)
    data |= axes
    findings += found
    if local_grid is not None:
        _from_local_grid(local_grid, table, data, findings)
    _numbers(table, plan, decimal, data, findings)
    _texts(table, plan, data)
    _words(table, plan, medium, data, findings)
    if controls:
        none = np.full(len(table), None, dtype=object)
        for key in ("role", "parent", "standard"):
            data.setdefault(key, none.copy())
        i = plan.columns.get("role")
        findings += name_controls(
            ids, read_patterns(controls), role=data["role"], parent=data["parent"],
            standard=data["standard"], file=table.file,
            given=None if i is None else text_or_none(table.columns[i].texts()),
        )  # fmt: skip
    _dates(table, plan, data, findings)
    n = len(table)
    for key, value in (("grid", grid), ("stage", stage), ("use", use)):
        given = data.get(key)
        if given is None:
            data[key] = np.full(n, value, dtype=object)
        elif value is not None:
            data[key] = np.array([value if g is None else g for g in given], dtype=object)
    if "crs" not in data:
        data["crs"] = np.full(n, crs, dtype=object)
    elif crs is not None:
        data["crs"] = np.array([crs if g is None else g for g in data["crs"]], dtype=object)
    data["file"] = np.full(n, name or table.file, dtype=object)
    data["row"] = table.rows
    extras = _extras(table, plan, data, findings)
    frame = contract.conform(pd.DataFrame(data), contract.FIELD_LOG)
    if extras:
        texts = {k: pd.Series(v, dtype=object) for k, v in extras.items()}
        frame = pd.concat([frame, pd.DataFrame(texts)], axis=1)
    frame["sample_id"], found = part_by_depth(
        ids, frame["depth_from"].to_numpy(), frame["depth_to"].to_numpy(),
        file=table.file, rows=table.rows, role=frame["role"].to_numpy(dtype=object),
    )  # fmt: skip
    findings += found
    keep = np.array([i is not None for i in ids], dtype=bool)
    frame = frame.loc[keep].reset_index(drop=True)
    if not len(frame):
        findings.append(
            Finding("no-samples", "error", f"'{table.file}' holds no row with a sample id.",
                    table.file)
        )  # fmt: skip
    return FieldLogRead(
        frame, table.dialect, describe_columns(table, plan, decimal=decimal), tuple(findings)
    )


def _from_local_grid(
    path: str | Path, table: TextTable, data: dict[str, Any], findings: list[Finding]
) -> None:
    grid, found = read_local_grid(path)
    findings += found
    if not {"x", "y"} <= set(data):
        raise DataRefused(
            f"'{table.file}' has no local coordinates to bring to the map; name them under "
            "`columns` (x and y)."
        )
    x, y = grid.to_map(data["x"], data["y"])
    data["x"], data["y"] = np.round(x, 3), np.round(y, 3)
    # small numbers of a local grid are no degrees
    findings[:] = [f for f in findings if f.code != "crs-not-stated"]


def _numbers(
    table: TextTable,
    plan: Plan,
    decimal: str | None,
    data: dict[str, Any],
    findings: list[Finding],
) -> None:
    kinds = {**contract.FIELD_LOG, "depth": "number"}
    for key, i in plan.columns.items():
        if key in ("x", "y") or kinds.get(key) != "number":
            continue
        header = table.names[i]
        parsed = parse_column(table.columns[i], decimal=decimal)
        values = np.where(parsed.kind == Kind.READING, parsed.number, np.nan)
        odd = ~parsed.is_kind(Kind.READING, *MISSING)
        column = table.columns[i]
        findings += say_mixed(
            parsed, column.some, file=table.file,
            column=header, rows=table.rows,
        )  # fmt: skip
        scale = 1.0
        if key in ("depth", "depth_from", "depth_to"):
            scale = depth_unit(header)
            values = values * scale
        if key == "depth":
            low, values, odd = depth_ranges(table.columns[i], values, odd, scale)
            if "depth_from" not in plan.columns and "depth_to" not in plan.columns:
                data["depth_from"], data["depth_to"] = low, values
        else:
            data[key] = values
        if odd.any():
            rows = table.rows[odd]
            cells = table.columns[i].some(np.flatnonzero(odd)[:200])
            findings.append(
                Finding(
                    "number-not-read", "warning",
                    f"{int(odd.sum())} cells of column '{header}' are no numbers, or could be two "
                    f"({name_some(list(dict.fromkeys(cells.tolist())), 3)}) and were not read: "
                    f"rows {name_some(rows.tolist())}.", table.file, int(rows[0]), header,
                )
            )  # fmt: skip


def _texts(table: TextTable, plan: Plan, data: dict[str, Any]) -> None:
    for key, i in plan.columns.items():
        if contract.FIELD_LOG.get(key) == "text" and key not in ("medium", "role"):
            data[key] = text_or_none(table.columns[i].texts())


def _words(
    table: TextTable, plan: Plan, medium: str | None, data: dict[str, Any], findings: list[Finding]
) -> None:
    n = len(table)
    if medium is not None:
        given, _, found = read_media(
            np.array([medium], dtype=object), file=table.file, column="medium",
            rows=np.array([table.dialect.header_row]),
        )  # fmt: skip
        findings += found
        medium = given[0]
    i = plan.columns.get("medium")
    texts = None if i is None else text_or_none(table.columns[i].texts())
    if i is not None and texts is not None and are_roles(texts) and "role" not in plan.columns:
        plan.columns["role"] = plan.columns.pop("medium")
        i = None
    if i is not None and texts is not None:
        media, kinds, found = read_media(
            texts, file=table.file, column=table.names[i], rows=table.rows
        )
        findings += found
        if medium is not None:
            media = np.array([medium if m is None else m for m in media], dtype=object)
        data["medium"] = media
        if "kind" not in data and any(k is not None for k in kinds):
            data["kind"] = kinds
    else:
        data["medium"] = np.full(n, medium, dtype=object)
    i = plan.columns.get("role")
    if i is not None:
        role, found = read_roles(
            text_or_none(table.columns[i].texts()), file=table.file, column=table.names[i],
            rows=table.rows,
        )  # fmt: skip
        findings += found
        data["role"] = role


def _dates(table: TextTable, plan: Plan, data: dict[str, Any], findings: list[Finding]) -> None:
    for key in ("date", "received"):
        i = plan.columns.get(key)
        if i is not None:
            got = read_dates(
                table.columns[i].texts(), file=table.file, column=table.names[i], rows=table.rows
            )
            findings += got.findings
            data[key] = got.moment
    i = plan.columns.get("time")
    if i is None:
        return
    texts = table.columns[i].texts()
    if only_clock(texts):
        if "date" in data:
            data["date"] = add_clock(data["date"], texts)
    elif "date" not in data:
        got = read_dates(texts, file=table.file, column=table.names[i], rows=table.rows)
        findings += got.findings
        data["date"] = got.moment


def _extras(
    table: TextTable, plan: Plan, data: dict[str, Any], findings: list[Finding]
) -> dict[str, npt.NDArray[np.object_]]:
    """Keep the further columns as text; concentrations are left to the assays."""
    taken = set(contract.FIELD_LOG) | set(data)
    extras: dict[str, npt.NDArray[np.object_]] = {}
    for i in plan.ignored:
        header = table.names[i].strip()
        if not header:
            continue
        label = header
        while label in taken or label in extras:
            label += "_"
        extras[label] = text_or_none(table.columns[i].texts())
    held = [table.names[a.index] for a in plan.analytes]
    if held:
        findings.append(
            Finding(
                "values-in-field-log", "note",
                f"columns {name_some(held)} of '{table.file}' hold values of elements; they are "
                "read where the same file is named under [[assays]].", table.file,
            )
        )  # fmt: skip
    return extras
