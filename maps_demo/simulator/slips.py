"""The usual slips of the pen, put into otherwise right tables, and a list of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .fields import stream
from .settings import Settings

if TYPE_CHECKING:
    import pandas as pd


class Slip(NamedTuple):
    """One planted mistake.

    Parameters
    ----------
    kind, file : str
        What and where.
    sample_id : str
        The right id.
    became : str
        What the file says instead.
    """

    kind: str
    file: str
    sample_id: str
    became: str


def spoil(
    settings: Settings,
    field_log: pd.DataFrame,
    readings: pd.DataFrame,
    laboratory: pd.DataFrame,
) -> list[Slip]:
    """Put slips into the text tables (changed in place) and list them.

    Parameters
    ----------
    settings : Settings
        How many of each kind.
    field_log, readings, laboratory : pandas.DataFrame
        Text tables with a column ``Sample`` or ``sample_id``; all with a RangeIndex.

    Returns
    -------
    list of Slip
        In the order of the settings.
    """
    asked = settings.mistakes
    rng = stream(settings.seed, "slips")
    log_ids = field_log["sample_id"].to_numpy(dtype=object, copy=True)
    parents = set(field_log["parent"].dropna()) - {""}
    plain = (field_log["role"] == "routine") & (field_log["medium"] == "soil")
    plain &= ~field_log["sample_id"].isin(parents)
    shots = readings["Sample"].value_counts()
    once = set(shots[shots == 1].index)
    at_laboratory = set(laboratory["Sample"])
    pool = [
        row
        for row in np.flatnonzero(plain.to_numpy())
        if log_ids[row] in once and log_ids[row] not in at_laboratory
    ]
    picked = iter(rng.permutation(pool).tolist())
    slips: list[Slip] = []
    row_of = {name: row for row, name in enumerate(readings["Sample"])}

    letters = len(settings.prefix) + 1

    changes = [
        ("lower case", asked.lower_case, lambda s: s.lower()),
        ("space", asked.spaces, lambda s: f"{s[:letters]} {s[letters:]}"),
        ("zeros left out", asked.zeros, lambda s: s[:letters] + s[letters:].lstrip("0")),
    ]
    for kind, count, change in changes:
        for _ in range(count):
            name = log_ids[next(picked)]
            readings.loc[row_of[name], "Sample"] = change(name)
            slips.append(Slip(kind, "readings.csv", name, change(name)))
    candidates = [i for i, name in enumerate(laboratory["Sample"]) if name[1] == "S"]
    for row in sorted(rng.permutation(candidates)[: asked.laboratory_ids].tolist()):
        name = laboratory["Sample"][row]
        laboratory.loc[row, "Sample"] = name.lower()
        slips.append(Slip("lower case", "laboratory.xlsx", name, name.lower()))
    for _ in range(asked.swapped_coordinates):
        row = next(picked)
        x, y = field_log.loc[row, "easting"], field_log.loc[row, "northing"]
        field_log.loc[row, "easting"], field_log.loc[row, "northing"] = y, x
        slips.append(Slip("coordinates exchanged", "field_log.csv", log_ids[row], f"{y} {x}"))
    for _ in range(asked.missing_positions):
        row = next(picked)
        field_log.loc[row, ["easting", "northing"]] = ""
        slips.append(Slip("position missing", "field_log.csv", log_ids[row], ""))
    for _ in range(asked.doubled_ids):
        row = next(picked)
        other = log_ids[next(picked)]
        field_log.loc[row, "sample_id"] = other
        slips.append(Slip("id doubled", "field_log.csv", log_ids[row], other))
    for _ in range(asked.decimal_commas):
        row = next(picked)
        cell = field_log.loc[row, "powder_ml"].replace(".", ",")
        field_log.loc[row, "powder_ml"] = cell
        slips.append(Slip("decimal comma", "field_log.csv", log_ids[row], cell))
    for _ in range(asked.exchanged_pairs):
        one = log_ids[next(picked)]
        two = log_ids[next(picked)]
        readings.loc[row_of[one], "Sample"] = two
        readings.loc[row_of[two], "Sample"] = one
        slips.append(Slip("pellets exchanged", "readings.csv", one, two))
    return slips
