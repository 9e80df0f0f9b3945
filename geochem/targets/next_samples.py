"""Tables of follow-up samples and holes for the targets that are active."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.model import tables
from geochem.model.finding import Finding, name_some
from geochem.stats.expected_information import within_budget
from geochem.targets import follow_up
from geochem.targets.ground import Ground
from geochem.targets.holes import gate, lay_hole, nearest_structure
from geochem.targets.report_tables import located

if TYPE_CHECKING:
    import geopandas as gpd
    from shapely.geometry.base import BaseGeometry

    from geochem.targets.facts import Desk, Facts
    from geochem.targets.identity import Identity

#: targets that get a hole as a concept, best first
CONCEPTS = 3


def propose_follow_up(
    desk: Desk,
    active: Sequence[tuple[Facts, Identity]],
    grounds: Sequence[Ground],
    boundary: BaseGeometry | None,
    keep_out: BaseGeometry | None,
    variograms: Mapping[str, Mapping[str, Mapping[str, Any]]] | None = None,
) -> gpd.GeoDataFrame:
    """Propose follow-up samples for active targets, best first.

    The budget goes to the targets whose next sample is expected to tell most.

    Parameters
    ----------
    desk : Desk
        Inputs.
    active : sequence of (Facts, Identity)
        Targets that are neither dropped nor merged.
    grounds : sequence of Ground
        Their grids.
    boundary, keep_out : shapely geometry, optional
        Points lie inside the one and outside the other.
    variograms : mapping, optional
        Of the background, by grid and association: ``nugget_share`` and ``range_m``.

    Returns
    -------
    geopandas.GeoDataFrame
        Contract `tables.FOLLOW_UP`.
    """
    import pandas as pd
    import shapely

    budget = follow_up.MOST if desk.budget is None else min(desk.budget, follow_up.MOST)
    streams = desk.layers.get("streams")
    proposals: list[follow_up.Proposal | None] = []
    upstream: dict[int, list[follow_up.Point]] = {}
    for i, (facts, identity) in enumerate(active):
        outline = facts.outline
        if outline.catchment:
            room = min(12, budget // max(len(active), 1))
            upstream[i] = follow_up.upstream(
                identity.target, outline.polygon, streams, boundary, keep_out, room
            )
            proposals.append(None)
            continue
        ground = grounds[outline.part]
        proposals.append(
            follow_up.across_outline(
                ground, outline.polygon, outline.peak, facts.sides, _uphill(desk, facts),
                boundary, keep_out, min(follow_up.MOST_EACH, budget),
                _belief(desk, facts, ground, variograms or {}),
            )
        )  # fmt: skip
    left = budget - sum(len(p) for p in upstream.values())
    taken = within_budget([[] if p is None else p.steps for p in proposals], left)
    points: list[follow_up.Point] = []
    for i, (_, identity) in enumerate(active):
        proposal = proposals[i]
        points += (
            upstream[i]
            if proposal is None
            else follow_up.points_of(identity.target, proposal, taken[i])
        )
    rows = []
    order: dict[str, int] = {}
    for k, p in enumerate(points):
        order[p.target] = order.get(p.target, 0) + 1
        rows.append(
            {
                "point": f"F{k + 1:03d}", "target": p.target, "kind": p.kind, "line": p.line,
                "order": order[p.target], "easting": p.easting, "northing": p.northing,
                "purpose": p.purpose,
            }
        )  # fmt: skip
    frame = tables.conform(pd.DataFrame(rows, columns=list(tables.FOLLOW_UP)), tables.FOLLOW_UP)
    return located(frame, [shapely.Point(p.easting, p.northing) for p in points], desk.samples.crs)


def _belief(
    desk: Desk,
    facts: Facts,
    ground: Ground,
    variograms: Mapping[str, Mapping[str, Mapping[str, Any]]],
) -> follow_up.Belief:
    """Take the score of the target's association, with the continuity of its background."""
    number = facts.outline.association
    name = desk.sites.associations[number].name
    label = f"{ground.medium} {ground.grid}".strip()
    known = variograms.get(label, {}).get(name, {})
    mean = float(np.sqrt(ground.cell_area))
    return follow_up.Belief(
        desk.sites.scores[ground.sites, number],
        float(known.get("nugget_share", follow_up.NUGGET)),
        float(known.get("range_m", follow_up.REACH * mean)) / mean,
    )


def _uphill(desk: Desk, facts: Facts) -> np.ndarray | None:
    if "elevation" not in desk.samples.columns:
        return None
    rows = facts.outline.sites
    xy = desk.sites.frame[["easting", "northing"]].to_numpy(dtype=float)[rows]
    height = desk.samples["elevation"].to_numpy(dtype=float)[desk.sites.row[rows]]
    return follow_up.uphill_direction(xy, height)


def propose_holes(
    desk: Desk,
    active: Sequence[tuple[Facts, Identity]],
    grounds: Sequence[Ground],
    boundary: BaseGeometry | None,
    keep_out: BaseGeometry | None,
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Propose holes, or concepts for the best few targets.

    Parameters
    ----------
    desk : Desk
        Inputs.
    active : sequence of (Facts, Identity)
        Best first.
    grounds : sequence of Ground
        Their grids.
    boundary, keep_out : shapely geometry, optional
        Collars lie inside the one and outside the other.

    Returns
    -------
    geopandas.GeoDataFrame
        Contract `tables.HOLES`.
    list of Finding
        Targets without an allowed collar.
    """
    import pandas as pd
    import shapely

    structures = desk.layers.get("structures")
    rows: list[dict[str, object]] = []
    shapes: list[BaseGeometry] = []
    without: list[str] = []
    concepts = 0
    for facts, identity in active:
        outline = facts.outline
        if outline.catchment:
            continue
        structure = nearest_structure(outline.polygon, structures)
        lacks = gate(
            confirmed=facts.confirmed, lines=outline.lines, residual=facts.around.residual,
            structure=structure, catchment=outline.catchment,
        )  # fmt: skip
        if lacks and concepts >= CONCEPTS:
            continue
        hole = lay_hole(
            identity.target, outline.polygon, outline.peak, structure, lacks, boundary, keep_out
        )
        if hole is None:
            without.append(identity.target)
            continue
        concepts += bool(lacks)
        elevation = _elevation(desk, hole.easting, hole.northing, grounds[outline.part])
        rows.append(
            {
                "hole": f"H{len(rows) + 1:02d}", "target": hole.target, "easting": hole.easting,
                "northing": hole.northing, "elevation": elevation, "azimuth": hole.azimuth,
                "north": "grid", "dip": hole.dip, "length": hole.length,
                "purpose": hole.purpose, "status": hole.status, "reason": hole.reason,
            }
        )  # fmt: skip
        shapes.append(shapely.Point(hole.easting, hole.northing))
    findings = []
    if without:
        findings.append(
            Finding(
                "no-collar-allowed", "note",
                f"no hole is drawn for {name_some(without)}: every collar tried lies in keep-out "
                "or outside the boundary.",
            )
        )  # fmt: skip
    frame = tables.conform(pd.DataFrame(rows, columns=list(tables.HOLES)), tables.HOLES)
    return located(frame, shapes, desk.samples.crs), findings


def _elevation(desk: Desk, x: float, y: float, ground: Ground) -> float:
    """Take the height of the nearest sample that has one, when it is near enough."""
    if "elevation" not in desk.samples.columns:
        return float("nan")
    height = desk.samples["elevation"].to_numpy(dtype=float)[desk.sites.row]
    xy = desk.sites.frame[["easting", "northing"]].to_numpy(dtype=float)
    distance = np.where(np.isfinite(height), np.hypot(xy[:, 0] - x, xy[:, 1] - y), np.inf)
    k = int(np.round(distance, 6).argmin())
    near = distance[k] <= 1.5 * ground.spacing.line_spacing
    return round(float(height[k]), 1) if near else float("nan")
