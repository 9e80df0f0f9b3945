"""The whole job on real soil: topsoil along the river Meuse, 155 samples, EPSG:28992.

The data (Rikken & Van Rijn 1993) are public in the R package sp and carried by scikit-gstat.
Numbers without another source were printed by R 4.2 (stats, robustbase 0.95) on the same table.
"""

from __future__ import annotations

import json
import shutil

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

import geochem
from geochem.background import MedianMad, TukeyFence

CAMPAIGN = """
title = "Topsoil along the river Meuse"
crs = "EPSG:28992"

[samples]
path = "meuse.txt"
medium = "soil"

[[assays]]
path = "meuse.txt"
source = "laboratory"

[background]
by = []

[targets]
seek = ["Zn", "Cd"]
"""


@pytest.fixture(scope="module")
def result(meuse_file, tmp_path_factory):
    folder = tmp_path_factory.mktemp("meuse")
    shutil.copyfile(meuse_file, folder / "meuse.txt")
    (folder / "campaign.toml").write_text(CAMPAIGN, encoding="utf-8")
    return geochem.run(folder)


def test_every_file_of_the_result_folder_is_there(result):
    names = {p.relative_to(result.folder).as_posix() for p in result.folder.rglob("*")}
    wanted = {
        "index.html", "map.html", "report.html", "report.pdf", "slides.pptx", "campaign.gpkg",
        "samples.csv", "samples.xlsx", "targets.csv", "targets.geojson", "targets.gpx",
        "follow_up.csv", "follow_up.gpx", "holes.csv", "thresholds.csv", "quality.csv",
        "findings.csv", "run.json", "figures/samples.png", "figures/element_Zn.png",
        "figures/probability_Zn.png", "surfaces/Zn_ppm.tif",
    }  # fmt: skip
    assert wanted <= names
    listed = json.loads((result.folder / "run.json").read_text("utf-8"))["files"]
    assert {n for n in names if (result.folder / n).is_file()} == {*listed, "run.json"}


@pytest.mark.published
def test_all_values_arrive(result, meuse):
    samples = pd.read_csv(result.folder / "samples.csv")
    assert len(samples) == 155
    # R summary(meuse$zinc): 113, 198, 326, 469.7, 674.5, 1839; sd 367.0738
    zinc = samples["Zn_ppm"]
    assert zinc.quantile([0, 0.25, 0.5, 0.75, 1]).tolist() == [113, 198, 326, 674.5, 1839]
    assert zinc.mean() == pytest.approx(469.7161, abs=1e-4)
    assert zinc.std() == pytest.approx(367.0738, abs=1e-4)
    np.testing.assert_allclose(np.sort(samples["Cd_ppm"]), np.sort(meuse["cadmium"]))
    layer = gpd.read_file(result.folder / "campaign.gpkg", layer="samples")
    assert layer.crs.to_epsg() == 28992
    assert sorted(layer.geometry.x) == sorted(meuse["x"])


@pytest.mark.published
def test_thresholds_of_the_run_are_the_formula(result, meuse):
    # R: 10^(median(log10(zinc)) + 2 * mad(log10(zinc))), whole survey, weights aside
    plain = MedianMad(k=2, log=True).fit(meuse["zinc"])
    logs = np.log10(meuse["zinc"])
    mad = 1.4826 * np.median(np.abs(logs - np.median(logs)))
    assert plain.value == pytest.approx(10 ** (np.median(logs) + 2 * mad), rel=1e-9)
    # R: median 326 + 2 * mad; quantile type 7 fence 674.5 + 1.5 * 476.5
    assert MedianMad(k=2).fit(meuse["zinc"]).value == pytest.approx(824.1536, abs=1e-4)
    assert TukeyFence(k=1.5).fit(meuse["zinc"]).value == pytest.approx(1389.25, abs=1e-9)
    table = pd.read_csv(result.folder / "thresholds.csv")
    row = table[(table["element"] == "Zn") & (table["domain"] == "all") & (table["k"] == 2)]
    # declustering moves it, but not by much on this fairly even sampling
    assert row["value"].iloc[0] == pytest.approx(plain.value, rel=0.25)


def test_zinc_and_cadmium_are_high_near_the_river(result, meuse):
    """The distance to the river is in the data: what the run calls high must lie near it."""
    anomalies = result.bundle.evidence.anomalies.merge(
        pd.DataFrame(
            {
                "easting": meuse["x"].astype(float),
                "northing": meuse["y"].astype(float),
                "distance": meuse["dist.m"],
            }
        ),
        on=["easting", "northing"],
        validate="one_to_one",
    )
    for element in ("Zn", "Cd"):
        z = anomalies[f"{element}_z"]
        high = anomalies.loc[z > z.quantile(0.9), "distance"]
        assert high.median() < 0.4 * anomalies["distance"].median()


def test_outputs_ask_for_nothing_from_outside(result):
    for name in ("index.html", "map.html", "report.html"):
        page = (result.folder / name).read_text("utf-8")
        for quote in ('src="http', "src='http", '<link rel="stylesheet" href="http', "@import"):
            assert quote not in page, name


def test_a_second_run_gives_the_same_tables_and_map(result, meuse_file, tmp_path):
    """Row order and another folder change nothing but the row numbers."""
    import random
    from datetime import date

    lines = meuse_file.read_text().splitlines()
    outputs = []
    for number in (0, 1):
        folder = tmp_path / str(number)
        folder.mkdir()
        rows = [f'"id",{lines[0]}', *(f"M{i:03d},{line}" for i, line in enumerate(lines[1:]))]
        if number:
            body = rows[1:]
            random.Random(4).shuffle(body)
            rows[1:] = body
        (folder / "meuse.txt").write_text("\n".join(rows) + "\n")
        (folder / "campaign.toml").write_text(CAMPAIGN, encoding="utf-8")
        outputs.append(geochem.run(folder, until=date(2026, 3, 20)).folder)
    for name in ("samples.csv", "targets.csv", "thresholds.csv", "targets.geojson"):
        assert (outputs[0] / name).read_bytes() == (outputs[1] / name).read_bytes(), name
    assert (outputs[0] / "figures/element_Zn.png").read_bytes() == (
        outputs[1] / "figures/element_Zn.png"
    ).read_bytes()
