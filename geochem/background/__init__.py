"""Background and thresholds: what is usual, and the value beyond which it is not.

What lives here: one threshold method per file, the table of them (`thresholds`), domains
(`domains`), and the report of all media (`report`). What does not: z-scores, clusters and other
uses of a background (`anomalies`), drawing (`outputs`), bare statistics (`stats`).
To add a method: a file with a class that has `name`, `summary`, `reference`, `needs`, typed options
in `__init__` and `fit`, one line in `plugins.BUILT_IN`, one in the table below. Tests to copy:
`tests/background/test_methods.py`.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from geochem.background.adjusted_boxplot import AdjustedBoxplot
    from geochem.background.chosen import Chosen
    from geochem.background.comparison import compare
    from geochem.background.concentration_area import ConcentrationArea
    from geochem.background.concentration_number import ConcentrationNumber
    from geochem.background.extreme_tail import ExtremeTail
    from geochem.background.guideline import Guideline, read_guidelines
    from geochem.background.mean_sd import MeanSd
    from geochem.background.median_mad import MedianMad
    from geochem.background.mixture import Mixture
    from geochem.background.moving_window import MovingWindow
    from geochem.background.natural_breaks import NaturalBreaks
    from geochem.background.percentile import Percentile
    from geochem.background.probability_plot import ProbabilityPlot
    from geochem.background.report import describe_background
    from geochem.background.table import thresholds
    from geochem.background.tukey_fence import TukeyFence

__all__ = [
    "AdjustedBoxplot",
    "Chosen",
    "ConcentrationArea",
    "ConcentrationNumber",
    "ExtremeTail",
    "Guideline",
    "MeanSd",
    "MedianMad",
    "Mixture",
    "MovingWindow",
    "NaturalBreaks",
    "Percentile",
    "ProbabilityPlot",
    "TukeyFence",
    "compare",
    "describe_background",
    "read_guidelines",
    "thresholds",
]

_HOME = {
    "compare": "comparison",
    "read_guidelines": "guideline",
    "Guideline": "guideline",
    "Chosen": "chosen",
    "NaturalBreaks": "natural_breaks",
    "MovingWindow": "moving_window",
    "ExtremeTail": "extreme_tail",
    "ConcentrationNumber": "concentration_number",
    "AdjustedBoxplot": "adjusted_boxplot",
    "ConcentrationArea": "concentration_area",
    "MeanSd": "mean_sd",
    "MedianMad": "median_mad",
    "Mixture": "mixture",
    "Percentile": "percentile",
    "ProbabilityPlot": "probability_plot",
    "TukeyFence": "tukey_fence",
    "describe_background": "report",
    "thresholds": "table",
}


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(importlib.import_module(f"geochem.background.{_HOME[name]}"), name)
    raise AttributeError(f"module 'geochem.background' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted(__all__)
