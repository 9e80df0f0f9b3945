import geopandas as gpd
import pandas as pd
from shapely.geometry import box

from geochem.targets.identity import identify, latest_status


def previous(**shapes):
    return gpd.GeoDataFrame(
        {"target": list(shapes), "rank": range(1, len(shapes) + 1),
         "first_seen": ["2026-03-01"] * len(shapes)},
        geometry=list(shapes.values()), crs="EPSG:32735",
    )  # fmt: skip


def test_a_target_keeps_its_name_and_new_ones_get_unused_numbers():
    old = previous(T01=box(0, 0, 10, 10), T04=box(100, 0, 110, 10))
    register = pd.DataFrame(
        {"target": ["T01", "T01", "T06"], "status": ["checked", "drilled", "dropped"],
         "date": ["2026-03-02", "2026-03-09", "2026-02-01"]}
    )  # fmt: skip
    found = identify(
        [box(102, 0, 112, 10), box(50, 50, 60, 60), box(1, 1, 11, 11)], old, register,
        today="2026-03-20", used_names=["T07"],
    )  # fmt: skip
    assert [f.target for f in found] == ["T04", "T08", "T01"]
    assert [f.previous_rank for f in found] == [2, None, 1]
    assert [f.first_seen for f in found] == ["2026-03-01", "2026-03-20", "2026-03-01"]
    assert [f.status for f in found] == ["new", "new", "drilled"]


def test_one_old_name_goes_to_one_target():
    old = previous(T01=box(0, 0, 20, 10))
    found = identify([box(0, 0, 6, 10), box(8, 0, 20, 10)], old, None, today=None)
    assert [f.target for f in found] == ["T02", "T01"]


def test_status_without_date_is_oldest_and_unknown_words_do_not_count():
    register = pd.DataFrame(
        {"target": ["T01", "T01", "T02"], "status": ["checked", "new", "famous"],
         "date": ["2026-01-01", None, None]}
    )  # fmt: skip
    assert latest_status(register) == {"T01": "checked"}


def test_a_second_run_of_a_day_keeps_the_names_of_the_first():
    """A decision names a place by what the map showed; a word in the register moves no name."""
    first = gpd.GeoDataFrame(
        {"target": ["T01", "T02"]}, geometry=[box(0, 0, 10, 10), box(20, 0, 30, 10)]
    )
    register = pd.DataFrame(
        [["T02", "dropped", "2026-03-20", "A", "x"]],
        columns=["target", "status", "date", "by", "reason"],
    )
    places = [box(20, 0, 30, 10), box(0, 0, 10, 10), box(50, 0, 60, 10)]  # another order of rank
    found = identify(places, None, register, today="2026-03-20", same_day=first)
    assert [f.target for f in found] == ["T02", "T01", "T03"]
    assert found[0].status == "dropped"
