"""`SedimentCatchments`: the ground upstream of each stream sediment, and what it yields."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy as np
    import numpy.typing as npt
    import pandas as pd

STREAM = "stream sediment"


@dataclass(frozen=True, slots=True, eq=False)
class SedimentCatchments:
    """Catchments of stream sediments.

    Parameters
    ----------
    frame : geopandas.GeoDataFrame
        One row per sampled catchment, sorted by name: ``catchment, samples, area_km2, upstream``
        (sampled catchments inside it), ``downstream`` (name of the next sampled one, else None),
        ``distance_m`` (along the streams to it, NaN unknown), ``rocks`` (units by area), and per
        element ``<El>_ppm, <El>_expected, <El>_residual, <El>_productivity``.
    decay : pandas.DataFrame
        ``element, catchment, downstream, distance_m, rise, expected_rise, measured_rise, ratio``:
        what dilution lets expect of a rise one catchment further down. [mg/kg]
    rocks : pandas.DataFrame
        ``element, unit, background, method, explained``: what each rock unit contributes.
    elements : tuple of str
        Worked on, leading first.
    origin : str
        ``layer`` (polygons of the user) or ``elevation``.
    """

    frame: gpd.GeoDataFrame
    decay: pd.DataFrame
    rocks: pd.DataFrame
    elements: tuple[str, ...]
    origin: str


def smallest_holding(
    shapes: npt.NDArray[np.object_],
    names: npt.NDArray[np.object_] | None,
    x: npt.NDArray[np.float64],
    y: npt.NDArray[np.float64],
) -> tuple[npt.NDArray[np.intp], list[int]]:
    """Say which polygon holds each place: of nested ones the smallest.

    Parameters
    ----------
    shapes : ndarray of shapely geometry, shape (n_shapes,)
        Polygons, which may lie in one another.
    names : ndarray of str, shape (n_shapes,), optional
        Decide between polygons of equal area.
    x, y : ndarray, shape (n,)
        Places. [m]

    Returns
    -------
    owner : ndarray of int, shape (n,)
        Row of the polygon; -1 outside all.
    order : list of int
        Rows of the polygons from small to large.
    """
    import numpy as np
    import shapely

    area, corners = np.round(shapely.area(shapes), 3), shapely.bounds(shapes)
    order = sorted(
        range(len(shapes)),
        key=lambda i: (
            float(area[i]), "" if names is None else names[i], tuple(corners[i]),
        ),
    )  # fmt: skip
    points = shapely.points(x, y)
    owner = np.full(len(points), -1, dtype=np.intp)
    for i in order:
        free = np.flatnonzero(owner < 0)
        owner[free[shapely.covers(shapes[i], points[free])]] = i
    return owner, order
