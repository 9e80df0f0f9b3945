"""An outline carries the best explanation that is no mineralisation."""

import numpy as np
import pytest

from geochem.targets.down_slope import DOWN_THE_SLOPE


@pytest.fixture(scope="module")
def washed(grid_positions):
    """Waste that ran down a plane to the south-west, highest at its head."""
    xy = grid_positions(20, 60)
    from_head = xy - (3000.0, 4500.0)
    run = -from_head.sum(axis=1) / np.sqrt(2.0)
    beside = (from_head[:, 0] - from_head[:, 1]) / np.sqrt(2.0)
    rise = 5.0 * np.exp(-((beside / 110.0) ** 2)) * np.clip(1.0 - run / 2400.0, 0, 1) * (run >= 0)
    spikes = [(k, e, rise[k]) for k in np.flatnonzero(rise > 0.1) for e in ("Pb", "Zn", "Mn")]
    return xy, spikes, 300.0 + 0.04 * xy.sum(axis=1)


def explained(report):
    return " ".join(f.message for f in report.findings if f.code == "outlines-explained")


def near_the_waste(report):
    there = report.targets
    east, north = there["easting"] - 602_600.0, there["northing"] - 7_404_100.0
    return (np.hypot(east, north) < 700).any()


def test_what_was_washed_down_a_slope_is_a_lead_and_no_target(make, washed):
    xy, spikes, slope = washed
    report = make(xy, seed=4, spikes=spikes, heights=slope).propose()
    assert DOWN_THE_SLOPE in explained(report)
    assert not near_the_waste(report)


@pytest.mark.parametrize("heights", [None, "across"])
def test_the_same_strip_is_kept_where_no_slope_leads_along_it(make, washed, heights):
    # without elevations, or along a contour: it may be a vein
    xy, spikes, _ = washed
    across = None if heights is None else 300.0 + 0.04 * (xy[:, 0] - xy[:, 1])
    report = make(xy, seed=4, spikes=spikes, heights=across).propose()
    assert DOWN_THE_SLOPE not in explained(report)
    assert near_the_waste(report)


def test_a_halo_on_the_same_slope_is_a_target(make, halo, washed):
    xy, _, slope = washed
    report = make(xy, seed=4, halos=[halo(2600, 4100, 300, 2.5, 1)], heights=slope).propose()
    assert near_the_waste(report)
    assert DOWN_THE_SLOPE not in explained(report)
