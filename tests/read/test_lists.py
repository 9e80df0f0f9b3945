"""Plan and dispatch lists."""

from __future__ import annotations

import pytest

from geochem.errors import DataRefused
from geochem.read.lists import read_dispatch, read_plan


def test_plan(tmp_path):
    path = tmp_path / "plan.csv"
    path.write_text("planned_id;easting;northing\n007;500000;8000000\n008;;\n")
    plan, _ = read_plan(path)
    assert plan["planned_id"].tolist() == ["007", "008"]
    assert plan["easting"].iloc[0] == 500000
    assert plan["easting"].isna().iloc[1]


def test_dispatch(tmp_path):
    path = tmp_path / "dispatch.csv"
    path.write_text("sample_id,laboratory,job,sent\nA1,Lab,J1,2026-03-20\nA2,Lab,J1,\n")
    sent, _ = read_dispatch(path)
    assert sent["sample_id"].tolist() == ["A1", "A2"]
    assert str(sent["sent"].iloc[0].date()) == "2026-03-20"
    assert sent["sent"].isna().iloc[1]


def test_a_list_without_ids_is_refused(tmp_path):
    path = tmp_path / "plan.csv"
    path.write_text("point,easting\n1,2\n")
    with pytest.raises(DataRefused, match="has no column planned_id"):
        read_plan(path)
