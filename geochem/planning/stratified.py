"""Random-stratified points: one at a random place in every cell of a grid."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from geochem.planning.grids import axes_of, extent

if TYPE_CHECKING:
    from geochem.planning.ground import Ground

Floats = npt.NDArray[np.float64]


def stratified_places(
    ground: Ground, line_spacing: float, station_spacing: float, azimuth: float, *, seed: int = 1
) -> list[Floats]:
    """Give one random place per cell, kept when it lies on the ground.

    Every bit of ground has the same chance, also at the edge: a cell that is half outside has a
    point half of the time.

    Parameters
    ----------
    ground : Ground
        Where samples may stand.
    line_spacing, station_spacing : float
        Sides of a cell. [m]
    azimuth : float
        Of the rows of cells, from grid north. [degrees]
    seed : int, default 1
        Of the random places.

    Returns
    -------
    list of ndarray, shape (n_points, 2)
        One per row of cells that has points.
    """
    axes = axes_of(azimuth)
    low_t, high_t, low_s, high_s = extent(ground, axes)
    columns = int(np.ceil((high_t - low_t) / station_spacing - 1e-9))
    rows = int(np.ceil((high_s - low_s) / line_spacing - 1e-9))
    start_t = low_t - 0.5 * (columns * station_spacing - (high_t - low_t))
    start_s = low_s - 0.5 * (rows * line_spacing - (high_s - low_s))
    random = np.random.default_rng(seed).random((max(rows, 1), max(columns, 1), 2))
    lines = []
    for row, inside in enumerate(random):
        t = start_t + (np.arange(len(inside)) + inside[:, 0]) * station_spacing
        s = start_s + (row + inside[:, 1]) * line_spacing
        xy = np.column_stack([t, s]) @ axes
        kept = xy[ground.holds(xy)]
        if len(kept):
            lines.append(kept)
    return lines
