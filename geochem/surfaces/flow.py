"""Catchments from a grid of elevation (extra 'catchments').

The flow of water is worked out by pyflwdir. A sample is moved to the cell with most ground
upstream within a short distance first: a position taken beside the water, or a stream that the
grid puts one cell away, would get a catchment of a few cells.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall
from geochem.optional import require

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

_MOST_CELLS = 25_000_000


def catchments_from_elevation(
    path: Path, x: FloatArray, y: FloatArray, crs: Any, *, snap_m: float | None = None
) -> npt.NDArray[np.object_]:
    """Outline the ground upstream of each place.

    Parameters
    ----------
    path : Path
        Grid of elevation that rasterio reads, in any CRS; north up after warping.
    x, y : ndarray, shape (n,)
        Places in the campaign CRS. [m]
    crs : any
        Campaign CRS: projected, metres.
    snap_m : float, optional
        How far a place may be moved to the stream; default three cells. [m]

    Returns
    -------
    ndarray of shapely geometry, shape (n,)
        The whole ground upstream, so that those of places further down hold those further up;
        None outside the grid.

    Raises
    ------
    MissingExtra
        If pyflwdir is not installed.
    WrongCall
        If the grid is too large or has no cell.

    References
    ----------
    Wang, L. and Liu, H. 2006. An efficient method for identifying and filling surface depressions
    in digital elevation models. International Journal of Geographical Information Science
    20:193-213 (filling and flow, in pyflwdir).
    """
    pyflwdir: Any = require(
        "pyflwdir", extra="catchments", purpose="outline catchments from a grid of elevation"
    )
    import rasterio
    import shapely
    from rasterio.vrt import WarpedVRT

    with rasterio.open(path) as source, WarpedVRT(source, crs=str(crs)) as warped:
        if warped.width * warped.height > _MOST_CELLS:
            raise WrongCall(
                f"{path.name} has {warped.width} x {warped.height} cells; at most {_MOST_CELLS:,} "
                "are worked on. Give a coarser or smaller grid."
            )
        height = warped.read(1, masked=True)
        transform = warped.transform
    data = np.ma.filled(height.astype(float), -9999.0)
    if not (data != -9999.0).any():
        raise WrongCall(f"{path.name} has no cell with an elevation.")
    flow = pyflwdir.from_dem(data, nodata=-9999.0, transform=transform, latlon=False)
    upstream = flow.upstream_area(unit="cell")
    cell = abs(float(transform.a))
    reach = int(np.ceil((3 * cell if snap_m is None else snap_m) / cell))
    rows, columns = data.shape
    outlets = np.full(len(x), -1, dtype=np.int64)
    for i, (east, north) in enumerate(zip(x.tolist(), y.tolist(), strict=True)):
        column = int(np.floor((east - transform.c) / transform.a))
        row = int(np.floor((north - transform.f) / transform.e))
        if not (0 <= row < rows and 0 <= column < columns) or data[row, column] == -9999.0:
            continue
        top, left = max(row - reach, 0), max(column - reach, 0)
        window = upstream[top : row + reach + 1, left : column + reach + 1]
        at = divmod(int(np.argmax(window)), window.shape[1])
        outlets[i] = (top + at[0]) * columns + left + at[1]
    out = np.full(len(x), None, dtype=object)
    inside = np.flatnonzero(outlets >= 0)
    if not len(inside):
        return out
    different, which = np.unique(outlets[inside], return_inverse=True)
    labels = flow.basins(idxs=different, ids=np.arange(1, len(different) + 1, dtype=np.uint32))
    pieces = _polygons(labels, transform, len(different))
    # the piece of a place further up drains into the piece below its outlet
    below = labels.ravel()[flow.idxs_ds[different]].astype(np.int64) - 1
    below[below == np.arange(len(different))] = -1
    parts: list[list[Any]] = [[p] for p in pieces]
    for k in range(len(different)):
        seen, j = {k}, int(below[k])
        while j >= 0 and j not in seen:
            parts[j].append(pieces[k])
            seen.add(j)
            j = int(below[j])
    whole = [shapely.union_all([p for p in several if p is not None]) for several in parts]
    for i, k in zip(inside.tolist(), which.ravel().tolist(), strict=True):
        out[i] = whole[k] if not whole[k].is_empty else None
    return out


def _polygons(labels: npt.NDArray[Any], transform: Any, n: int) -> list[Any]:
    """Outline each label of a grid."""
    import shapely
    from rasterio.features import shapes

    found: list[list[Any]] = [[] for _ in range(n)]
    grid = labels.astype(np.int32)
    for geometry, value in shapes(grid, mask=grid > 0, transform=transform):
        found[int(value) - 1].append(shapely.geometry.shape(geometry))
    return [shapely.union_all(parts) if parts else None for parts in found]
