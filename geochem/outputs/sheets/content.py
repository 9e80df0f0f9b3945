"""`PlanContent`: everything that the sheets of a plan show."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from geochem.model.finding import Finding

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from geochem.model.bundle import CampaignInfo

Facts = Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True, eq=False)
class PlanContent:
    """Records of one plan; what was not asked for is None or empty.

    Parameters
    ----------
    info : CampaignInfo
        Title block.
    layout : geopandas.GeoDataFrame, optional
        ``planned_id, easting, northing, line, station, order`` and a point.
    layout_facts : sequence of (str, str)
        What is known of the layout, as label and text.
    trade_off : pandas.DataFrame, optional
        ``line_spacing, station_spacing, points, days, cost, hit, seen, chosen``.
    body_words : str
        The body that the chances are about, in words.
    mass : sequence of str
        Working of the sample mass, one line per step.
    crew, analysis, key : pandas.DataFrame, optional
        Issued ids: for the crew, for the analyst, and the key that is kept apart.
    day : geopandas.GeoDataFrame, optional
        ``stop, point, sample_id, also, why, easting, northing, leg_m, walked_m, detail``.
    day_facts : sequence of (str, str)
        Length of the walk and the like.
    start : (float, float), optional
        Where the walk begins. [m]
    around : mapping of str to geopandas.GeoDataFrame
        Layers to draw behind the day's points: ``boundary, keep_out, access, streams``.
    gaps : pandas.DataFrame, optional
        ``planned_id, easting, northing, state, sample_id, distance_m``.
    sheet, umpire, crosswalk : pandas.DataFrame, optional
        Of the dispatch.
    dispatch_facts : sequence of (str, str)
        Numbers of the dispatch.
    orientation : pandas.DataFrame, optional
        Contrast per way of sampling.
    labels : bool
        Draw labels with QR codes.
    findings : tuple of Finding
        What was noticed.
    """

    info: CampaignInfo
    layout: gpd.GeoDataFrame | None = None
    layout_facts: Facts = ()
    trade_off: pd.DataFrame | None = None
    body_words: str = ""
    mass: Sequence[str] = ()
    crew: pd.DataFrame | None = None
    analysis: pd.DataFrame | None = None
    key: pd.DataFrame | None = None
    day: gpd.GeoDataFrame | None = None
    day_facts: Facts = ()
    start: tuple[float, float] | None = None
    around: Mapping[str, gpd.GeoDataFrame] = field(default_factory=dict)
    gaps: pd.DataFrame | None = None
    sheet: pd.DataFrame | None = None
    umpire: pd.DataFrame | None = None
    crosswalk: pd.DataFrame | None = None
    dispatch_facts: Facts = ()
    orientation: pd.DataFrame | None = None
    labels: bool = False
    findings: tuple[Finding, ...] = ()
