import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem.targets.follow_up import uphill_direction
from geochem.targets.holes import DEPTH, Structure, gate, lay_hole, long_axis, nearest_structure

WEST, SOUTH = 600_000.0, 7_400_000.0


def test_points_stand_on_lines_of_two_or_more_and_are_free(planted, planted_report):
    f = planted_report.follow_up
    assert 10 <= len(f) <= 300
    assert f["point"].tolist() == [f"F{k + 1:03d}" for k in range(len(f))]
    assert set(f["kind"]) <= {"infill", "extension", "upslope"}
    assert f.groupby(["target", "line"]).size().min() >= 2
    gap = f.geometry.apply(lambda p: planted.samples.geometry.distance(p).min())
    assert gap.min() > 25.0
    for _, line in f.groupby(["target", "line"]):
        step = np.hypot(line["easting"].diff(), line["northing"].diff()).dropna()
        assert step.min() > 49.8  # half the station spacing, or a sample stands between
        assert line["easting"].max() - line["easting"].min() < 0.2
    assert (f.groupby("target")["order"].apply(lambda s: s.diff().dropna().eq(1).all())).all()


def test_points_avoid_keep_out(planted, planted_report, layer):
    closed = planted_report.targets.geometry.iloc[0].centroid.buffer(200)
    assert planted_report.follow_up.geometry.within(closed).any()
    report = planted.with_layers(keep_out=layer([closed])).propose()
    assert not report.follow_up.geometry.intersects(closed).any()
    assert not report.holes.geometry.intersects(closed).any()


def test_open_sides_are_extended(make, halo):
    case = make(seed=3, halos=[halo(0, 1500, 320, 3.0, 0)])
    report = case.propose()
    row = report.targets.iloc[0]
    assert row["open_sides"] == "W"
    beyond = report.follow_up[report.follow_up["kind"] == "extension"]
    assert len(beyond) >= 2
    assert (beyond["easting"] < WEST).all()


def test_upslope_points_lie_uphill(make, halo, grid_positions):
    xy = grid_positions(20, 30, rng=np.random.default_rng(3))
    case = make(xy, seed=3, halos=[halo(1900, 1500, 300, 3.0, 0)], heights=900 + 0.1 * xy[:, 1])
    f = case.propose().follow_up
    up = f[f["kind"] == "upslope"]
    assert len(up) >= 2
    assert (up["northing"] > SOUTH + 1500).all()
    assert uphill_direction(xy, 900 + 0.1 * xy[:, 1]) == pytest.approx([0, 1], abs=1e-6)
    assert uphill_direction(xy, np.full(len(xy), 900.0)) is None


def test_gate_names_what_is_missing():
    dipping = Structure(60.0, 90.0, 0.0, 10.0)
    assert gate(confirmed=2, lines=3, residual=1.0, structure=dipping, catchment="") == []
    lacks = gate(confirmed=0, lines=1, residual=0.2, structure=None, catchment="")
    assert lacks == [
        "no laboratory confirmation", "not on two lines", "the ground is not residual",
        "no structure or dip given",
    ]  # fmt: skip
    assert gate(confirmed=1, lines=2, residual=None, structure=dipping, catchment="") == [
        "regolith is not known"
    ]


@pytest.mark.parametrize("structure", [None, Structure(70.0, 45.0, 135.0, 0.0)])
def test_a_hole_passes_beneath_the_peak_at_the_stated_depth(structure):
    outline = shapely.box(0, 0, 300, 900)
    hole = lay_hole("T01", outline, np.array([150.0, 400.0]), structure, [], None, None)
    assert hole.dip < 0
    assert 0 <= hole.azimuth < 360
    angle, dip = np.radians(hole.azimuth), np.radians(-hole.dip)
    forward = np.array([np.sin(angle), np.cos(angle)])
    there = (np.array([150.0, 400.0]) - [hole.easting, hole.northing]) @ forward
    depth = there * np.tan(dip)
    assert depth == pytest.approx(DEPTH, abs=1.0)
    assert hole.length > there / np.cos(dip)
    expected = 90.0 if structure is None else 225.0  # across the long axis; against the dip
    assert hole.azimuth == expected
    assert "say little of depth" in hole.reason


def test_collars_keep_out_of_closed_ground():
    outline = shapely.box(0, 0, 300, 900)
    peak = np.array([150.0, 400.0])
    west = shapely.box(-1000, -1000, 140, 2000)
    hole = lay_hole("T01", outline, peak, None, ["x"], None, west)
    assert hole.azimuth == 270.0
    assert not west.intersects(shapely.Point(hole.easting, hole.northing))
    assert hole.status == "concept"
    assert lay_hole("T01", outline, peak, None, [], None, outline.buffer(100)) is None
    assert long_axis(outline) == pytest.approx(0.0, abs=1e-6)


def test_only_what_passes_the_gate_is_proposed(planted, layer):
    concept = planted.propose().holes
    assert set(concept["status"]) == {"concept"}
    assert concept["reason"].str.contains("no structure or dip given").all()
    fault = shapely.LineString([(WEST + 1000, SOUTH + 300), (WEST + 1000, SOUTH + 1500)])
    lines = layer([fault], dip=[65.0], dip_direction=[90.0])
    holes = planted.with_layers(structures=lines).propose().holes
    targets = planted.propose().targets.set_index("target")["association"]
    by = {targets[t]: s for t, s in zip(holes["target"], holes["status"], strict=True)}
    assert by == {"copper_sulphides": "proposed", "base_metals": "concept"}
    row = holes[holes["status"] == "proposed"].iloc[0]
    assert (row["azimuth"], row["north"]) == (270.0, "grid")
    far = nearest_structure(shapely.box(0, 0, 1, 1), lines)
    assert far is None


@pytest.mark.parametrize("budget", [0, 1, 7, 24])
def test_a_budget_of_samples_is_kept(planted, budget):
    f = planted.propose(budget=budget).follow_up
    assert len(f) <= budget
    assert len(f) >= min(budget, 6) - 1 - (budget == 1)
    if len(f):
        assert f.groupby(["target", "line"]).size().min() >= 2


@given(
    st.floats(0, 3000), st.floats(0, 2000), st.floats(30, 400), st.floats(30, 900),
    st.floats(0, 180), st.floats(1, 90), st.floats(0, 359), st.integers(0, 2),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_every_hole_obeys_what_is_said_of_it(x, y, wide, high, turn, dip, toward, known):
    outline = shapely.affinity.rotate(shapely.box(x, y, x + wide, y + high), turn)
    peak = np.array(outline.centroid.coords[0])
    structure = (
        None, Structure(dip, float("nan"), turn, 5.0), Structure(dip, toward, turn, 5.0)
    )[known]  # fmt: skip
    boundary, closed = shapely.box(-500, -500, 3500, 3000), outline.centroid.buffer(20)
    hole = lay_hole("T01", outline, peak, structure, [], boundary, closed)
    if hole is None:
        return
    collar = shapely.Point(hole.easting, hole.northing)
    assert boundary.contains(collar)
    assert collar.distance(closed) > 0 or not closed.contains(collar)
    assert -90 < hole.dip < 0
    angle, down = np.radians(hole.azimuth), np.radians(-hole.dip)
    reach = (peak - [hole.easting, hole.northing]) @ [np.sin(angle), np.cos(angle)]
    assert reach * np.tan(down) == pytest.approx(DEPTH, abs=1.0)
    assert hole.length * np.sin(down) > DEPTH
    if known == 2:
        assert (hole.azimuth - toward - 180) % 360 == pytest.approx(0, abs=0.51) or (
            hole.azimuth - toward - 180
        ) % 360 == pytest.approx(360, abs=0.51)
    else:
        along = turn if known else long_axis(outline)
        off = abs((hole.azimuth - along) % 180 - 90)
        assert off <= 0.51
