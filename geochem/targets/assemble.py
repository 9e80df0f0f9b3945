"""Put the report on targets together: facts of each outline, ranks, names, leads, next samples."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.model import tables
from geochem.model.finding import Finding
from geochem.model.targets import TargetReport
from geochem.targets import sentences
from geochem.targets.catchments import Catchments
from geochem.targets.facts import Desk, Facts, facts_of
from geochem.targets.false_discovery import FALSE_DISCOVERY
from geochem.targets.ground import Ground
from geochem.targets.identity import Identity, identify
from geochem.targets.inside import Inside, describe_inside, elements_beyond
from geochem.targets.laboratory import laboratory_scores
from geochem.targets.leads import LEADS, find_leads
from geochem.targets.leads import MOST as MOST_LEADS
from geochem.targets.proxy_words import proxy_sentence
from geochem.targets.ranking import checked_ranking
from geochem.targets.report_tables import CRITERIA, MEMBERS, empty_report, located
from geochem.targets.standing_out import Found, search_outlines
from geochem.targets.surroundings import union_of

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    import pandas as pd
    from shapely.geometry.base import BaseGeometry

    IntArray = npt.NDArray[np.intp]


def assemble_report(
    desk: Desk,
    grounds: list[Ground],
    catchments: Catchments | None,
    coarse: list[str],
    findings: list[Finding],
) -> TargetReport:
    """Search, rank and describe.

    Parameters
    ----------
    desk : Desk
        Inputs.
    grounds : list of Ground
        Grids to search.
    catchments : Catchments, optional
        To search.
    coarse : list of str
        Sentences about grids that are too coarse.
    findings : list of Finding
        So far.

    Returns
    -------
    TargetReport
        Complete.
    """
    boundary = union_of(desk.layers.get("boundary"))
    laboratory = laboratory_scores(desk.samples, desk.sites, desk.analytes)

    def inside_of(rows: IntArray, association: int) -> Inside:
        return describe_inside(
            desk.sites, rows, desk.sites.associations[association], association, desk.samples,
            desk.backgrounds, laboratory, desk.seek,
        )  # fmt: skip

    def enough(rows: IntArray, association: int) -> bool:
        return elements_beyond(
            desk.sites, rows, desk.sites.associations[association], desk.samples, laboratory,
            desk.seek,
        )[1]  # fmt: skip

    found = search_outlines(
        desk.sites, grounds, catchments, boundary,
        enough, seed=desk.seed, lines=_lines(desk),
    )  # fmt: skip
    facts = [
        facts_of(desk, f"{i:04d}", o, inside_of(o.sites, o.association), found, i, grounds,
               laboratory, boundary)
        for i, o in enumerate(found.outlines)
    ]  # fmt: skip
    findings = [*findings, *_said_about_rivals(found)]
    taken = np.zeros(len(desk.sites.frame), dtype=bool)
    for outline in found.outlines:
        taken[outline.sites] = True
    leads = _leads(desk, grounds, found, taken, boundary)
    if not facts:
        report = empty_report(
            desk.samples.crs, _why_none(found, coarse), tuple(findings), found.summary,
            _places(desk, found),
        )  # fmt: skip
        return _with_leads(report, leads)
    return _ranked(desk, facts, found, grounds, leads, boundary, findings)


def _lines(desk: Desk) -> dict[str, Any]:
    """Give streams and roads, by what may follow them."""
    words = {
        "streams": "what streams carried or coated (tailings, sediment, oxides)",
        "access": "dust and metal along a road or track",
    }
    found = {text: union_of(desk.layers.get(name)) for name, text in words.items()}
    return {text: line for text, line in found.items() if line is not None}


def _said_about_rivals(found: Found) -> list[Finding]:
    if not found.explained:
        return []
    names = sorted({o.rival for o in found.explained})
    counted = ", ".join(f"{sum(o.rival == n for o in found.explained)} x {n}" for n in names[:6])
    return [
        Finding(
            "outlines-explained",
            "note",
            f"{len(found.explained)} outlines stand out but look like something else than "
            f"mineralisation, so they are leads and no targets: {counted}. Look at them on the "
            "ground before dropping them.",
        )
    ]


def _why_none(found: Found, coarse: list[str]) -> str:
    if found.n_tried:
        text = (
            f"No targets: {found.n_tried} outlines were found, none stronger than what barren "
            f"ground of the same continuity makes (false-discovery rate "
            f"{100 * FALSE_DISCOVERY:.0f} %)."
        )
    else:
        text = (
            "No targets: nowhere do three samples on two lines stand out together with the "
            "elements of an association."
        )
    return " ".join([text, *coarse])


def _ranked(
    desk: Desk,
    facts: list[Facts],
    found: Found,
    grounds: list[Ground],
    leads: gpd.GeoDataFrame,
    boundary: BaseGeometry | None,
    findings: list[Finding],
) -> TargetReport:
    import pandas as pd

    from geochem import plugins
    from geochem.targets.next_samples import propose_follow_up, propose_holes
    from geochem.targets.sensitivity import sensitivity

    table = pd.DataFrame(
        [
            {
                "target": f.key, "criterion": c.criterion, "value": c.value, "scaled": c.scaled,
                "spread": c.spread, "statement": c.statement,
            }
            for f in facts
            for c in f.criteria
        ]
    )  # fmt: skip
    ranking = checked_ranking(
        desk.ranker.rank(table, **desk.options), [f.key for f in facts], desk.ranker_name
    )
    by_key = {f.key: f for f in facts}
    best = [by_key[k] for k in ranking.target[: desk.wanted]]
    names = identify(
        [f.outline.polygon for f in best], desk.previous, desk.register, today=desk.today,
        used_names=desk.used_names, same_day=desk.same_day,
    )  # fmt: skip
    rows = [
        _row(desk, f, names[i], i + 1, int(ranking.rank_low[i]), int(ranking.rank_high[i]),
             float(ranking.score[i]), len(facts), facts)
        for i, f in enumerate(best)
    ]  # fmt: skip
    ids = desk.sites.frame["sample_id"].to_numpy()
    members = [
        {"target": n.target, "sample_id": str(s)}
        for f, n in zip(best, names, strict=True)
        for s in ids[np.sort(f.outline.sites)]
    ]
    criteria = [
        {
            "target": n.target, "criterion": c.criterion, "value": c.value, "scaled": c.scaled,
            "weight": float(ranking.weights.get(c.criterion, 0.0)), "statement": c.statement,
        }
        for f, n in zip(best, names, strict=True)
        for c in f.criteria
    ]  # fmt: skip
    crs = desk.samples.crs
    keep_out = union_of(desk.layers.get("keep_out"))
    active = [
        (f, n) for f, n in zip(best, names, strict=True) if n.status not in ("dropped", "merged")
    ]
    follow = propose_follow_up(
        desk, active, grounds, boundary, keep_out, found.summary.get("variograms")
    )
    holes, hole_findings = propose_holes(desk, active, grounds, boundary, keep_out)
    targets = tables.conform(pd.DataFrame(rows), tables.TARGETS)
    return TargetReport(
        targets=located(targets, [f.outline.polygon for f in best], crs),
        leads=leads,
        members=tables.conform(pd.DataFrame(members), MEMBERS),
        criteria=tables.conform(pd.DataFrame(criteria), CRITERIA),
        follow_up=follow,
        holes=holes,
        why_none="",
        null=found.summary,
        findings=(*findings, *hole_findings),
        sensitivity=sensitivity(
            desk.ranker, table, desk.options,
            [o.name for o in plugins.options_of(type(desk.ranker), "rank")], ranking.weights,
            {f.key: n.target for f, n in zip(best, names, strict=True)},
        ),
        places=_places(desk, found),
    )  # fmt: skip


def _places(desk: Desk, found: Found) -> pd.DataFrame:
    """Write down what is known of the place of every sample that was judged."""
    import pandas as pd

    places = found.places
    if places is None:
        return tables.empty(tables.PLACES)
    at = np.flatnonzero(np.isfinite(places.probability))
    names = np.array([*(a.name for a in desk.sites.associations), None], dtype=object)
    frame = pd.DataFrame(
        {
            "sample_id": desk.sites.frame["sample_id"].to_numpy(dtype=object)[at],
            "medium": desk.sites.frame["medium"].to_numpy(dtype=object)[at],
            "association": names[places.association[at]],
            "strength": np.round(places.strength[at], 3),
            "probability": np.round(places.probability[at], 4),
            "stands_out": places.stands_out[at],
        }
    )
    return tables.conform(frame, tables.PLACES)


def _row(
    desk: Desk,
    f: Facts,
    identity: Identity,
    rank: int,
    low: int,
    high: int,
    score: float,
    n_targets: int,
    facts: Sequence[Facts],
) -> dict[str, Any]:
    outline, inside = f.outline, f.inside
    association = desk.sites.associations[outline.association]
    sides = [s for s, _ in f.sides]
    titles = [desk.sites.associations[a].title for a in outline.others]
    beside = sorted(
        {
            g.outline.medium
            for g in facts
            if g.outline.medium != outline.medium and g.outline.polygon.intersects(outline.polygon)
        }
    )
    return {
        "target": identity.target, "rank": rank, "rank_low": low, "rank_high": high,
        "previous_rank": identity.previous_rank, "first_seen": identity.first_seen,
        "status": identity.status, "score": round(score, 2),
        "probability": round(f.probability, 4),
        "data_confidence": sentences.data_confidence(
            samples=len(outline.sites), lines=outline.lines, quality=f.around.quality,
            rank_width=high - low, n_targets=n_targets,
        ),
        "lab_confirmed": f.confirmed > 0, "medium": outline.medium,
        "elements": " ".join(inside.elements), "association": association.name,
        "contrast": round(inside.contrast, 4), "peak": inside.peak,
        "peak_element": inside.leading or None, "samples": len(outline.sites),
        "lines": outline.lines, "open_sides": sentences.sides_text(sides),
        "area_ha": round(outline.polygon.area / 1e4, 3),
        "easting": round(float(inside.centre[0]), 1),
        "northing": round(float(inside.centre[1]), 1),
        "evidence_for": sentences.evidence_for(
            title=association.title or association.name, strength=outline.strength, q=f.q,
            elements=inside.elements, hidden=inside.hidden, leading=inside.leading,
            contrast=inside.contrast,
            samples=len(outline.sites), lines=outline.lines,
            anomalous_share=inside.anomalous_share, others=titles, sent=f.sent,
            confirmed=f.confirmed, around=f.around, catchment=outline.catchment, beside=beside,
            zoning=f.zoning,
        ) + _of_proxies(desk, f),
        "evidence_against": sentences.evidence_against(
            samples=len(outline.sites), open_sides=sides, sent=f.sent, confirmed=f.confirmed,
            around=f.around, n_elements=len(inside.elements), probability=f.probability,
            clipped=f.clipped, catchment=outline.catchment,
            spread_share=inside.anomalous_share, margin=outline.margin, rival=outline.rival,
            zoning=f.zoning,
        ),
        "next_step": sentences.next_step(
            status=identity.status, sent=f.sent, confirmed=f.confirmed, open_sides=sides,
            around=f.around, lines=outline.lines, samples=len(outline.sites),
            catchment=outline.catchment,
        ),
    }  # fmt: skip


def _of_proxies(desk: Desk, f: Facts) -> str:
    weights = desk.sites.associations[f.outline.association].weights
    said = proxy_sentence(
        desk.evidence.proxies, f.outline.medium,
        set(desk.sites.frame["sample_id"].to_numpy()[f.outline.sites].tolist()),
        {e for e, w in weights.items() if w > 0} | set(desk.seek),
    )  # fmt: skip
    return f" {said[:1].upper()}{said[1:]}." if said else ""


def _leads(
    desk: Desk,
    grounds: list[Ground],
    found: Found,
    taken: npt.NDArray[np.bool_],
    boundary: BaseGeometry | None,
) -> gpd.GeoDataFrame:
    import pandas as pd

    from geochem.targets.catchments import STREAM
    from geochem.targets.leads import Lead
    from geochem.targets.polygons import around_few

    sites = desk.sites
    xy = sites.frame[["easting", "northing"]].to_numpy(dtype=float)
    leads: list[Lead] = []
    for ground in grounds:
        leads += find_leads(
            sites, ground.sites, ground.scaled, taken, ground.spacing.line_spacing / 2, boundary,
            ground.spacing.regular,
        )  # fmt: skip
    streams = np.flatnonzero((sites.frame["medium"] == STREAM).to_numpy())
    if len(streams) > 1:
        from scipy.spatial import cKDTree

        apart = float(np.median(cKDTree(xy[streams]).query(xy[streams], k=2)[0][:, 1]))
        apart = max(apart, 1.0)
        leads += find_leads(
            sites, streams, (xy[streams] - xy[streams].mean(axis=0)) / apart, taken,
            apart / 2, boundary, regular=False,
        )  # fmt: skip
    for o in found.explained:
        if o.catchment or taken[o.sites].any():
            continue
        width = grounds[o.part].spacing.line_spacing / 2
        leads.append(
            Lead(
                o.medium, o.association, o.sites, o.strength,
                f"looks like {o.rival} rather than mineralisation", around_few(xy[o.sites], width),
            )
        )  # fmt: skip
    held = {int(s) for lead in leads for s in lead.sites}
    for ground, group in found.short:
        local = np.flatnonzero(np.isin(ground.place_of, group.places))
        rows = ground.sites[local]
        if taken[rows].any() or held & set(rows.tolist()):
            continue
        leads.append(
            Lead(
                ground.medium, group.association, rows, group.strength, group.reason,
                around_few(xy[rows], ground.spacing.line_spacing / 2),
            )
        )  # fmt: skip
    leads.sort(key=lambda x: (-round(x.height, 9), int(x.sites[0])))
    rows_out = []
    for k, lead in enumerate(leads[:MOST_LEADS]):
        association = sites.associations[lead.association]
        z = {
            e: float(np.nanmax(np.append(sites.z[e].to_numpy()[lead.sites] * np.sign(w), -np.inf)))
            for e, w in association.weights.items()
            if w != 0 and e in sites.z.columns
        }
        high = sorted((e for e in z if z[e] >= 2.0), key=lambda e: (-round(z[e], 6), e))
        rows_out.append(
            {
                "lead": f"L{k + 1:02d}", "medium": lead.medium, "association": association.name,
                "elements": " ".join(high), "samples": len(lead.sites), "reason": lead.reason,
            }
        )  # fmt: skip
    frame = tables.conform(pd.DataFrame(rows_out, columns=list(LEADS)), LEADS)
    return located(frame, [x.shape for x in leads[:MOST_LEADS]], desk.samples.crs)


def _with_leads(report: TargetReport, leads: gpd.GeoDataFrame) -> TargetReport:
    from dataclasses import replace

    return replace(report, leads=leads)
