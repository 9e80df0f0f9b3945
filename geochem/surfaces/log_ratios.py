"""Surfaces of several elements together, as a composition.

Each isometric log-ratio coordinate is kriged; the way back gives parts that are positive and,
with the rest of the sample as last part, sum to the whole everywhere.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.model.finding import Finding
from geochem.stats.logratio import ilr_inv_rows, ilr_rows, pivot_rows
from geochem.surfaces.element import Site, finish, interpolate
from geochem.surfaces.pieces import LEAST

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from geochem.model.surface import Surface
    from geochem.surfaces.pieces import Whole

    FloatArray = npt.NDArray[np.float64]

_WHOLE = 1.0e6
#: points that stand for the normal distribution of the coordinates
_NODES = 64


def log_ratio_surfaces(
    site: Site, parts: Sequence[str], logs: FloatArray
) -> tuple[list[Surface], list[Finding]]:
    """Interpolate a composition.

    Parameters
    ----------
    site : Site
        Samples, cells, options.
    parts : sequence of str
        Elements.
    logs : ndarray, shape (n, n_parts)
        log10 of mg/kg; NaN where not known.

    Returns
    -------
    surfaces : list of Surface
        One per element, named ``<El>_ppm_log_ratio``: the centre (back-transformed coordinates)
        or, with ``show = "mean"``, the expected value under normal errors of the coordinates; its
        deviation is that of log10 of the part.
    findings : list of Finding
        Why there are none.

    References
    ----------
    Pawlowsky-Glahn, V. and Olea, R. A. 2004. Geostatistical analysis of compositional data.
    Oxford (kriging of log-ratios, expectation by numerical integration).
    """
    amounts = np.power(10.0, logs)
    rest = _WHOLE - amounts.sum(axis=1)
    complete = np.isfinite(logs).all(axis=1) & (rest > 0)
    if complete.sum() < LEAST or len(parts) < 1:
        return [], [
            Finding(
                "surface-log-ratios", "note",
                f"{site.medium}: no log-ratio surfaces of {', '.join(parts)}: {int(complete.sum())} "
                f"samples have them all; at least {LEAST} are needed.",
            )
        ]  # fmt: skip
    basis = pivot_rows(len(parts) + 1)
    coordinates = np.full((len(logs), len(parts)), np.nan)
    whole_sample = np.column_stack([amounts, rest])[complete]
    coordinates[complete] = ilr_rows(whole_sample, basis)
    findings: list[Finding] = []
    found: list[Whole] = []
    method = site.method
    for j in range(len(parts)):
        whole, method, noticed = interpolate(
            site, coordinates[:, j], None, f"log-ratio {j + 1} of {', '.join(parts)}"
        )
        findings += noticed
        if whole is None:
            return [], findings
        found.append(whole)
    values = np.column_stack([w.values for w in found])
    spread = np.sqrt(np.nan_to_num(np.column_stack([w.variance for w in found])))
    centre = _WHOLE * ilr_inv_rows(values, basis)
    mean, deviation = _moments(values, spread, basis)
    shown = mean if site.options.show == "mean" else centre
    made = []
    for i, element in enumerate(parts):
        surface = finish(
            site, found[0], shown[:, i], method, name=f"{element}_ppm_log_ratio", title=element,
            unit="mg/kg",
            scale=f"isometric log-ratios of {', '.join(parts)} and the rest; the surface is the "
            + ("local mean" if site.options.show == "mean" else "local centre"),
        )  # fmt: skip
        if surface.deviation is not None:
            surface.deviation[site.grid.shown] = np.where(
                np.isfinite(shown[:, i]), deviation[:, i], np.nan
            )
        made.append(surface)
    return made, findings


def _moments(
    values: FloatArray, spread: FloatArray, basis: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Integrate over normal coordinates: mean of the parts, standard deviation of their log10."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    points = qmc.Sobol(values.shape[1], scramble=False).random(_NODES)
    # the middle of each of the equal intervals of a coordinate, so that none lies at infinity
    nodes = ndtri((np.floor(points * _NODES) + 0.5) / _NODES)
    nodes = nodes / nodes.std(axis=0)
    total = np.zeros((len(values), values.shape[1] + 1))
    logs, squares = np.zeros_like(total), np.zeros_like(total)
    for node in nodes:
        parts = _WHOLE * ilr_inv_rows(values + spread * node, basis)
        total += parts
        log = np.log10(parts)
        logs += log
        squares += log * log
    n = len(nodes)
    variance = np.maximum(squares / n - (logs / n) ** 2, 0.0)
    return total / n, np.sqrt(variance)
