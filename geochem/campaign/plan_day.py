"""The day's part of a plan: gaps, follow-up and new points in walking order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from geochem.campaign.plan_layout import Facts, State, place_of
from geochem.campaign.settings import Settings
from geochem.model.finding import Finding

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

_WHYS = {"follow-up": "follow-up", "gap": "gaps in the plan", "new point": "new points"}


@dataclass(frozen=True, slots=True, eq=False)
class DayOut:
    """The day's part of a plan."""

    stops: gpd.GeoDataFrame | None = None
    facts: Facts = field(default_factory=list)
    start: tuple[float, float] | None = None
    gaps: pd.DataFrame | None = None
    findings: Sequence[Finding] = ()

    @property
    def names(self) -> list[str]:
        """Points of the day."""
        return [] if self.stops is None else list(self.stops["point"])


def day_of(settings: Settings, state: State, layout: gpd.GeoDataFrame | None) -> DayOut:
    """Compare plan and log, and route the day over follow-up and gaps."""
    import geopandas as gpd
    import pandas as pd

    from geochem.planning.day import plan_day
    from geochem.planning.gaps import compare_plan

    table = settings.table("planning")
    survey, targets = state.get("survey"), state.get("targets")
    plan = state.get("plan")
    waiting = []
    if targets is not None and len(targets.follow_up):
        follow = targets.follow_up
        waiting.append(
            pd.DataFrame(
                {
                    "point": follow["point"], "why": "follow-up", "easting": follow["easting"],
                    "northing": follow["northing"], "urgency": 1,
                    "detail": [f"{t}: {p}" for t, p in zip(follow["target"], follow["purpose"],
                                                            strict=True)],
                }
            )
        )  # fmt: skip
    gaps = None
    if plan is not None and len(plan):
        located = survey.samples if survey is not None else _nobody(settings)
        gaps = compare_plan(plan, located)
        left = gaps.loc[gaps["state"] == "gap"]
        waiting.append(_as_points(left, "gap", "planned, not sampled"))
    elif layout is not None:
        waiting.append(_as_points(layout, "new point", "first visit"))
    waiting = [w for w in waiting if len(w)]
    if not waiting:
        return DayOut(gaps=gaps)
    start = place_of(table, "start")
    points = pd.concat(waiting, ignore_index=True)
    most = table["points_per_day"]
    day = plan_day(points, most=most, start=start)
    stops = gpd.GeoDataFrame(
        day.stops,
        geometry=gpd.points_from_xy(day.stops["easting"], day.stops["northing"]),
        crs=settings.top["crs"],
    )
    counts = stops["why"].value_counts()
    facts = [
        ("Points", ", ".join(f"{n} {_WHYS[why]}" for why, n in sorted(counts.items()))),
        ("Walk", f"{day.walking_km:.1f} km, straight from point to point"
         + (", back to the start" if start is not None else "")),
        ("Left for later", str(day.waiting)),
    ]  # fmt: skip
    return DayOut(stops, facts, start, gaps)


def _as_points(frame: pd.DataFrame, why: str, detail: str) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(
        {
            "point": frame["planned_id"], "why": why, "easting": frame["easting"],
            "northing": frame["northing"], "urgency": 2, "detail": detail,
        }
    )  # fmt: skip


def _nobody(settings: Settings) -> gpd.GeoDataFrame:
    import geopandas as gpd

    columns: dict[str, list[str]] = {"sample_id": [], "planned_id": []}
    return gpd.GeoDataFrame(columns, geometry=[], crs=settings.top["crs"])
