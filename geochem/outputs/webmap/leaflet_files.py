"""Leaflet's script, style and pictures, taken from the installed package that carries them.

The package is meant for a web framework; its files are found without importing it.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

_PACKAGE = "js_lib_leaflet"
_DISTRIBUTION = "django-js-lib-leaflet"


@dataclass(frozen=True, slots=True)
class LeafletFiles:
    """What a page needs to carry Leaflet inside itself.

    Parameters
    ----------
    script, style : str
        Ready to stand between tags; pictures are inside the style as data URIs.
    licence : str
        Full text, to be shown on the page.
    version : str
        For example ``"1.9.4"``.
    """

    script: str
    style: str
    licence: str
    version: str


@cache
def leaflet_files() -> LeafletFiles:
    """Read Leaflet's files once.

    Returns
    -------
    LeafletFiles
        Script and style without any address that a browser would fetch.

    Raises
    ------
    MissingExtra
        If the package that carries Leaflet is not installed.
    """
    folder = _folder()
    script = (folder / "leaflet.js").read_text(encoding="utf-8")
    style = (folder / "leaflet.css").read_text(encoding="utf-8")
    # no map file for debuggers; the link in the attribution control (not used here) goes nowhere
    script = re.sub(r"\n?//# sourceMappingURL=\S*", "", script)
    script = re.sub(r'\b(href|src)="https?://[^"]*"', r'\1="#"', script)
    style = re.sub(r"url\((?:['\"]?)images/([\w.-]+)(?:['\"]?)\)", _inline(folder), style)
    style = style.replace("behavior: url(#default#VML);", "")
    found = re.search(r"Leaflet (\d+\.\d+\.\d+)", script[:400])
    return LeafletFiles(script, style, _licence(), found.group(1) if found else "")


def _folder() -> Path:
    from importlib.util import find_spec

    from geochem.errors import MissingExtra

    spec = find_spec(_PACKAGE)
    for place in (spec.submodule_search_locations or ()) if spec else ():
        folder = Path(place) / "static" / _PACKAGE
        if (folder / "leaflet.js").is_file():
            return folder
    raise MissingExtra(
        f"the package '{_DISTRIBUTION}' is needed to draw the interactive map; "
        f"install it with: python -m pip install {_DISTRIBUTION}"
    )


def _licence() -> str:
    from importlib.metadata import PackageNotFoundError, distribution

    try:
        files = distribution(_DISTRIBUTION).files or []
    except PackageNotFoundError:
        files = []
    for file in files:
        if file.name.upper().startswith("LICENSE"):
            return file.read_text(encoding="utf-8").strip()
    return "BSD 2-Clause License; Copyright (c) 2010-2024, Volodymyr Agafonkin and contributors."


def _inline(folder: Path) -> Callable[[re.Match[str]], str]:
    def replaced(found: re.Match[str]) -> str:
        raw = base64.b64encode((folder / "images" / found.group(1)).read_bytes()).decode("ascii")
        return f"url(data:image/png;base64,{raw})"

    return replaced
