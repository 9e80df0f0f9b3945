"""Tomorrow: a route over follow-up points and gaps in the plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall
from geochem.stats.route import MOST, shortest_walk

if TYPE_CHECKING:
    import pandas as pd

DAY_COLUMNS = ["stop", "point", "why", "easting", "northing", "leg_m", "walked_m", "detail"]


@dataclass(frozen=True, slots=True, eq=False)
class Day:
    """Points of a day in walking order.

    Parameters
    ----------
    stops : pandas.DataFrame
        ``stop, point, why, easting, northing, leg_m, walked_m, detail``.
    waiting : int
        Points that were left for another day.
    walking_km : float
        Straight lines, from the start (when given) and, if asked, back. [km]
    """

    stops: pd.DataFrame
    waiting: int
    walking_km: float


def plan_day(
    points: pd.DataFrame,
    *,
    most: int = 40,
    start: tuple[float, float] | None = None,
    back: bool = True,
) -> Day:
    """Choose the points of a day and the order in which to walk them.

    The most urgent point that is nearest to the start opens the day; the others are the nearest
    to it, urgent ones first within a stretch: a point of the next urgency counts as twice as far.

    Parameters
    ----------
    points : pandas.DataFrame
        ``point, why, easting, northing, urgency, detail``; urgency 1 goes first.
    most : int, default 40
        Points of the day, at most 300.
    start : (float, float), optional
        Camp or the place where the vehicle stands.
    back : bool, default True
        Walk back to the start; counts only with a start.

    Returns
    -------
    Day
        Stops in order.

    Raises
    ------
    WrongCall
        If more than 300 points are asked for.
    """
    import pandas as pd

    if not 1 <= most <= MOST:
        raise WrongCall(f"a day holds 1 to {MOST} points, got {most}.")
    usable = points.loc[points[["easting", "northing"]].notna().all(axis=1)]
    usable = usable.sort_values(["urgency", "point"], kind="stable").reset_index(drop=True)
    if not len(usable):
        return Day(pd.DataFrame(columns=DAY_COLUMNS), 0, 0.0)
    xy = usable[["easting", "northing"]].to_numpy(dtype=float)
    urgency = usable["urgency"].to_numpy(dtype=float)
    if start is not None:
        away = np.hypot(*(xy - np.asarray(start, dtype=float)).T)
        opening = int(np.lexsort((away, urgency))[0])
    else:
        opening = 0
    cost = np.hypot(*(xy - xy[opening]).T) * 2.0 ** (urgency - urgency.min())
    chosen = np.sort(np.argsort(cost, kind="stable")[:most])
    walk = shortest_walk(xy[chosen], start=start, back=back and start is not None)
    rows = usable.iloc[chosen[walk.order]].reset_index(drop=True)
    way = rows[["easting", "northing"]].to_numpy(dtype=float)
    before = np.vstack([way[:1] if start is None else np.asarray(start, dtype=float), way[:-1]])
    legs = np.hypot(*(way - before).T)
    rows.insert(0, "stop", np.arange(1, len(rows) + 1))
    rows["leg_m"], rows["walked_m"] = np.round(legs, 0), np.round(np.cumsum(legs), 0)
    return Day(rows[DAY_COLUMNS], len(usable) - len(rows), walk.length / 1000.0)
