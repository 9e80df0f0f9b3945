"""Propose targets, follow-up samples and holes from scored samples: the order of the work."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall
from geochem.model.background import BackgroundReport
from geochem.model.evidence import Evidence
from geochem.model.finding import Finding, name_some
from geochem.model.layers import Layers, Spacing
from geochem.model.quality import QualityReport
from geochem.model.targets import TargetReport
from geochem.targets.assemble import assemble_report
from geochem.targets.catchments import STREAM, sampled_catchments
from geochem.targets.facts import Desk
from geochem.targets.ground import (
    OUTLINED,
    Ground,
    Sites,
    gather_sites,
    make_ground,
    median_spacing,
)
from geochem.targets.report_tables import empty_report

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd


def propose_targets(
    samples: gpd.GeoDataFrame,
    evidence: Evidence,
    background: BackgroundReport,
    spacings: Sequence[Spacing],
    layers: Layers,
    *,
    analytes: pd.DataFrame,
    quality: QualityReport,
    wanted: int = 10,
    max_spacing_m: float = 2000.0,
    seek: Sequence[str] = (),
    weights: Mapping[str, Any] | None = None,
    ranker: str = "weighted_criteria",
    previous: gpd.GeoDataFrame | None = None,
    register: pd.DataFrame | None = None,
    clock: datetime | None = None,
    seed: int = 1,
    used_names: Sequence[str] = (),
    same_day: gpd.GeoDataFrame | None = None,
    budget: int | None = None,
    alone: Mapping[str, Sequence[str]] | None = None,
) -> TargetReport:
    """Propose targets.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        Located samples with accepted values; contract `tables.SAMPLES` and element columns.
    evidence : Evidence
        What is anomalous.
    background : BackgroundReport
        Backgrounds.
    spacings : sequence of Spacing
        One per medium and grid.
    layers : Layers
        ``boundary, keep_out, catchments, streams, structures, workings, drilled`` are used.
    analytes : pandas.DataFrame
        Contract `tables.ANALYTES`.
    quality : QualityReport
        Verdicts.
    wanted : int, default 10
        Targets at most; never a quota.
    max_spacing_m : float, default 2000.0
        Coarser ground gives no target. [m]
    seek : sequence of str
        Sought elements; none: all associations compete.
    weights : mapping, optional
        Options of the ranker, for `weighted_criteria` the weights of criteria.
    ranker : str, default "weighted_criteria"
        Name in the registry.
    previous : geopandas.GeoDataFrame, optional
        Targets of the previous snapshot.
    register : pandas.DataFrame, optional
        ``target, status, date, by, reason``.
    clock : datetime, optional
        Of the run; gives `first_seen`.
    seed : int, default 1
        Of the simulations.
    used_names : sequence of str
        Target names of older snapshots: never used again.
    same_day : geopandas.GeoDataFrame, optional
        Targets of an earlier run of the same day, whose names are kept.
    budget : int, optional
        Follow-up samples at most; default: as many as are worth it.
    alone : mapping of str to sequence of str, optional
        Samples whose high gold (or other metal in few grains) has no other high beside it: such
        values count in no element condition, so no outline is made of them.

    Returns
    -------
    TargetReport
        Every table has all its columns, with or without rows.

    Raises
    ------
    WrongCall
        If `wanted` or `max_spacing_m` is out of bounds, or the ranker or one of its options is
        not known.
    """
    from geochem import plugins

    if wanted < 0:
        raise WrongCall(f"wanted is {wanted}; give how many targets at most, 0 or more.")
    if budget is not None and budget < 0:
        raise WrongCall(f"budget is {budget}; give how many follow-up samples at most, 0 or more.")
    if not max_spacing_m > 0:
        raise WrongCall(f"max_spacing_m is {max_spacing_m}; give a positive number of metres.")
    method = plugins.load("rankers", ranker)
    known = plugins.options_of(method, "rank")
    options = plugins.check_options(ranker, known, weights or {})
    if any(o.name == "seed" for o in known):
        options.setdefault("seed", seed)

    sites = gather_sites(samples, evidence, background.backgrounds, seek)
    ids = sites.frame["sample_id"]
    sites = replace(sites, alone={e: ids.isin(s).to_numpy() for e, s in (alone or {}).items()})
    grounds, coarse, findings = choose_grounds(sites, spacings, max_spacing_m)
    catchments = None
    if (sites.frame["medium"] == STREAM).any():
        layer = layers.vector.get("catchments")
        if layer is None or not len(layer.frame):
            findings.append(_no_catchments(sites))
        else:
            catchments = sampled_catchments(sites, layer.frame, layer.field)
            if catchments is None:
                findings.append(_no_catchments(sites))
    reason = _nothing_to_search(sites, evidence, grounds, catchments is not None, coarse)
    if reason or wanted == 0:
        return empty_report(
            samples.crs, reason or "No targets were asked for (wanted = 0).", tuple(findings)
        )

    desk = Desk(
        samples, sites, evidence, background.backgrounds, layers, analytes, quality.verdicts,
        tuple(seek), method(), ranker, options, previous, register,
        None if clock is None else clock.date().isoformat(), tuple(used_names), wanted, seed,
        same_day, budget,
    )  # fmt: skip
    return assemble_report(desk, grounds, catchments, coarse, findings)


def choose_grounds(
    sites: Sites, spacings: Sequence[Spacing], max_spacing_m: float
) -> tuple[list[Ground], list[str], list[Finding]]:
    """Choose the grids that can carry an outline.

    Parameters
    ----------
    sites : Sites
        All samples.
    spacings : sequence of Spacing
        Measured.
    max_spacing_m : float
        Coarser ones are left out. [m]

    Returns
    -------
    grounds : list of Ground
        By medium and grid.
    coarse : list of str
        A sentence per grid that is too coarse.
    findings : list of Finding
        Grids left out, with the reason.
    """
    grounds: list[Ground] = []
    coarse: list[str] = []
    findings: list[Finding] = []
    covered = np.zeros(len(sites.frame), dtype=bool)
    for spacing in sorted(spacings, key=lambda s: (s.medium, s.grid)):
        if spacing.medium not in OUTLINED:
            continue
        here = (
            (sites.frame["medium"] == spacing.medium) & (sites.frame["grid"] == spacing.grid)
        ).to_numpy()
        covered = covered | here
        if not here.any():
            continue
        named = f"{spacing.medium} grid {spacing.grid}".strip() if spacing.grid else spacing.medium
        distance = median_spacing(spacing)
        if distance > max_spacing_m:
            coarse.append(_too_coarse(named, spacing, distance, max_spacing_m, sites, here))
            findings.append(Finding("ground-too-coarse", "note", coarse[-1]))
            continue
        ground = make_ground(sites, spacing)
        if ground is None:
            findings.append(
                Finding(
                    "grid-too-small", "note",
                    f"{named} has {int(here.sum())} scored samples, too few for outlines "
                    "(nine places are needed); they are mapped only.",
                )
            )  # fmt: skip
            continue
        grounds.append(ground)
    lost = sites.frame["medium"].isin(OUTLINED).to_numpy() & ~covered
    if lost.any():
        ids = sites.frame["sample_id"].to_numpy()[lost]
        findings.append(
            Finding(
                "grid-without-spacing", "warning",
                f"{len(ids)} samples stand in no grid whose spacing was found "
                f"({name_some(list(ids))}); they take no part in outlines.",
                sample_id=str(ids[0]),
            )
        )  # fmt: skip
    return grounds, coarse, findings


def _too_coarse(
    named: str, spacing: Spacing, distance: float, limit: float, sites: Sites, here: Any
) -> str:
    xy = sites.frame[["easting", "northing"]].to_numpy(dtype=float)[here]
    area = _area_km2(xy, spacing)
    each = area / max(len(xy), 1)
    return (
        f"{named[:1].upper()}{named[1:]} is sampled too coarsely for targets: one site per about "
        f"{_rounded(each)} km2 (median spacing {_rounded(distance)} m, at most "
        f"{_rounded(limit)} m is allowed), so neighbouring samples do not belong to one anomaly."
    )


def _rounded(value: float) -> str:
    if not np.isfinite(value) or value <= 0:
        return "?"
    digits = int(np.floor(np.log10(value)))
    shown = round(value, 1 - digits)
    return f"{shown:,.0f}" if shown >= 10 else f"{shown:.2g}"


def _area_km2(xy: Any, spacing: Spacing) -> float:
    """Measure the ground that samples cover: triangles between them, without bays and gaps."""
    from scipy.spatial import Delaunay, QhullError

    try:
        corner = xy[Delaunay(xy).simplices]
    except (QhullError, ValueError):
        return spacing.area_km2
    edge = corner - np.roll(corner, 1, axis=1)
    side = np.sqrt((edge**2).sum(axis=2)).max(axis=1)
    one, two = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    area = 0.5 * np.abs(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0])
    keep = side <= 8.0 * float(np.median(side))
    return float(area[keep].sum() / 1e6)


def _no_catchments(sites: Sites) -> Finding:
    n = int((sites.frame["medium"] == STREAM).sum())
    return Finding(
        "stream-sediment-without-catchments",
        "note",
        f"{n} stream-sediment samples have no catchments, so no target is drawn from them: a "
        "stream sample speaks for the ground upstream. They are mapped as graded symbols; next "
        "step: sample upstream of the high ones, or give a layer 'catchments'.",
    )


def _nothing_to_search(
    sites: Sites,
    evidence: Evidence,
    grounds: list[Ground],
    has_catchments: bool,  # noqa: FBT001 - private
    coarse: list[str],
) -> str:
    if grounds or has_catchments:
        if not evidence.associations or not sites.scores.shape[1]:
            return (
                "No targets: no association could be scored, because too few of its elements "
                "have usable values."
            )
        return ""
    if coarse:
        return f"No targets: {coarse[0][:1].lower()}{coarse[0][1:]}"
    if (sites.frame["medium"] == STREAM).any():
        return (
            "No targets: only stream sediments could be scored, and without a layer "
            "'catchments' they give none. Next step: sample upstream of the high samples."
        )
    return (
        "No targets: no grid of soil or till has enough scored samples, and only these (or "
        "catchments of stream sediments) give outlines."
    )
