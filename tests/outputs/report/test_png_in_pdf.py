"""Pixels of a PNG that go into a PDF as they are packed."""

import zlib

import numpy as np
import pytest
from PIL import Image

from geochem.outputs.report.png_in_pdf import packed_pixels, put_in_store


def picture(mode="RGB"):
    pixels = np.random.default_rng(5).integers(0, 256, (20, 30, 3), dtype=np.uint8)
    return Image.fromarray(pixels).convert(mode)


def test_a_plain_picture_in_a_pdf_is_the_same_picture(tmp_path):
    pypdf = pytest.importorskip("pypdf")
    from fpdf import FPDF

    path = tmp_path / "a.png"
    picture().save(path)
    pdf = FPDF()
    pdf.add_page()
    put_in_store(pdf, path)
    assert str(path) in pdf.image_cache.images
    for _ in range(2):  # placed twice, stored once
        pdf.image(path, w=30)
    pdf.output(str(tmp_path / "a.pdf"))
    assert len(pdf.image_cache.images) == 1
    (shown, *_) = pypdf.PdfReader(tmp_path / "a.pdf").pages[0].images
    assert np.array_equal(np.asarray(shown.image.convert("RGB")), np.asarray(picture()))


@pytest.mark.parametrize("mode", ["RGBA", "P", "L", "1"])
def test_other_pictures_are_left_to_the_library(tmp_path, mode):
    path = tmp_path / "a.png"
    picture(mode).save(path)
    assert packed_pixels(path) is None


def test_what_is_no_whole_png_is_left_to_the_library(tmp_path):
    path = tmp_path / "a.png"
    picture().save(path)
    whole = path.read_bytes()
    wide, high, pixels = packed_pixels(path)
    assert (wide, high) == (30, 20)
    assert len(zlib.decompress(pixels)) == 20 * (1 + 3 * 30)
    path.write_bytes(whole[:-20])
    assert packed_pixels(path) is None
    path.write_bytes(b"\xff\xd8" + whole)
    assert packed_pixels(path) is None
