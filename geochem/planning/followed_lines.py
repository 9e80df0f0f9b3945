"""Points along the user's own lines: ridges and spurs, or streams."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from geochem.errors import DataRefused, WrongCall
from geochem.planning.grids import steps

if TYPE_CHECKING:
    import geopandas as gpd

    from geochem.planning.ground import Ground

Floats = npt.NDArray[np.float64]

#: how far above a junction each arm is sampled at most, so that tributaries are told apart [m]
_SET_BACK = 50.0


def followed_places(
    ground: Ground, lines: gpd.GeoDataFrame, station_spacing: float, *, streams: bool
) -> list[Floats]:
    """Give points along lines that lie on the ground.

    Ridges: evenly along every stretch between two junctions or ends. Streams: a point on each arm
    a little off every junction, so that a sample stands for one tributary, and more points
    between, no farther apart than the spacing. Which way the water runs is not known here: the
    arm below the junction gets a point as well.

    Parameters
    ----------
    ground : Ground
        Where samples may stand.
    lines : geopandas.GeoDataFrame
        The user's lines in the working CRS.
    station_spacing : float
        Along the lines. [m]
    streams : bool
        Set points off the junctions.

    Returns
    -------
    list of ndarray, shape (n_points, 2)
        One per stretch, those of one original line after one another.

    Raises
    ------
    WrongCall
        If the CRS differs from that of the ground.
    DataRefused
        If there is no line, or none on the ground.
    """
    import shapely
    from scipy.spatial import cKDTree

    if lines.crs is None or not lines.crs.equals(ground.crs):
        raise WrongCall(
            "the lines to follow are not in the working CRS; convert them first (a campaign file "
            "does that by itself)."
        )
    shapes = [s for s in lines.geometry if s is not None and s.length > 0]
    if not shapes:
        raise DataRefused(
            "the layer to follow holds no line; draw ridges, spurs or streams as lines."
        )
    noded = shapely.line_merge(shapely.union_all(shapes))
    on_ground = shapely.intersection(noded, ground.shape)
    stretches = [
        p
        for p in shapely.get_parts(shapely.line_merge(_only_lines(on_ground)))
        if p.geom_type == "LineString" and p.length > 0
    ]
    if not stretches:
        raise DataRefused(
            "none of the lines to follow lies on allowed ground; check the layer, the boundary "
            "and keep_out."
        )
    stretches.sort(key=lambda p: tuple(np.round(shapely.get_coordinates(p)[0], 3)))
    junctions = _junctions(noded)
    back = min(0.25 * station_spacing, _SET_BACK)
    placed: list[Floats] = []
    for stretch in stretches:
        along = _along(stretch, station_spacing, junctions if streams else None, back)
        points = shapely.line_interpolate_point(stretch, along)
        placed.append(shapely.get_coordinates(points))
    # where ends meet, two arms would be sampled at one place
    least = back if streams else 0.5 * station_spacing
    kept: list[Floats] = []
    for xy in placed:
        if kept:
            distance, _ = cKDTree(np.vstack(kept)).query(xy)
            xy = xy[distance >= least * 0.999]
        xy = xy[ground.holds(xy)] if len(xy) else xy
        if len(xy):
            kept.append(xy)
    return kept


def _only_lines(shape: Any) -> Any:
    import shapely

    return shapely.union_all([p for p in shapely.get_parts(shape) if "Line" in p.geom_type])


def _junctions(noded: Any) -> Floats:
    """Find ends at which three or more stretches meet; shape (n, 2)."""
    import shapely

    ends = []
    for part in shapely.get_parts(noded):
        xy = shapely.get_coordinates(part)
        ends += [xy[0], xy[-1]]
    places, counts = np.unique(np.round(np.array(ends), 3), axis=0, return_counts=True)
    return np.asarray(places[counts >= 3], dtype=float)


def _along(stretch: Any, spacing: float, junctions: Floats | None, back: float) -> Floats:
    """Give distances along one stretch."""
    import shapely

    length = float(stretch.length)
    if junctions is None:
        return steps(0.0, length, spacing, None)
    xy = np.round(shapely.get_coordinates(stretch)[[0, -1]], 3)
    meets = [bool(len(junctions) and (np.hypot(*(junctions - end).T) < 0.01).any()) for end in xy]
    if length <= 2.0 * back or not any(meets):
        return np.array([0.5 * length]) if length < spacing else steps(0.0, length, spacing, None)
    first = back if meets[0] else min(0.5 * spacing, 0.5 * length)
    last = length - back if meets[1] else length - min(0.5 * spacing, 0.5 * length)
    if last - first < back:
        return np.array([first if meets[0] else last])
    return np.linspace(first, last, int(np.ceil((last - first) / spacing - 1e-9)) + 1)
