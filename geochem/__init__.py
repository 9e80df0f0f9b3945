"""Trust, map and rank exploration geochemistry: field log and assays in, targets out.

The public names below load on first touch, so that ``import geochem`` costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from geochem.version import __version__

if TYPE_CHECKING:
    from geochem import background, composition, plugins, stats
    from geochem.background import thresholds
    from geochem.campaign import check, read_campaign, run
    from geochem.errors import DataRefused, GeochemError, WrongCall
    from geochem.model import Finding, Survey

__all__ = [
    "DataRefused",
    "Finding",
    "GeochemError",
    "Survey",
    "WrongCall",
    "__version__",
    "background",
    "check",
    "composition",
    "plugins",
    "read_campaign",
    "run",
    "stats",
    "thresholds",
]

_HOME = {
    "run": "geochem.campaign",
    "check": "geochem.campaign",
    "read_campaign": "geochem.campaign",
    "thresholds": "geochem.background",
    "Finding": "geochem.model",
    "Survey": "geochem.model",
    "DataRefused": "geochem.errors",
    "GeochemError": "geochem.errors",
    "WrongCall": "geochem.errors",
}
_PACKAGES = {"background", "composition", "plugins", "stats"}


def __getattr__(name: str) -> Any:
    if name in _PACKAGES:
        return importlib.import_module(f"geochem.{name}")
    if name in _HOME:
        return getattr(importlib.import_module(_HOME[name]), name)
    raise AttributeError(f"module 'geochem' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted(__all__)
