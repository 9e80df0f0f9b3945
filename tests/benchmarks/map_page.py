"""The map page in headless Chromium: write, size, painted, element switch, pan, threshold.

    python tests/benchmarks/map_page.py                   # all rows, folium at 5,000 points
    python tests/benchmarks/map_page.py --folium 50000    # takes a minute
    python tests/benchmarks/map_page.py --rows 5000x30

Set against folium's GeoJson layer (id and one element per point) in the same run. Each number is
the middle one of several in one browser; "painted" counts from the request of the page.
"""

from __future__ import annotations

import argparse
import importlib.util
import statistics
import tempfile
import time
from pathlib import Path

from geochem.outputs.webmap.renderer import MapRenderer

HERE = Path(__file__).resolve().parent
CHROMIUM = "/usr/bin/chromium"
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"]
SYMBOLS = [
    "Cu", "Au", "As", "Zn", "Pb", "Mo", "Fe", "Mn", "Ni", "Co", "Cr", "V", "Ti", "Sr", "Rb",
    "Zr", "Ba", "Ca", "K", "Al", "Si", "S", "P", "Mg", "Sb", "Sn", "W", "Bi", "Th", "U",
]  # fmt: skip
ROWS = ("5000x30", "50000x30", "200000x5", "300000x5")


def make_bundle(n: int, elements: tuple[str, ...]):
    """Invented records of the test suite."""
    path = HERE.parent / "bundle_factory.py"
    spec = importlib.util.spec_from_file_location("bundle_factory", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.make_bundle(n=n, elements=elements)


def folium_page(n: int, folder: Path) -> tuple[float, Path]:
    """Write n circles with id and one value as folium's GeoJson does."""
    import folium
    import numpy as np

    rng = np.random.default_rng(1)
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [round(x, 6), round(y, 6)]},
            "properties": {"id": f"A-{i:06d}", "Cu": round(v, 1)},
        }
        for i, (x, y, v) in enumerate(
            zip(27 + rng.random(n), -23 + rng.random(n), rng.lognormal(3.5, 0.5, n), strict=True)
        )
    ]
    start = time.perf_counter()
    page = folium.Map(location=[-22.5, 27.5], zoom_start=9, tiles=None, prefer_canvas=True)
    folium.GeoJson(
        {"type": "FeatureCollection", "features": features},
        marker=folium.CircleMarker(radius=3),
        tooltip=folium.GeoJsonTooltip(["id", "Cu"]),
    ).add_to(page)
    path = folder / "folium.html"
    page.save(path)
    return time.perf_counter() - start, path


def self_contained(path: Path) -> None:
    """Give folium's page Leaflet's files; its other libraries are not needed for circles."""
    import re

    from geochem.outputs.webmap.leaflet_files import leaflet_files

    files = leaflet_files()
    text = path.read_text(encoding="utf-8")
    text = re.sub(r'<link rel="stylesheet" href="https?://[^>]*/>', "", text)
    text = re.sub(r'<script src="https?://[^"]*"></script>', "", text)
    head = f"<head><style>{files.style}</style><script>{files.script}</script>"
    path.write_text(text.replace("<head>", head, 1), encoding="utf-8")


def middle(values: list[float]) -> float:
    return statistics.median(values)


def measure(browser, path: Path, elements: list[str]) -> dict[str, float]:
    """Open a page of ours and touch it."""
    context = browser.new_context(viewport={"width": 1440, "height": 900}, offline=True)
    painted = []
    for _ in range(3):
        page = context.new_page()
        page.goto(path.as_uri())
        page.wait_for_selector("body[data-ready]", timeout=120_000)
        painted.append(page.evaluate("geochemMap.painted"))
    timed = """(call) => { const t = performance.now(); call(); return performance.now() - t; }"""

    def each(calls: list[str]) -> float:
        return middle([page.evaluate(f"({timed})(() => {c})") for c in calls])

    first = [page.evaluate(f"({timed})(() => geochemMap.show('{e}', 'value'))") for e in elements]
    again = each([f"geochemMap.show('{e}')" for e in elements])
    pan = each([f"geochemMap.pan({d}, {d // 2})" for d in (400, -700, 500, -300, 600)])
    symbols = page.evaluate("geochemMap.drawn.symbols")
    page.evaluate("geochemMap.fit(); geochemMap.review(true)")
    page.wait_for_timeout(500)
    page.focus("#review-handle")
    handle = each(
        [
            "{ document.getElementById('review-handle').dispatchEvent(new KeyboardEvent('keydown',"
            f"{{ key: '{k}' }})); }}"
            for k in ("PageDown", "PageDown", "PageUp", "PageDown", "PageUp")
        ]
    )
    context.close()
    return {
        "painted": middle(painted), "first": middle(first), "again": again, "pan": pan,
        "handle": handle, "symbols": symbols,
    }  # fmt: skip


def main() -> None:
    """Measure and print one table."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folium", type=int, default=5000)
    parser.add_argument("--rows", nargs="*", default=ROWS)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name, sync_playwright() as play:
        folder = Path(name)
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        print(
            "samples x elements   write s      MB   painted ms   switch ms (first)     pan ms   "
            "threshold ms   symbols"
        )
        for row in chosen.rows:
            n, m = map(int, row.split("x"))
            elements = tuple(SYMBOLS[:m])
            bundle = make_bundle(n, elements)
            start = time.perf_counter()
            path = MapRenderer().render(bundle, folder)[0]
            wrote = time.perf_counter() - start
            got = measure(browser, path, list(elements[:6]))
            print(
                f"{n:10,} x {m:<4} {wrote:10.2f} {path.stat().st_size / 1e6:8.1f} "
                f"{got['painted']:11.0f} {got['again']:9.0f} ({got['first']:.0f}) "
                f"{got['pan']:16.0f} {got['handle']:12.0f} {got['symbols']:12,}",
                flush=True,
            )
        if chosen.folium:
            wrote, path = folium_page(chosen.folium, folder)
            size = path.stat().st_size / 1e6
            self_contained(path)
            page = browser.new_context(offline=True).new_page()
            start = time.perf_counter()
            page.goto(path.as_uri(), timeout=300_000)
            page.wait_for_function("document.querySelector('canvas') !== null", timeout=300_000)
            page.evaluate(
                "new Promise(d => requestAnimationFrame(() => requestAnimationFrame(d)))"
            )
            print(
                f"folium, {chosen.folium:,} x 1 {wrote:10.2f} {size:8.1f} "
                f"{(time.perf_counter() - start) * 1000:11.0f}"
            )
        browser.close()


if __name__ == "__main__":
    main()
