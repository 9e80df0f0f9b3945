"""The page in Chromium, offline: what is drawn, clicked, typed and printed."""

import numpy as np
import pytest

from geochem.model.tables import values_of
from geochem.outputs.webmap.renderer import MapRenderer

pytestmark = pytest.mark.browser


def test_opens_without_request_error_or_dialog(open_page, page_path):
    page = open_page(page_path)
    assert [u for u in page.seen["requests"] if not u.startswith(("file:", "data:"))] == []
    for option in page.locator("#view option").all():
        page.select_option("#view", option.get_attribute("value"))
    for box in page.locator("#layers input").all():
        box.click()
    page.locator("#target-list button").first.click()
    page.locator("#scheme-button").click()
    assert page.seen["errors"] == []
    assert page.seen["dialogs"] == []
    assert page.evaluate("[typeof L, typeof leaflet, typeof geochemMap]") == [
        "undefined", "undefined", "object",
    ]  # fmt: skip


def test_symbol_counts_agree_with_the_samples(open_page, page_path, page_data, small):
    page = open_page(page_path)
    assert page.evaluate("geochemMap.drawn.symbols") == len(small.survey.samples)
    for symbol in ("Cu", "Mo", "As", "Au"):
        page.evaluate("s => geochemMap.show(s, 'value')", symbol)
        counts = page.evaluate("geochemMap.counts()")
        v = values_of(small.survey.samples, symbol)
        assert sum(counts.values()) == len(v.value)
        assert counts["not analysed"] == np.isnan(v.value).sum()
        assert counts["above range"] == v.above.sum()
        undecided = counts["undecided: limit beyond threshold"]
        assert counts["below detection"] + undecided == v.below.sum()
        entry = next(e for e in page_data["elements"] if e["symbol"] == symbol)
        shown = v.value[~v.below & ~v.above & np.isfinite(v.value)] / entry["divisor"]
        graded = np.histogram(shown, [-np.inf, *entry["limits"], np.inf])[0]
        rows = [r["count"] for r in page.evaluate("geochemMap.rows()")][: len(graded)]
        assert rows == graded[::-1].tolist()
    page.evaluate("geochemMap.show('Mo')")
    assert page.evaluate("geochemMap.counts()")["undecided: limit beyond threshold"] > 0


def test_threshold_classes_agree_with_the_table(open_page, page_path, small):
    page = open_page(page_path)
    page.evaluate("geochemMap.show('Cu', 'class')")
    counts = page.evaluate("geochemMap.counts()")
    v = values_of(small.survey.samples, "Cu")
    domain = small.evidence.anomalies.set_index("sample_id")["domain"]
    limits = small.thresholds[small.thresholds["element"] == "Cu"]
    limits = limits.set_index(["medium", "domain", "k"])["value"]
    expected = {"background": 0, "possible anomaly": 0, "probable anomaly": 0}
    for sid, medium, value in zip(
        small.survey.samples["sample_id"], small.survey.samples["medium"], v.value, strict=True
    ):
        if medium == "rock" or np.isnan(value):
            continue
        k2, k3 = (limits[medium, domain[sid], k] for k in (2.0, 3.0))
        name = ["background", "possible anomaly", "probable anomaly"][
            int(value > k2) + int(value > k3)
        ]
        expected[name] += 1
    assert {k: counts[k] for k in expected} == expected
    assert counts["no threshold for this medium"] > 0


def test_click_selects_a_sample_and_shows_its_values(open_page, page_path, small):
    page = open_page(page_path)
    page.mouse.click(*page.evaluate("geochemMap.pixelOf('A-00003')"))
    assert page.evaluate("geochemMap.selected()") == "A-00003"
    text = page.inner_text("#panel")
    assert "A-00003" in text
    for words in ("readings.csv, row", "day 01", "Preparation", "Two rows of the field log"):
        assert words in text
    row = page.locator("#panel tr", has_text="Cu").first.inner_text().split()
    value = small.survey.samples.set_index("sample_id").loc["A-00003", "Cu_ppm"]
    assert float(row[1]) == pytest.approx(value, rel=5e-3)
    # no column of its tables is cut off
    wide = page.evaluate("(() => { const p = document.getElementById('panel'); "
                         "return [p.scrollWidth, p.clientWidth]; })()")  # fmt: skip
    assert wide[0] <= wide[1]


def test_the_probability_of_every_place_is_a_view(open_page, page_path, small):
    page = open_page(page_path)
    page.select_option("#view", "place")
    rows = dict(zip(*page.evaluate(
        "[Array.from(document.querySelectorAll('#legend tr td:nth-child(2)')).map(e => e.innerText),"
        " Array.from(document.querySelectorAll('#legend tr td.n')).map(e => Number(e.innerText))]"
    ), strict=True))  # fmt: skip
    p = small.targets.places.set_index("sample_id")["probability"]
    p = p.reindex(small.survey.samples["sample_id"])
    assert rows["\u2265 0.8"] == int((p >= 0.8).sum())
    assert rows["< 0.1"] == int((p < 0.1).sum())
    assert rows["not judged"] == int(p.isna().sum())
    best = p.idxmax()
    page.evaluate("id => geochemMap.select(id)", best)
    title = small.evidence.associations[0].title
    assert title in page.inner_text("#panel dl")


def test_hostile_ids_are_shown_as_text(open_page, page_path, factory):
    page = open_page(page_path)
    for sid in (f"A-00009{factory.HOSTILE}", f"A-00007 {factory.QUOTES}"):
        page.evaluate("id => geochemMap.select(id)", sid)
        assert page.inner_text("#panel-title") == sid
        page.fill("#find", sid[:8])
        assert sid in page.locator("#find-list li").all_inner_texts()
    page.locator("#target-list button").first.click()
    assert factory.HOSTILE.lower() in page.inner_text("#panel").lower()
    assert page.locator("#panel script, #find-list script, #legend script").count() == 0
    assert page.seen["dialogs"] == []
    assert page.seen["errors"] == []


def test_keyboard_alone_moves_selects_steps_and_closes(open_page, page_path):
    page = open_page(page_path)
    page.focus("#find")
    page.keyboard.type("R-0002")
    page.keyboard.press("Enter")
    assert page.evaluate("geochemMap.selected()") == "R-0002"
    assert "R-0002" in page.inner_text("#live")
    page.keyboard.press("Escape")
    assert page.evaluate("geochemMap.selected()") is None
    page.focus("[role=application]")
    before = page.evaluate("geochemMap.pixelOf('A-00001')")
    page.keyboard.press("ArrowRight")
    page.wait_for_timeout(400)
    assert page.evaluate("geochemMap.pixelOf('A-00001')")[0] < before[0]
    page.keyboard.press("Enter")
    nearest = page.evaluate("geochemMap.selected()")
    assert nearest is not None
    page.keyboard.press("PageUp")  # from a sample to the next higher one
    page.keyboard.press("PageUp")
    higher = page.evaluate("geochemMap.selected()")
    assert higher not in (None, nearest)


def test_measuring_by_keyboard_and_mouse(open_page, page_path):
    page = open_page(page_path)
    page.evaluate("geochemMap.zoom(-1)")  # two metres in a pixel
    page.click("#measure")
    box = page.locator("[role=application]").bounding_box()
    x, y = box["x"] + 300, box["y"] + 300
    page.mouse.click(x, y)
    page.mouse.click(x + 100, y)
    page.mouse.click(x + 100, y - 50)
    points = page.evaluate("geochemMap.measured()")
    assert [round(b - a) for a, b in zip(points[0], points[1], strict=True)] == [200, 0]
    text = page.inner_text("#measured")
    assert text.startswith("300 m")
    assert "at 0° from grid north" in text
    assert "area 1.00 ha" in text
    page.keyboard.press("Escape")
    assert page.is_hidden("#measured")
    page.focus("[role=application]")
    page.keyboard.press("m")
    page.keyboard.press("Enter")
    assert len(page.evaluate("geochemMap.measured()")) == 1


def test_media_and_layers_can_be_switched_off(open_page, page_path, small):
    page = open_page(page_path)
    page.locator("#media label", has_text="soil").click()
    left = int((small.survey.samples["medium"] != "soil").sum())
    assert page.evaluate("geochemMap.drawn.symbols") == left
    assert sum(page.evaluate("geochemMap.counts()").values()) == left
    page.locator("#layers label", has_text="Surface: Cu").click()
    page.locator("#layers label", has_text="Surface: Porphyry").click()
    on = page.evaluate("Object.entries(geochemMap.state.layers).filter(e => e[1]).map(e => e[0])")
    assert "surface:porphyry_copper" in on
    assert "surface:Cu_ppm" not in on


def test_cursor_gives_grid_and_wgs84(open_page, page_path, small):
    from pyproj import Transformer

    page = open_page(page_path)
    page.mouse.move(*page.evaluate("geochemMap.pixelOf('A-00020')"))
    place = small.survey.samples.set_index("sample_id").geometry["A-00020"]
    text = page.inner_text("#cursor").replace("\u202f", "")
    east, north = text.split(" E ")[0], text.split(" E ")[1].split(" N")[0]
    assert abs(float(east) - place.x) < 5
    assert abs(float(north) - place.y) < 5
    forward = Transformer.from_crs("EPSG:32735", "EPSG:4326", always_xy=True)
    got = page.evaluate("p => geochemMap.geographic(p[0], p[1])", [place.x, place.y])
    np.testing.assert_allclose(got, forward.transform(place.x, place.y), atol=1e-7)


@pytest.mark.parametrize(("width", "scheme"), [(420, "light"), (1440, "dark")])
def test_narrow_and_dark_pages_do_not_overflow(open_page, page_path, width, scheme):
    page = open_page(page_path, width=width, scheme=scheme)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate("document.documentElement.dataset.scheme") == scheme
    if width == 420:
        page.click("#menu-button")
        assert page.is_visible("#element")
    assert page.seen["errors"] == []


def test_print_is_one_sheet_with_legend_and_caution(open_page, page_path, tmp_path):
    from pypdf import PdfReader

    page = open_page(page_path, scheme="dark")
    path = tmp_path / "map.pdf"
    page.pdf(path=str(path), prefer_css_page_size=True, print_background=True)
    reader = PdfReader(path)
    assert len(reader.pages) == 1
    text = reader.pages[0].extract_text()
    for words in ("Demonstration soil grid", "not a resource", "proposed hole", "ppm", "E"):
        assert words in text
    assert page.evaluate("document.documentElement.dataset.scheme") == "dark"  # and back


def test_accessible_names_and_labels(open_page, page_path):
    page = open_page(page_path)
    nameless = page.evaluate(
        """() => [...document.querySelectorAll('button, input, select')].filter(e =>
        !(e.getAttribute('aria-label') || e.innerText.trim() || (e.labels && e.labels.length)))
        .map(e => e.outerHTML)"""
    )
    assert nameless == []
    assert page.evaluate("document.documentElement.lang") == "en"
    ids = page.evaluate("[...document.querySelectorAll('[id]')].map(e => e.id)")
    assert len(ids) == len(set(ids))


def test_text_has_contrast_in_both_schemes(open_page, page_path):
    """Body text against its background reaches 4.5 to 1 (WCAG 2.2, success criterion 1.4.3)."""
    script = """() => {
      const css = getComputedStyle(document.documentElement);
      const rgb = name => { const v = css.getPropertyValue(name).trim().slice(1);
        return [0, 2, 4].map(k => parseInt(v.slice(k, k + 2), 16) / 255); };
      const light = name => { const [r, g, b] = rgb(name).map(c =>
        c <= 0.04045 ? c / 12.92 : Math.pow((c + 0.055) / 1.055, 2.4));
        return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
      return [['--ink', '--paper'], ['--muted', '--paper'], ['--muted', '--sheet'],
        ['--accent', '--sheet'], ['--warn', '--warn-soft'], ['--bad', '--bad-soft']].map(([a, b]) => {
          const [x, y] = [light(a), light(b)].sort((p, q) => q - p);
          return (x + 0.05) / (y + 0.05); }); }"""
    for scheme in ("light", "dark"):
        assert min(open_page(page_path, scheme=scheme).evaluate(script)) >= 4.5


def test_five_thousand_samples_stay_small_and_quick(open_page, factory, tmp_path):
    elements = (
        "Cu", "Au", "As", "Zn", "Pb", "Mo", "Fe", "Mn", "Ni", "Co", "Cr", "V", "Ti", "Sr", "Rb",
        "Zr", "Ba", "Ca", "K", "Al", "Si", "S", "P", "Mg", "Sb", "Sn", "W", "Bi", "Th", "U",
    )  # fmt: skip
    path = MapRenderer().render(factory.make_bundle(n=5000, elements=elements), tmp_path)[0]
    assert path.stat().st_size < 4e6
    page = open_page(path)
    assert page.evaluate("geochemMap.drawn.symbols") == 5000
    assert page.seen["errors"] == []


def test_groups_have_numbers_and_counts(open_page, page_path, small):
    page = open_page(page_path)
    page.select_option("#view", "group")
    group = small.evidence.anomalies["group"]
    rows = page.evaluate("geochemMap.rows()")[:-1]
    assert sum(r["count"] for r in rows) == int((group > 0).sum())
    assert page.is_disabled("#element")
    assert page.seen["errors"] == []
