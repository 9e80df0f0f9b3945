"""`TargetReport`: outlines, their ranking, what to sample and what to drill."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from geochem.model.finding import Finding

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class TargetReport:
    """Everything about targets.

    Parameters
    ----------
    targets : geopandas.GeoDataFrame
        Contract `tables.TARGETS`, polygons, best first.
    leads : geopandas.GeoDataFrame
        ``lead, medium, association, elements, samples, reason`` and a polygon: too few samples or
        lines for a target.
    members : pandas.DataFrame
        ``target, sample_id``: which samples stand in an outline.
    criteria : pandas.DataFrame
        ``target, criterion, value, scaled, weight, statement``: how `score` was made.
    follow_up : geopandas.GeoDataFrame
        Contract `tables.FOLLOW_UP`, points.
    holes : geopandas.GeoDataFrame
        Contract `tables.HOLES`, points (collars).
    why_none : str
        When there is no target: a whole sentence, "No targets: ..." with the reason; else empty.
    null : mapping
        The barren simulation: method, draws, strengths, variograms.
    findings : tuple of Finding
        What was noticed.
    sensitivity : pandas.DataFrame, optional
        ``criterion, weight, change, target, rank, rank_then``: ranks with one weight halved,
        doubled or left out.
    places : pandas.DataFrame, optional
        ``sample_id, medium, association, strength, probability, stands_out``: for the place of
        every sample that was judged, which association stands highest above its local background
        (standard deviations of barren ground, filtered over halo sizes), the probability that it
        does exceed it, and whether it is among those of which a tenth is expected to be background.
    """

    targets: gpd.GeoDataFrame
    leads: gpd.GeoDataFrame
    members: pd.DataFrame
    criteria: pd.DataFrame
    follow_up: gpd.GeoDataFrame
    holes: gpd.GeoDataFrame
    why_none: str
    null: Mapping[str, Any] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    sensitivity: pd.DataFrame | None = None
    places: pd.DataFrame | None = None
