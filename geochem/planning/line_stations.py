"""Parallel lines across the ground, stations measured along each line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from geochem.planning.grids import axes_of, extent, steps

if TYPE_CHECKING:
    from geochem.planning.ground import Ground

Floats = npt.NDArray[np.float64]


def line_places(
    ground: Ground,
    line_spacing: float,
    station_spacing: float,
    azimuth: float,
    *,
    origin: tuple[float, float] | None = None,
) -> list[Floats]:
    """Give stations along parallel lines, centred on every stretch of line that is allowed.

    Unlike a grid, stations of neighbouring lines need not stand side by side; every stretch of
    at least half a station spacing gets a station.

    Parameters
    ----------
    ground : Ground
        Where samples may stand.
    line_spacing, station_spacing : float
        Across and along the lines. [m]
    azimuth : float
        Of the lines, from grid north. [degrees]
    origin : (float, float), optional
        A place that a line goes through.

    Returns
    -------
    list of ndarray, shape (n_points, 2)
        One per line that has points.
    """
    import shapely

    axes = axes_of(azimuth)
    low_t, high_t, low_s, high_s = extent(ground, axes)
    fixed = None if origin is None else float((axes @ np.asarray(origin, dtype=float))[1])
    lines = []
    for s in steps(low_s, high_s, line_spacing, fixed):
        ends = np.array([[low_t - 1.0, s], [high_t + 1.0, s]]) @ axes
        allowed = shapely.intersection(shapely.LineString(ends), ground.shape)
        stretches = [p for p in shapely.get_parts(allowed) if p.geom_type == "LineString"]
        spans = sorted(sorted((shapely.get_coordinates(p) @ axes.T)[:, 0]) for p in stretches)
        along = [
            steps(span[0], span[-1], station_spacing, None)
            for span in spans
            if span[-1] - span[0] >= 0.5 * station_spacing
        ]
        if along:
            t = np.concatenate(along)
            lines.append(np.column_stack([t, np.full(len(t), s)]) @ axes)
    return lines
