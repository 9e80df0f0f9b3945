"""axe-core finds no serious or critical fault on the three pages, in both schemes.

axe-core comes with the package axe-playwright-python; without it these tests are skipped.
"""

import pytest

from geochem.outputs.report.renderer import ReportRenderer
from geochem.outputs.start_page.renderer import StartPageRenderer

pytestmark = pytest.mark.browser

axe_module = pytest.importorskip("axe_playwright_python.sync_playwright")

#: what is done on the map before it is looked at
STEPS = {
    "as it opens": "0",
    "review and sample": "geochemMap.review(true); geochemMap.select('A-00003')",
    "target": "document.querySelector('#target-list button').click()",
}


def faults(page):
    found = axe_module.Axe().run(page).response["violations"]
    return [
        (f["id"], f["help"], [n["target"] for n in f["nodes"]][:3])
        for f in found
        if f["impact"] in ("serious", "critical")
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_map_has_no_serious_fault(open_page, page_path, scheme):
    page = open_page(page_path, scheme=scheme, width=1440)
    for step, script in STEPS.items():
        page.evaluate(script)
        page.wait_for_timeout(100)
        assert faults(page) == [], step


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_report_and_start_page_have_no_serious_fault(browser, small, tmp_path, scheme):
    ReportRenderer().render(small, tmp_path, pdf=False)
    StartPageRenderer().render(small, tmp_path)
    context = browser.new_context(color_scheme=scheme, offline=True)
    for name in ("report.html", "index.html"):
        page = context.new_page()
        page.goto((tmp_path / name).as_uri())
        assert faults(page) == [], name
    context.close()


def test_axe_does_find_faults(browser):
    """The check can fail: a picture without words and a nameless button are faults."""
    page = browser.new_page()
    page.set_content("<html lang='en'><title>x</title><main><img src='x'><button></button>")
    assert {f[0] for f in faults(page)} >= {"image-alt", "button-name"}
    page.close()
