"""The report says what the records say, in HTML and PDF, and asks for nothing."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from pypdf import PdfReader

from geochem.outputs import cautions
from geochem.outputs.report.content import report_blocks
from geochem.outputs.report.renderer import ReportRenderer
from geochem.outputs.wording import batch_rows, concentration, figure


@pytest.fixture(scope="module")
def folder(bundle, tmp_path_factory):
    made = tmp_path_factory.mktemp("report")
    (made / "figures").mkdir()
    from PIL import Image

    Image.new("RGB", (300, 200), "white").save(made / "figures" / "targets.png")
    ReportRenderer().render(bundle, made)
    return made


@pytest.fixture(scope="module")
def pdf_text(folder):
    return "\n".join(page.extract_text() for page in PdfReader(folder / "report.pdf").pages)


@pytest.fixture(scope="module")
def page(folder):
    return (folder / "report.html").read_text("utf-8")


def test_page_asks_for_nothing_and_holds_its_pictures(page):
    assert not re.search(r"""(src|href)\s*=\s*["']?\s*(https?:)?//""", page)
    assert "url(" not in page
    assert page.count("data:image/png;base64,") == 1


def test_text_from_the_data_is_escaped(page):
    assert "<script>" not in page
    assert "&lt;script&gt;" in page


@pytest.mark.parametrize("sentence", cautions.RESULTS)
def test_cautions_are_in_both(page, pdf_text, sentence):
    flat = " ".join(pdf_text.split())
    assert sentence[:40] in page
    assert sentence[:40] in flat


def test_every_target_is_told_with_both_sides(bundle, page, pdf_text):
    for row in bundle.targets.targets.itertuples():
        assert f"{row.target}: {row.elements}" in page
        assert f"{row.target}: {row.elements}" in pdf_text
    assert page.count("Against: ") == len(bundle.targets.targets)


def test_barren_ground_gives_a_report_that_says_why(make_bundle, tmp_path):
    barren = make_bundle(barren=True)
    ReportRenderer().render(barren, tmp_path)
    assert barren.targets.why_none in (tmp_path / "report.html").read_text("utf-8")
    assert len(PdfReader(tmp_path / "report.pdf").pages) >= 1


def test_same_input_same_page(bundle, folder, tmp_path):
    (tmp_path / "figures").mkdir()
    (tmp_path / "figures" / "targets.png").write_bytes(
        (folder / "figures" / "targets.png").read_bytes()
    )
    ReportRenderer().render(bundle, tmp_path, pdf=False)
    assert (tmp_path / "report.html").read_bytes() == (folder / "report.html").read_bytes()


def test_report_and_start_page_show_the_verdicts_of_the_batch_table(bundle):
    batches = bundle.quality.batches
    rows = batch_rows(batches)
    assert sorted(r[3] for r in rows) == sorted(batches["verdict"])
    assert [r[3] for r in rows] == sorted((r[3] for r in rows), key=["fail", "warn", "pass"].index)
    text = " ".join(
        " ".join(r) for b in report_blocks(bundle, Path()) for r in getattr(b, "rows", ())
    )
    for _, _, batch, verdict, reason in rows:
        if verdict == "fail":
            assert batch in text
            assert reason in text


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0004567, "0.000457"), (99.96, "100"), (123456.0, "123000"), (0.0, "0"), (float("nan"), "-"),
     (-4.5, "-4.5")],
)  # fmt: skip
def test_figures_have_three_significant_digits(value, text):
    assert figure(value) == text


def test_gold_is_told_in_ppb_and_iron_in_per_cent():
    assert concentration("Au", 0.0123) == "12.3 ppb"
    assert concentration("Fe", 41000) == "4.1 %"
