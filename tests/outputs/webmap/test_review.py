"""The review in Chromium: plots, marks and threshold share the samples with the map; decisions."""

import tomllib
from dataclasses import replace

import numpy as np
import pytest

from geochem.campaign.decisions import read_decisions
from geochem.model.tables import values_of
from geochem.outputs.webmap.renderer import MapRenderer
from geochem.stats.probability_positions import probability_positions

pytestmark = pytest.mark.browser

COUNT = "geochemMap.counts()"


@pytest.fixture
def review(open_page, page_path):
    page = open_page(page_path)
    page.click("#review-button")
    assert page.is_visible("#review")
    return page


def copper(small):
    soil = small.survey.samples[small.survey.samples["medium"] == "soil"]
    return soil["sample_id"].to_numpy(), values_of(soil, "Cu")


def test_opening_shows_classes_and_the_same_values_as_the_samples(review, small):
    assert review.input_value("#view") == "class"
    ids, v = copper(small)
    got = review.evaluate(
        """() => { const p = geochemMap.population(); return { n: p.n, limits: p.limits.length,
        log: Array.from(p.log), score: Array.from(p.score) }; }"""
    )
    known = np.isfinite(v.value)
    assert got["n"] == known.sum()
    assert got["limits"] == (v.below & known).sum()
    four = np.array([float(f"{x:.4g}") for x in v.value[known]])  # as they are packed
    points = probability_positions(np.log10(four), below=v.below[known], most=100_000)
    logs, first = np.unique(np.round(got["log"], 9), return_index=True)
    np.testing.assert_allclose(logs, points.values, atol=3e-4)  # halves may round either way
    np.testing.assert_allclose(np.array(got["score"])[first], points.normal_score, atol=1e-9)
    assert len(ids) == len(v.value)


@pytest.mark.published
def test_normal_quantile_agrees_with_scipy(review):
    """AS 241 (Wichura 1988) gives about 16 digits; scipy.special.ndtri is the reference."""
    from scipy.special import ndtri

    p = [1e-9, 1e-4, 0.02, 0.08, 0.3, 0.5, 0.9, 0.97, 0.9999]
    scores = review.evaluate("p => p.map(q => geochemMap.normalQuantile(q))", p)
    assert scores == pytest.approx(ndtri(p), rel=1e-12, abs=1e-14)


def test_the_handle_by_keyboard_recolours_map_and_counts_at_once(review, small, page_data):
    before = review.evaluate(COUNT)
    review.focus("#review-handle")
    start = float(review.get_attribute("#review-handle", "aria-valuenow"))
    for _ in range(4):
        review.keyboard.press("PageDown")
    now = float(review.get_attribute("#review-handle", "aria-valuenow"))
    assert now == pytest.approx(start / 1.1**4, rel=2e-3)
    after = review.evaluate(COUNT)
    _, v = copper(small)
    beyond = int((v.value[~v.below & ~v.above] > now).sum())
    stream = small.survey.samples[small.survey.samples["medium"] == "stream sediment"]
    w = values_of(stream, "Cu")
    # the handle speaks of the medium that is looked at; the other keeps the threshold of the run
    entry = next(e for e in page_data["elements"] if e["symbol"] == "Cu")
    own = entry["whole"]["stream sediment"]["possible"]
    beyond += int((w.value[~w.below & ~w.above] > own).sum())
    assert after["possible anomaly"] + after["probable anomaly"] == beyond
    assert beyond > before["possible anomaly"] + before["probable anomaly"]
    drawn = [r["count"] for r in review.evaluate("geochemMap.rows()")[:2]]
    assert sum(drawn) == beyond
    assert "beyond the threshold" in review.get_attribute("#review-handle", "aria-valuetext")
    review.click("#review-back")
    assert review.evaluate(COUNT) == before


def test_the_handle_by_mouse_and_the_number_agree(review):
    box = review.locator("#review-handle").bounding_box()
    x, y = box["x"] + 9, box["y"] + 10
    review.mouse.move(x, y)
    review.mouse.down()
    review.mouse.move(x - 40, y, steps=4)
    review.mouse.up()
    moved = float(review.input_value("#review-value"))
    shown = float(review.get_attribute("#review-handle", "aria-valuenow"))
    assert moved == pytest.approx(shown, rel=1e-3)
    review.fill("#review-value", "77")
    review.press("#review-value", "Enter")
    assert float(review.get_attribute("#review-handle", "aria-valuenow")) == 77
    review.fill("#review-value", "-3")
    review.press("#review-value", "Enter")
    assert review.input_value("#review-value") == "77"


def test_marks_are_shared_by_plot_histogram_table_and_map(review, small):
    ids, v = copper(small)
    canvas = review.locator("#review-probability").bounding_box()
    y = canvas["y"] + 90
    review.mouse.move(canvas["x"] + 200, y)
    review.mouse.down()
    review.mouse.move(canvas["x"] + canvas["width"] - 14, y, steps=5)
    review.mouse.up()
    marked = review.evaluate("geochemMap.marked()")
    least = min(v.value[np.isin(ids, marked)])
    detected = ~v.below & np.isfinite(v.value)
    assert set(marked) == set(ids[detected & (v.value >= least)])
    rows = review.locator("#review-table tbody tr")
    assert rows.count() == min(60, len(marked))
    assert rows.first.locator("input").is_checked()
    review.locator("#review-units button").first.click()  # all of the largest unit
    unit = review.evaluate("geochemMap.marked()")
    geology = small.survey.samples.set_index("sample_id")["geology"]
    assert geology[unit].nunique() == 1
    review.fill("#review-from", "60")
    review.press("#review-from", "Enter")
    assert set(review.evaluate("geochemMap.marked()")) == set(ids[detected & (v.value >= 60)])
    review.click("#review-clear")
    assert review.evaluate("geochemMap.marked()") == []


def test_a_box_on_the_map_and_the_window_mark_samples(review):
    x, y = review.evaluate("geochemMap.pixelOf('A-00003')")
    review.click("#box")
    review.mouse.move(x - 3, y - 3)
    review.mouse.down()
    review.mouse.move(x + 3, y + 3, steps=3)
    review.mouse.up()
    assert "A-00003" in review.evaluate("geochemMap.marked()")
    assert review.evaluate("geochemMap.selected()") is None
    review.keyboard.press("Escape")
    review.focus("[role=application]")
    review.keyboard.press("s")
    assert len(review.evaluate("geochemMap.marked()")) == 400


def test_table_selects_sorts_and_moves_by_keyboard(review):
    first = review.locator("#review-table tbody .idlink").first
    first.focus()
    name = first.inner_text()
    review.keyboard.press("Enter")
    assert review.evaluate("geochemMap.selected()") == name
    assert review.inner_text("#panel-title") == name
    first = review.locator("#review-table tbody .idlink").first
    first.focus()
    review.keyboard.press("ArrowDown")
    second = review.evaluate("document.activeElement.innerText")
    assert second not in (name, "")
    review.locator("#review-table .sort", has_text="Sample").click()
    texts = review.locator("#review-table tbody .idlink").all_inner_texts()
    assert texts == sorted(texts)
    assert review.get_attribute("#review-table th[aria-sort=ascending]", "scope") == "col"


def test_decisions_by_keyboard_round_trip(review, open_page, small, tmp_path):
    target = small.targets.targets["target"].iloc[0]
    review.fill("#review-value", "88.5")
    review.press("#review-value", "Enter")
    review.locator("#review-save").click()
    assert "Give a reason for the threshold of Cu" in review.inner_text("#review-missing")
    assert review.evaluate("document.activeElement.id") == "review-reason"
    review.keyboard.type('edge of the "upper" population\\ <b>')
    review.focus(f"#list-{target}-accept")
    review.keyboard.press("Space")
    review.keyboard.press("ArrowRight")
    review.keyboard.press("ArrowRight")
    assert review.is_checked(f"#list-{target}-reject")
    review.locator("#review-save").click()
    assert f"why {target} is rejected" in review.inner_text("#review-missing")
    review.keyboard.type("transported cover, \u00e9t\u00e9 \U0001f30d")
    with review.expect_download() as waiting:
        review.locator("#review-save").click()
    assert waiting.value.suggested_filename == "decisions.toml"
    path = tmp_path / "decisions.toml"
    waiting.value.save_as(path)
    decisions = read_decisions(path)
    assert decisions.overlay["background"]["element"]["Cu"] == {
        "values": {"soil": 88.5}, "reason": 'edge of the "upper" population\\ <b>',
    }  # fmt: skip
    choice = decisions.targets[target]
    assert (choice.choice, choice.by) == ("reject", "A. Geologist")
    assert choice.note == "transported cover, \u00e9t\u00e9 \U0001f30d"
    assert choice.day is not None
    assert review.seen["errors"] == []

    # a run hands the decisions back to the page, which saves the same again
    plain = decisions.plain()
    shown = {
        "file": "decisions.toml", "by": "A. Geologist", "others": ["[targets] wanted"],
        "elements": decisions.overlay["background"]["element"],
        "targets": {k: {**v, "effect": "dropped"} for k, v in plain["targets"].items()},
    }  # fmt: skip
    again = open_page(MapRenderer().render(replace(small, decisions=shown), tmp_path)[0])
    again.click("#review-button")
    assert again.is_checked(f"#list-{target}-reject")
    assert again.input_value("#review-reason") == 'edge of the "upper" population\\ <b>'
    second = again.evaluate("geochemMap.decisions('A. Geologist')")
    assert "[targets] wanted" in second
    one, two = tomllib.loads(path.read_text("utf-8")), tomllib.loads(second)
    assert {**one, "decisions": 0} == {**two, "decisions": 0}
    assert again.seen["errors"] == []


def test_target_panel_and_list_follow_one_state(review, small):
    target = small.targets.targets["target"].iloc[0]
    review.locator("#target-list button").first.click()
    review.check(f"#panel-{target}-hold")
    assert review.is_checked(f"#list-{target}-hold")
    assert "hold" in review.locator("#target-list button").first.inner_text()


def test_hostile_group_names_are_text(review, factory):
    review.select_option("#review-group", label="by geology")
    assert factory.HOSTILE.lower() in review.inner_text("#review-units").lower()
    assert review.locator("#review script").count() == 0
    assert review.seen["dialogs"] == []


@pytest.mark.parametrize(("width", "scheme"), [(420, "light"), (1024, "dark"), (1700, "light")])
def test_review_fits_any_window(open_page, page_path, width, scheme):
    page = open_page(page_path, width=width, scheme=scheme)
    if width == 420:
        page.click("#menu-button")
    page.click("#review-button")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator("#review-probability").bounding_box()["width"] > 300
    assert page.locator("[role=application]").bounding_box()["width"] > 250
    assert page.seen["errors"] == []


def test_printing_with_the_review_open_fills_the_sheet(open_page, page_path):
    page = open_page(page_path, width=800)  # a sheet of paper counts as a narrow window
    page.click("#menu-button")
    page.click("#review-button")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    stage = page.locator(".stage").bounding_box()
    assert stage["height"] > 500
    assert stage["width"] > 600
    assert page.is_hidden("#review")
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert page.is_visible("#review")
