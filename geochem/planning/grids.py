"""Square, rectangular and staggered grids."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from geochem.planning.ground import Ground

Floats = npt.NDArray[np.float64]


def axes_of(azimuth: float) -> Floats:
    """Give the unit vectors along the lines and across them (to the right); shape (2, 2)."""
    turn = math.radians(azimuth)
    return np.array([[math.sin(turn), math.cos(turn)], [math.cos(turn), -math.sin(turn)]])


def extent(ground: Ground, axes: Floats) -> tuple[float, float, float, float]:
    """Give the least and largest distance along and across: ``low_t, high_t, low_s, high_s``."""
    import shapely

    turned = shapely.get_coordinates(ground.shape) @ axes.T
    low, high = turned.min(axis=0), turned.max(axis=0)
    return float(low[0]), float(high[0]), float(low[1]), float(high[1])


def steps(low: float, high: float, spacing: float, origin: float | None) -> Floats:
    """Give positions in a range, centred in it, or in step with an origin."""
    if origin is None:
        n = max(math.floor((high - low) / spacing + 1e-9), 0)
        start = low + 0.5 * (high - low - n * spacing)
        return start + spacing * np.arange(n + 1, dtype=float)
    first = math.ceil((low - origin) / spacing - 1e-9)
    last = math.floor((high - origin) / spacing + 1e-9)
    return origin + spacing * np.arange(first, last + 1, dtype=float)


def grid_places(
    ground: Ground,
    line_spacing: float,
    station_spacing: float,
    azimuth: float,
    *,
    staggered: bool = False,
    origin: tuple[float, float] | None = None,
) -> list[Floats]:
    """Give the places of a grid that lie on the ground, line by line.

    Parameters
    ----------
    ground : Ground
        Where samples may stand.
    line_spacing, station_spacing : float
        Across and along the lines. [m]
    azimuth : float
        Of the lines, from grid north. [degrees]
    staggered : bool, default False
        Shift every second line by half a station spacing.
    origin : (float, float), optional
        A place that the grid goes through, to continue an older one.

    Returns
    -------
    list of ndarray, shape (n_points, 2)
        One per line that has points, from left to right seen along the lines.
    """
    axes = axes_of(azimuth)
    low_t, high_t, low_s, high_s = extent(ground, axes)
    fixed = axes @ np.asarray(origin, dtype=float) if origin is not None else None
    across = steps(low_s, high_s, line_spacing, None if fixed is None else float(fixed[1]))
    along = steps(low_t, high_t, station_spacing, None if fixed is None else float(fixed[0]))
    # one more at the end for the shifted lines
    along = np.append(along, along[-1:] + station_spacing)
    if fixed is None:
        number = np.arange(len(across))
    else:
        number = np.rint((across - fixed[1]) / line_spacing).astype(int)
    lines = []
    for s, n in zip(across, number, strict=True):
        shift = -0.5 * station_spacing if staggered and n % 2 else 0.0
        xy = np.column_stack([along + shift, np.full(len(along), s)]) @ axes
        inside = xy[ground.holds(xy)]
        if len(inside):
            lines.append(inside)
    return lines
