"""Make the surfaces of a run."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.elements import element_rank
from geochem.model.cover import is_transported
from geochem.model.finding import Finding
from geochem.model.surface import Surface
from geochem.model.tables import elements_of, values_of
from geochem.surfaces.element import Site, element_surface, finish, interpolate
from geochem.surfaces.entering import Entering, entering
from geochem.surfaces.grid import Grid, make_grid, names_at
from geochem.surfaces.log_ratios import log_ratio_surfaces
from geochem.surfaces.options import SurfaceOptions
from geochem.surfaces.pieces import LEAST, pieces_of
from geochem.surfaces.sparse import Helped, helped_surface, regress_on_helpers

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt

    from geochem.model.evidence import Evidence
    from geochem.model.layers import Layers, Spacing

    FloatArray = npt.NDArray[np.float64]

#: media whose samples may be interpolated
INTERPOLATED = ("soil", "till")
_MOST_BELOW = 0.4
#: an element known in a smaller share of the samples than this may be helped by dense ones
_SPARSE = 0.5


def make_surfaces(
    samples: gpd.GeoDataFrame,
    evidence: Evidence,
    spacings: Sequence[Spacing],
    layers: Layers,
    *,
    elements: Sequence[str] | None = None,
    method: str = "ordinary_kriging",
    max_cells: int = 30000,
    seed: int = 1,
    options: SurfaceOptions | None = None,
    above: Mapping[str, float] | None = None,
    thresholds: Mapping[tuple[str, str], float] | None = None,
    weights: Mapping[str, float] | None = None,
) -> tuple[tuple[Surface, ...], tuple[Finding, ...]]:
    """Interpolate the leading elements and the leading association of each dense medium.

    Elements are interpolated on log10 and shown in mg/kg: the surface is an estimate of the local
    median (the mean lies higher). A value below detection enters as the expected value under its
    limit, with the matching error variance. Stream sediments, rock and other media are never
    interpolated: their points do not stand for the ground between them.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        Samples table with accepted values.
    evidence : Evidence
        Counted elements and association scores.
    spacings : sequence of Spacing
        Of the grids.
    layers : Layers
        ``boundary`` and ``keep_out`` cut the grid, ``regolith`` marks transported cover.
    elements : sequence of str, optional
        Default: the three counted elements with most samples beyond z = 2.
    method : {"ordinary_kriging", "inverse_distance"}
        How.
    max_cells : int, default 30000
        Cells of one grid at most.
    seed : int, default 1
        Of cross-validation and simulations.
    options : SurfaceOptions, optional
        Scale, variogram, neighbourhood and more.
    above : mapping of str to float, optional
        Per element: the chance of exceeding this is given. [mg/kg]
    thresholds : mapping of (medium, element) to float, optional
        Thresholds of the background, for elements that `above` does not name. [mg/kg]
    weights : mapping of str to float, optional
        Declustering weight per sample id, for normal scores.

    Returns
    -------
    surfaces : tuple of Surface
        By medium, elements first.
    findings : tuple of Finding
        What could not be interpolated and why; surfaces no better than the median.
    """
    chosen_options = options or SurfaceOptions()
    surfaces: list[Surface] = []
    findings: list[Finding] = []
    limits = thresholds or {}
    for medium in INTERPOLATED:
        chosen = (samples["medium"] == medium).to_numpy()
        grids = [s for s in spacings if s.medium == medium]
        if not chosen.any() or not grids:
            continue
        mine = samples.loc[chosen].reset_index(drop=True)
        mine, noticed = _one_horizon(mine, medium)
        findings += noticed
        xy = np.column_stack([mine.geometry.x, mine.geometry.y])
        if len(np.unique(xy, axis=0)) < LEAST:
            findings.append(
                Finding(
                    "surface-few-samples",
                    "note",
                    f"{medium}: {len(mine)} samples are too few for a surface; at least {LEAST} "
                    "places are needed.",
                )
            )
            continue
        largest = max(grids, key=lambda s: s.n)
        grid = make_grid(
            xy,
            spacing=max(largest.line_spacing, largest.nearest),
            station=max(largest.station_spacing, 1.0),
            max_cells=max_cells,
            boundary=_union(layers, "boundary"),
            keep_out=_union(layers, "keep_out"),
        )
        if not grid.shown.any():
            findings.append(
                Finding(
                    "surface-outside",
                    "warning",
                    f"{medium}: no sample lies near the inside of the boundary; no surface.",
                )
            )
            continue
        pieces, noticed_too = pieces_of(mine, grid, layers, chosen_options.by)
        findings += noticed_too
        weight = None
        if weights is not None:
            weight = np.array([weights.get(str(i), 1.0) for i in mine["sample_id"]])
        site = Site(
            medium, "" if medium == INTERPOLATED[0] else f"_{medium}", xy, grid, pieces,
            _covered(grid, layers, chosen_options.cover), method, chosen_options, seed, weight,
        )  # fmt: skip
        names = list(elements) if elements else _leading(evidence, medium)
        for element in sorted(set(names), key=element_rank):
            limit = (above or {}).get(element, limits.get((medium, element), float("nan")))
            made, found = _element(site, mine, element, limit)
            findings += found
            if made is not None:
                surfaces.append(made)
        made, found = _association(site, evidence, mine)
        findings += found
        if made is not None:
            surfaces.append(made)
        parts = [e for e in chosen_options.log_ratios if e in elements_of(mine)]
        if parts:
            logs = np.column_stack([_entering(mine, e)[0].log for e in parts])
            several, found = log_ratio_surfaces(site, parts, logs)
            surfaces += several
            findings += found
    return tuple(surfaces), tuple(findings)


def _union(layers: Layers, name: str) -> Any:
    frame = layers.get(name)
    return frame.geometry.union_all() if frame is not None and len(frame) else None


def _covered(grid: Grid, layers: Layers, cover: str) -> npt.NDArray[np.bool_] | None:
    """Say which cells lie on transported cover; None when the regolith is not known."""
    layer = layers.vector.get("regolith")
    if cover == "ignore" or layer is None or not len(layer.frame):
        return None
    found = np.zeros(grid.shape, dtype=bool)
    names = names_at(grid.centres, layer.frame, layer.field)
    different = {name: is_transported(name) for name in set(names.tolist())}
    found[grid.shown] = [different[name] for name in names]
    return found if found.any() else None


def _one_horizon(mine: Any, medium: str) -> tuple[Any, list[Finding]]:
    """Keep the commonest horizon where places hold several: they are other ground."""
    if "horizon" not in mine.columns or mine["horizon"].nunique(dropna=True) < 2:
        return mine, []
    keys = list(zip(mine.geometry.x.round(1), mine.geometry.y.round(1), strict=True))
    seen: dict[Any, set[Any]] = {}
    for key, horizon in zip(keys, mine["horizon"], strict=True):
        if isinstance(horizon, str):
            seen.setdefault(key, set()).add(horizon)
    mixed = {key for key, names in seen.items() if len(names) > 1}
    if not mixed:
        return mine, []
    counts = mine["horizon"].value_counts()
    first = min(counts.index, key=lambda name: (-counts[name], str(name)))
    at_mixed = np.array([key in mixed for key in keys])
    keep = ~at_mixed | (mine["horizon"] == first).to_numpy()
    return mine.loc[keep].reset_index(drop=True), [
        Finding(
            "surface-horizons", "note",
            f"{medium}: {len(mixed)} places were sampled in several horizons; surfaces there use "
            f"horizon {first}, the commonest, alone.",
        )
    ]  # fmt: skip


def _leading(evidence: Evidence, medium: str) -> list[str]:
    table = evidence.anomalies
    rows = (table["medium"] == medium).to_numpy()
    count = {
        e: int((table[f"{e}_z"].to_numpy()[rows] > 2).sum())
        for e in evidence.elements
        if f"{e}_z" in table.columns
    }
    return sorted(count, key=lambda e: (-count[e], element_rank(e)))[:3]


def _entering(mine: Any, element: str) -> tuple[Entering, npt.NDArray[np.bool_], float, int]:
    value, below, above, err = values_of(mine, element)
    known = np.isfinite(value) & (value > 0)
    share = float(below[known].mean()) if known.any() else 1.0
    return entering(value, below, err, above), known & below, share, int(known.sum())


def _element(
    site: Site, mine: Any, element: str, limit: float
) -> tuple[Surface | None, list[Finding]]:
    if element not in elements_of(mine):
        return None, []
    entered, limits, share, n = _entering(mine, element)
    if n < LEAST or share > _MOST_BELOW:
        return None, [
            Finding(
                "surface-element",
                "note",
                f"{site.medium}: no surface of {element}: {n} values, {share:.0%} of them below "
                f"detection (at least {LEAST} values and at most {_MOST_BELOW:.0%} below are "
                "needed).",
                element=element,
            )
        ]
    findings: list[Finding] = []
    helpers = tuple(h for h in site.options.helpers if h != element and h in elements_of(mine))
    if helpers and n < _SPARSE * len(mine) and site.options.transform == "log":
        dense = np.column_stack([_entering(mine, h)[0].log for h in helpers])
        helped = regress_on_helpers(entered.log, dense, helpers)
        if isinstance(helped, Helped):
            surface, findings = helped_surface(
                site, element, entered.log, entered.log_variance, helped, threshold=limit
            )
            if surface is not None:
                return surface, findings
        else:
            findings = [
                Finding(
                    "surface-helpers-not-used", "note",
                    f"{site.medium}: {element} was kriged alone: {helped}.", element=element,
                )
            ]  # fmt: skip
    surface, found = element_surface(site, element, entered, limits=limits, threshold=limit)
    return surface, [*findings, *found]


def _association(
    site: Site, evidence: Evidence, mine: Any
) -> tuple[Surface | None, list[Finding]]:
    rows = (evidence.anomalies["medium"] == site.medium).to_numpy()
    if evidence.scores.empty or not rows.any():
        return None, []
    scores = evidence.scores.loc[rows]
    name = evidence.strongest(rows)
    if name is None:
        return None, []
    title = next((a.title for a in evidence.associations if a.name == name), name)
    # scores follow the samples of the site, which may have lost a second horizon
    by_id = dict(zip(evidence.anomalies.loc[rows, "sample_id"], scores[name], strict=True))
    z = np.array([by_id.get(i, np.nan) for i in mine["sample_id"]], dtype=float)
    whole, method, findings = interpolate(site, z, None, f"{title} score")
    if whole is None:
        return None, findings
    return finish(
        site, whole, whole.values, method, name=name, title=f"{title} score",
        unit="standard deviations", scale="scores as they are",
    ), findings  # fmt: skip
