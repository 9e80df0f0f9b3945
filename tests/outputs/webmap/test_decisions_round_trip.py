"""From the page to the file, to the next run and back to the page, on a small invented campaign."""

import json

import numpy as np
import pytest

import geochem

from .conftest import data_of

pytestmark = pytest.mark.browser


def write_campaign(folder):
    """Soils on lines 100 m apart; copper, molybdenum and gold rise around one place."""
    rng = np.random.default_rng(5)
    e, n = np.meshgrid(np.arange(18) * 100.0, np.arange(24) * 50.0)
    e, n = 600_000 + e.ravel(), 7_400_000 + n.ravel()
    halo = np.exp(-(((e - 600_700) / 160) ** 2 + ((n - 7_400_600) / 130) ** 2))
    levels = {
        "Cu": (40, 1.1),
        "Mo": (2.0, 1.0),
        "Au": (0.004, 1.2),
        "Zn": (70, 0.1),
        "Pb": (18, 0),
    }
    ids = [f"S{i:04d}" for i in range(len(e))]
    log = ["sample_id,medium,easting,northing,line"]
    log += [f"{s},soil,{a:.0f},{b:.0f},{a:.0f}" for s, a, b in zip(ids, e, n, strict=True)]
    (folder / "log.csv").write_text("\n".join(log), encoding="utf-8")
    table = ["sample_id," + ",".join(f"{k}_ppm" for k in levels)]
    values = [
        median * 10 ** (rng.normal(0, 0.12, len(e)) + lift * halo)
        for median, lift in levels.values()
    ]
    table += [
        f"{s}," + ",".join(f"{v:.5g}" for v in row) for s, *row in zip(ids, *values, strict=True)
    ]
    (folder / "lab.csv").write_text("\n".join(table), encoding="utf-8")
    (folder / "campaign.toml").write_text(
        'title = "Small grid (invented)"\ncrs = "EPSG:32735"\n'
        '[samples]\npath = "log.csv"\n[[assays]]\npath = "lab.csv"\nsource = "laboratory"\n'
        '[targets]\nseek = ["Cu"]\n[outputs]\nrenderers = ["map", "report"]\n'
        "options = { report = { pdf = false } }\n",
        encoding="utf-8",
    )
    return folder / "campaign.toml"


def test_decisions_come_back(tmp_path, open_page):
    campaign = write_campaign(tmp_path)
    first = geochem.run(campaign)
    assert first.bundle.targets.targets["target"].tolist()[:1] == ["T01"]
    page = open_page(first.folder / "map.html")
    page.click("#review-button")
    page.fill("#review-value", "75")
    page.press("#review-value", "Enter")
    page.fill("#review-reason", "limit of the orientation survey")
    page.check("#list-T01-reject")
    page.fill("#review-targets input[data-target=T01]", "old smelter")
    with page.expect_download() as waiting:
        page.click("#review-save")
    path = tmp_path / "decisions.toml"
    waiting.value.save_as(path)

    second = geochem.run(campaign, decisions=path)
    rows = second.bundle.targets.targets.set_index("target")
    assert rows.loc["T01", "status"] == "dropped"
    assert "old smelter" in rows.loc["T01", "evidence_against"]
    limits = second.bundle.thresholds.query("element == 'Cu'")
    assert set(limits["value"]) == {75.0}
    record = json.loads((second.folder / "run.json").read_text("utf-8"))
    assert record["settings"]["decisions"]["targets"]["T01"]["choice"] == "reject"
    assert "decisions.toml" in [row["path"] for row in record["inputs"]]
    report = (second.folder / "report.html").read_text("utf-8")
    assert "old smelter" in report
    assert "limit of the orientation survey" in report
    assert (tmp_path / "history" / "register.csv").read_text("utf-8").count("\n") == 1

    data = data_of(second.folder / "map.html")
    assert data["decisions"]["elements"]["Cu"]["value"] == 75.0
    again = open_page(second.folder / "map.html")
    again.click("#review-button")
    assert again.input_value("#review-value") == "75"
    assert again.is_checked("#list-T01-reject")
    assert "It counted in this run" in again.inner_text("#review-state")
    # nothing is changed by opening, and a run without the file forgets the decisions
    third = geochem.run(campaign)
    assert third.bundle.targets.targets.set_index("target").loc["T01", "status"] == "new"
    assert again.seen["errors"] == []
