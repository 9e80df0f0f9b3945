"""The start page offers what is there, and nothing else."""

from __future__ import annotations

import re

from geochem.outputs.start_page.renderer import StartPageRenderer


def test_links_lead_to_files_that_exist(bundle, tmp_path):
    for name in ("map.html", "report.html", "samples.csv"):
        (tmp_path / name).write_text("x")
    (tmp_path / "figures").mkdir()
    (tmp_path / "figures" / "targets.png").write_text("x")
    StartPageRenderer().render(bundle, tmp_path)
    page = (tmp_path / "index.html").read_text("utf-8")
    links = set(re.findall(r'(?:href|src)="([^"]+)"', page))
    assert {"map.html", "report.html", "samples.csv", "figures/targets.png"} <= links
    assert all((tmp_path / link).exists() for link in links - {"run.json"})
    assert "<script>" not in page
    assert "not a resource" in page


def test_barren_ground_says_why(make_bundle, tmp_path):
    barren = make_bundle(barren=True)
    StartPageRenderer().render(barren, tmp_path)
    assert barren.targets.why_none in (tmp_path / "index.html").read_text("utf-8")
