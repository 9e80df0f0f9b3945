"""Snapshots by day, and a register that is the user's."""

from __future__ import annotations

from datetime import date

import geopandas as gpd
from shapely.geometry import box

from geochem.campaign.history import (
    read_previous,
    read_register,
    start_register,
    write_snapshot,
)

CRS = "EPSG:32735"


def targets(*names):
    return gpd.GeoDataFrame(
        {"target": list(names), "rank": range(1, len(names) + 1)},
        geometry=[box(i, 0, i + 1, 1) for i, _ in enumerate(names)],
        crs=CRS,
    )


def test_previous_is_the_newest_of_an_earlier_day(tmp_path):
    write_snapshot(tmp_path, date(2026, 3, 1), CRS, targets("T01", "T02"), {"read": 5})
    write_snapshot(tmp_path, date(2026, 3, 8), CRS, targets("T01", "T03"), {"read": 9})
    write_snapshot(tmp_path, date(2026, 3, 15), CRS, targets("T04"), {})
    previous, findings = read_previous(tmp_path, date(2026, 3, 15), CRS)
    assert findings == []
    assert previous.day == date(2026, 3, 8)
    assert previous.targets["target"].tolist() == ["T01", "T03"]
    assert previous.targets.geometry.iloc[0].equals(box(0, 0, 1, 1))
    assert previous.progress == {"read": 9}
    assert previous.used_names == ("T01", "T02", "T03")


def test_a_second_run_on_one_day_replaces_the_first(tmp_path):
    write_snapshot(tmp_path, date(2026, 3, 1), CRS, targets("T01"), {})
    path = write_snapshot(tmp_path, date(2026, 3, 1), CRS, targets("T02"), {})
    assert [p.name for p in tmp_path.iterdir()] == [path.name]
    previous, _ = read_previous(tmp_path, date(2026, 3, 2), CRS)
    assert previous.used_names == ("T02",)


def test_a_damaged_snapshot_is_a_finding(tmp_path):
    (tmp_path / "2026-03-01.json").write_text("{", encoding="utf-8")
    previous, findings = read_previous(tmp_path, date(2026, 3, 2), CRS)
    assert previous.day is None
    assert [f.code for f in findings] == ["snapshot-unreadable"]


def test_no_history_is_no_fault(tmp_path):
    previous, findings = read_previous(tmp_path / "history", date(2026, 3, 2), CRS)
    assert previous.day is None
    assert findings == []


def test_register_is_made_once_and_then_the_users(tmp_path):
    start_register(tmp_path)
    path = tmp_path / "register.csv"
    path.write_text("target;status;date;by;reason\nT01;Drilled;2026-03-02;me;\nT02;odd;;;\n")
    start_register(tmp_path)
    register, findings = read_register(tmp_path)
    assert register["status"].tolist() == ["drilled", "new"]
    assert [f.code for f in findings] == ["register-status"]
    assert findings[0].row == 3
