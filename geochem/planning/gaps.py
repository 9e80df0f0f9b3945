"""What of the plan has been sampled, what moved, and what is still missing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd


def compare_plan(
    plan: pd.DataFrame, samples: gpd.GeoDataFrame, *, reach_m: float | None = None
) -> pd.DataFrame:
    """Compare planned points with located samples.

    A point counts as sampled when a sample names it, or stands within `reach_m` of it and names
    no other point. A sample that names a point and stands farther off is marked as moved.

    Parameters
    ----------
    plan : pandas.DataFrame
        ``planned_id, easting, northing`` in the working CRS.
    samples : geopandas.GeoDataFrame
        Located samples: ``sample_id, planned_id`` and a point.
    reach_m : float, optional
        Default: half of the median distance between neighbouring planned points. [m]

    Returns
    -------
    pandas.DataFrame
        ``planned_id, easting, northing, state, sample_id, distance_m`` in the order of the plan;
        `state` is ``sampled``, ``moved`` or ``gap``; of a gap `sample_id` is the nearest sample.

    Raises
    ------
    WrongCall
        If a planned id occurs twice.
    """
    import pandas as pd
    from scipy.spatial import cKDTree

    doubled = plan["planned_id"][plan["planned_id"].duplicated()]
    if len(doubled):
        raise WrongCall(
            f"the plan holds {doubled.iloc[0]} more than once ({len(doubled)} such rows); give every "
            "planned point an id of its own."
        )
    xy = plan[["easting", "northing"]].to_numpy(dtype=float)
    here = np.isfinite(xy).all(axis=1)
    if reach_m is None:
        reach_m = 0.0
        if here.sum() > 1:
            reach_m = 0.5 * float(np.median(cKDTree(xy[here]).query(xy[here], k=2)[0][:, 1]))
    out = plan[["planned_id", "easting", "northing"]].reset_index(drop=True).copy()
    state = np.full(len(out), "gap", dtype=object)
    name = np.full(len(out), None, dtype=object)
    distance = np.full(len(out), np.nan)
    ordered = samples.sort_values("sample_id")
    places = np.column_stack([ordered.geometry.x, ordered.geometry.y])
    ids = ordered["sample_id"].to_numpy(dtype=object)
    named = ordered["planned_id"] if "planned_id" in ordered else pd.Series([None] * len(ordered))
    row_of = {p: i for i, p in enumerate(out["planned_id"])}
    row = np.array([row_of.get(p, -1) for p in named], dtype=np.intp)
    if len(ids):
        away, nearest = cKDTree(places).query(np.where(here[:, None], xy, 0.0))
        name[here], distance[here] = ids[nearest[here]], away[here]
    loose = np.flatnonzero(row < 0)
    if len(loose) and here.any():
        away, nearest = cKDTree(xy[here]).query(places[loose])
        at = np.flatnonzero(here)[nearest]
        for i in np.argsort(-away, kind="stable"):
            if away[i] <= reach_m:
                state[at[i]], name[at[i]], distance[at[i]] = "sampled", ids[loose[i]], away[i]
    for i in np.flatnonzero(row >= 0):
        r = row[i]
        off = float(np.hypot(*(places[i] - xy[r]))) if here[r] else np.nan
        moved = bool(np.isfinite(off) and reach_m > 0 and off > reach_m)
        state[r], name[r], distance[r] = "moved" if moved else "sampled", ids[i], off
    out["state"], out["sample_id"], out["distance_m"] = state, name, np.round(distance, 1)
    return out
