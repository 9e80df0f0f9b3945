"""Make the surfaces of a run."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.elements import element_rank
from geochem.model.finding import Finding
from geochem.model.surface import Surface
from geochem.model.tables import elements_of, values_of
from geochem.stats.censored import fit_censored_normal, mean_below
from geochem.surfaces.estimate import METHODS, estimate
from geochem.surfaces.grid import Grid, make_grid

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt

    from geochem.model.evidence import Evidence
    from geochem.model.layers import Layers, Spacing

    FloatArray = npt.NDArray[np.float64]

#: media whose samples may be interpolated
INTERPOLATED = ("soil", "till")
_LEAST = 30
_MOST_BELOW = 0.4


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
) -> tuple[tuple[Surface, ...], tuple[Finding, ...]]:
    """Interpolate the leading elements and the leading association of each dense medium.

    Elements are interpolated on log10 and shown in mg/kg: the surface is an estimate of the local
    median (the mean lies higher). A value below detection enters as the expected value under its
    limit, with the matching error variance.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        Samples table with accepted values.
    evidence : Evidence
        Counted elements and association scores.
    spacings : sequence of Spacing
        Of the grids.
    layers : Layers
        The ``boundary`` cuts the grid.
    elements : sequence of str, optional
        Default: the three counted elements with most samples beyond z = 2.
    method : {"ordinary_kriging", "inverse_distance"}
        How.
    max_cells : int, default 30000
        Cells of one grid at most.
    seed : int, default 1
        Of cross-validation.

    Returns
    -------
    surfaces : tuple of Surface
        By medium, elements first.
    findings : tuple of Finding
        What could not be interpolated and why; surfaces no better than the median.
    """
    surfaces: list[Surface] = []
    findings: list[Finding] = []
    boundary = layers.get("boundary")
    outline = boundary.geometry.union_all() if boundary is not None and len(boundary) else None
    for medium in INTERPOLATED:
        chosen = (samples["medium"] == medium).to_numpy()
        grids = [s for s in spacings if s.medium == medium]
        if not chosen.any() or not grids:
            continue
        mine = samples.loc[chosen].reset_index(drop=True)
        xy = np.column_stack([mine.geometry.x, mine.geometry.y])
        if len(np.unique(xy, axis=0)) < _LEAST:
            findings.append(
                Finding(
                    "surface-few-samples",
                    "note",
                    f"{medium}: {len(mine)} samples are too few for a surface; at least {_LEAST} "
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
            boundary=outline,
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
        names = list(elements) if elements else _leading(evidence, medium)
        for element in sorted(set(names), key=element_rank):
            made, found = _element(mine, xy, grid, element, medium, method, seed)
            findings += found
            if made is not None:
                surfaces.append(made)
        made, found = _association(evidence, grid, medium, method, seed)
        findings += found
        if made is not None:
            surfaces.append(made)
    return tuple(surfaces), tuple(findings)


def _leading(evidence: Evidence, medium: str) -> list[str]:
    table = evidence.anomalies
    rows = (table["medium"] == medium).to_numpy()
    count = {
        e: int((table[f"{e}_z"].to_numpy()[rows] > 2).sum())
        for e in evidence.elements
        if f"{e}_z" in table.columns
    }
    return sorted(count, key=lambda e: (-count[e], element_rank(e)))[:3]


def _element(
    mine: Any, xy: FloatArray, grid: Grid, element: str, medium: str, method: str, seed: int
) -> tuple[Surface | None, list[Finding]]:
    if element not in elements_of(mine):
        return None, []
    value, below, _, err = values_of(mine, element)
    known = np.isfinite(value) & (value > 0)
    share = below[known].mean() if known.any() else 1.0
    if known.sum() < _LEAST or share > _MOST_BELOW:
        return None, [
            Finding(
                "surface-element",
                "note",
                f"{medium}: no surface of {element}: {int(known.sum())} values, {share:.0%} of "
                f"them below detection (at least {_LEAST} values and at most {_MOST_BELOW:.0%} "
                "below are needed).",
                element=element,
            )
        ]
    z = np.full(len(value), np.nan)
    z[known] = np.log10(value[known])
    variance = np.zeros(len(value))
    measured = known & ~below & np.isfinite(err)
    variance[measured] = (err[measured] / value[measured] / np.log(10.0)) ** 2
    limit = known & below
    if limit.any():
        fit = fit_censored_normal(z[known], below=below[known])
        # without a fit (hardly any detects) the limit itself stands, as uncertain as half of it
        expected = z[limit] - 0.3 if fit is None else mean_below(fit.mean, fit.sd, z[limit])
        z[limit], limits = expected, z[limit]
        variance[limit] = (limits - expected) ** 2
    return _make(
        xy, z, grid, f"{element}_ppm", element, "mg/kg", medium, method, variance, seed, log=True
    )


def _association(
    evidence: Evidence, grid: Grid, medium: str, method: str, seed: int
) -> tuple[Surface | None, list[Finding]]:
    rows = (evidence.anomalies["medium"] == medium).to_numpy()
    if evidence.scores.empty or not rows.any():
        return None, []
    scores = evidence.scores.loc[rows]
    coherence = evidence.coherence.reindex(columns=scores.columns).loc[rows]
    strength = coherence.max().fillna(scores.quantile(0.99))
    name = str(strength.fillna(-np.inf).idxmax())
    title = next((a.title for a in evidence.associations if a.name == name), name)
    points = evidence.anomalies.geometry.to_numpy()[rows]
    xy = np.array([(p.x, p.y) for p in points])
    return _make(
        xy, scores[name].to_numpy(float), grid, name, f"{title} score", "standard deviations",
        medium, method, None, seed, log=False,
    )  # fmt: skip


def _make(
    xy: FloatArray,
    z: FloatArray,
    grid: Grid,
    name: str,
    title: str,
    unit: str,
    medium: str,
    method: str,
    variance: FloatArray | None,
    seed: int,
    *,
    log: bool,
) -> tuple[Surface | None, list[Finding]]:
    if np.isfinite(z).sum() < _LEAST:
        return None, []
    used = method
    found = estimate(xy, z, grid.centres, method=used, error_variance=variance, seed=seed)
    findings = []
    if used == "ordinary_kriging" and not np.isfinite(found.values).any():
        used = "inverse_distance"
        found = estimate(xy, z, grid.centres, method=used, seed=seed)
        findings.append(
            Finding(
                "surface-no-variogram",
                "note",
                f"{medium}: no variogram could be fitted for {title}; inverse distance was used.",
            )
        )
    checks = found.cross_validation
    if checks["rmse"] >= checks["rmse_of_median"]:
        findings.append(
            Finding(
                "surface-no-better",
                "warning",
                f"{medium}: the surface of {title} predicts left-out samples no better than their "
                f"median (error {checks['rmse']:.3g} against {checks['rmse_of_median']:.3g}); "
                "read it as a picture only.",
            )
        )
    values = 10.0**found.values if log else found.values
    suffix = "" if medium == INTERPOLATED[0] else f"_{medium}"
    scale = "log10 of mg/kg; the surface is the local median" if log else "scores as they are"
    return Surface(
        name=name + suffix,
        title=title,
        unit=unit,
        medium=medium,
        values=grid.spread(values),
        deviation=None if found.deviation is None else grid.spread(found.deviation),
        west=grid.west,
        north=grid.north,
        cell=grid.cell,
        method=used,
        reference=METHODS[used],
        n_used=found.n_used,
        cross_validation=checks,
        details={**found.details, "scale": scale},
    ), findings
