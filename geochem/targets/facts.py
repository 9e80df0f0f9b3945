"""What lies on the desk while targets are proposed, and what is known of one outline.

What lives here: one function that asks everything about an outline. What does not: the answers
(`inside`, `surroundings`, `laboratory`, `zoning`, `criteria`), the report (`assemble`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.model.evidence import Association, Evidence
from geochem.model.layers import Layers
from geochem.targets.criteria import Criterion, judge
from geochem.targets.ground import Ground, Sites
from geochem.targets.inside import Inside
from geochem.targets.laboratory import LaboratoryScores, confirmation
from geochem.targets.outlines import Outline, open_sides
from geochem.targets.standing_out import Found
from geochem.targets.surroundings import Surroundings, look_around
from geochem.targets.zoning import OUTSIDE, Zoning, zoning_of

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd
    from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True, slots=True, eq=False)
class Desk:
    """All that lies on the desk while targets are proposed.

    Parameters
    ----------
    samples, sites, evidence, backgrounds, layers, analytes, verdicts, seek
        As in `propose_targets`.
    ranker, ranker_name, options
        Ready ranker, its name and checked options.
    previous, register, today, used_names
        History.
    wanted, seed
        As in `propose_targets`.
    same_day
        Targets of an earlier run of this day.
    budget
        As in `propose_targets`.
    """

    samples: gpd.GeoDataFrame
    sites: Sites
    evidence: Evidence
    backgrounds: pd.DataFrame
    layers: Layers
    analytes: pd.DataFrame
    verdicts: pd.DataFrame
    seek: tuple[str, ...]
    ranker: Any
    ranker_name: str
    options: Mapping[str, Any]
    previous: gpd.GeoDataFrame | None
    register: pd.DataFrame | None
    today: str | None
    used_names: tuple[str, ...]
    wanted: int
    seed: int
    same_day: gpd.GeoDataFrame | None = None
    budget: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Facts:
    """One outline with all that is known of it.

    Parameters
    ----------
    key : str
        Name while it is ranked.
    outline, inside, around
        Parts.
    q, probability : float
        Against barren ground.
    sent, confirmed : int
        Laboratory values.
    sides : list of (str, ndarray)
        Open sides with their directions.
    clipped : bool
        Whether the boundary cuts it.
    criteria : list of Criterion
        For the ranker.
    zoning : Zoning, optional
        Order of the elements.
    """

    key: str
    outline: Outline
    inside: Inside
    around: Surroundings
    q: float
    probability: float
    sent: int
    confirmed: int
    sides: list[tuple[str, Any]]
    clipped: bool
    criteria: list[Criterion]
    zoning: Zoning | None


def facts_of(
    desk: Desk,
    key: str,
    outline: Outline,
    inside: Inside,
    found: Found,
    number: int,
    grounds: list[Ground],
    laboratory: LaboratoryScores,
    boundary: BaseGeometry | None,
) -> Facts:
    """Look at everything that is known of one outline.

    Parameters
    ----------
    desk : Desk
        Inputs.
    key : str
        Name while it is ranked.
    outline, inside : Outline, Inside
        What was found, and what stands in it.
    found, number : Found, int
        All that was found, and which of it this is.
    grounds : list of Ground
        Grids.
    laboratory : LaboratoryScores
        Of all samples.
    boundary : shapely geometry, optional
        Outlines are cut there.

    Returns
    -------
    Facts
        With the criteria that it is ranked by.
    """
    association = desk.sites.associations[outline.association]
    positive = [e for e, w in association.weights.items() if w > 0]
    sent, confirmed = confirmation(laboratory, outline.sites, positive)
    around = look_around(
        outline.polygon, desk.sites.row[outline.sites], inside.elements, association.weights,
        desk.samples, desk.layers, desk.verdicts, desk.analytes,
    )  # fmt: skip
    sides: list[tuple[str, Any]] = []
    if not outline.catchment:
        ground = grounds[outline.part]
        local = np.flatnonzero(np.isin(ground.sites, outline.sites))
        sides = open_sides(ground, np.unique(ground.place_of[local]), boundary)
    cut = boundary is not None and outline.polygon.distance(boundary.boundary) < 1.0
    zoning = _zoning(desk, outline, association)
    criteria = judge(
        strength=outline.strength, noise=outline.noise, anomalous_share=inside.anomalous_share,
        samples=len(outline.sites), elements=len(inside.elements), sent=sent,
        confirmed=confirmed, area_km2=outline.polygon.area / 1e6, n_open=len(sides),
        around=around, margin=outline.margin, rival=outline.rival,
        zoning=zoning, size_km2=association.size_km2,
    )  # fmt: skip
    return Facts(
        key, outline, inside, around, float(found.q[number]), float(found.probability[number]),
        sent, confirmed, sides, cut, criteria, zoning,
    )  # fmt: skip


def _zoning(desk: Desk, outline: Outline, association: Association) -> Zoning | None:
    """Look at the order of elements around the summit; a catchment has no middle."""
    if outline.catchment:
        return None
    frame = desk.sites.frame
    x, y = (
        frame[c].to_numpy(dtype=float) - outline.peak[k]
        for k, c in enumerate(("easting", "northing"))
    )
    distance = np.hypot(x, y) / np.sqrt(outline.polygon.area / np.pi)
    near = np.flatnonzero(distance <= OUTSIDE)
    near = near[frame["medium"].to_numpy()[near] == outline.medium]
    z = {str(e): desk.sites.z[e].to_numpy(dtype=float)[near] for e in desk.sites.z.columns}
    return zoning_of(z, distance[near], association.weights, association.rim)
