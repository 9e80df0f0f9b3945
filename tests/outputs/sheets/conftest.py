"""A small plan, all invented."""

from __future__ import annotations

from datetime import datetime

import pytest

CRS = "EPSG:32735"


@pytest.fixture(scope="session")
def content():
    """A plan with everything in it."""
    import geopandas as gpd
    import numpy as np
    import pandas as pd
    import shapely

    from geochem.model.bundle import CampaignInfo
    from geochem.outputs.sheets.content import PlanContent

    n = 30
    east, north = np.meshgrid(500000 + 60.0 * np.arange(6), 7000000 + 60.0 * np.arange(5))
    layout = gpd.GeoDataFrame(
        {
            "planned_id": [f"P{i:04d}" for i in range(1, n + 1)], "easting": east.ravel(),
            "northing": north.ravel(), "line": "L01", "station": [str(i) for i in range(n)],
            "order": np.arange(1, n + 1),
        },
        geometry=gpd.points_from_xy(east.ravel(), north.ravel()), crs=CRS,
    )  # fmt: skip
    ids = [f"S{i:04d}" for i in range(1, n + 1)]
    why = ["follow-up"] * 8 + ["gap"] * (n - 8)
    day = gpd.GeoDataFrame(
        {
            "stop": np.arange(1, n + 1), "point": layout["planned_id"], "why": why,
            "easting": layout["easting"], "northing": layout["northing"], "leg_m": 60.0,
            "walked_m": 60.0 * np.arange(1, n + 1),
            "detail": ["T01: close the open south-west side of the outline at half the spacing"] * n,
            "sample_id": ids, "also": [None, "S0044", *[None] * (n - 2)],
        },
        geometry=layout.geometry, crs=CRS,
    )  # fmt: skip
    key = pd.DataFrame(
        {"sample_id": [*ids, "S0044", "S0045"], "role": ["routine"] * n + ["field_duplicate",
         "standard"], "parent": [None] * n + ["S0002", None],
         "standard": [None] * (n + 1) + ["LOW"], "planned_id": [*layout["planned_id"], None, None],
         "batch": 1, "analysis_order": np.arange(1, n + 3)}
    )  # fmt: skip
    trade = pd.DataFrame(
        {"line_spacing": [120.0, 60.0], "station_spacing": [120.0, 60.0], "points": [8, 30],
         "days": [1, 1], "cost": [900.0, 1500.0], "hit": [0.4, 0.9], "seen": [0.2, 0.6],
         "chosen": [False, True]}
    )  # fmt: skip
    sheet = pd.DataFrame({"order": [1, 2], "sample_id": ["S0003", "=S0009"], "material": "pulp"})
    boundary = shapely.box(499900, 6999900, 500500, 7000400)
    return PlanContent(
        info=CampaignInfo("Ochre hill (invented)", CRS, "WGS 84 / UTM zone 35S", 0.4,
                          datetime(2026, 3, 20, 18, 0)),
        layout=layout, layout_facts=[("Kind", "square grid")], trade_off=trade,
        body_words="Body 80 by 40 m; contrast 5", mass=("M = 12 g",),
        crew=pd.DataFrame({"sample_id": ids, "planned_id": layout["planned_id"],
                           "also": day["also"]}),
        analysis=key[["analysis_order", "batch", "sample_id"]], key=key, day=day,
        day_facts=[("Points", "8 follow-up, 22 gaps in the plan")], start=(499950.0, 6999950.0),
        around={"boundary": gpd.GeoDataFrame(geometry=[boundary], crs=CRS)},
        gaps=pd.DataFrame({"planned_id": ["P1"], "easting": 1.0, "northing": 2.0, "state": "gap",
                           "sample_id": None, "distance_m": 5.0}),
        sheet=sheet, umpire=sheet.head(1), crosswalk=key.assign(laboratory="first", order=1,
                                                                reason="range", medium="soil"),
        dispatch_facts=[("Samples", "2 of 30 read")],
    )  # fmt: skip


@pytest.fixture(scope="session")
def folder(content, tmp_path_factory):
    """Its sheets."""
    from geochem.outputs.sheets.writer import write_sheets

    made = tmp_path_factory.mktemp("plan")
    written = write_sheets(content, made)
    assert sorted(written) == sorted(p for p in made.rglob("*") if p.is_file())
    return made
