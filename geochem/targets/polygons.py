"""Polygons around places of a grid: never finer than the sampling supports.

What lives here: geometry only. A polygon is drawn in spacing-scaled coordinates (triangles and
lines between neighbouring members, widened by half a spacing) and turned into map coordinates.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt
    from shapely.geometry import Polygon
    from shapely.geometry.base import BaseGeometry

    from geochem.targets.ground import Ground

    FloatArray = npt.NDArray[np.float64]

#: half a spacing: what one sample speaks for
HALF = 0.5
#: longest side of a triangle that is filled, in spacings (a diagonal, and some scatter)
LONGEST = 1.75


def around_places(ground: Ground, places: npt.NDArray[np.intp]) -> BaseGeometry:
    """Draw the outline of some places.

    Parameters
    ----------
    ground : Ground
        Where they stand.
    places : ndarray of int
        Members.

    Returns
    -------
    shapely geometry
        A valid polygon without holes, in map coordinates. When the members do not hang together
        the pieces are joined by the shortest bridge half a spacing wide.
    """
    import shapely

    points = ground.places[places]
    shape = _hull(points)
    if shape.geom_type == "MultiPolygon":
        shape = _bridged(shape)
    shape = shape.simplify(0.03)
    ring = ground.to_map(np.asarray(shape.exterior.coords))
    out = shapely.make_valid(shapely.Polygon(ring))
    return shapely.normalize(largest(out))


def _hull(points: FloatArray) -> BaseGeometry:
    import shapely
    from scipy.spatial import QhullError, cKDTree

    pairs = np.array(sorted(cKDTree(points).query_pairs(LONGEST)), dtype=int).reshape(-1, 2)
    pieces = [shapely.points(points), shapely.linestrings(points[pairs])]
    if len(points) >= 3:
        from scipy.spatial import Delaunay

        try:
            corners = points[Delaunay(points).simplices]
        except QhullError:
            corners = np.empty((0, 3, 2))
        if len(corners):
            side = np.sqrt(((corners - np.roll(corners, 1, axis=1)) ** 2).sum(axis=2))
            pieces.append(shapely.polygons(corners[side.max(axis=1) <= LONGEST]))
    shape = shapely.union_all(shapely.buffer(np.concatenate(pieces), HALF, quad_segs=4))
    return _filled(shape)


def _filled(shape: BaseGeometry) -> BaseGeometry:
    import shapely

    return shapely.union_all([shapely.Polygon(p.exterior) for p in parts(shape)])


def _bridged(shape: BaseGeometry) -> Polygon:
    import shapely

    pieces = sorted(parts(shape), key=lambda p: (-p.area, p.bounds))
    whole = pieces[0]
    for piece in pieces[1:]:
        bridge = shapely.shortest_line(whole, piece).buffer(HALF / 2, quad_segs=2)
        whole = _filled(shapely.union_all([whole, piece, bridge]))
    return largest(whole)


def around_few(points: FloatArray, width: float) -> BaseGeometry:
    """Draw a lead: a strip along few samples, no wider than `width`.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Easting and northing. [m]
    width : float
        Whole width. [m]

    Returns
    -------
    shapely geometry
        A valid polygon.
    """
    import shapely

    order = np.lexsort([points[:, 1], points[:, 0]])
    distinct = np.unique(points[order], axis=0)
    if len(distinct) == 1:
        core: BaseGeometry = shapely.Point(distinct[0])
    else:
        centred = distinct - distinct.mean(axis=0)
        direction = np.linalg.svd(centred, full_matrices=False)[2][0]
        along = np.argsort(np.round(centred @ direction, 3), kind="stable")
        core = shapely.LineString(distinct[along])
    # an exact circle is never reached by its polygon, so the strip stays within the width
    return shapely.normalize(core.buffer(width / 2, quad_segs=6))


def parts(shape: BaseGeometry) -> list[Polygon]:
    """List the polygons of any geometry, biggest first."""
    if shape.is_empty:
        return []
    if shape.geom_type == "Polygon":
        return [shape]
    found = [p for g in getattr(shape, "geoms", []) for p in parts(g)]
    return sorted(found, key=lambda p: (-p.area, p.bounds))


def largest(shape: BaseGeometry) -> Polygon:
    """Give the biggest polygon of any geometry; an empty polygon when there is none."""
    import shapely

    found = parts(shape)
    return found[0] if found else shapely.Polygon()


def clipped(shape: BaseGeometry, boundary: BaseGeometry | None) -> BaseGeometry:
    """Cut a polygon at the boundary; the biggest piece is kept."""
    import shapely

    if boundary is None or boundary.contains(shape):
        return shape
    return shapely.normalize(largest(shapely.make_valid(shape.intersection(boundary))))
