"""Small lists beside the tables: planned points, and what was sent to a laboratory."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.errors import DataRefused
from geochem.model.finding import Finding
from geochem.read.dates import read_dates
from geochem.read.ids import text_or_none
from geochem.read.open_table import open_table

if TYPE_CHECKING:
    import pandas as pd

PLAN_COLUMNS = ("planned_id", "easting", "northing")
DISPATCH_COLUMNS = ("sample_id", "laboratory", "job", "sent")


def read_plan(path: Path) -> tuple[pd.DataFrame, list[Finding]]:
    """Read planned sampling points.

    Parameters
    ----------
    path : Path
        Table with columns ``planned_id, easting, northing``, campaign CRS.

    Returns
    -------
    pandas.DataFrame
        Those columns; positions as numbers, NaN where missing.
    list of Finding
        What was noticed.

    Raises
    ------
    DataRefused
        If a column is missing.
    """
    import pandas as pd

    frame, findings = _texts(path, PLAN_COLUMNS, needed=("planned_id",))
    for name in ("easting", "northing"):
        frame[name] = pd.to_numeric(frame[name], errors="coerce").astype(float)
    return frame.loc[frame["planned_id"].notna()].reset_index(drop=True), findings


def read_dispatch(path: Path) -> tuple[pd.DataFrame, list[Finding]]:
    """Read what was sent to a laboratory.

    Parameters
    ----------
    path : Path
        Table with columns ``sample_id, laboratory, job, sent``.

    Returns
    -------
    pandas.DataFrame
        Those columns, `sent` as date.
    list of Finding
        What was noticed.

    Raises
    ------
    DataRefused
        If a column is missing.
    """
    import numpy as np

    frame, findings = _texts(path, DISPATCH_COLUMNS, needed=("sample_id",))
    texts = np.array([t or "" for t in frame["sent"]], dtype=object)
    dates = read_dates(texts, file=path.name, column="sent", rows=frame["row"].to_numpy())
    frame["sent"] = dates.moment
    return (
        frame.loc[frame["sample_id"].notna()].reset_index(drop=True),
        [*findings, *dates.findings],
    )


def _texts(
    path: Path, columns: tuple[str, ...], needed: tuple[str, ...]
) -> tuple[Any, list[Finding]]:
    import pandas as pd

    table = open_table(path)
    place = {name.strip().lower().replace(" ", "_"): i for i, name in enumerate(table.names)}
    missing = [name for name in needed if name not in place]
    if missing:
        raise DataRefused(
            f"{path.name} has no column {', '.join(missing)}; it needs {', '.join(columns)}, and "
            f"has {', '.join(n for n in table.names if n)}."
        )
    data = {
        name: pd.Series(
            text_or_none(table.columns[place[name]].texts())
            if name in place
            else [None] * len(table.rows),
            dtype=object,
        )
        for name in columns
    }
    frame = pd.DataFrame(data)
    frame["row"] = table.rows
    return frame, list(table.findings)
