"""Where a table says its samples are: plain columns, degrees in parts, zones, grid references."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from geochem.model.finding import Finding, name_some
from geochem.read.position_columns import (
    find_letters,
    find_parts,
    join_parts,
    read_references,
    split_pairs,
    strip_axis_letters,
)
from geochem.read.positions import Coordinates, look_like_degrees, read_axis
from geochem.read.synonyms import squeeze
from geochem.read.text_table import TextColumn, TextTable
from geochem.read.zone_crs import zone_crs

if TYPE_CHECKING:
    from geochem.read.columns import Plan

_LAT, _LON = ("lat", "breiten"), ("lon", "lng", "laengen", "längen")


def read_positions(
    table: TextTable,
    plan: Plan,
    crs: str | None,
    decimal: str | None,
    campaign_crs: str | None = None,
) -> tuple[dict[str, Any], list[Finding]]:
    """Read the positions of a table and look whether they can be right.

    Parameters
    ----------
    table, plan
        The table and what its columns are.
    crs : str, optional
        As stated.
    decimal : {".", ","}, optional
        Decimal mark the user states.
    campaign_crs : str, optional
        Settles hemisphere and datum of UTM zones where nothing else does.

    Returns
    -------
    data : dict
        ``x`` and ``y`` where there are columns for them; ``crs`` per row where a zone or a grid
        reference states it; ``accuracy_m`` where a grid reference is coarser than a receiver.
    findings : list of Finding
        What was not read, what is missing.
    """
    findings: list[Finding] = []
    if "mgrs" in plan.columns and not {"x", "y"} <= set(plan.columns):
        return _references(table, plan, findings)
    parts = find_parts(table)
    if parts:
        axes = {
            axis: read_axis(
                TextColumn(join_parts(table, parts, word)), axis=axis, file=table.file,
                name=table.names[parts[f"{word}_d"]], rows=table.rows, decimal=decimal,
            )
            for axis, word in (("x", "lon"), ("y", "lat"))
        }  # fmt: skip
        for axis, word in (("x", "lon"), ("y", "lat")):
            plan.columns[axis] = parts[f"{word}_d"]
        findings += [f for a in axes.values() for f in a.findings]
    elif "latlon" in plan.columns and not {"x", "y"} & set(plan.columns):
        axes = _pairs(table, plan, findings)
    else:
        axes = _axes(table, plan, decimal, findings)
    numbers: dict[str, Any] = {k: a.number for k, a in axes.items()}
    if len(axes) == 1:
        there = next(iter(axes))
        findings.append(
            Finding(
                "position-half", "warning",
                f"'{table.file}' has a column for one coordinate only "
                f"('{table.names[plan.columns[there]]}'); name the other under `columns`.",
                table.file,
            )
        )  # fmt: skip
        return numbers, findings
    if not axes:
        findings.append(
            Finding(
                "position-missing", "warning",
                f"'{table.file}' has no columns of coordinates; its samples get no place on the "
                "map. Name them under `columns` (x and y).", table.file,
            )
        )  # fmt: skip
        return numbers, findings
    degrees = _named_degrees(table, plan) or _written_degrees(axes)
    findings += _judge_degrees(table, plan, axes, crs)
    if {"zone", "hemisphere"} & set(plan.columns) and not degrees:
        numbers["crs"], found = zone_crs(
            table, plan, axes["x"].number, axes["y"].number, crs or campaign_crs
        )
        findings += found
    return numbers, findings


def _axes(
    table: TextTable, plan: Plan, decimal: str | None, findings: list[Finding]
) -> dict[str, Coordinates]:
    axes = {}
    letters = find_letters(table)
    stripped = strip_axis_letters(table, plan.columns)
    for axis in ("x", "y"):
        i = plan.columns.get(axis)
        if i is None:
            continue
        column = table.columns[i]
        texts, changed = stripped.get(axis, (column.texts(), False))
        if axis in letters:
            beside = table.columns[letters[axis]].texts()
            made = [f"{t}{b}" if t and b else t for t, b in zip(texts, beside, strict=True)]
            column = TextColumn(made)
        elif changed:
            column = TextColumn(texts)
        axes[axis] = read_axis(
            column, axis=axis, file=table.file, name=table.names[i], rows=table.rows,
            decimal=decimal,
        )  # fmt: skip
        findings += axes[axis].findings
    return axes


def _pairs(table: TextTable, plan: Plan, findings: list[Finding]) -> dict[str, Coordinates]:
    i = plan.columns["latlon"]
    texts = table.columns[i].texts()
    x, y, degrees, bad = split_pairs(texts)
    plan.columns["x"] = plan.columns["y"] = i
    if bad:
        findings.append(_not_read(table, i, bad, texts, "no pair of coordinates"))
    if degrees:
        findings.append(
            Finding(
                "position-order", "note",
                f"column '{table.names[i]}' holds both coordinates; degrees were read as "
                "latitude, longitude where no letters say otherwise.", table.file, None,
                table.names[i],
            )
        )  # fmt: skip
    return {"x": Coordinates(x, degrees), "y": Coordinates(y, degrees)}


def _references(
    table: TextTable, plan: Plan, findings: list[Finding]
) -> tuple[dict[str, Any], list[Finding]]:
    i = plan.columns["mgrs"]
    texts = table.columns[i].texts()
    x, y, crs, size, bad = read_references(texts)
    if bad:
        findings.append(_not_read(table, i, bad, texts, "no MGRS reference"))
    read = np.isfinite(x)
    if read.any():
        coarse = float(np.nanmax(size))
        findings.append(
            Finding(
                "grid-reference", "note",
                f"column '{table.names[i]}' holds MGRS references on WGS 84, down to a square of "
                f"{coarse:g} m; the middle of each square was taken.", table.file, None,
                table.names[i],
            )
        )  # fmt: skip
    data: dict[str, Any] = {"x": x, "y": y, "crs": crs}
    if "accuracy_m" not in plan.columns and read.any() and float(np.nanmax(size)) >= 10:
        data["accuracy_m"] = size / 2
    return data, findings


def _not_read(
    table: TextTable, i: int, bad: list[int], texts: npt.NDArray[Any], what: str
) -> Finding:
    cells = list(dict.fromkeys(texts[bad[:200]].tolist()))
    return Finding(
        "position-not-read", "warning",
        f"{len(bad)} cells of column '{table.names[i]}' are {what} ({name_some(cells, 3)}) and "
        f"were not read: rows {name_some(table.rows[bad].tolist())}.", table.file,
        int(table.rows[bad[0]]), table.names[i],
    )  # fmt: skip


def _named_degrees(table: TextTable, plan: Plan) -> bool:
    headers = squeeze(table.names[plan.columns["x"]]), squeeze(table.names[plan.columns["y"]])
    return headers[0].startswith(_LON) or headers[1].startswith(_LAT)


def _written_degrees(axes: dict[str, Coordinates]) -> bool:
    marked = axes["x"].degrees or axes["y"].degrees
    return marked or look_like_degrees(axes["x"].number, axes["y"].number)


def _judge_degrees(
    table: TextTable, plan: Plan, axes: dict[str, Coordinates], crs: str | None
) -> list[Finding]:
    findings = []
    x, y = axes["x"].number, axes["y"].number
    named = _named_degrees(table, plan)
    degrees = named or _written_degrees(axes)
    if degrees and crs is None and "crs" not in plan.columns:
        findings.append(
            Finding(
                "crs-not-stated", "warning",
                f"the coordinates of '{table.file}' look like longitude and latitude in degrees, "
                "and no CRS is stated for them. State it, for example crs = \"EPSG:4326\" if they "
                "are WGS 84.", table.file, None, table.names[plan.columns["x"]],
            )
        )  # fmt: skip
    if named:
        with np.errstate(invalid="ignore"):
            wrong = (np.abs(y) > 90) | (np.abs(x) > 180)
        if wrong.any():
            findings.append(
                Finding(
                    "degrees-beyond-range", "warning",
                    f"{int(wrong.sum())} positions are beyond 90 degrees of latitude or 180 of "
                    f"longitude (rows {name_some(table.rows[wrong].tolist())}): the columns may "
                    "be swapped, or hold metres.", table.file, int(table.rows[wrong][0]),
                    table.names[plan.columns["y"]],
                )
            )  # fmt: skip
    return findings
