"""Depths: ranges in one cell, units of the header, and one id at several depths."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from geochem.model.finding import Finding, name_some
from geochem.read.text_table import TextColumn, TextTable
from geochem.read.values import MISSING, Kind, parse_column

Floats = npt.NDArray[np.float64]
Depth = tuple[float, float]

_RANGE = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*(?:-|–|to|\.\.)\s*(\d+(?:[.,]\d+)?)\s*(cm|m)?\s*")
#: units of a length in a header -> metres
METRES = {"cm": 0.01, "mm": 0.001, "m": 1.0, "ft": 0.3048}


def depth_unit(header: str) -> float:
    """Give the metres that one unit of a column of depths is.

    Examples
    --------
    >>> depth_unit("Depth (cm)"), depth_unit("from")
    (0.01, 1.0)
    """
    unit = re.split(r"[\s_(\[]+", header.strip().rstrip(")]").lower())[-1]
    return METRES.get(unit, 1.0)


def depth_ranges(
    column: TextColumn, values: Floats, odd: npt.NDArray[np.bool_], scale: float
) -> tuple[Floats, Floats, npt.NDArray[np.bool_]]:
    """Read cells such as ``0-20 cm`` as from and to.

    Parameters
    ----------
    column : TextColumn
        The cells.
    values : ndarray, shape (n_rows,)
        What plain numbers say, already in metres.
    odd : ndarray of bool, shape (n_rows,)
        Cells that are no plain numbers.
    scale : float
        Metres of one unit of the header.

    Returns
    -------
    low, high : ndarray, shape (n_rows,)
        A plain number is the depth to which the sample reaches from the surface. [m]
    odd : ndarray of bool, shape (n_rows,)
        What was not read.
    """
    low, high, odd = np.zeros(len(values)), values.copy(), odd.copy()
    index = np.flatnonzero(odd)
    for j, text in zip(index.tolist(), column.some(index).tolist(), strict=True):
        match = _RANGE.fullmatch(text)
        if match:
            own = METRES.get(match[3] or "", scale)
            low[j] = float(match[1].replace(",", ".")) * own
            high[j] = float(match[2].replace(",", ".")) * own
            odd[j] = False
    low[np.isnan(high)] = np.nan
    return np.round(low, 6), np.round(high, 6), odd


def depths_of(table: TextTable, columns: Mapping[str, int]) -> tuple[Floats, Floats]:
    """Give the depths of a table that is no field log.

    Parameters
    ----------
    table : TextTable
        The table.
    columns : mapping of str to int
        ``depth_from``, ``depth_to`` or ``depth`` -> index.

    Returns
    -------
    low, high : ndarray, shape (n_rows,)
        NaN where unknown. [m]
    """
    nothing = np.full(len(table), np.nan)

    def plain(key: str) -> tuple[Floats, npt.NDArray[np.bool_], float]:
        parsed = parse_column(table.columns[columns[key]])
        scale = depth_unit(table.names[columns[key]])
        values = np.where(parsed.kind == Kind.READING, parsed.number * scale, np.nan)
        return values, ~parsed.is_kind(Kind.READING, *MISSING), scale

    if "depth_from" in columns or "depth_to" in columns:
        low = plain("depth_from")[0] if "depth_from" in columns else nothing
        high = plain("depth_to")[0] if "depth_to" in columns else nothing
        return low, high
    if "depth" in columns:
        values, odd, scale = plain("depth")
        low, high, _ = depth_ranges(table.columns[columns["depth"]], values, odd, scale)
        return low, high
    return nothing, nothing.copy()


def part_by_depth(
    ids: npt.NDArray[np.object_],
    low: Floats,
    high: Floats,
    *,
    file: str,
    rows: npt.NDArray[Any],
    role: npt.NDArray[Any] | None = None,
    several: frozenset[str] | None = None,
) -> tuple[npt.NDArray[np.object_], list[Finding]]:
    """Give each depth of a sample its own id, where one id stands at several depths.

    Parameters
    ----------
    ids : ndarray of str or None, shape (n_rows,)
        Sample ids; not changed.
    low, high : ndarray, shape (n_rows,)
        Depths. [m]
    file : str
        For the finding.
    rows : ndarray of int, shape (n_rows,)
        Row numbers.
    role : ndarray of object, optional
        Controls are left as they are.
    several : frozenset of str, optional
        Ids that stand at several depths, where other tables were looked at too.

    Returns
    -------
    ids : ndarray of str or None, shape (n_rows,)
        ``A1`` at 0-0.2 and 0.2-0.4 m becomes ``A1@0-0.2`` and ``A1@0.2-0.4``, the same in every
        table that has the depths.
    findings : list of Finding
        ``id-at-several-depths``.

    Examples
    --------
    >>> got, _ = part_by_depth(np.array(["A1", "A1", "A2"], dtype=object), np.array([0, 0.2, 0]),
    ...                        np.array([0.2, 0.4, 0.2]), file="f", rows=np.arange(3))
    >>> got.tolist()
    ['A1@0-0.2', 'A1@0.2-0.4', 'A2']
    """
    if several is None:
        several = at_several_depths([depths_by_id(ids, low, high, role=role)])
    known = np.isfinite(low) | np.isfinite(high)
    out = ids.copy()
    parted = set()
    for i, sample in enumerate(ids.tolist()):
        if sample in several and known[i]:
            out[i] = name_at_depth(sample, (low[i], high[i]))
            parted.add(sample)
    if not parted:
        return ids, []
    named = sorted(parted)
    first = int(np.flatnonzero(np.isin(ids, named))[0])
    return out, [
        Finding(
            "id-at-several-depths", "note",
            f"{len(named)} ids of '{file}' stand at several depths ({name_some(named)}); each "
            f"depth is a sample of its own, named like '{out[first]}'.", file, int(rows[first]),
            None, named[0],
        )
    ]  # fmt: skip


def depths_by_id(
    ids: npt.NDArray[np.object_],
    low: Floats,
    high: Floats,
    *,
    role: npt.NDArray[Any] | None = None,
) -> dict[str, set[Depth | None]]:
    """Collect at which depths each id stands; None where a row has none.

    Parameters
    ----------
    ids, low, high, role
        As in `part_by_depth`.

    Returns
    -------
    dict of str to set
        Pairs ``(from, to)``, NaN as -1. [m]
    """
    out: dict[str, set[Depth | None]] = {}
    for i, sample in enumerate(ids.tolist()):
        if sample is None or (role is not None and role[i] not in (None, "routine")):
            continue
        pair = (_number(low[i]), _number(high[i]))
        out.setdefault(sample, set()).add(None if pair == (-1.0, -1.0) else pair)
    return out


def at_several_depths(tables: Iterable[Mapping[str, set[Depth | None]]]) -> frozenset[str]:
    """Give the ids that stand at more than one depth, and never without one."""
    together: dict[str, set[Depth | None]] = {}
    for table in tables:
        for sample, depths in table.items():
            together.setdefault(sample, set()).update(depths)
    return frozenset(s for s, d in together.items() if len(d) > 1 and None not in d)


def one_depth(tables: Iterable[Mapping[str, set[Depth | None]]]) -> dict[str, Depth]:
    """Give the depth of every id that stands at one known depth only."""
    together: dict[str, set[Depth | None]] = {}
    for table in tables:
        for sample, depths in table.items():
            together.setdefault(sample, set()).update(depths)
    return {s: pair for s, d in together.items() if len(d) == 1 and (pair := next(iter(d)))}


def name_at_depth(sample: str, depth: Depth) -> str:
    """Name one depth of a sample that has several.

    Examples
    --------
    >>> name_at_depth("A1", (0.0, 0.2))
    'A1@0-0.2'
    """
    a, b = (f"{v:g}" if np.isfinite(v) and v >= 0 else "" for v in depth)
    return f"{sample}@{a}-{b}"


def _number(value: float) -> float:
    return -1.0 if not np.isfinite(value) else round(float(value), 6)
