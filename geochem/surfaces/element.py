"""The surface of one element: estimate, uncertainty, chance of exceeding, simulations."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.model.finding import Finding
from geochem.model.surface import Surface
from geochem.stats.back_transform import indicators, ordered_chances
from geochem.stats.conditional_simulation import simulate_conditional
from geochem.surfaces.entering import Entering
from geochem.surfaces.estimate import METHODS, estimate
from geochem.surfaces.grid import Grid
from geochem.surfaces.options import SurfaceOptions
from geochem.surfaces.pieces import LEAST, Piece, Whole, estimate_pieces
from geochem.surfaces.scale import Scale, make_scale

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]
    BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """What the surfaces of one medium share.

    Parameters
    ----------
    medium, suffix : str
        Whose samples, and what their files end with.
    xy : ndarray, shape (n, 2)
        Samples. [m]
    grid : Grid
        Cells.
    pieces : tuple of Piece
        Pieces of ground.
    covered : ndarray of bool, shape (n_rows, n_cols), optional
        Cells on transported cover.
    method : str
        ``ordinary_kriging`` or ``inverse_distance``.
    options : SurfaceOptions
        Everything else.
    seed : int
        Of cross-validation and simulation.
    weights : ndarray, shape (n,), optional
        Declustering weights.
    """

    medium: str
    suffix: str
    xy: FloatArray
    grid: Grid
    pieces: tuple[Piece, ...]
    covered: BoolArray | None
    method: str
    options: SurfaceOptions
    seed: int
    weights: FloatArray | None = None


def element_surface(
    site: Site,
    element: str,
    entered: Entering,
    *,
    limits: BoolArray,
    threshold: float = float("nan"),
) -> tuple[Surface | None, list[Finding]]:
    """Interpolate one element.

    Parameters
    ----------
    site : Site
        Samples, cells, options.
    element : str
        Symbol.
    entered : Entering
        Its values.
    limits : ndarray of bool, shape (n,)
        Values below detection.
    threshold : float, optional
        Chance of exceeding it is given. [mg/kg]

    Returns
    -------
    surface : Surface or None
        In mg/kg; None when there are too few samples.
    findings : list of Finding
        What the reader should know.
    """
    scale = make_scale(site.options.transform, 10.0**entered.log, site.weights)
    z, variance = entered.on(scale)
    whole, method, findings = interpolate(site, z, variance, element)
    if whole is None:
        return None, findings
    mean = site.options.show == "mean" and method == "ordinary_kriging"
    values = (
        scale.mean(whole.values, whole.variance, whole.lagrange)
        if mean
        else scale.median(whole.values)
    )
    surface = finish(
        site, whole, values, method, name=f"{element}_ppm", title=element, unit="mg/kg",
        scale=f"{scale.words}; the surface is the local {'mean' if mean else 'median'}",
    )  # fmt: skip
    if method != "ordinary_kriging":
        return surface, findings
    if np.isfinite(threshold) and threshold > 0:
        chance = _chance(site, whole, scale, entered, limits, threshold)
        surface = replace(surface, chance=site.grid.spread(chance), threshold=float(threshold))
    if site.options.simulations:
        surface = replace(surface, simulated=_simulated(site, whole, scale, threshold))
    return surface, findings


def interpolate(
    site: Site, z: FloatArray, variance: FloatArray | None, title: str
) -> tuple[Whole | None, str, list[Finding]]:
    """Estimate values on a scale, by inverse distance where no variogram can be had.

    Parameters
    ----------
    site : Site
        Samples, cells, options.
    z, variance : ndarray, shape (n,)
        Values and error variances.
    title : str
        For messages.

    Returns
    -------
    whole : Whole or None
        None when there are too few samples.
    method : str
        What was used.
    findings : list of Finding
        Of the method, of pieces without surface, of a surface no better than the median.
    """
    medium, findings = site.medium, []
    if np.isfinite(z).sum() < LEAST:
        return None, site.method, []
    method = site.method
    common: dict[str, Any] = {"options": site.options, "seed": site.seed}
    whole = estimate_pieces(
        site.pieces, site.xy, z, site.grid, method=method, error_variance=variance, **common
    )
    if whole is None:
        return None, method, [
            Finding(
                "surface-pieces", "note",
                f"{medium}: no surface of {title}: no unit of '{site.options.by}' has {LEAST} "
                "samples.",
            )
        ]  # fmt: skip
    if method == "ordinary_kriging" and not np.isfinite(whole.values).any():
        method = "inverse_distance"
        whole = estimate_pieces(
            site.pieces, site.xy, z, site.grid, method=method, error_variance=None, **common
        )
        assert whole is not None
        findings.append(
            Finding(
                "surface-no-variogram", "note",
                f"{medium}: no variogram could be fitted for {title}; inverse distance was used.",
            )
        )  # fmt: skip
    if whole.missing:
        findings.append(
            Finding(
                "surface-piece-without-samples", "note",
                f"{medium}: the surface of {title} is blank on {', '.join(whole.missing)}: fewer "
                f"than {LEAST} samples there.",
            )
        )  # fmt: skip
    if not whole.checks.better_than_median():
        checks = whole.checks.table()
        findings.append(
            Finding(
                "surface-no-better", "warning",
                f"{medium}: the surface of {title} predicts left-out samples not surely better "
                f"than their median (error {checks['rmse']:.3g} against {checks['rmse_of_median']:.3g}); "
                "read it as a picture only.",
            )
        )  # fmt: skip
    return whole, method, findings


def finish(
    site: Site,
    whole: Whole,
    values: FloatArray,
    method: str,
    *,
    name: str,
    title: str,
    unit: str,
    scale: str,
) -> Surface:
    """Put an estimate on the grid.

    Parameters
    ----------
    site, whole : Site, Whole
        Where, and what was estimated.
    values : ndarray, shape (n_shown,)
        In the unit that is shown.
    method, name, title, unit, scale : str
        Words of the surface.

    Returns
    -------
    Surface
        With cross-validation and cover.
    """
    grid, options = site.grid, site.options
    if site.covered is not None and options.cover == "mask":
        values = np.where(site.covered[grid.shown], np.nan, values)
    known = np.isfinite(whole.variance).any()
    deviation = np.sqrt(np.where(np.isfinite(values), whole.variance, np.nan))
    checks = whole.checks
    kind = "" if method != "ordinary_kriging" or options.kind == "ordinary" else options.kind
    return Surface(
        name=name + site.suffix,
        title=title,
        unit=unit,
        medium=site.medium,
        values=grid.spread(values),
        deviation=grid.spread(deviation) if known else None,
        west=grid.west,
        north=grid.north,
        cell=grid.cell,
        method=f"{kind}_kriging" if kind else method,
        reference=METHODS[method],
        n_used=whole.n_used,
        cross_validation=checks.table(),
        details={**whole.details, "scale": scale, "block": options.block},
        covered=site.covered if options.cover == "mark" else None,
        left_out={
            "true": checks.true, "predicted": checks.predicted, "deviation": checks.deviation,
            "blocked": checks.blocked,
        },
    )  # fmt: skip


def _chance(
    site: Site,
    whole: Whole,
    scale: Scale,
    entered: Entering,
    limits: BoolArray,
    threshold: float,
) -> FloatArray:
    if site.options.chance == "normal":
        return scale.chance(whole.values, whole.variance, threshold)
    flags = indicators(10.0**entered.log, [threshold], below=limits)[:, 0]
    out = np.full(len(whole.values), np.nan)
    centres = site.grid.centres
    for piece, _ in whole.parts:
        mine = piece.samples & np.isfinite(flags)
        if len(np.unique(flags[mine])) < 2:
            # all alike: nothing to krige, the share among the samples stands for all cells
            out[piece.cells] = flags[mine].mean() if mine.any() else np.nan
            continue
        found = estimate(
            site.xy[mine], flags[mine], centres[piece.cells], method="ordinary_kriging",
            options=replace(site.options, kind="ordinary", block=False), seed=site.seed,
        )  # fmt: skip
        out[piece.cells] = ordered_chances(found.values[:, None])[:, 0]
    return out


def _simulated(site: Site, whole: Whole, scale: Scale, threshold: float) -> dict[str, FloatArray]:
    """Give quantiles of conditional simulations, and the share that exceeds the threshold."""
    n = site.options.simulations
    names = ("p10", "p50", "p90", "chance")
    out = {name: np.full(len(whole.values), np.nan) for name in names}
    centres = site.grid.centres
    for number, (piece, found) in enumerate(whole.parts):
        variogram = found.details["variogram"]
        if not variogram.sill > 0:
            continue
        fields = simulate_conditional(
            found.places, found.merged, centres[piece.cells], variogram, n_fields=n,
            rng=np.random.default_rng([site.seed, number]), neighbours=site.options.neighbours,
            mean=float(found.merged.mean()) if site.options.kind == "simple" else None,
            error_variance=found.error, n_waves=512,
        )  # fmt: skip
        for name, q in zip(names, (0.1, 0.5, 0.9), strict=False):
            out[name][piece.cells] = scale.median(np.quantile(fields, q, axis=0))
        if np.isfinite(threshold) and threshold > 0:
            limit = float(scale.forward(np.array([threshold]))[0])
            out["chance"][piece.cells] = (fields > limit).mean(axis=0)
    return {name: site.grid.spread(values) for name, values in out.items()}
