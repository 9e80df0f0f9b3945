"""Files: names, bytes, text in PDF, and what must be survived."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geochem.outputs.figures.renderer import FiguresRenderer, figure_jobs, write_figure


@pytest.fixture(scope="module")
def written(bundle, tmp_path_factory):
    folder = tmp_path_factory.mktemp("run")
    return folder, FiguresRenderer().render(bundle, folder, max_elements=3)


def test_names_that_other_outputs_rely_on(written):
    folder, paths = written
    names = {p.stem for p in paths if p.suffix == ".png"}
    assert names == {
        "samples", "targets", "associations", "boxplots", "biplot_soil", "standards",
        "xrf_laboratory", "surface_Cu_ppm", "surface_porphyry_copper", "overview",
        "threshold_classes", "uncertainty_Cu_ppm", "place_probability",
        *(f"element_{e}" for e in ("Cu", "Au", "Mo")),
        *(f"probability_{e}" for e in ("Cu", "Au", "Mo")),
    }  # fmt: skip
    assert all(p.parent == folder / "figures" and p.stat().st_size > 5000 for p in paths)
    assert {p.stem for p in paths if p.suffix == ".pdf"} > {"samples", "targets", "element_Cu"}


def test_pages_are_wide_and_large_enough(written):
    from PIL import Image

    for path in written[1]:
        if path.suffix == ".png":
            with Image.open(path) as picture:
                assert 1.4 < picture.width / picture.height < 1.8
                assert picture.width >= 1400


def test_same_bytes_twice_whatever_the_settings(bundle, written, tmp_path):
    import matplotlib as mpl

    with mpl.rc_context({"font.size": 20, "savefig.facecolor": "red", "lines.linewidth": 9}):
        for name, in_pdf, draw in figure_jobs(bundle):
            if name in ("element_Mo", "targets", "standards"):
                for path in write_figure(draw(), tmp_path / name, pdf=in_pdf):
                    assert path.read_bytes() == (written[0] / "figures" / path.name).read_bytes()


def test_pdf_text_stays_text(written):
    pypdf = pytest.importorskip("pypdf")
    text = pypdf.PdfReader(written[0] / "figures" / "targets.pdf").pages[0].extract_text()
    assert "Targets, ranked for follow-up" in text
    assert "A surface anomaly is not a resource" in text


def test_options_are_heard(bundle):
    assert sum(n.startswith("element_") for n, _, _ in figure_jobs(bundle, 2)) == 2
    assert not any(n.startswith("probability_") for n, _, _ in figure_jobs(bundle, 0))


def _all_drawn(bundle, inside_page=None, most: int = 1) -> list[str]:
    names = []
    for name, _, draw in figure_jobs(bundle, most):
        drawn = draw()
        page = drawn if hasattr(drawn, "add_axes") else drawn.figure
        if inside_page is not None:
            inside_page(page)
        else:
            page.set_dpi(50)
            page.canvas.draw()
        names.append(name)
    return names


def test_everything_fits_on_its_page(bundle, inside_page):
    _all_drawn(bundle, inside_page)


def test_barren_ground_without_layers(make_bundle):
    names = _all_drawn(make_bundle(n=60, barren=True))
    assert "targets" in names
    assert "associations" not in names
    assert not any(n.startswith("surface") for n in names)


@pytest.mark.parametrize("n", [1, 2])
def test_hardly_any_samples(make_bundle, n):
    whole = make_bundle(n=60, barren=True)
    samples = whole.survey.samples.iloc[:n].reset_index(drop=True)
    few = replace(whole, survey=replace(whole.survey, samples=samples))
    assert "samples" in _all_drawn(few)


def test_no_sample_at_all(make_bundle):
    whole = make_bundle(n=60, barren=True)
    none = replace(whole, survey=replace(whole.survey, samples=whole.survey.samples.iloc[:0]))
    assert "samples" not in _all_drawn(none)


def test_no_quality_and_one_medium(make_bundle):
    whole = make_bundle(n=60)
    samples = whole.survey.samples
    samples = samples[(samples["medium"] == "soil").to_numpy()].reset_index(drop=True)
    quality = replace(
        whole.quality, standards=whole.quality.standards.iloc[:0], calibrations=(),
        calibration_pairs=whole.quality.calibration_pairs.iloc[:0],
        verdicts=whole.quality.verdicts.iloc[:0],
    )  # fmt: skip
    names = _all_drawn(
        replace(whole, quality=quality, survey=replace(whole.survey, samples=samples))
    )
    assert "standards" not in names
    assert "xrf_laboratory" not in names
    assert "element_Cu" in names


def test_an_element_entirely_below_detection(make_bundle):
    whole = make_bundle(n=60)
    samples = whole.survey.samples.copy()
    samples["Cu_ppm"], samples["Cu_ppm_below"] = 8.0, True
    samples["Au_ppm"] = np.nan
    samples["Au_ppm_below"] = False
    changed = replace(whole, survey=replace(whole.survey, samples=samples))
    drawn = {n: d for n, _, d in figure_jobs(changed)}
    texts = [
        t.get_text() for t in drawn["element_Cu"]().figure.findobj() if hasattr(t, "get_text")
    ]
    assert "Cu: No value is above detection." in " ".join(texts)
    texts = [
        t.get_text() for t in drawn["element_Au"]().figure.findobj() if hasattr(t, "get_text")
    ]
    assert "Au: There are no results." in " ".join(texts)
    drawn["boxplots"]().canvas.draw()


def test_conformance():
    from geochem import plugins

    options = plugins.options_of(FiguresRenderer, "render")
    names = set(options) if isinstance(options, dict) else {o.name for o in options}
    assert {"pdf", "max_elements"} <= names
