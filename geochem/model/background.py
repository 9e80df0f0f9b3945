"""`BackgroundReport`: domains, backgrounds and thresholds of all media."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from geochem.model.finding import Finding
from geochem.model.threshold import Threshold

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class BackgroundReport:
    """What is usual, per medium, domain and element.

    Parameters
    ----------
    domains : pandas.DataFrame
        ``sample_id, medium, domain, weight``: one row per located sample of a medium that has a
        background, sorted by `sample_id`; `weight` is the declustering weight, mean 1 per medium.
    backgrounds : pandas.DataFrame
        Contract `tables.BACKGROUNDS`: location and scale of log10 values that z is measured
        against. Every (medium, domain, element) that occurs has a row, and domain ``"all"`` has
        one per medium and element.
    thresholds : pandas.DataFrame
        Contract `tables.THRESHOLDS`.
    threshold_records : mapping of (medium, domain, element) to Threshold
        The records behind it.
    probability_plots : mapping of (medium, element) to Threshold
        Fits of `ProbabilityPlot` on the whole medium, for the figures.
    findings : tuple of Finding
        What was noticed.
    """

    domains: pd.DataFrame
    backgrounds: pd.DataFrame
    thresholds: pd.DataFrame
    threshold_records: Mapping[tuple[str, str, str], Threshold] = field(default_factory=dict)
    probability_plots: Mapping[tuple[str, str], Threshold] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
