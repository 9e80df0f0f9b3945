"""What layouts find and cost; which way of sampling shows the target."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from geochem.errors import WrongCall
from geochem.planning.chances import Body, Halo, layout_chance, spacing_for, trade_off
from geochem.planning.layouts import lay_out
from geochem.planning.orientation import compare_contrast


def test_exact_and_simulated_agree(ground):
    body = Body(220, 90, azimuth=70.0)
    for kind in ("rectangular", "staggered"):
        layout = lay_out(
            ground, kind, line_spacing=120, station_spacing=60, azimuth=25, north="grid"
        )
        chance = layout_chance(layout, ground, body, Halo(8.0))
        assert chance.how == "exact"
        # bodies at the edge lie half outside: the ground's chance is a little lower
        assert chance.hit - 0.06 < chance.hit_on_ground < chance.hit + 0.01
        assert 0.2 < chance.seen < chance.hit
    lines = layout_chance(
        lay_out(ground, "lines", line_spacing=120, station_spacing=60), ground, body
    )
    assert lines.how == "simulated"
    assert np.isnan(lines.seen)


def test_spacing_for_keeps_the_promise(ground):
    body = Body(300, 120, azimuth=0.0)
    line, station = spacing_for(body, 0.95, kind="rectangular", ratio=2.0, grid_azimuth=90.0)
    layout = lay_out(ground, "rectangular", line_spacing=line, station_spacing=station,
                     azimuth=90, north="grid")  # fmt: skip
    assert layout_chance(layout, ground, body).hit >= 0.95
    wider = lay_out(ground, "rectangular", line_spacing=line + 4, station_spacing=station + 2,
                    azimuth=90, north="grid")  # fmt: skip
    assert layout_chance(wider, ground, body).hit < 0.95


def test_trade_off():
    table = trade_off(
        10.0, Body(200, 100), kind="square", line_spacing=100, station_spacing=100, halo=Halo(6.0),
        cost={"sample": 10, "day": 800}, per_day=50,
    )  # fmt: skip
    assert table["hit"].is_monotonic_increasing
    assert table["cost"].is_monotonic_increasing
    mine = table.loc[table["chosen"]].iloc[0]
    assert (mine["points"], mine["days"], mine["cost"]) == (1000, 20, 26000)
    assert (table["seen"] <= table["hit"] + 0.01).all()
    with pytest.raises(WrongCall, match="length the larger one"):
        trade_off(1, Body(50, 100), kind="square", line_spacing=10, station_spacing=10)


def test_orientation_ranks_the_fraction_that_separates():
    rng = np.random.default_rng(3)
    rows = []
    for fraction, contrast, scatter in ((63.0, 3.0, 0.10), (250.0, 3.0, 0.35), (2000.0, 1.0, 0.1)):
        for side, factor in ((True, contrast), (False, 1.0)):
            values = 40 * factor * 10 ** (scatter * rng.standard_normal(15))
            rows += [(fraction, side, v) for v in values]
    frame = pd.DataFrame(rows, columns=["fraction_um", "over", "Cu_ppm"])
    frame["medium"], frame["horizon"] = "soil", "B"
    table, findings = compare_contrast(frame, frame["over"].tolist())
    assert table["fraction_um"].tolist() == [63.0, 250.0, 2000.0]
    assert table["contrast"].iloc[0] == pytest.approx(3.0, rel=0.25)
    assert table["above_background"].iloc[0] > 0.97
    assert table["above_background"].iloc[2] == pytest.approx(0.5, abs=0.15)
    assert not findings
    with pytest.raises(WrongCall, match="only 90 and 0 are marked"):
        compare_contrast(frame, [True] * 90)


def test_orientation_and_values_below_detection():
    frame = pd.DataFrame(
        {"medium": "soil", "fraction_um": 63.0, "horizon": "B", "As_ppm": [5.0] * 8,
         "As_ppm_below": [True] * 4 + [False] * 2 + [True] * 2}
    )  # fmt: skip
    table, _ = compare_contrast(frame, [True] * 4 + [False] * 4)
    # all limits over mineralisation: nothing is known, so half
    assert table["above_background"].iloc[0] == 0.5
    assert table["below_pct"].iloc[0] == 75.0
