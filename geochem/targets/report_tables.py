"""Tables of the report on targets: their columns, and the report without rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from geochem.model import tables
from geochem.model.finding import Finding
from geochem.model.targets import TargetReport
from geochem.targets.leads import LEADS

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

#: columns of the table of members, and of criteria
MEMBERS: dict[str, str] = {"target": "text", "sample_id": "text"}
CRITERIA: dict[str, str] = {
    "target": "text", "criterion": "text", "value": "number", "scaled": "number",
    "weight": "number", "statement": "text",
}  # fmt: skip


def empty_report(
    crs: Any,
    why_none: str,
    findings: tuple[Finding, ...] = (),
    null: Mapping[str, Any] | None = None,
    places: pd.DataFrame | None = None,
) -> TargetReport:
    """Give a report without rows that has all columns.

    Parameters
    ----------
    crs : object
        Campaign CRS.
    why_none : str
        The reason in a sentence.
    findings : tuple of Finding
        What was noticed.
    null : mapping, optional
        Of the simulation, when it was made.
    places : pandas.DataFrame, optional
        Of the samples, when they were judged.

    Returns
    -------
    TargetReport
        Empty.
    """
    return TargetReport(
        targets=located(tables.empty(tables.TARGETS), [], crs),
        leads=located(tables.empty(LEADS), [], crs),
        members=tables.empty(MEMBERS),
        criteria=tables.empty(CRITERIA),
        follow_up=located(tables.empty(tables.FOLLOW_UP), [], crs),
        holes=located(tables.empty(tables.HOLES), [], crs),
        why_none=why_none,
        null=dict(null or {}),
        findings=findings,
        places=tables.empty(tables.PLACES) if places is None else places,
    )


def located(frame: pd.DataFrame, shapes: Sequence[Any], crs: Any) -> gpd.GeoDataFrame:
    """Put geometries beside a table; right also without rows."""
    import geopandas as gpd

    return gpd.GeoDataFrame(frame, geometry=gpd.GeoSeries(list(shapes), crs=crs), crs=crs)
