"""Slides are editable, whole, cautious."""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest
from PIL import Image
from pptx import Presentation
from pypdf import PdfReader

from geochem.errors import WrongCall
from geochem.outputs import cautions
from geochem.outputs.figures.blurred_map import draw_blurred
from geochem.outputs.slides.renderer import SlidesRenderer


def texts(path):
    said = []
    for slide in Presentation(str(path)).slides:
        words = []
        for shape in slide.shapes:
            if shape.has_text_frame:
                words.append(shape.text_frame.text)
            if shape.has_table:
                words += [cell.text for row in shape.table.rows for cell in row.cells]
        said.append("\n".join(words))
    return said


@pytest.fixture(scope="module")
def deck(bundle, tmp_path_factory):
    folder = tmp_path_factory.mktemp("slides")
    (folder / "figures").mkdir()
    for name in ("samples", "targets", "element_Cu"):
        Image.new("RGB", (400, 300), "white").save(folder / "figures" / f"{name}.png")
    return SlidesRenderer().render(bundle, folder)[0]


def test_every_slide_carries_the_caution(deck):
    assert all(cautions.SHORT in text for text in texts(deck))


def test_all_targets_are_in_the_table(bundle, deck):
    said = "\n".join(texts(deck))
    assert all(name in said for name in bundle.targets.targets["target"])
    assert cautions.RESULTS[0] in said


def test_probability_stays_off_the_slides(deck):
    assert "robability" not in "\n".join(texts(deck)).replace(cautions.RESULTS[2], "")


def test_pictures_have_alternative_text_and_stand_inside(deck):
    presentation = Presentation(str(deck))
    pictures = 0
    for slide in presentation.slides:
        for shape in slide.shapes:
            assert shape.left >= 0
            assert shape.left + shape.width <= presentation.slide_width
            assert shape.top + shape.height <= presentation.slide_height
            if shape.shape_type == 13:
                pictures += 1
                assert shape._element.nvPicPr.cNvPr.get("descr")
    assert pictures == 3


def test_no_word_reserved_by_reporting_codes_is_claimed(deck):
    said = "\n".join(texts(deck))
    for sentence in (*cautions.RESULTS, cautions.SHORT):
        said = said.replace(sentence, "")
    reserved = (
        r"\b(exploration target|resources?|reserves?|inferred|indicated|measured|ore|discovery)\b"
    )
    assert re.search(reserved, said, re.IGNORECASE) is None


def test_barren_ground_gives_slides_that_say_why(make_bundle, tmp_path):
    barren = make_bundle(barren=True)
    said = "\n".join(texts(SlidesRenderer().render(barren, tmp_path)[0]))
    assert barren.targets.why_none in said


def test_a_template_gives_size_and_look_but_not_its_slides(bundle, tmp_path):
    template = Presentation()  # 4:3, as python-pptx makes it
    slide = template.slides.add_slide(template.slide_layouts[0])
    slide.shapes.title.text = "a slide of the company"
    template.save(tmp_path / "company.pptx")
    path = SlidesRenderer().render(bundle, tmp_path, template_file=str(tmp_path / "company.pptx"))[
        0
    ]
    made = Presentation(str(path))
    assert made.slide_width == template.slide_width
    assert "a slide of the company" not in "\n".join(texts(path))
    for slide in made.slides:
        for shape in slide.shapes:
            assert shape.left + shape.width <= made.slide_width
            for paragraph in shape.text_frame.paragraphs if shape.has_text_frame else ():
                assert all(run.font.name is None for run in paragraph.runs)  # the template's font


def test_a_template_that_is_no_presentation_is_refused_in_a_sentence(bundle, tmp_path):
    (tmp_path / "notes.pptx").write_text("not a presentation")
    with pytest.raises(WrongCall, match=r"notes\.pptx cannot be used as a template"):
        SlidesRenderer().render(bundle, tmp_path, template_file=str(tmp_path / "notes.pptx"))


def test_blurred_slides_say_nothing_of_the_place(bundle, tmp_path):
    path = SlidesRenderer().render(bundle, tmp_path, blur_m=500.0)[0]
    said = "\n".join(texts(path))
    assert "blurred to cells of 500 m" in said
    assert bundle.info.crs not in said
    assert bundle.info.crs_name not in said


def test_the_blurred_map_draws_cells_without_coordinates(bundle):
    samples = bundle.survey.samples
    soil = samples.loc[samples["medium"] == "soil"].reset_index(drop=True)
    ax = draw_blurred(soil, 500.0, element="Cu", info=bundle.info)
    assert [t.get_text() for t in (*ax.get_xticklabels(), *ax.get_yticklabels())] == []
    words = " ".join(t.get_text() for a in ax.get_figure().axes for t in a.texts)
    assert bundle.info.crs not in words
    sides = {(round(p.get_width()), round(p.get_height())) for p in ax.patches}
    assert (500, 500) in sides
    for x, y in zip(soil.geometry.x, soil.geometry.y, strict=True):  # every sample has its cell
        assert any(p.contains_point(ax.transData.transform((x, y))) for p in ax.patches)


@pytest.mark.slow
def test_another_program_opens_the_deck_and_shows_every_slide(deck, tmp_path):
    office = shutil.which("soffice")
    if office is None:
        pytest.skip("LibreOffice is not installed")
    home = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
    subprocess.run(
        [office, home, "--headless", "--convert-to", "pdf", "--outdir", str(tmp_path), str(deck)],
        check=True, capture_output=True, timeout=180,
    )  # fmt: skip
    pages = PdfReader(tmp_path / "slides.pdf").pages
    assert len(pages) == len(Presentation(str(deck)).slides)
    assert all(cautions.SHORT in page.extract_text() for page in pages)
