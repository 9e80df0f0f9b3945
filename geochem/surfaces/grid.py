"""The grid of a surface and where it may be shown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """A north-up grid.

    Parameters
    ----------
    west, north, cell : float
        Outer corner and cell size. [m]
    shape : tuple of int
        Rows, columns.
    shown : ndarray of bool, shape (n_rows, n_cols)
        Cells near enough to samples and inside the boundary.
    """

    west: float
    north: float
    cell: float
    shape: tuple[int, int]
    shown: npt.NDArray[np.bool_]

    @property
    def centres(self) -> FloatArray:
        """Centres of the shown cells, (n_shown, 2)."""
        rows, columns = np.nonzero(self.shown)
        return np.column_stack(
            [self.west + (columns + 0.5) * self.cell, self.north - (rows + 0.5) * self.cell]
        )

    def spread(self, values: FloatArray) -> FloatArray:
        """Put values of the shown cells into the whole grid; NaN elsewhere."""
        whole = np.full(self.shape, np.nan)
        whole[self.shown] = values
        return whole


def round_cell(size: float) -> float:
    """Round a cell size up to 1, 2, 2.5, 5 or 10 times a power of ten.

    Parameters
    ----------
    size : float
        Wanted. [m]

    Returns
    -------
    float
        Not smaller. [m]

    Examples
    --------
    >>> round_cell(23.0), round_cell(1200.0)
    (25.0, 2000.0)
    """
    power = 10.0 ** np.floor(np.log10(size))
    return float(next(s * power for s in _STEPS if s * power >= size * (1 - 1e-9)))


def make_grid(
    xy: FloatArray,
    *,
    spacing: float,
    station: float,
    max_cells: int,
    boundary: Any = None,
    keep_out: Any = None,
) -> Grid:
    """Lay a grid over samples.

    The cell is half the station spacing, or coarser so that `max_cells` is kept. A cell is shown
    when a sample lies within one and a half times the (larger) spacing and its centre is inside
    the boundary.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Samples. [m]
    spacing, station : float
        Larger and smaller spacing of the samples. [m]
    max_cells : int
        At most so many cells.
    boundary : shapely geometry, optional
        Licence: cells outside are not shown.
    keep_out : shapely geometry, optional
        Ground that nobody sampled: cells inside are not shown.

    Returns
    -------
    Grid
        Multiples of the cell size as corners, so that grids of one area coincide.
    """
    from scipy.spatial import cKDTree

    reach = 1.5 * spacing
    west, south = xy.min(axis=0) - 0.5 * spacing
    east, north = xy.max(axis=0) + 0.5 * spacing
    least = np.sqrt((east - west) * (north - south) / max_cells)
    cell = round_cell(max(0.5 * station, float(least), 0.1))
    west, north = np.floor(west / cell) * cell, np.ceil(north / cell) * cell
    columns = int(np.ceil((east - west) / cell))
    rows = int(np.ceil((north - south) / cell))
    grid = Grid(float(west), float(north), cell, (rows, columns), np.ones((rows, columns), bool))
    centres = grid.centres
    distance, _ = cKDTree(xy).query(centres, distance_upper_bound=reach)
    shown = np.isfinite(distance)
    if boundary is not None:
        import shapely

        shapely.prepare(boundary)
        shown &= shapely.contains_xy(boundary, centres[:, 0], centres[:, 1])
    if keep_out is not None:
        import shapely

        shapely.prepare(keep_out)
        shown &= ~shapely.contains_xy(keep_out, centres[:, 0], centres[:, 1])
    return Grid(grid.west, grid.north, cell, grid.shape, shown.reshape(rows, columns))


def names_at(centres: FloatArray, frame: Any, field: str | None) -> npt.NDArray[np.object_]:
    """Give the name of the polygon that each place lies in.

    Parameters
    ----------
    centres : ndarray, shape (m, 2)
        Places. [m]
    frame : geopandas.GeoDataFrame
        Polygons in the same CRS.
    field : str, optional
        Column with their names.

    Returns
    -------
    ndarray of object, shape (m,)
        ``"unmapped"`` outside all; of several, the first in the alphabet, as for samples.
    """
    import shapely

    out = np.full(len(centres), "unmapped", dtype=object)
    named = field is not None and field in frame.columns
    names = frame[field].tolist() if named else ["inside"] * len(frame)
    texts = ["unnamed" if v is None or v != v else str(v).strip() or "unnamed" for v in names]
    order = sorted(range(len(texts)), key=lambda i: texts[i], reverse=True)
    shapes = frame.geometry.to_numpy()[order]
    place, polygon = shapely.STRtree(shapes).query(shapely.points(centres), predicate="intersects")
    sequence = np.argsort(polygon, kind="stable")
    for i, j in zip(place[sequence].tolist(), polygon[sequence].tolist(), strict=True):
        out[i] = texts[order[j]]
    return out
