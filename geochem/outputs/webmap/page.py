"""The page: folium's map and figure, made self-contained and the same every time.

folium names web addresses for its libraries and gives every element a random id. `CampaignMap`
keeps folium's options and page skeleton, takes all files from `leaflet_files` and ``assets/``,
and puts texts into the page verbatim, so that nothing from the data is read as a template.
"""

from __future__ import annotations

import base64
import hashlib
import json
from functools import cache
from pathlib import Path
from typing import Any

import folium
import jinja2
from branca.element import Element, Figure
from folium.template import Template
from folium.utilities import camelize

from geochem.outputs.cautions import RESULTS
from geochem.outputs.webmap.leaflet_files import leaflet_files

ASSETS = Path(__file__).parent / "assets"

#: in the order in which they are read; one function scope around all of them
SCRIPTS = (
    "decode.js", "format.js", "store.js", "palette.js", "views.js", "symbols.js", "stamps.js",
    "grid_index.js", "population.js", "decisions.js",
    "vectors.js", "targets_drawing.js", "canvas_layer.js", "frame.js", "legend.js", "rows.js",
    "sample_panel.js", "target_panel.js", "controls.js", "layer_list.js", "search.js",
    "measure.js", "brush.js", "probability.js", "histogram.js", "threshold_handle.js",
    "sample_table.js", "review.js", "pointer.js", "start.js",
)  # fmt: skip
STYLES = ("page.css", "map.css", "review.css", "print.css")

#: one function scope; Leaflet's global name is taken back, nothing but `geochemMap` stays
_OPEN = (
    "(function () {\n'use strict';\n"
    "const L = window.L.noConflict();\ndelete window.L;\ndelete window.leaflet;\n"
)

#: the short form that stands under the map; the long one is in "About this map"
CAUTIONS = (
    "Screening data, not for public release as they stand.",
    "Portable XRF is not a laboratory assay; gold and light elements are mostly out of its reach.",
    "A surface anomaly is not a resource.",
    "Public release needs a competent or qualified person under the code that applies "
    "(JORC, NI 43-101, S-K 1300 or another).",
)


class Verbatim(Element):
    """A text that goes into the page as it is, never read as a template.

    Parameters
    ----------
    text : str
        Ready for its place in the page.
    """

    def __init__(self, text: str) -> None:
        super().__init__()
        self._name = "Verbatim"
        self.text = text

    def render(self, **kwargs: Any) -> str:  # noqa: ARG002 - the signature is branca's
        """Give the text."""
        return self.text


class CampaignFigure(Figure):
    """A page with a language, whose scripts end inside its body."""

    _template = Template(
        "<!DOCTYPE html>\n"
        '<html lang="en">\n<head>\n{{ this.header.render(**kwargs) }}\n</head>\n'
        "<body>\n{{ this.html.render(**kwargs) }}\n"
        "{{ this.script.render(**kwargs) }}\n</body>\n</html>\n"
    )


class CampaignMap(folium.Map):
    """A folium map in plain metres, with everything it needs inside the page.

    Parameters
    ----------
    data : dict
        What the page shows; JSON values only.
    title : str
        For the head of the page.
    """

    default_js: list[tuple[str, str]] = []  # noqa: RUF012 - overrides folium's lists of addresses
    default_css: list[tuple[str, str]] = []  # noqa: RUF012

    def __init__(self, data: dict[str, Any], *, title: str) -> None:
        super().__init__(
            location=[0.0, 0.0],
            tiles=None,
            crs="Simple",
            zoom_start=0,
            zoom_control=False,
            attribution_control=False,
            zoom_snap=0.25,
            zoom_delta=0.5,
            wheel_px_per_zoom_level=120,
            keyboard_pan_delta=60,
            box_zoom=True,
        )
        self._id = "map"
        self._figure = CampaignFigure()
        self._figure.add_child(self, name="map")
        self._data = data
        self._title = title

    def page(self) -> str:
        """Give the whole page.

        Returns
        -------
        str
            HTML that refers to nothing outside itself.
        """
        return self._figure.render()

    def render(self, **kwargs: Any) -> str:  # noqa: ARG002 - the signature is branca's
        """Put head, body and scripts into the figure."""
        leaflet = leaflet_files()
        options = {camelize(k): v for k, v in self.options.items()}
        data = {**self._data, "map_options": options, "map_id": self.get_name()}
        own = _OPEN + _assets(SCRIPTS) + "\n})();\n"
        head = _template("head.html.j2").render(
            title=self._title,
            policy=_policy(leaflet.script, own),
            styles=[leaflet.style, _assets(STYLES)],
        )
        body = _template("body.html.j2").render(
            **self._data,
            cautions=CAUTIONS,
            long_cautions=RESULTS,
            leaflet=leaflet,
            map_id=self.get_name(),
        )
        figure = self._figure
        figure.header.add_child(Verbatim(head), name="head")
        figure.html.add_child(Verbatim(body), name="body")
        block = f'<script type="application/json" id="map-data">{json_text(data)}</script>'
        figure.script.add_child(Verbatim(block), name="data")
        for name, text in (("leaflet", leaflet.script), ("page", own)):
            figure.script.add_child(Verbatim(f"<script>{text}</script>\n"), name=name)
        return ""


def json_text(data: Any) -> str:
    r"""Write JSON that may stand inside a script element.

    Parameters
    ----------
    data : any
        JSON values; NaN is refused.

    Returns
    -------
    str
        Without the characters ``< > &`` and the two line separators that end a script line.

    Examples
    --------
    >>> json_text({"a": "</script>"})
    '{"a":"\\u003c/script\\u003e"}'
    """
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text


def _policy(*scripts: str) -> str:
    """Forbid every request and every script but ours."""
    hashes = []
    for script in scripts:
        # a page is read with line ends normalised; ours are "\n" already
        digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode("ascii")
        hashes.append(f"'sha256-{digest}'")
    return (
        f"default-src 'none'; script-src {' '.join(hashes)}; style-src 'unsafe-inline'; "
        "img-src data: blob:; font-src 'none'; connect-src 'none'; form-action 'none'; "
        "base-uri 'none'"
    )


@cache
def _assets(names: tuple[str, ...]) -> str:
    parts = []
    for name in names:
        text = (ASSETS / name).read_text(encoding="utf-8")
        parts.append(text.replace("\r\n", "\n"))
    joined = "\n".join(parts)
    if "</script" in joined.lower() or "</style" in joined.lower():
        raise AssertionError("a page asset contains a closing tag; write it in two pieces")
    return joined


@cache
def _template(name: str) -> jinja2.Template:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(ASSETS),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(name)
