"""`Bundle`: what the outputs get. They draw and write it; they compute nothing anew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from geochem.model.background import Gold, Levelling
from geochem.model.catchments import SedimentCatchments
from geochem.model.evidence import Composition, Evidence
from geochem.model.finding import Finding
from geochem.model.layers import Layers, Spacing
from geochem.model.quality import QualityReport
from geochem.model.surface import Surface
from geochem.model.survey import Survey
from geochem.model.targets import TargetReport
from geochem.model.threshold import Comparison, Threshold

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class CampaignInfo:
    """What the title block of every page says.

    Parameters
    ----------
    title : str
        Of the campaign.
    crs : str
        Working CRS as the campaign file gives it, for example ``"EPSG:32735"``.
    crs_name : str
        Its name in the EPSG registry.
    convergence : float
        Angle from grid north to true north at the centre of the samples, positive when true north
        lies east of grid north; degrees. NaN when unknown.
    clock : datetime
        The run's clock (`--until`, else now).
    until : date, optional
        Only when asked for.
    prepared_by, qualified_person, report_date : str
        As given, else empty.
    seed : int
        Of every random step.
    version : str
        Of this package.
    """

    title: str
    crs: str
    crs_name: str
    convergence: float
    clock: datetime
    until: date | None = None
    prepared_by: str = ""
    qualified_person: str = ""
    report_date: str = ""
    seed: int = 1
    version: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Bundle:
    """All records of one run.

    Parameters
    ----------
    info : CampaignInfo
        Title block.
    survey : Survey
        Samples, results, controls.
    layers : Layers
        Around them.
    spacings : tuple of Spacing
        Per medium and grid.
    quality : QualityReport
        Verdicts and calibrations.
    thresholds : pandas.DataFrame
        Contract `tables.THRESHOLDS`.
    threshold_records : mapping of (medium, domain, element) to Threshold
        The records behind it, for figures (domain ``"all"`` is the whole medium).
    probability_plots : mapping of (medium, element) to Threshold
        `ProbabilityPlot` fits on the whole medium, for figures.
    backgrounds : pandas.DataFrame
        Contract `tables.BACKGROUNDS`.
    compositions : tuple of Composition
        Per medium.
    evidence : Evidence
        What is anomalous.
    surfaces : tuple of Surface
        Grids.
    targets : TargetReport
        Targets, follow-up, holes.
    progress : mapping
        ``planned, collected, located, read, sent, returned, outstanding`` counts (None when
        unknown) and ``previous`` (date of the previous snapshot or None).
    settings : mapping
        The checked campaign file as plain values, defaults filled in.
    findings : tuple of Finding
        All findings of all steps, in order.
    levelling : Levelling, optional
        What levelling did to the accepted values.
    domains : pandas.DataFrame, optional
        `BackgroundReport.domains`: declustering weight per sample.
    decisions : mapping
        What a decisions file said: ``file``, ``elements`` (symbol to ``value``, ``values`` by
        medium, ``reason``), ``targets`` (name to ``choice, note, by, date, effect``); empty without one.
    comparisons : mapping of (medium, element) to Comparison
        Every threshold method side by side, for the leading elements.
    shifts : mapping of element to mapping of sample_id to float
        Where the background drifts: what the threshold of each sample is times, as log10.
    catchments : SedimentCatchments, optional
        Of stream sediments.
    gold : tuple of Gold
        What the laboratory's gold, platinum and palladium can say, per medium.
    """

    info: CampaignInfo
    survey: Survey
    layers: Layers
    spacings: tuple[Spacing, ...]
    quality: QualityReport
    thresholds: pd.DataFrame
    threshold_records: Mapping[tuple[str, str, str], Threshold]
    probability_plots: Mapping[tuple[str, str], Threshold]
    backgrounds: pd.DataFrame
    compositions: tuple[Composition, ...]
    evidence: Evidence
    surfaces: tuple[Surface, ...]
    targets: TargetReport
    progress: Mapping[str, Any] = field(default_factory=dict)
    settings: Mapping[str, Any] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    levelling: Levelling | None = None
    domains: pd.DataFrame | None = None
    decisions: Mapping[str, Any] = field(default_factory=dict)
    comparisons: Mapping[tuple[str, str], Comparison] = field(default_factory=dict)
    shifts: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    catchments: SedimentCatchments | None = None
    gold: tuple[Gold, ...] = ()
