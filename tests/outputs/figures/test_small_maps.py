"""Small maps on one page: counts, window, furniture; what the records lack is left out."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from geochem.model.tables import values_of
from geochem.outputs.figures.overview import class_maps, density_map, index_maps, overview_maps
from geochem.outputs.figures.renderer import figure_jobs, write_figure
from geochem.outputs.figures.small_maps import Squares, draw_small_maps


def drawn(page):
    """Give every text of a page."""
    return " | ".join(t.get_text() for ax in page.axes for t in ax.texts)


def counted(m):
    return {k.text: len(k.x) for k in m.kinds}


def test_density_counts_every_sample_once(bundle):
    m = density_map(bundle)
    cells = sum(len(k.west) for k in m.kinds)
    x = bundle.survey.samples.geometry.x.to_numpy()
    y = bundle.survey.samples.geometry.y.to_numpy()
    cell = m.kinds[0].cell
    assert all(isinstance(k, Squares) for k in m.kinds)
    assert cells == len({(a, b) for a, b in zip(x // cell, y // cell, strict=True)})


def test_classes_agree_with_the_thresholds(bundle):
    (m,) = class_maps(bundle, ["Cu"])
    v = values_of(bundle.survey.samples, "Cu")
    counts = counted(m)
    assert sum(counts.values()) == len(v.value)
    table = bundle.thresholds
    table = table[(table["element"] == "Cu") & (table["k"] == 2.0)]
    limits = table.set_index(["medium", "domain"])["value"]
    points = bundle.evidence.anomalies.set_index("sample_id")
    expected = 0
    for sid, value, below in zip(
        bundle.survey.samples["sample_id"], v.value, v.below, strict=True
    ):
        if sid in points.index and not below and np.isfinite(value):
            key = (points.loc[sid, "medium"], points.loc[sid, "domain"])
            expected += bool(key in limits.index and value > limits[key])
    assert counts["possible anomaly"] + counts["probable anomaly"] == expected > 0


def test_indices_are_drawn_when_they_are_asked_for(bundle):
    assert index_maps(bundle) == []
    samples = bundle.survey.samples
    samples = samples.assign(ratio_Cu_Zn=samples["Cu_ppm"] / samples["Zn_ppm"])
    row = bundle.thresholds.iloc[[0]].assign(
        medium="soil", domain="all", element="ratio_Cu_Zn", value=0.9
    )
    asked = replace(
        bundle, survey=replace(bundle.survey, samples=samples),
        thresholds=pd.concat([bundle.thresholds, row], ignore_index=True),
    )  # fmt: skip
    (m,) = index_maps(asked)
    soil = samples[(samples["medium"] == "soil").to_numpy()]
    beyond = int((soil["ratio_Cu_Zn"] > 0.9).sum())
    assert counted(m)["beyond median + 2 MAD"] == beyond
    assert m.title == f"Cu/Zn: {beyond} beyond"
    assert "indices" in [name for name, _, _ in figure_jobs(asked)]


def test_page_has_one_bar_scale_units_date_and_caution(bundle):
    maps = overview_maps(bundle)
    titles = [m.title for m in maps]
    assert titles[0].startswith("Density")
    assert "Progress" in titles
    assert "Quality of the batches" in titles
    page = draw_small_maps(
        maps, columns=2, info=bundle.info, boundary=bundle.layers.get("boundary")
    )
    text = drawn(page)
    for words in ("UTM zone 35S", "grid north", "20 March 2026", "not a resource", "km\u00b2"):
        assert words in text
    windows = {ax.get_xlim() + ax.get_ylim() for ax in page.axes if ax.get_gid() != "sheet"}
    assert len(windows) == 1
    x = bundle.survey.samples.geometry.x
    west, east, *_ = windows.pop()
    assert west < x.min() < x.max() < east


def test_every_sample_has_one_place_in_progress_and_quality(bundle):
    n = len(bundle.survey.samples)
    maps = {m.title: m for m in overview_maps(bundle)}
    assert sum(counted(maps["Progress"]).values()) == n
    assert sum(counted(maps["Quality of the batches"]).values()) == n


def test_barren_records_still_give_the_pages_that_they_can(make_bundle):
    names = [name for name, _, _ in figure_jobs(make_bundle(n=40, barren=True))]
    assert "overview" in names


@pytest.mark.parametrize(
    ("page", "ratio"), [("16:9", 16 / 9), ("A4", 297 / 210), ("as drawn", 1.6)]
)
def test_pages_have_the_proportions_asked_for(bundle, tmp_path, page, ratio):
    """A4 is 297 mm by 210 mm (ISO 216)."""
    from PIL import Image
    from pypdf import PdfReader

    drawn = draw_small_maps([density_map(bundle)], columns=1, info=bundle.info)
    png, pdf = write_figure(drawn, tmp_path / "x", pdf=True, page=page)
    with Image.open(png) as picture:
        assert picture.width / picture.height == pytest.approx(ratio, abs=0.003)
        corners = {picture.convert("RGB").getpixel(at) for at in ((0, 0), (picture.width - 1, 0))}
    assert corners == {(255, 255, 255)}
    box = PdfReader(pdf).pages[0].mediabox
    assert float(box.width / box.height) == pytest.approx(ratio, abs=0.003)
    assert "not a resource" in PdfReader(pdf).pages[0].extract_text()  # text stays text
