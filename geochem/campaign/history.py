"""What the campaign remembers: a dated snapshot per day, and the register of targets.

``history/`` stands beside the campaign file. A snapshot (``2026-03-20.json``) holds the targets
and counts of that day's last run; "previous" is the newest snapshot of an earlier day.
``register.csv`` is the user's to edit; it is made once with its header and never written again.
"""

from __future__ import annotations

import contextlib
import csv
import hashlib
import json
import os
import re
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.model.finding import Finding, name_some

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

REGISTER_COLUMNS = ["target", "status", "date", "by", "reason"]
STATUSES = ("new", "checked", "infilled", "trenched", "drilled", "dropped", "merged")
_NAME = re.compile(r"\d{4}-\d{2}-\d{2}\.json")


@dataclass(frozen=True, slots=True, eq=False)
class Previous:
    """The newest snapshot of an earlier day.

    Parameters
    ----------
    day : date or None
        None when there is none.
    targets : geopandas.GeoDataFrame or None
        Its targets, campaign CRS.
    progress : dict
        Its counts.
    sha256 : str
        Hash of the snapshot file.
    used_names : tuple of str
        Every target name that any snapshot holds; a name is never reused.
    same_day : geopandas.GeoDataFrame or None
        Targets of an earlier run of the same day, campaign CRS: a place keeps the name that was
        read off that run's map.
    """

    day: date | None
    targets: gpd.GeoDataFrame | None
    progress: dict[str, Any]
    sha256: str
    used_names: tuple[str, ...]
    same_day: gpd.GeoDataFrame | None = None


def read_previous(
    folder: Path, today: date, crs: str, *, until: date | None = None
) -> tuple[Previous, list[Finding]]:
    """Read the newest snapshot of an earlier day.

    Parameters
    ----------
    folder : Path
        The ``history`` folder; may be missing.
    today : date
        Of the run's clock.
    crs : str
        Campaign CRS.
    until : date, optional
        A past day is redrawn: later snapshots are expected and left aside without a word.

    Returns
    -------
    Previous
        Empty when there is none.
    list of Finding
        Snapshots that cannot be read, or that are of days to come.
    """
    import geopandas as gpd
    from shapely.geometry import shape

    findings: list[Finding] = []
    names: set[str] = set()
    later: list[date] = []
    same_day: gpd.GeoDataFrame | None = None
    newest: tuple[date, dict[str, Any], str] | None = None
    files = sorted(p for p in folder.glob("*.json") if _NAME.fullmatch(p.name))
    for path in files:
        day = date.fromisoformat(path.stem)
        if day == today:
            same_day = _same_day(path, crs)
            continue
        if day > today and until is not None:
            continue
        try:
            raw = path.read_bytes()
            content = json.loads(raw)
            names.update(row["properties"]["target"] for row in content["targets"])
            if day > today:
                later.append(day)
                continue
            newest = (day, content, hashlib.sha256(raw).hexdigest())
        except (OSError, ValueError, KeyError, TypeError) as error:
            findings.append(
                Finding(
                    "snapshot-unreadable",
                    "warning",
                    f"the snapshot {path.name} cannot be read ({error}) and is left aside; "
                    "ranks of that day are not compared.",
                    file=path.name,
                )
            )
    if later:
        findings.append(
            Finding(
                "clock-went-back",
                "warning",
                f"history/ holds snapshots of days to come ({name_some(later)}) while "
                f"the clock of this computer says {today}; they are not compared with, and their "
                "target names are not given again. Check the date of the computer.",
            )
        )
    if newest is None:
        return Previous(None, None, {}, "", tuple(sorted(names)), same_day), findings
    day, content, digest = newest
    rows = [row["properties"] for row in content["targets"]]
    shapes = [shape(row["geometry"]) for row in content["targets"]]
    targets = gpd.GeoDataFrame(rows, geometry=shapes, crs=crs) if rows else None
    if content.get("crs") != crs:
        targets = None
        findings.append(
            Finding(
                "snapshot-other-crs",
                "warning",
                f"the snapshot of {day} is in {content.get('crs')}, the campaign in {crs}; "
                "its targets are not compared.",
            )
        )
    return Previous(
        day, targets, content.get("progress", {}), digest, tuple(sorted(names)), same_day
    ), findings


def _same_day(path: Path, crs: str) -> gpd.GeoDataFrame | None:
    """Read the targets of an earlier run of the day; this run replaces the file."""
    import geopandas as gpd
    from shapely.geometry import shape

    try:
        content = json.loads(path.read_bytes())
        if content.get("crs") != crs or not content["targets"]:
            return None
        rows = [{"target": row["properties"]["target"]} for row in content["targets"]]
        shapes = [shape(row["geometry"]) for row in content["targets"]]
        return gpd.GeoDataFrame(rows, geometry=shapes, crs=crs)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None  # it is replaced in a moment; names are given anew


def write_snapshot(
    folder: Path, today: date, crs: str, targets: gpd.GeoDataFrame, progress: dict[str, Any]
) -> Path:
    """Write the snapshot of a day, replacing one of the same day.

    Parameters
    ----------
    folder : Path
        The ``history`` folder; made when missing.
    today : date
        Of the run's clock.
    crs : str
        Campaign CRS.
    targets : geopandas.GeoDataFrame
        Contract `tables.TARGETS`.
    progress : dict
        Counts.

    Returns
    -------
    Path
        The snapshot.
    """
    folder.mkdir(parents=True, exist_ok=True)
    content = {
        "date": today.isoformat(),
        "crs": crs,
        "progress": progress,
        "targets": json.loads(targets.to_json(drop_id=True))["features"] if len(targets) else [],
    }
    path = folder / f"{today.isoformat()}.json"
    part = folder / f".{path.name}.part"
    try:
        with part.open("w", encoding="utf-8") as stream:
            json.dump(content, stream, ensure_ascii=False, sort_keys=True, default=str)
            stream.flush()
            os.fsync(stream.fileno())
        part.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise
    return path


def read_register(folder: Path) -> tuple[pd.DataFrame, list[Finding]]:
    """Read the register of targets; make it with its header when it is missing.

    Parameters
    ----------
    folder : Path
        The ``history`` folder.

    Returns
    -------
    pandas.DataFrame
        Columns ``target, status, date, by, reason``, texts.
    list of Finding
        Unknown words of status.
    """
    import pandas as pd

    path = folder / "register.csv"
    if not path.exists():
        return pd.DataFrame(columns=REGISTER_COLUMNS, dtype=object), []
    findings: list[Finding] = []
    rows = []
    with path.open(encoding="utf-8-sig", newline="", errors="replace") as stream:
        text = stream.read()
    separator = ";" if text.split("\n", 1)[0].count(";") >= 4 else ","
    for number, row in enumerate(csv.DictReader(text.splitlines(), delimiter=separator), 2):
        clean = {c: (row.get(c) or "").strip() or None for c in REGISTER_COLUMNS}
        if clean["target"] is None:
            continue
        status = (clean["status"] or "new").lower()
        if status not in STATUSES:
            findings.append(
                Finding(
                    "register-status",
                    "warning",
                    f"register.csv row {number}: the status '{clean['status']}' of "
                    f"{clean['target']} is not one of {', '.join(STATUSES)}; read as 'new'.",
                    file="register.csv",
                    row=number,
                    column="status",
                )
            )
            status = "new"
        clean["status"] = status
        rows.append(clean)
    return pd.DataFrame(rows, columns=REGISTER_COLUMNS, dtype=object), findings


def start_register(folder: Path) -> None:
    """Make an empty register where there is none.

    Parameters
    ----------
    folder : Path
        The ``history`` folder.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "register.csv"
    if not path.exists():
        path.write_text(",".join(REGISTER_COLUMNS) + "\n", encoding="utf-8")


def _says_something(register: Path) -> bool:
    header = ",".join(REGISTER_COLUMNS)
    return register.is_file() and register.stat().st_size > len(header) + 5


def files_behind(folder: Path, today: date, *, decided: bool = False) -> list[Path]:
    """List the files of a history that a run of a day depends on.

    Parameters
    ----------
    folder : Path
        The ``history`` folder; may be missing.
    today : date
        Of the run's clock: the snapshot of that day is replaced; it is read only where register
        or decisions name targets, which then keep the names that they had on the map.
    decided : bool, default False
        Whether there are decisions.

    Returns
    -------
    list of Path
        Sorted; a register that holds its header alone says nothing and is left out.
    """
    found = []
    register = folder / "register.csv"
    named = decided or _says_something(register)
    for path in sorted(folder.glob("*")):
        if path.name.endswith(".part") or (path == register and not _says_something(register)):
            continue
        if path.name == f"{today.isoformat()}.json" and not named:
            continue
        found.append(path)
    return found
