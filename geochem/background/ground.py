"""Where samples lie, and how much ground each of them stands for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from geochem.model.layers import Spacing

    Array = npt.NDArray[np.float64]


def point_coordinates(samples: pd.DataFrame) -> Array | None:
    """Take easting and northing from a table with point geometry.

    Parameters
    ----------
    samples : pandas.DataFrame or geopandas.GeoDataFrame
        Any table.

    Returns
    -------
    ndarray, shape (n, 2) or None
        None when there is no point geometry; NaN where a point is missing.
    """
    geometry = getattr(samples, "_geometry_column_name", None)
    if geometry is None or geometry not in samples.columns or not len(samples):
        return None
    points = samples.geometry
    kinds = set(points.geom_type.dropna())
    if kinds != {"Point"}:
        return None
    return np.column_stack([points.x.to_numpy(dtype=float), points.y.to_numpy(dtype=float)])


def decluster(xy: Array, grids: Sequence[Spacing] = ()) -> Array:
    """Give declustering weights with a cell as wide as the reconnaissance spacing.

    Of one regular grid the cell is as long as the stations and as wide as the lines are apart,
    turned with them, so that an even grid has even weights. Otherwise it is a square as wide as
    the larger of the two (several grids: the median over the ground they cover). Where the
    samples themselves, weighted by ground, lie wider apart than that, the cell is as wide.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Easting, northing. [m]
    grids : sequence of Spacing, optional
        Measured ones of this medium.

    Returns
    -------
    ndarray, shape (n,)
        Mean one over located samples; samples without position get one.
    """
    from geochem.stats.declustering import cell_weights, reconnaissance_spacing

    located = np.isfinite(xy).all(axis=1)
    weights = np.ones(len(xy))
    if located.sum() < 2:
        return weights
    place = xy[located] - np.median(xy[located], axis=0)
    size = _cell(grids)
    one = grids[0] if len(grids) == 1 else None
    if one is not None and one.regular and one.station_spacing > 0 and np.isfinite(one.azimuth):
        turn = np.deg2rad(one.azimuth)
        along = place @ np.array([np.sin(turn), np.cos(turn)])
        across = place @ np.array([np.cos(turn), -np.sin(turn)])
        wide, long = one.line_spacing, one.station_spacing
        place = np.column_stack([across * (size / wide), along * (size / long)])
    found = reconnaissance_spacing(place)
    sizes = [s for s in (size, found) if np.isfinite(s) and s > 0]
    if sizes:
        weights[located] = cell_weights(place, max(sizes))
    return weights


def _cell(grids: Sequence[Spacing]) -> float:
    """Larger of line and station spacing, median over the ground of the grids; NaN if unknown."""
    from geochem.stats.robust import weighted_quantile

    sizes = np.array([np.fmax(s.line_spacing, s.station_spacing) for s in grids], dtype=float)
    area = np.array([s.area_km2 for s in grids], dtype=float)
    ok = np.isfinite(sizes) & (sizes > 0)
    if not ok.any():
        return float("nan")
    # weighted by ground, not by samples: a dense infill grid does not set the cell
    area = np.where(np.isfinite(area) & (area > 0), area, 0.0)[ok]
    return float(weighted_quantile(sizes[ok], 0.5, area if area.any() else None))
