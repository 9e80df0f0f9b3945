"""From scored samples to outlines that barren ground does not make.

What lives here: the order of the search - prepare grids and catchments, simulate barren surveys,
find outlines, keep those within the false-discovery rate. Two rounds: outlines kept in the first
are no background and are left out when the background is measured for the second.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.stats.halo_filter import SCALES
from geochem.stats.threads import in_threads
from geochem.targets.barren import simulate_barren
from geochem.targets.catchments import Catchments, catchment_part
from geochem.targets.doubt import Doubts
from geochem.targets.false_discovery import (
    FALSE_DISCOVERY,
    association_chance,
    passing_share,
    probabilities,
    q_values,
)
from geochem.targets.grid_parts import grid_part
from geochem.targets.ground import Ground, Sites
from geochem.targets.lookalikes import RIVAL_WINS, with_lookalikes
from geochem.targets.null import (
    CUT,
    Barren,
    Filtered,
    Part,
    filter_part,
)
from geochem.targets.outlines import Group, Outline, find_groups
from geochem.targets.place_probability import Places, judge_places
from geochem.targets.polygons import around_places, clipped
from geochem.targets.polygons import parts as pieces_of

if TYPE_CHECKING:
    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

#: simulated surveys in the first and the second round; on large campaigns fewer
FIRST_DRAWS, DRAWS = 40, 150
LARGE = 20_000
#: two outlines that share this part of the smaller one are the same
SAME = 0.4


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """What the search found.

    Parameters
    ----------
    outlines : list of Outline
        Kept ones, strongest first.
    q, probability : ndarray, shape (n_outlines,)
        Of each.
    short : list of (Ground, Group)
        Groups that stand out but lack samples or lines, and are as strong as what was kept.
    barren : list of Barren
        Simulated surveys, per grid, then those of the catchments.
    summary : dict
        For `TargetReport.null`.
    n_tried : int
        Outlines that met all conditions, kept or not.
    explained : list of Outline
        Those that oxides, another rock or organic soil explain better than any association.
    places : Places, optional
        Of every sample, from the last round.
    """

    outlines: list[Outline]
    q: FloatArray
    probability: FloatArray
    short: list[tuple[Ground, Group]]
    barren: list[Barren]
    summary: dict[str, Any]
    n_tried: int
    explained: list[Outline]
    places: Places | None


def search_outlines(
    sites: Sites,
    grounds: Sequence[Ground],
    catchments: Catchments | None,
    boundary: BaseGeometry | None,
    meets: Callable[[IntArray, int], bool],
    *,
    seed: int,
    lines: Mapping[str, BaseGeometry] | None = None,
) -> Found:
    """Search all grounds of a campaign.

    Parameters
    ----------
    sites : Sites
        All samples.
    grounds : sequence of Ground
        Grids that can carry outlines.
    catchments : Catchments, optional
        Of stream sediments.
    boundary : shapely geometry, optional
        Outlines are cut there.
    meets : callable
        ``meets(samples, association) -> bool``: the element condition.
    seed : int
        Of the simulation.
    lines : mapping of str to shapely geometry, optional
        Streams and roads, by what may follow them, in words.

    Returns
    -------
    Found
        Outlines, null, summary.
    """
    exclude = np.zeros(len(sites.frame), dtype=bool)
    parts = _parts(sites, grounds, catchments, exclude, None)
    found = _round(
        sites, grounds, catchments, boundary, meets, parts, FIRST_DRAWS, seed, lines, last=False
    )
    if found.outlines or found.explained:
        for outline in (*found.outlines, *found.explained):
            exclude |= _near(sites, outline)
        parts = _parts(sites, grounds, catchments, exclude, parts)
    return _round(
        sites, grounds, catchments, boundary, meets, parts, DRAWS, seed, lines, last=True
    )


def _parts(
    sites: Sites,
    grounds: Sequence[Ground],
    catchments: Catchments | None,
    exclude: npt.NDArray[np.bool_],
    before: Sequence[Part] | None,
) -> list[Part]:
    parts = [
        grid_part(sites, g, exclude, None if before is None else before[i])
        for i, g in enumerate(grounds)
    ]
    if catchments is not None:
        parts.append(catchment_part(sites, catchments, exclude[catchments.sites]))
    return parts


def _near(sites: Sites, outline: Outline) -> npt.NDArray[np.bool_]:
    """Mark the samples of an outline and of its rim."""
    import shapely

    rim = 0.5 * np.sqrt(outline.polygon.area / max(len(outline.sites), 1))
    x, y = sites.frame["easting"].to_numpy(), sites.frame["northing"].to_numpy()
    near = shapely.contains_xy(outline.polygon.buffer(rim, quad_segs=4), x, y)
    return near & (sites.frame["medium"] == outline.medium).to_numpy()


def _round(
    sites: Sites,
    grounds: Sequence[Ground],
    catchments: Catchments | None,
    boundary: BaseGeometry | None,
    meets: Callable[[IntArray, int], bool],
    parts: Sequence[Part],
    draws: int,
    seed: int,
    lines: Mapping[str, BaseGeometry] | None,
    *,
    last: bool,
) -> Found:
    large = sum(len(p.metres) for p in parts) > LARGE
    barren, ratios = simulate_barren(
        parts, draws=draws // 2 if large else draws, seed=seed, waves=128 if large else 256
    )
    outlines: list[Outline] = []
    short: list[tuple[Ground, Group]] = []
    every_filtered = [filter_part(part, ratio) for part, ratio in zip(parts, ratios, strict=True)]
    for number, part in enumerate(parts):
        filtered = every_filtered[number]
        if number < len(grounds):
            made, few = _grid_outlines(
                sites, grounds[number], number, part, filtered, ratios[number], boundary
            )
            short += few
        else:
            assert catchments is not None
            made = _catchment_outlines(sites, catchments, number, part, filtered, boundary)
        outlines += made
    every = np.array([o.strength for o in outlines])
    outlines = [o for o in outlines if meets(o.sites, o.association)]
    outlines.sort(key=lambda o: (-round(o.strength, 9), o.part, o.polygon.bounds))
    outlines = with_lookalikes(sites, grounds, outlines, lines or {})
    passing = passing_share(
        every, np.array([o.strength for o in outlines if not o.margin > RIVAL_WINS])
    )
    explained = [o for o in outlines if o.margin > RIVAL_WINS]
    outlines = without_overlap(sites, [o for o in outlines if not o.margin > RIVAL_WINS], meets)
    strength = np.array([o.strength for o in outlines])
    noise = np.array([o.noise for o in outlines])
    owner = np.array([o.part for o in outlines], dtype=np.intp)
    q, p = np.ones(len(outlines)), np.zeros(len(outlines))
    least = {}
    for number, own in enumerate(barren):
        mine = np.flatnonzero(owner == number)
        margin = np.array([outlines[i].margin for i in mine])
        q[mine] = q_values(strength[mine], own, passing, margin)
        p[mine] = probabilities(strength[mine], noise[mine], own, seed=seed)
        p[mine] *= association_chance(margin)
        kept = mine[q[mine] <= FALSE_DISCOVERY]
        least[number] = strength[kept].min() if len(kept) else np.quantile(own.strongest, 0.9)
    keep = np.flatnonzero(q <= FALSE_DISCOVERY)
    places = None
    if last:
        places = judge_places(
            sites, grounds, catchments, parts, every_filtered, ratios, barren,
            [*explained, *outlines],
        )  # fmt: skip
    explained = [o for o in explained if o.strength >= least[o.part]]
    summary = _summary(sites, parts, barren, outlines, q, passing)
    number_of = {id(g): i for i, g in enumerate(grounds)}
    return Found(
        [outlines[i] for i in keep], q[keep], p[keep],
        [(g, x) for g, x in short if x.strength >= least[number_of[id(g)]]],
        barren, summary, len(outlines), explained, places,
    )  # fmt: skip


def _grid_outlines(
    sites: Sites,
    ground: Ground,
    number: int,
    part: Part,
    filtered: Filtered,
    ratio: FloatArray,
    boundary: BaseGeometry | None,
) -> tuple[list[Outline], list[tuple[Ground, Group]]]:
    from geochem.targets.ground import rows_of

    xy = sites.frame[["easting", "northing"]].to_numpy(dtype=float)[ground.sites]
    made: list[Outline] = []
    few: list[tuple[Ground, Group]] = []
    groups = find_groups(ground, filtered, part.values)
    drawn = iter(
        in_threads(lambda g: around_places(ground, g.places), [g for g in groups if g.enough])
    )
    inside = _inside_of(xy)
    doubts = Doubts(sites, ground, part, ratio[0])
    for group in groups:
        if not group.enough:
            few.append((ground, group))
            continue
        polygon = clipped(next(drawn), boundary)
        if polygon.is_empty:
            continue
        local = inside(polygon)
        lines = rows_of(ground.scaled[local], regular=ground.spacing.regular)
        if len(local) < part.least_places or lines < part.least_lines:
            cut = "the boundary leaves too few samples or lines of it"
            few.append((ground, replace(group, reason=cut)))
            continue
        a = group.association
        others = [
            b
            for b in range(filtered.values.shape[1])
            if b != a and filtered.values[group.places, b].max() >= 3.0
        ]
        others.sort(key=lambda b: (-round(float(filtered.values[group.places, b].max()), 9), b))
        made.append(
            Outline(
                ground.medium, ground.grid, number, a, tuple(others), group.strength,
                doubts.of(group.summit, a, int(filtered.scale[group.summit, a])),
                polygon, ground.sites[local], ground.to_map(ground.places[[group.summit]])[0],
                lines,
            )
        )  # fmt: skip
    return made, few


def _inside_of(xy: FloatArray) -> Callable[[BaseGeometry], IntArray]:
    """Give a function that lists the places inside a polygon, ascending."""
    import shapely

    order = np.argsort(xy[:, 0], kind="stable")
    easting = xy[order, 0]

    def inside(polygon: BaseGeometry) -> IntArray:
        west, _, east, _ = polygon.bounds
        first, end = easting.searchsorted(west, "left"), easting.searchsorted(east, "right")
        near = np.sort(order[first:end])
        found: IntArray = near[shapely.contains_xy(polygon, xy[near])]
        return found

    return inside


def _catchment_outlines(
    sites: Sites,
    catchments: Catchments,
    number: int,
    part: Part,
    filtered: Filtered,
    boundary: BaseGeometry | None,
) -> list[Outline]:
    import shapely

    m = len(catchments.shape)
    total = np.bincount(catchments.unit, minlength=m)
    made = []
    for unit in range(m):
        a = int(filtered.values[unit].argmax())
        strength = float(filtered.values[unit, a])
        if strength < CUT:
            continue
        mean = np.bincount(catchments.unit, weights=part.values[:, a], minlength=m) / total
        pooled = filtered.scale[unit, a] == 1
        if mean[unit] < 1.0:
            continue
        units = catchments.members(unit, mean) if pooled else [unit]
        local = np.flatnonzero(np.isin(catchments.unit, units))
        if len(local) < 2:  # one sample cannot carry a target
            continue
        whole = shapely.union_all([catchments.shape[u] for u in units])
        polygon = clipped(shapely.make_valid(whole), boundary)
        if polygon.is_empty:
            continue
        noise = sites.noise[catchments.sites[local], a] / part.background.spread[a]
        place = part.metres[local[int(part.values[local, a].argmax())]]
        others = [
            b for b in range(filtered.values.shape[1]) if b != a and filtered.values[unit, b] >= 3
        ]
        made.append(
            Outline(
                "stream sediment", "", number, a, tuple(others), strength,
                float(np.sqrt((noise**2).sum()) / max(np.sqrt(len(local)), 1.0)),
                polygon, catchments.sites[local], place, len(local),
                catchments.name[unit],
            )
        )  # fmt: skip
    return made


def without_overlap(
    sites: Sites, outlines: list[Outline], meets: Callable[[IntArray, int], bool]
) -> list[Outline]:
    """Merge or cut outlines of one medium that overlap.

    Parameters
    ----------
    sites : Sites
        All samples.
    outlines : list of Outline
        Strongest first.
    meets : callable
        The element condition; one that loses it by the cut is dropped.

    Returns
    -------
    list of Outline
        A weaker outline that shares 40 % of the smaller area is merged into the stronger, which
        notes its association; one that shares less is cut.
    """
    import shapely

    xy = sites.frame[["easting", "northing"]].to_numpy(dtype=float)
    kept: list[Outline] = []
    for outline in outlines:
        polygon, merged = outline.polygon, False
        for k, strong in enumerate(kept):
            if strong.medium != outline.medium or not strong.polygon.intersects(polygon):
                continue
            both = strong.polygon.intersection(polygon).area
            if both >= SAME * min(strong.polygon.area, polygon.area):
                more = {outline.association, *outline.others} - {strong.association}
                new = tuple(a for a in sorted(more) if a not in strong.others)
                kept[k] = replace(strong, others=(*strong.others, *new))
                merged = True
                break
            polygon = clipped(polygon.difference(strong.polygon), None)
            found = pieces_of(polygon)
            polygon = found[0] if found else shapely.Polygon()
        if merged or polygon.is_empty:
            continue
        if polygon is not outline.polygon:
            own = outline.sites[shapely.contains_xy(polygon, xy[outline.sites])]
            least = 2 if outline.catchment else 3
            if len(own) < least or not meets(own, outline.association):
                continue
            outline = replace(outline, polygon=shapely.normalize(polygon), sites=own)
        kept.append(outline)
    return kept


def _summary(
    sites: Sites,
    parts: Sequence[Part],
    barren: Sequence[Barren],
    outlines: list[Outline],
    q: FloatArray,
    passing: float,
) -> dict[str, Any]:
    names = [a.name for a in sites.associations]
    return {
        "method": "Gaussian fields with the variogram of the background at the sampled places, "
        "all competing scores together, filtered and outlined as the survey",
        "draws": max((b.draws for b in barren), default=0),
        "strengths": {p.label: b.strongest for p, b in zip(parts, barren, strict=True)},
        "scales": SCALES,
        "false_discovery_rate": FALSE_DISCOVERY,
        "false_discovery_rule": "expected number of barren outlines at least as strong, times the "
        "share of weak outlines that meet the element condition and look like nothing else, over "
        "number found at least as strong; strength is credited where the association explains an "
        "outline much better than any rival, in barren surveys as in the weak outlines",
        "weak_outlines_that_pass": round(passing, 3),
        "drawn": "the barren survey and the spread of the background; under the peak the error of "
        "every value, what may stand behind limits, the weights of the association, the levels of "
        "batches. Not drawn: the borders of domains",
        "outlines_tried": [
            {
                "strength": round(o.strength, 3),
                "q": round(float(v), 4),
                "association": names[o.association],
                "easting": round(float(o.peak[0]), 1),
                "northing": round(float(o.peak[1]), 1),
            }
            for o, v in zip(outlines[:40], q[:40], strict=True)
        ],
        "variograms": {
            part.label: {
                name: {
                    "model": "exponential",
                    "nugget_share": round(float(part.background.nugget[j]), 4),
                    "range_m": round(float(part.background.range_m[j]), 1),
                    "spread": round(float(part.background.spread[j]), 4),
                }
                for j, name in enumerate(names)
            }
            for part in parts
        },
        "correlation": {
            part.label: np.round(part.background.correlation, 4).tolist() for part in parts
        },
        "associations": names,
    }
