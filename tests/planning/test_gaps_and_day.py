"""Gaps between plan and log, and the day's walk over what is left."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from geochem.errors import WrongCall
from geochem.planning.day import plan_day
from geochem.planning.gaps import compare_plan


def plan_of(n=4):
    return pd.DataFrame(
        {
            "planned_id": [f"P{i}" for i in range(n)],
            "easting": np.arange(n) * 100.0,
            "northing": 0.0,
        }
    )


def log_of(*rows):
    frame = pd.DataFrame(rows, columns=["sample_id", "planned_id", "x", "y"])
    return gpd.GeoDataFrame(
        frame[["sample_id", "planned_id"]], geometry=gpd.points_from_xy(frame["x"], frame["y"]),
        crs="EPSG:32735",
    )  # fmt: skip


def test_sampled_moved_gap():
    log = log_of(("A1", "P0", 3, 4), ("A2", "P1", 100, 80), ("A3", None, 210, 0))
    table = compare_plan(plan_of(), log).set_index("planned_id")
    assert table["state"].tolist() == ["sampled", "moved", "sampled", "gap"]
    assert table.loc["P0", "distance_m"] == 5.0
    assert table.loc["P1", ["sample_id", "distance_m"]].tolist() == ["A2", 80.0]
    assert table.loc["P2", "sample_id"] == "A3"
    assert table.loc["P3", "distance_m"] == 90.0


def test_nothing_collected_and_doubled_plan():
    assert compare_plan(plan_of(), log_of())["state"].eq("gap").all()
    with pytest.raises(WrongCall, match="P1 more than once"):
        compare_plan(pd.concat([plan_of(), plan_of().iloc[[1]]]), log_of())


def test_the_day_starts_with_what_is_urgent():
    rng = np.random.default_rng(1)
    gaps = pd.DataFrame(
        {"point": [f"G{i:03d}" for i in range(400)], "why": "gap", "urgency": 2, "detail": "",
         "easting": rng.uniform(0, 5000, 400), "northing": rng.uniform(0, 5000, 400)}
    )  # fmt: skip
    follow = pd.DataFrame(
        {"point": [f"F{i}" for i in range(6)], "why": "follow-up", "urgency": 1, "detail": "T01",
         "easting": 4000 + rng.uniform(0, 200, 6), "northing": 4000 + rng.uniform(0, 200, 6)}
    )  # fmt: skip
    day = plan_day(pd.concat([gaps, follow]), most=30, start=(0.0, 0.0))
    assert set(follow["point"]) <= set(day.stops["point"])
    assert day.stops["stop"].tolist() == list(range(1, 31))
    assert day.waiting == 376
    out = day.stops["walked_m"].iloc[-1]
    home = np.hypot(*day.stops[["easting", "northing"]].iloc[-1])
    assert day.walking_km * 1000 == pytest.approx(out + home, abs=2)
    most = plan_day(pd.concat([gaps, follow]), most=300)
    assert len(most.stops) == 300
    assert most.stops["point"].is_unique
    with pytest.raises(WrongCall, match="1 to 300 points"):
        plan_day(gaps, most=301)


def test_no_point_no_day():
    columns = ["point", "why", "easting", "northing", "urgency", "detail"]
    assert not len(plan_day(pd.DataFrame(columns=columns)).stops)
