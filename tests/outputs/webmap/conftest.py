"""Bundles, pages and a browser for the tests of the map."""

from __future__ import annotations

import importlib.util
import json
import re
import shutil
from pathlib import Path

import pytest

from geochem.outputs.webmap.renderer import MapRenderer

CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


def _factory():
    path = Path(__file__).parents[2] / "bundle_factory.py"
    spec = importlib.util.spec_from_file_location("bundle_factory_for_map", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def factory():
    return _factory()


@pytest.fixture(scope="session")
def small(factory):
    return factory.make_bundle()


@pytest.fixture(scope="session")
def page_path(small, tmp_path_factory):
    folder = tmp_path_factory.mktemp("map")
    return MapRenderer().render(small, folder)[0]


def data_of(path):
    """Read the data block of a page back."""
    text = path.read_text(encoding="utf-8")
    block = re.search(r'<script type="application/json" id="map-data">(.*?)</script>', text, re.S)
    return json.loads(block.group(1))


@pytest.fixture(scope="session")
def page_data(page_path):
    return data_of(page_path)


@pytest.fixture(scope="session")
def browser():
    sync_api = pytest.importorskip("playwright.sync_api")
    if not Path(CHROMIUM).exists() and shutil.which("chromium") is None:
        pytest.skip("no Chromium on this machine")
    path = CHROMIUM if Path(CHROMIUM).exists() else shutil.which("chromium")
    with sync_api.sync_playwright() as play:
        made = play.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield made
        made.close()


@pytest.fixture
def open_page(browser):
    """Open a page; every request, error and dialog is kept in `page.seen`."""
    contexts = []

    def opened(path, *, width=1280, height=800, scheme="light"):
        context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme, offline=True
        )
        contexts.append(context)
        page = context.new_page()
        seen = {"requests": [], "errors": [], "dialogs": []}
        page.on("request", lambda r: seen["requests"].append(r.url))
        page.on("pageerror", lambda e: seen["errors"].append(str(e)))
        page.on(
            "console",
            lambda m: seen["errors"].append(m.text) if m.type in ("error", "warning") else None,
        )

        def dialog(d):
            seen["dialogs"].append(d.message)
            d.dismiss()

        page.on("dialog", dialog)
        page.goto(path.as_uri())
        page.wait_for_selector("body[data-ready]", timeout=20_000)
        page.seen = seen
        return page

    yield opened
    for context in contexts:
        context.close()
