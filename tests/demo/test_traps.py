"""Traps and effects that the demonstration does not switch on, each against what is true."""

import csv
import importlib
from dataclasses import replace

import numpy as np
import pytest


def part(simulator, name):
    return importlib.import_module(f"{simulator.__name__}.{name}")


@pytest.fixture(scope="session")
def small(simulator):
    """A small barren survey without any trap."""
    return replace(
        simulator.BARREN, seed=3, length=4000.0, width=3000.0, intrusions=(), covers=(),
        road=False, spikes=0, bad_batch=False, days=8, second_visit_lines=4,
    )  # fmt: skip


@pytest.fixture(scope="session")
def plain(simulator, small):
    return simulator.simulate(small)


def ratio(simulator, plain, settings):
    """What a change of settings does to what soils hold, place by place, and where."""
    changed = simulator.simulate(settings)
    rows, _, _ = simulator.sample_points(plain)
    table = plain.collection.table.iloc[rows]
    got = changed.collection.place[rows] / plain.collection.place[rows]
    return changed, got, table["along"].to_numpy(float), table["across"].to_numpy(float)


def column(campaign, element):
    return campaign.ground.elements.index(element)


def test_ironstone_and_manganese_wad_are_false_bodies(simulator, plain, small):
    settings_module = part(simulator, "settings")
    for association, leading in (
        ("ironstone", ("As", "Mo")),
        ("manganese wad", ("Co", "Zn", "Ba")),
    ):
        body = settings_module.Body("X", association, 0.0, 0.0, 600.0, 500.0)
        changed, got, along, across = ratio(simulator, plain, replace(small, false_bodies=(body,)))
        middle = simulator.radius(body, along, across) < 0.35
        for element in leading:
            assert np.median(got[middle, column(changed, element)]) > 1.6
        outside = simulator.radius(body, along, across) > 1.01
        assert np.allclose(got[outside], 1.0)
        truth = simulator.truth_frame(changed).set_index("name")
        assert truth.loc["X", "kind"] == "false body"
        # still there where nothing mineralised is planted
        same = changed.ground.concentrations(
            along[middle], across[middle], np.random.default_rng(1), planted=False
        )
        bare = plain.ground.concentrations(along[middle], across[middle], np.random.default_rng(1))
        assert (
            np.median(same[:, column(changed, leading[0])] / bare[:, column(changed, leading[0])])
            > 1.5
        )
    # what takes something away never takes all of it
    assert got.min() > 0.15


def test_tailings_lie_downstream_of_the_working(simulator, plain, small):
    patch = part(simulator, "settings").Patch("old working", 0.0, 0.0, 60.0, 60.0)
    changed, got, along, across = ratio(simulator, plain, replace(small, tailings=(patch,)))
    path = part(simulator, "contamination").tailings_path(changed.ground, 0)
    start, end = np.array(path.coords[1]), np.array(path.coords[-1])
    heights = changed.ground.height(*np.array([start, end]).T)
    assert heights[1] < heights[0]
    lead = got[:, column(changed, "Pb")]
    import shapely

    away = shapely.distance(shapely.points(along, across), path)
    near_dump = np.hypot(along - start[0], across - start[1]) < 150
    assert lead[near_dump].max() > 2.5
    assert np.allclose(lead[away > 500], 1.0, atol=0.01)
    assert "tailings" in set(simulator.truth_frame(changed)["association"])


def test_fences_put_zinc_beside_them_only(simulator, plain, small):
    changed, got, along, across = ratio(simulator, plain, replace(small, fences=2))
    import shapely

    fences = shapely.union_all(part(simulator, "contamination").fence_lines(changed.ground))
    away = shapely.distance(shapely.points(along, across), fences)
    zinc = got[:, column(changed, "Zn")]
    assert (zinc > 1.5).sum() >= 10
    assert np.all(away[zinc > 1.2] < 35)
    assert np.allclose(got[:, column(changed, "Cu")], 1.0)


def test_organic_matter_dilutes_rock_and_holds_copper(simulator, plain, small):
    changed, got, along, across = ratio(simulator, plain, replace(small, organic=0.8))
    strength = changed.ground.organic(along, across)
    dark = strength > 0.4
    assert 0.01 < dark.mean() < 0.5
    assert np.all(got[dark, column(changed, "Ti")] < 0.9)
    assert np.all(got[dark, column(changed, "Cu")] > 1.1)
    # near water, by construction; what lies far from any stream is as before
    far = (
        changed.ground.terrain.lattice.read(changed.ground.terrain.to_stream, along, across) > 2000
    )
    assert np.allclose(got[far], 1.0, atol=0.01)
    notes = part(simulator, "writing")
    log = notes.field_log_table(changed)
    notes._add_notes(log, changed)
    assert (log["notes"] == "dark, organic").sum() > 5


def test_creep_moves_halos_downhill(simulator, small):
    body = part(simulator, "settings").Body("B", "copper-gold", 0.0, 0.0, 500.0, 400.0)
    still = simulator.simulate(replace(small, bodies=(body,)))
    moved = simulator.simulate(replace(small, bodies=(body,), creep=150.0))
    rng = np.random.default_rng(4)
    along, across = rng.uniform(-900, 900, (2, 8000))
    excess, centres = [], []
    for campaign in (still, moved):
        args = (along, across)
        with_body = campaign.ground.concentrations(*args, np.random.default_rng(5))
        without = campaign.ground.concentrations(*args, np.random.default_rng(5), planted=False)
        one = (with_body / without - 1)[:, column(campaign, "Cu")]
        centres.append(np.array([along @ one, across @ one]) / one.sum())
        excess.append(one.sum())
    uphill = np.array([g[0] for g in moved.ground.uphill(np.zeros(1), np.zeros(1))])
    step = centres[1] - centres[0]
    # on average half of the creep, less where the slope is gentle, and downhill
    assert step @ uphill / np.hypot(*uphill) < -20
    assert np.hypot(*step) < 75
    assert excess[1] == pytest.approx(excess[0], rel=0.1)


def test_lithium_is_for_the_laboratory(simulator):
    settings = simulator.NAMED["lithium"]
    with pytest.raises(ValueError, match="portable XRF does not see Li"):
        simulator.simulate(replace(settings, elements=(*settings.elements, "Li")))
    campaign = simulator.simulate(settings)
    elements = campaign.laboratory.elements
    assert "Li" in elements
    truth = simulator.truth_frame(campaign)
    assert list(truth.loc[truth["kind"] == "mineralisation", "association"]) == ["lithium"] * 2
    contrast = simulator.ASSOCIATIONS["lithium"].zones["Li"].contrast
    assert 1.5 <= contrast <= 5


def test_every_association_stays_within_the_contrasts_of_the_trade(simulator):
    for association in simulator.ASSOCIATIONS.values():
        if association.kind == "mineralisation":
            assert all(1.0 < zone.contrast <= 5.0 for zone in association.zones.values())
            assert association.zones[association.leading].contrast >= 1.5
    for settings in simulator.NAMED.values():
        for body in settings.bodies:
            assert max(body.half_length, body.half_width) <= 1000
            leading = simulator.ASSOCIATIONS[body.association]
            top = 1 + (leading.zones[leading.leading].contrast - 1) * body.strength
            assert 1.5 <= top <= 6


def test_partial_digestion_leaves_silicates_and_finds_sulphides(simulator):
    measurement = part(simulator, "measurement")
    elements = ("Cu", "Ba", "Zr")
    pulp = np.tile([100.0, 400.0, 200.0], (400, 1))
    job = np.zeros(400, dtype=int)
    whole = measurement.analyse(pulp, elements, job, 1)
    partial = measurement.analyse(pulp, elements, job, 1, digestion="partial")
    share = np.median(partial / whole, axis=0)
    assert share[0] > 0.9
    assert share[1] == pytest.approx(0.35 / 0.93, rel=0.05)
    assert share[2] < 0.1
    spread = np.std(np.log(partial), axis=0) / np.std(np.log(whole), axis=0)
    assert spread[1] > 2 * spread[0]


def test_partial_digestion_is_said_in_file_and_certificate(simulator, tmp_path):
    from openpyxl import load_workbook

    from geochem.campaign.settings import read_campaign

    campaign = simulator.simulate(simulator.NAMED["lithium"])
    simulator.write_campaign(campaign, tmp_path / "campaign")
    assays = {a["name"]: a for a in read_campaign(tmp_path / "campaign").table("assays")}
    assert assays["lab_ar"]["digestion"] == "partial"
    book = load_workbook(tmp_path / "campaign" / "laboratory.xlsx", read_only=True)
    assert book.sheetnames == ["Aqua regia", "Gold"]
    with (tmp_path / "campaign" / "standards.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    methods = {(r["method"], r["digestion"]) for r in rows}
    assert methods == {("XRF", "total"), ("aqua regia", "partial"), ("fire assay", "total")}


def test_lead_stays_in_arsenic_when_the_instrument_does_not_correct(simulator):
    measurement = part(simulator, "measurement")
    elements = ("As", "Pb")
    pulp = np.tile([5.0, 400.0], (300, 1))
    day, part_of_day = np.zeros(300, dtype=int), np.full(300, 0.3)
    got = []
    for overlaps in (False, True):
        instrument = measurement.make_instruments(1, elements, 1, -1, overlaps=overlaps)[0]
        value, _ = measurement.read_xrf(
            pulp, elements, instrument, day, part_of_day, np.zeros(300), np.full(300, 9.0),
            np.random.default_rng(1),
        )  # fmt: skip
        got.append(np.median(value, axis=0))
    share = {(a, b): s for a, b, s in measurement.OVERLAPS}["As", "Pb"]
    assert got[1][0] - got[0][0] == pytest.approx(share * got[0][1], rel=0.1)
    assert got[1][1] == pytest.approx(got[0][1])


def test_wet_and_thin_pellets_read_low(simulator):
    measurement = part(simulator, "measurement")
    elements = ("Cu", "Ba")
    instrument = measurement.make_instruments(1, elements, 1, -1)[0]

    def read(moisture, powder):
        value, _ = measurement.read_xrf(
            np.tile([200.0, 800.0], (400, 1)), elements, instrument, np.zeros(400, dtype=int),
            np.full(400, 0.3), np.full(400, moisture), np.full(400, powder),
            np.random.default_rng(2),
        )  # fmt: skip
        return np.median(value, axis=0)

    dry, wet, thin = read(0.0, 9.0), read(25.0, 9.0), read(0.0, 3.0)
    assert np.all(wet / dry < 0.92)
    assert np.all(wet / dry > 0.80)
    # barium's line goes deep: a thin pellet loses a quarter of it and nothing of copper
    assert thin[1] / dry[1] == pytest.approx(measurement.THIN_PELLET["Ba"], rel=0.03)
    assert thin[0] == pytest.approx(dry[0], rel=0.02)


def test_shares_of_wet_and_thin_pellets_are_as_asked(simulator, small):
    campaign = simulator.simulate(replace(small, wet_share=0.2, thin_share=0.15))
    table = campaign.collection.table
    assert (table["moisture_pct"] > 20).mean() == pytest.approx(0.2, abs=0.05)
    assert (table["powder_ml"] < 5).mean() == pytest.approx(0.15, abs=0.05)


def test_contaminated_batch_shows_in_its_blank(simulator, plain, small):
    campaign = simulator.simulate(replace(small, contaminated_batch=True))
    spoilt = simulator.spoilt_batches(campaign)
    (batch,) = set(spoilt["batch"])
    assert set(spoilt["element"]) == {"Cu", "Zn"}
    table = campaign.readings.table
    copper = campaign.readings.value[:, campaign.settings.elements.index("Cu")]
    blank = (table["role"] == "blank").to_numpy()
    mine = (table["batch"] == batch).to_numpy()
    assert copper[blank & mine].min() > 40
    assert np.median(copper[blank & ~mine]) < 15
    # and in its soils, against the same survey with a good sieve
    before = plain.readings.value[:, campaign.settings.elements.index("Cu")]
    soil = (table["role"] == "").to_numpy()
    assert np.median((copper - before)[soil & mine]) == pytest.approx(60, rel=0.25)
    assert np.allclose(copper[soil & ~mine], before[soil & ~mine])


def test_exchanged_pairs_are_exchanged(simulator, small, tmp_path):
    settings = replace(small, mistakes=replace(small.mistakes, exchanged_pairs=3))
    campaign = simulator.simulate(settings)
    slips = simulator.write_campaign(campaign, tmp_path / "campaign")
    pairs = [(s.sample_id, s.became) for s in slips if s.kind == "pellets exchanged"]
    assert len(pairs) == 3
    right = part(simulator, "writing").readings_table(campaign).set_index("Sample")
    with (tmp_path / "campaign" / "readings.csv").open(newline="", encoding="utf-8") as file:
        written = {r["Sample"]: r for r in csv.DictReader(file) if not r["Role"]}
    for one, two in pairs:
        assert written[one]["Fe ppm"] == right.loc[two, "Fe ppm"]
        assert written[two]["Fe ppm"] == right.loc[one, "Fe ppm"]


def test_infill_comes_later_and_closer_and_over_a_false_body_too(simulator):
    campaign = simulator.simulate(simulator.NAMED["infill-stage"])
    settings = campaign.settings
    plan = campaign.sites.plan
    first, second = plan[plan["visit"] == 1], plan[plan["visit"] == 2]
    assert len(second) > 0.5 * len(first)
    assert np.diff(np.unique(first["metres"])).min() == 400
    assert np.diff(np.unique(second["metres"])).min() == 100
    for body in (*settings.bodies[:1], *settings.false_bodies):
        r = simulator.radius(body, second["along"].to_numpy(), second["across"].to_numpy())
        assert (r < 1).sum() > 80
    r = simulator.radius(
        settings.bodies[1], second["along"].to_numpy(), second["across"].to_numpy()
    )
    assert (r < 0.5).sum() < 10
    soils = campaign.sites.soils
    assert (
        soils.loc[soils["visit"] == 2, "date"].min() > soils.loc[soils["visit"] == 1, "date"].max()
    )


def test_scattered_bodies_depend_on_the_seed_and_keep_apart(simulator):
    placing = part(simulator, "placing")
    settings = simulator.NAMED["reporting-eight-deposits"]
    one, again, other = (placing.scattered(replace(settings, seed=seed)) for seed in (1, 1, 2))
    assert one == again
    assert one.bodies != other.bodies
    places = np.array([(b.along, b.across) for b in (*one.bodies, *one.false_bodies)])
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    assert apart[np.triu_indices(len(places), 1)].min() >= placing.APART
    assert np.all(np.abs(places) < np.array([settings.length, settings.width]) / 2)
    # some of it under cover
    campaign = simulator.simulate(replace(settings, seed=1))
    truth = simulator.truth_frame(campaign)
    cover = campaign.ground.shape_to_map(campaign.ground.covers[0].true)
    mine = truth[truth["kind"] == "mineralisation"]
    assert mine.geometry.intersection(cover).area.iloc[-1] > 0
    with pytest.raises(ValueError, match="too small to scatter"):
        placing.scattered(replace(settings, width=900.0))
    with pytest.raises(ValueError, match="too many bodies"):
        placing.scattered(replace(settings, length=4000.0, width=3000.0))


def test_tuning_and_reporting_differ_in_more_than_the_seed(simulator):
    tuning = simulator.NAMED["tuning-eight-deposits"]
    reporting = simulator.NAMED["reporting-eight-deposits"]
    for name in (
        "strike", "length", "width", "bands", "intrusions", "covers", "bodies", "false_bodies",
        "sampling_noise", "seconds", "variability", "creep", "fences",
    ):  # fmt: skip
        assert getattr(tuning, name) != getattr(reporting, name), name
    shapes = [
        {(b.half_length, b.half_width, b.association, b.strength) for b in s.bodies}
        for s in (tuning, reporting)
    ]
    assert not shapes[0] & shapes[1]
    assert len(tuning.bodies) == len(reporting.bodies) == 8


@pytest.mark.parametrize("name", ["barren", "tuning-barren", "reporting-barren"])
def test_barren_settings_plant_nothing(simulator, name):
    settings = simulator.NAMED[name]
    assert settings.bodies == ()
    assert settings.seek == () or name == "barren"


def test_noise_settings_change_the_noise_asked_for(simulator, plain, small):
    # four times the time of a reading: half the counting error
    longer = simulator.simulate(replace(small, seconds=240.0))
    cobalt = small.elements.index("Co")
    assert np.median(longer.readings.error[:, cobalt]) == pytest.approx(
        np.median(plain.readings.error[:, cobalt]) / 2, rel=0.02
    )
    # sampling error is the scatter of powder against place
    noisy = simulator.simulate(replace(small, sampling_noise=3.0))

    def scatter(campaign):
        rows, _, _ = simulator.sample_points(campaign)
        log = np.log(campaign.collection.pulp / campaign.collection.place)
        return log[rows, column(campaign, "Cu")].std()

    # 0.09 of a spade and 0.03 of the preparation
    assert scatter(plain) == pytest.approx(np.hypot(0.09, 0.03), rel=0.06)
    assert scatter(noisy) == pytest.approx(np.hypot(0.27, 0.03), rel=0.06)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"digestion": "weak"}, "digestion 'weak' is not simulated"),
        ({"bands": (("chalk", "Chalk", 900.0),)}, "unknown rock: chalk"),
        ({"elements": ("Cu", "Au")}, "gold is out of reach"),
    ],
)
def test_settings_that_make_no_sense_are_refused(simulator, small, change, message):
    with pytest.raises(ValueError, match=message):
        simulator.simulate(replace(small, **change))


def test_a_stream_dilutes_the_halo_above_it(simulator, demonstration):
    barren = simulator.simulate(replace(demonstration.settings, bodies=(), infill=()))

    def sediments(campaign):
        table = campaign.collection.table
        return campaign.collection.place[(table["medium"] == "stream sediment").to_numpy()]

    rise = (sediments(demonstration) / sediments(barren)).max(axis=1)
    touched = np.array(
        [
            min(simulator.radius(b, *nodes.T).min() for b in demonstration.settings.bodies) < 1
            for nodes in demonstration.sites.catchment_nodes
        ]
    )
    assert 3 <= touched.sum() < len(rise)
    assert np.allclose(rise[~touched], 1.0)
    # halos rise three- to sixfold in soil; what comes down is mixed with what lies around
    assert rise[touched].max() > 1.15
    assert np.median(rise[touched]) < 2.0
