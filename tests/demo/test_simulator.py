import csv
import hashlib
import importlib
import json
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest


def part(simulator, name):
    return importlib.import_module(f"{simulator.__name__}.{name}")


def rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def hashes(folder):
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.iterdir())}


def routine_soils(campaign):
    table = campaign.collection.table
    return ((table["medium"] == "soil") & (table["role"] == "routine")).to_numpy()


def test_same_seed_gives_the_same_bytes_and_another_seed_others(simulator, tmp_path):
    small = replace(simulator.DEMONSTRATION, length=3000.0, width=2400.0, rocks=15, sediments=5)
    made = []
    for number, seed in enumerate((4, 4, 5)):
        folder = tmp_path / str(number)
        simulator.make_campaign_folder(replace(small, seed=seed), folder)
        made.append(hashes(folder))
    assert made[0] == made[1]
    assert made[0]["readings.csv"] != made[2]["readings.csv"]


def test_committed_demonstration_is_what_the_script_makes(written, demo_folder):
    # ids, roles and dates must agree; numbers may differ in the last digit between machines
    folder, _ = written
    committed = demo_folder / "campaign"
    assert sorted(hashes(folder)) == sorted(hashes(committed))
    for name, column in (
        ("field_log.csv", "Sample ID"), ("readings.csv", "Sample"), ("plan.csv", "planned_id"),
        ("dispatch.csv", "sample_id"), ("standards.csv", "certified"),
    ):  # fmt: skip
        got, kept = rows(folder / name), rows(committed / name)
        assert [r[column] for r in got] == [r[column] for r in kept]
    size = sum(p.stat().st_size for p in committed.iterdir())
    assert size < 2.5e6
    assert (committed / "campaign.toml").read_text("utf-8") == (
        folder / "campaign.toml"
    ).read_text("utf-8")


def test_campaign_file_is_accepted_whole(written):
    from geochem.campaign.settings import read_campaign

    settings = read_campaign(written[0])
    assert settings.table("targets")["seek"] == ["Cu", "Au"]
    assert [a["name"] for a in settings.table("assays")] == ["xrf", "lab_4a", "lab_fa"]
    for layer in settings.layers.values():
        assert layer["path"].is_file()
    for name in ("samples", "assays"):
        for table in settings.table(name):
            assert settings.files(table["path"])


def test_files_hold_what_a_campaign_needs(written):
    folder, _ = written
    log = rows(folder / "field_log.csv")
    media = Counter(r["medium"] for r in log if r["role"] == "routine")
    assert 1500 <= media["soil"] <= 2000
    assert media["rock"] == 60
    assert media["stream sediment"] == 40
    ids = {r["Sample ID"] for r in log}
    for row in log:
        if row["role"] in ("field_duplicate", "pulp_duplicate", "coarse_duplicate"):
            assert row["parent"] in ids
        if row["role"] == "standard":
            assert row["standard"].startswith("VAR-")
    # never as a column: a layer of that name is joined
    assert "regolith" not in log[0]
    assert "geology" not in log[0]
    roles = Counter(r["role"] for r in log)
    for role in ("field_duplicate", "pulp_duplicate", "coarse_duplicate", "standard"):
        assert roles[role] >= 4
    assert roles["pulp_blank"] >= 5
    assert roles["coarse_blank"] >= 5

    readings = rows(folder / "readings.csv")
    elements = [name[:-4] for name in readings[0] if name.endswith(" ppm")]
    assert len(elements) == 20
    assert all(f"{element} +/-" in readings[0] for element in elements)
    assert "Au" not in elements
    assert len({r["Instrument"] for r in readings}) == 2
    times = Counter(r["Sample"] for r in readings if not r["Role"])
    assert sum(n == 3 for n in times.values()) > 50
    for row in readings:
        for element in elements:
            error = float(row[f"{element} +/-"])
            assert error > 0
            # errors are at two sigma, a value is shown from three sigma on (rounding: 4 %)
            if row[f"{element} ppm"] != "<LOD":
                assert float(row[f"{element} ppm"]) >= 1.5 * error * 0.96 - 0.1


def test_laboratory_workbook(written):
    from openpyxl import load_workbook

    book = load_workbook(written[0] / "laboratory.xlsx", read_only=True)
    assert book.sheetnames == ["Four-acid", "Gold"]
    sheet = list(book["Four-acid"].iter_rows(values_only=True))
    assert [row[0] for row in sheet[:4]] == ["Sample", "Unit", "Method", "Lower limit"]
    cells = [cell for row in sheet[4:] for cell in row[3:]]
    assert "<0.005" in cells
    assert ">10000" in cells
    assert any(isinstance(cell, float | int) for cell in cells)
    gold = list(book["Gold"].iter_rows(values_only=True))
    assert gold[1][3] == "ppb"
    assert len(gold) == len(sheet)
    soils = [row[0] for row in sheet[4:] if row[0].upper().startswith("VS")]
    assert 150 <= len(soils) <= 350


def test_slips_are_there_as_counted(simulator, written):
    folder, slips = written
    asked = simulator.DEMONSTRATION.mistakes
    found = Counter(slip.kind for slip in slips)
    assert all(slip.sample_id != slip.became for slip in slips)
    assert found["lower case"] == asked.lower_case + asked.laboratory_ids
    assert found["space"] == asked.spaces
    assert found["zeros left out"] == asked.zeros
    log = rows(folder / "field_log.csv")
    readings = rows(folder / "readings.csv")
    for slip in slips:
        if slip.kind in ("space", "zeros left out") or (
            slip.kind == "lower case" and slip.file == "readings.csv"
        ):
            assert sum(r["Sample"] == slip.became for r in readings) == 1
            assert not any(r["Sample"] == slip.sample_id for r in readings)
    ids = Counter(r["Sample ID"] for r in log)
    assert [i for i, n in ids.items() if n > 1] == [
        s.became for s in slips if s.kind == "id doubled"
    ]
    soils = [r for r in log if r["medium"] == "soil" and r["role"] == "routine"]
    assert sum(not r["easting"] for r in soils) == asked.missing_positions
    assert sum(r["easting"] > r["northing"] for r in soils if r["easting"]) == 1
    assert sum("," in r["powder_ml"] for r in log) == asked.decimal_commas


def test_soil_of_a_unit_has_the_median_and_spread_asked_for(simulator):
    # barren ground without cover and drainage, away from contacts; many seeds, because a
    # regional trend moves the median of one campaign
    rocks, ground = part(simulator, "rocks"), part(simulator, "ground")
    settings = replace(
        simulator.BARREN, length=6000.0, width=4000.0, covers=(), intrusions=(),
        bands=(("greywacke", "one", 99_000.0),),
        elements=("V", "Fe", "Cu", "Zn", "As", "Zr"), laboratory_elements=("K", "Ag", "Sr"),
    )  # fmt: skip
    rng = np.random.default_rng(0)
    along, across = rng.uniform(-2900, 2900, 400), rng.uniform(-1900, 1900, 400)
    logs = []
    for seed in range(12):
        drawn = ground.make_ground(replace(settings, seed=seed))
        dry = drawn.scavenging(along, across) < 0.02
        values = drawn.concentrations(along, across, rng)[dry]
        logs.append(np.log(values))
    log = np.vstack(logs)
    elements = drawn.elements
    asked = np.array([rocks.MEDIANS["greywacke"][e] for e in elements])
    spread = np.array([rocks.SPREAD[e] for e in elements])
    # 12 campaigns, each with trends: four standard errors of their means
    assert np.all(np.abs(log.mean(axis=0) - np.log(asked)) < 4 * spread * 0.75 / np.sqrt(12))
    assert np.allclose(log.std(axis=0) / spread, 1.0, atol=0.25)
    wanted = rocks.correlation_matrix(elements)
    got = np.corrcoef(log, rowvar=False)
    assert np.abs(got - wanted).mean() < 0.12
    assert got[elements.index("Fe"), elements.index("V")] > 0.45


def test_fields_have_unit_variance_and_the_reach_asked_for(simulator):
    fields = part(simulator, "fields")
    lattice = fields.Lattice.over(6000.0, 6000.0, 0.0, 100.0)
    drawn = fields.gaussian_fields(lattice, 40, 1000.0, np.random.default_rng(3))
    assert drawn.var() == pytest.approx(1.0, abs=0.06)
    # exponential: exp(-3 h / reach), by its definition
    for lag, expected in ((1, np.exp(-0.3)), (5, np.exp(-1.5)), (10, np.exp(-3.0))):
        got = np.mean(drawn[:, lag:, :] * drawn[:, :-lag, :])
        assert got == pytest.approx(expected, abs=0.06)


def test_halos_are_where_they_were_planted(simulator, demonstration):
    deposits = part(simulator, "deposits")
    settings, ground = demonstration.settings, demonstration.ground
    rng = np.random.default_rng(1)
    along, across = rng.uniform(-3400, 3400, 6000), rng.uniform(-2100, 2100, 6000)
    planted = ground.concentrations(along, across, np.random.default_rng(2))
    barren = ground.concentrations(along, across, np.random.default_rng(2), planted=False)
    ratio = planted / barren
    radii = np.array([deposits.radius(b, along, across) for b in settings.bodies])
    outside = radii.min(axis=0) > 1.25
    assert np.allclose(ratio[outside], 1.0)
    for body, r in zip(settings.bodies, radii, strict=True):
        association = deposits.ASSOCIATIONS[body.association]
        column = ground.elements.index(association.leading)
        contrast = association.zones[association.leading].contrast
        assert 1.5 <= contrast <= 5.0
        centre = np.median(ratio[r < 0.3, column])
        assert (1.4 if body.name == "Teal Flat" else 2.5) < centre < 6.0


def test_standards_tell_the_instruments_and_the_bad_batch(demonstration):
    readings, settings = demonstration.readings, demonstration.settings
    column = settings.elements.index("Cu")
    of = readings.table["standard"] == "VAR-M"
    second = readings.table["instrument"] == readings.instruments[1].serial
    bad = (readings.table["day"] == readings.instruments[1].bad_day) & second
    usual = np.median(readings.value[(of & second & ~bad).to_numpy(), column])
    assert (of & bad).sum() >= 3
    assert np.median(readings.value[(of & bad).to_numpy(), column]) / usual > 1.2
    expected = readings.instruments[1].gain[column] * 265.0
    assert usual == pytest.approx(expected, rel=0.05)


def test_counting_error_grows_with_level_and_falls_with_time(simulator):
    measurement = part(simulator, "measurement")
    low, high = measurement.counting_error(np.array([[0.0], [400.0]]), ("Cu",))
    assert low[0] * 3 == pytest.approx(measurement.XRF_LIMITS["Cu"])
    assert high[0] > low[0]
    # counting: four times as long, half the error
    long = measurement.counting_error(np.array([[0.0]]), ("Cu",), seconds=240.0)
    assert long[0, 0] == pytest.approx(low[0] / 2)


def test_water_runs_down_to_the_rim(simulator):
    terrain = part(simulator, "terrain").make_terrain(3, 4000.0, 3000.0, 500.0)
    rim = terrain.downstream[terrain.order] == terrain.order
    total = terrain.gathered.ravel()[terrain.order[rim]].sum()
    assert total == pytest.approx(terrain.gathered.size * terrain.lattice.cell**2)


def test_truth_lists_bodies_false_bodies_and_spikes(written):
    truth = json.loads((written[0].parent / "truth.geojson").read_text("utf-8"))
    kinds = Counter(f["properties"]["kind"] for f in truth["features"])
    assert kinds == {"mineralisation": 4, "false body": 2, "spike": 6}
    assert not (written[0] / "truth.geojson").exists()


def test_settings_that_cannot_be_made_are_refused(simulator):
    with pytest.raises(ValueError, match="ground holds no Xx"):
        simulator.simulate(replace(simulator.DEMONSTRATION, elements=("Cu", "Xx")))
    with pytest.raises(ValueError, match="names no planted body"):
        simulator.simulate(replace(simulator.DEMONSTRATION, infill=("Nowhere",)))


def test_large_settings_make_the_grid_asked_for(simulator):
    campaign = simulator.simulate(simulator.EIGHT_DEPOSITS)
    assert 5300 <= routine_soils(campaign).sum() <= 5600
    assert len(campaign.settings.elements) == 24
    assert len(campaign.settings.bodies) == 8
