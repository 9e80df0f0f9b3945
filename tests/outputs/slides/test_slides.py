"""Slides are editable, whole, cautious."""

from __future__ import annotations

import re

import pytest
from PIL import Image
from pptx import Presentation

from geochem.outputs import cautions
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
