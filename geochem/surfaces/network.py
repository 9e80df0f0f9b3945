"""How far it is along the streams from one sample to the next."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]


def distances_along(
    streams: Any, start: FloatArray, end: FloatArray, *, reach: float = 250.0
) -> FloatArray:
    """Measure along lines, whichever way they were drawn.

    Parameters
    ----------
    streams : geopandas.GeoDataFrame
        Lines; they meet where they share a vertex.
    start, end : ndarray, shape (n, 2)
        Pairs of places. [m]
    reach : float, default 250
        A place farther than this from every line has no distance. [m]

    Returns
    -------
    ndarray, shape (n,)
        Length along the lines from vertex to vertex, plus the ways to them; NaN where there is no
        way. Lines are densified to 50 m, so that a place finds a vertex near it. [m]
    """
    import shapely
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import dijkstra
    from scipy.spatial import cKDTree

    out = np.full(len(start), np.nan)
    lines = [
        part
        for part in shapely.get_parts(streams.geometry.to_numpy())
        if part.geom_type in ("LineString", "LinearRing") and part.length > 0
    ]
    if not lines or not len(start):
        return out
    lines = list(shapely.segmentize(shapely.force_2d(np.array(lines, dtype=object)), 50.0))
    xy = [shapely.get_coordinates(line) for line in lines]
    every = np.round(np.concatenate(xy), 2)
    vertices, which = np.unique(every, axis=0, return_inverse=True)
    which = which.ravel()
    ends = np.cumsum([len(part) for part in xy])
    one = np.setdiff1d(np.arange(len(every) - 1), ends[:-1] - 1)
    left, right = which[one], which[one + 1]
    length = np.maximum(np.hypot(*(vertices[left] - vertices[right]).T), 1e-3)
    n = len(vertices)
    graph = csr_array((length, (left, right)), shape=(n, n))
    tree = cKDTree(vertices)
    to_start, from_vertex = tree.query(start)
    to_end, to_vertex = tree.query(end)
    near = (to_start <= reach) & (to_end <= reach)
    sources, number = np.unique(from_vertex[near], return_inverse=True)
    if not len(sources):
        return out
    found = dijkstra(graph, directed=False, indices=sources)
    way = found[number.ravel(), to_vertex[near]] + to_start[near] + to_end[near]
    out[near] = np.where(np.isfinite(way), way, np.nan)
    return out
