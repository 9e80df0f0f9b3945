"""Neighbourhood graphs: which samples stand beside which, on stretched sampling grids too.

What lives here: scaling of coordinates by line and station spacing, and graphs as binary
`scipy.sparse` CSR arrays (row i holds a 1 in the column of each neighbour of sample i).
What does not: statistics on the graphs (`local_statistics`). A sample without any neighbour (an
island) has an empty row; samples at one place are always neighbours of each other and count as
one place when the nearest places are counted. Nothing depends on the order of the rows.
To add a graph: a function that returns a CSR array of shape (n, n). Test to copy:
`tests/stats/test_neighbours.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt
    from scipy.sparse import csr_array

    FloatArray = npt.NDArray[np.float64]

#: two distances whose ratio is this close to one are tied
_TIE = 1.0 + 1e-9


def scaled_coordinates(
    easting: npt.ArrayLike,
    northing: npt.ArrayLike,
    azimuth: float,
    line_spacing: float,
    station_spacing: float,
) -> FloatArray:
    """Turn coordinates into the direction of the sampling lines and divide by the spacings.

    On a regular grid the four nearest samples then stand one unit away, however stretched the
    grid is.

    Parameters
    ----------
    easting, northing : array_like, shape (n,)
        Projected coordinates. [m]
    azimuth : float
        Direction of the lines, clockwise from grid north; NaN (no lines) is taken as 0. [degree]
    line_spacing, station_spacing : float
        Distance across and along the lines; positive. [m]

    Returns
    -------
    ndarray, shape (n, 2)
        Position across the lines, in line spacings, and along them, in station spacings. The
        origin is the middle of the samples' box, so large coordinates lose no digits. [-]

    Raises
    ------
    WrongCall
        If a spacing is not positive, or the shapes differ.

    Examples
    --------
    >>> scaled_coordinates([0, 200, 0], [0, 0, 50], 0.0, 200.0, 50.0).tolist()
    [[-0.5, -0.5], [0.5, -0.5], [-0.5, 0.5]]
    """
    x = np.asarray(easting, dtype=float)
    y = np.asarray(northing, dtype=float)
    if x.ndim != 1 or x.shape != y.shape:
        raise WrongCall(
            f"easting has shape {x.shape} and northing {y.shape}; "
            "give two one-dimensional arrays of the same length."
        )
    if not (line_spacing > 0 and station_spacing > 0):
        raise WrongCall(
            f"line spacing {line_spacing} and station spacing {station_spacing} must both be "
            "positive numbers of metres."
        )
    if not x.size:
        return np.empty((0, 2))
    x = x - (np.nanmin(x) + np.nanmax(x)) / 2
    y = y - (np.nanmin(y) + np.nanmax(y)) / 2
    angle = np.deg2rad(azimuth if np.isfinite(azimuth) else 0.0)
    along = x * np.sin(angle) + y * np.cos(angle)
    across = x * np.cos(angle) - y * np.sin(angle)
    return np.column_stack([across / line_spacing, along / station_spacing])


def nearest(xy: npt.ArrayLike, k: int, *, include_self: bool = False) -> csr_array:
    """Join each sample to those at the `k` nearest other places.

    Parameters
    ----------
    xy : array_like, shape (n, 2)
        Coordinates, usually scaled.
    k : int
        Number of places; those tied with the k-th are included, so that the graph does not
        depend on the order of the rows.
    include_self : bool, default False
        Also join each sample to itself.

    Returns
    -------
    scipy.sparse.csr_array, shape (n, n)
        Binary; not symmetric in general.

    Raises
    ------
    WrongCall
        If `k` is below 1 or the coordinates are not finite.

    Examples
    --------
    >>> nearest([[0, 0], [1, 0], [3, 0]], 1).toarray().astype(int).tolist()
    [[0, 1, 0], [1, 0, 0], [0, 1, 0]]
    """
    from scipy.spatial import cKDTree

    points = _checked(xy)
    if k < 1:
        raise WrongCall(f"k is {k}; at least one neighbour is needed.")
    places, place_of = _places(points)
    m = len(places)
    if m <= 1:
        return _from_places(np.empty(0, int), np.empty(0, int), place_of, m, include_self)
    tree = cKDTree(places)
    ask = min(m, k + 9)
    distance, index = tree.query(places, k=ask)
    limit = distance[:, min(k, m - 1)] * _TIE
    keep = distance <= limit[:, None]
    rows, columns = np.nonzero(keep)
    found = index[rows, columns]
    if ask < m and keep[:, -1].any():  # more ties than were asked for: look them up by distance
        open_rows = np.flatnonzero(keep[:, -1])
        lists = tree.query_ball_point(places[open_rows], limit[open_rows], return_sorted=True)
        closed = ~keep[rows, -1]
        rows = np.concatenate([rows[closed], np.repeat(open_rows, [len(e) for e in lists])])
        found = np.concatenate([found[closed], np.concatenate([np.asarray(e) for e in lists])])
    return _from_places(rows, found, place_of, m, include_self)


def within(xy: npt.ArrayLike, radius: float, *, include_self: bool = False) -> csr_array:
    """Join each sample to all others within a distance.

    Parameters
    ----------
    xy : array_like, shape (n, 2)
        Coordinates, usually scaled.
    radius : float
        Largest distance, itself included; in units of `xy`.
    include_self : bool, default False
        Also join each sample to itself.

    Returns
    -------
    scipy.sparse.csr_array, shape (n, n)
        Binary and symmetric.

    Raises
    ------
    WrongCall
        If `radius` is not positive or the coordinates are not finite.

    Examples
    --------
    >>> within([[0, 0], [1, 0], [3, 0]], 1.0).sum(axis=1).astype(int).tolist()
    [1, 1, 0]
    """
    from scipy.spatial import cKDTree

    points = _checked(xy)
    if not radius > 0:
        raise WrongCall(f"radius is {radius}; a positive distance is needed.")
    n = len(points)
    pairs = (
        cKDTree(points).query_pairs(radius * _TIE, output_type="ndarray")
        if n
        else np.empty((0, 2), dtype=int)
    )
    rows = np.concatenate([pairs[:, 0], pairs[:, 1]])
    columns = np.concatenate([pairs[:, 1], pairs[:, 0]])
    return _binary(rows, columns, n, include_self)


def delaunay(
    xy: npt.ArrayLike, max_length: float = np.inf, *, include_self: bool = False
) -> csr_array:
    """Join samples that are neighbours in the Delaunay triangulation.

    Parameters
    ----------
    xy : array_like, shape (n, 2)
        Coordinates, usually scaled.
    max_length : float, default inf
        Longer edges (across gaps and along the rim) are left out; in units of `xy`.
    include_self : bool, default False
        Also join each sample to itself.

    Returns
    -------
    scipy.sparse.csr_array, shape (n, n)
        Binary and symmetric. Where all samples stand on one line, each is joined to the next.

    Raises
    ------
    WrongCall
        If `max_length` is not positive or the coordinates are not finite.
    """
    points = _checked(xy)
    if not max_length > 0:
        raise WrongCall(f"max_length is {max_length}; a positive distance is needed.")
    places, place_of = _places(points)
    m = len(places)
    edges = _triangle_edges(places) if m > 1 else np.empty((0, 2), dtype=int)
    length = np.hypot(*(places[edges[:, 0]] - places[edges[:, 1]]).T)
    edges = edges[length <= max_length * _TIE]
    rows = np.concatenate([edges[:, 0], edges[:, 1]])
    columns = np.concatenate([edges[:, 1], edges[:, 0]])
    return _from_places(rows, columns, place_of, m, include_self)


def with_self(graph: Any) -> csr_array:
    """Give the same graph with each sample joined to itself.

    Parameters
    ----------
    graph : scipy.sparse array, shape (n, n)
        Binary or weighted; its diagonal is replaced by ones.

    Returns
    -------
    scipy.sparse.csr_array, shape (n, n)
        A new array.
    """
    from scipy.sparse import csr_array, diags_array

    own = csr_array(graph)
    off = own - diags_array(own.diagonal())
    return csr_array(off + diags_array(np.ones(own.shape[0])))


def islands(graph: Any) -> npt.NDArray[np.intp]:
    """List the samples that have no neighbour other than themselves.

    Parameters
    ----------
    graph : scipy.sparse array, shape (n, n)
        Any graph.

    Returns
    -------
    ndarray of int
        Row numbers, ascending.
    """
    from scipy.sparse import csr_array

    own = csr_array(graph)
    others = np.diff(own.indptr) - (own.diagonal() != 0)
    return np.flatnonzero(others <= 0)


def _checked(xy: npt.ArrayLike) -> FloatArray:
    points = np.asarray(xy, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2:
        raise WrongCall(f"coordinates have shape {points.shape}; (n, 2) is needed.")
    if not np.isfinite(points).all():
        n = int((~np.isfinite(points).all(axis=1)).sum())
        raise WrongCall(f"{n} coordinates are missing or infinite; leave such rows out first.")
    return points


def _places(points: FloatArray) -> tuple[FloatArray, npt.NDArray[np.intp]]:
    """Give the distinct positions and, per sample, which of them it stands at."""
    places, place_of = np.unique(points, axis=0, return_inverse=True)
    return places, place_of.ravel()


def _triangle_edges(places: FloatArray) -> npt.NDArray[np.intp]:
    from scipy.spatial import Delaunay, QhullError

    centred = places - places.mean(axis=0)
    _, spread, directions = np.linalg.svd(centred, full_matrices=False)
    if len(places) < 3 or spread[-1] <= 1e-9 * spread[0]:
        order = np.argsort(centred @ directions[0], kind="stable")
        return np.column_stack([order[:-1], order[1:]])
    try:
        triangles = Delaunay(centred).simplices
    except QhullError:  # pragma: no cover - nearly on one line
        order = np.argsort(centred @ directions[0], kind="stable")
        return np.column_stack([order[:-1], order[1:]])
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [0, 2]]])
    return np.unique(np.sort(edges, axis=1), axis=0)


def _from_places(
    rows: npt.NDArray[np.intp],
    columns: npt.NDArray[np.intp],
    place_of: npt.NDArray[np.intp],
    n_places: int,
    include_self: bool,  # noqa: FBT001 - private
) -> csr_array:
    """Spread a graph between places over the samples that stand there."""
    from scipy.sparse import csr_array

    n = len(place_of)
    if n_places == n and np.array_equal(place_of, np.arange(n)):
        return _binary(rows, columns, n, include_self)
    off = rows != columns
    own = np.arange(n_places)
    among = csr_array(
        (
            np.ones(int(off.sum()) + n_places),
            (np.r_[rows[off], own], np.r_[columns[off], own]),
        ),
        shape=(n_places, n_places),
    )
    stands = csr_array((np.ones(n), (np.arange(n), place_of)), shape=(n, n_places))
    full = (stands @ among @ stands.T).tocoo()
    i, j = full.coords
    return _binary(i, j, n, include_self)


def _binary(
    rows: npt.NDArray[Any],
    columns: npt.NDArray[Any],
    n: int,
    include_self: bool,  # noqa: FBT001 - private
) -> csr_array:
    from scipy.sparse import csr_array

    off = rows != columns
    rows, columns = rows[off], columns[off]
    if include_self:
        rows = np.concatenate([rows, np.arange(n)])
        columns = np.concatenate([columns, np.arange(n)])
    graph = csr_array((np.ones(len(rows)), (rows, columns)), shape=(n, n))
    graph.sum_duplicates()
    graph.data[:] = 1.0
    graph.sort_indices()
    return graph
