"""Names of targets: kept by overlap with the previous snapshot, never used twice; their status.

A target keeps the name of the previous one it overlaps most (intersection over the smaller of the
two areas at least a quarter); each name goes to one target only. New ones get the next free
number above every number ever used.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd
    from shapely.geometry.base import BaseGeometry

#: least overlap that keeps a name
OVERLAP = 0.25
STATUSES = ("new", "checked", "infilled", "trenched", "drilled", "dropped", "merged")
_NUMBER = re.compile(r"T(\d+)")


@dataclass(frozen=True, slots=True)
class Identity:
    """Name and history of one target.

    Parameters
    ----------
    target : str
        ``T01`` ...
    previous_rank : int or None
        In the previous snapshot.
    first_seen : str or None
        Date it was first proposed.
    status : str
        From the register, else ``new``.
    """

    target: str
    previous_rank: int | None
    first_seen: str | None
    status: str


def identify(
    polygons: Sequence[BaseGeometry],
    previous: gpd.GeoDataFrame | None,
    register: pd.DataFrame | None,
    *,
    today: str | None,
    used_names: Sequence[str] = (),
    same_day: gpd.GeoDataFrame | None = None,
) -> list[Identity]:
    """Name targets.

    Parameters
    ----------
    polygons : sequence of shapely geometry
        Best first; new numbers are given in this order.
    previous : geopandas.GeoDataFrame, optional
        Targets of the previous snapshot.
    register : pandas.DataFrame, optional
        ``target, status, date, by, reason``.
    today : str, optional
        Date of the run.
    used_names : sequence of str
        Names of older snapshots.
    same_day : geopandas.GeoDataFrame, optional
        Targets of an earlier run of the same day: they name a place first.

    Returns
    -------
    list of Identity
        One per polygon.
    """
    import pandas as pd

    old = previous if previous is not None and len(previous) else None
    names = _names(polygons, same_day)
    rest = [i for i in range(len(polygons)) if i not in names]
    if old is not None:
        free = old[~old["target"].astype(str).isin(list(names.values()))]
        found = _names([polygons[i] for i in rest], free)
        names |= {rest[k]: name for k, name in found.items()}
    by_name = {} if old is None else {str(old["target"].iloc[j]): j for j in range(len(old))}
    numbers = [0, *_numbers(used_names)]
    if same_day is not None:
        numbers += _numbers(same_day["target"])
    if old is not None:
        numbers += _numbers(old["target"])
    if register is not None and len(register):
        numbers += _numbers(register["target"].dropna())
    next_number = max(numbers) + 1
    status = latest_status(register)
    out = []
    for i in range(len(polygons)):
        given = names.get(i)
        if given is not None and (old is None or given not in by_name):
            out.append(Identity(given, None, today, status.get(given, "new")))
            continue
        if given is not None and old is not None:
            name = given
            row = old.iloc[by_name[name]]
            rank = row.get("rank")
            seen = row.get("first_seen")
            out.append(
                Identity(
                    name,
                    None if pd.isna(rank) else int(rank),
                    today if seen is None or pd.isna(seen) else str(seen)[:10],
                    status.get(name, "new"),
                )
            )
            continue
        name = f"T{next_number:02d}"
        next_number += 1
        out.append(Identity(name, None, today, status.get(name, "new")))
    return out


def _names(polygons: Sequence[BaseGeometry], named: gpd.GeoDataFrame | None) -> dict[int, str]:
    """Give each polygon the name of the target that it overlaps most."""
    if named is None or not len(named):
        return {}
    return {i: str(named["target"].iloc[j]) for i, j in _pairs(polygons, named).items()}


def _pairs(polygons: Sequence[BaseGeometry], old: gpd.GeoDataFrame | None) -> dict[int, int]:
    if old is None:
        return {}
    shapes = list(old.geometry)
    found = []
    for i, new in enumerate(polygons):
        for j, was in enumerate(shapes):
            if was is None or was.is_empty or not new.intersects(was):
                continue
            both = new.intersection(was).area
            share = both / max(min(new.area, was.area), 1e-9)
            if share >= OVERLAP:
                found.append((-round(share * both, 6), str(old["target"].iloc[j]), i, j))
    new_taken: dict[int, int] = {}
    for _, _, i, j in sorted(found):
        if i not in new_taken and j not in new_taken.values():
            new_taken[i] = j
    return new_taken


def _numbers(names: Sequence[str] | pd.Series) -> list[int]:
    found = (_NUMBER.fullmatch(str(n).strip()) for n in names)
    return [int(m.group(1)) for m in found if m]


def latest_status(register: pd.DataFrame | None) -> dict[str, str]:
    """Give the newest known status of each target; rows without a date count as oldest."""
    import pandas as pd

    if register is None or not len(register):
        return {}
    rows = register.reset_index(drop=True)
    day = (
        pd.to_datetime(rows["date"], errors="coerce")
        if "date" in rows.columns
        else pd.Series(pd.NaT, index=rows.index)
    )
    order = day.sort_values(kind="stable", na_position="first").index
    out = {}
    for k in order:
        word = str(rows["status"].iloc[k]).strip().lower()
        if word in STATUSES:
            out[str(rows["target"].iloc[k]).strip()] = word
    return out
