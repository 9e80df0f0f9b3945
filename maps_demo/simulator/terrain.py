"""Height of the ground, its drainage, streams and catchments."""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from .fields import Array, Lattice, gaussian_fields, stream


@dataclass(frozen=True, slots=True, eq=False)
class Terrain:
    """Height and drainage on a grid in the strike frame.

    Parameters
    ----------
    lattice : Lattice
        The grid.
    height : ndarray
        Above sea level. [m]
    downstream : ndarray of int
        Flat number of the node that each node drains to; itself at the rim.
    order : ndarray of int
        Nodes from the outlets upward.
    gathered : ndarray
        Area drained through each node. [m2]
    to_stream : ndarray
        Distance to the nearest stream. [m]
    """

    lattice: Lattice
    height: Array
    downstream: npt.NDArray[np.int64]
    order: npt.NDArray[np.int64]
    gathered: Array
    to_stream: Array


#: area from which a stream runs all year; invented [m2]
STREAM_FROM = 0.35e6


def make_terrain(seed: int, length: float, width: float, margin: float) -> Terrain:
    """Make rolling hills and let water run over them.

    Parameters
    ----------
    seed : int
        Of the campaign.
    length, width, margin : float
        Of the area and around it. [m]

    Returns
    -------
    Terrain
        Height, drainage, distance to streams.

    References
    ----------
    Barnes, Lehman and Mulla 2014, Computers & Geosciences 62:117-127 (filling from the rim with a
    priority queue; from memory).
    """
    cell = max(50.0, np.sqrt((length + 2 * margin) * (width + 2 * margin) / 40_000))
    lattice = Lattice.over(length, width, margin, float(cell))
    rng = stream(seed, "terrain")
    hills = gaussian_fields(lattice, 1, 4500.0, rng, smooth=True)[0]
    knolls = gaussian_fields(lattice, 1, 1500.0, rng, smooth=True)[0]
    along, across = lattice.nodes()
    height = 420.0 + 38.0 * hills + 13.0 * knolls - 0.022 * across - 0.014 * along
    downstream, order = _drain(height)
    gathered = np.full(height.size, cell * cell)
    for node in order[::-1]:
        if downstream[node] != node:
            gathered[downstream[node]] += gathered[node]
    gathered = gathered.reshape(height.shape)
    to_stream = ndimage.distance_transform_edt(gathered < STREAM_FROM, sampling=cell)
    return Terrain(lattice, height, downstream, order, gathered, to_stream)


def _drain(height: Array) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    rows, columns = height.shape
    level = height.ravel().tolist()
    downstream = list(range(rows * columns))
    seen = bytearray(rows * columns)
    queue: list[tuple[float, int]] = []
    for i in range(rows):
        for j in range(columns) if i in (0, rows - 1) else (0, columns - 1):
            seen[i * columns + j] = 1
            queue.append((level[i * columns + j], i * columns + j))
    heapq.heapify(queue)
    order: list[int] = []
    while queue:
        low, node = heapq.heappop(queue)
        order.append(node)
        i, j = divmod(node, columns)
        for ni in range(max(i - 1, 0), min(i + 2, rows)):
            for nj in range(max(j - 1, 0), min(j + 2, columns)):
                other = ni * columns + nj
                if not seen[other]:
                    seen[other] = 1
                    downstream[other] = node
                    heapq.heappush(queue, (max(level[other], low + 1e-6), other))
    return np.array(downstream), np.array(order)


def stream_lines(terrain: Terrain) -> list[npt.NDArray[np.float64]]:
    """Give the streams as lines from each head or meeting down to the next.

    Parameters
    ----------
    terrain : Terrain
        Height and drainage.

    Returns
    -------
    list of ndarray, shape (n, 2)
        Corners in the strike frame, downstream. [m]
    """
    wet = terrain.gathered.ravel() >= STREAM_FROM
    nodes = terrain.order[wet[terrain.order]]
    inflows = np.zeros(wet.size, dtype=int)
    moving = nodes[terrain.downstream[nodes] != nodes]
    np.add.at(inflows, terrain.downstream[moving], 1)
    along, across = (grid.ravel() for grid in terrain.lattice.nodes())
    lines = []
    for start in sorted(int(n) for n in nodes[inflows[nodes] != 1]):
        path, node = [start], start
        while terrain.downstream[node] != node:
            node = int(terrain.downstream[node])
            path.append(node)
            if inflows[node] != 1:
                break
        if len(path) > 1:
            lines.append(np.column_stack([along[path], across[path]]))
    return lines


def upstream(terrain: Terrain, node: int) -> npt.NDArray[np.bool_]:
    """Mark the catchment of a node.

    Parameters
    ----------
    terrain : Terrain
        Height and drainage.
    node : int
        Flat number of the outlet.

    Returns
    -------
    ndarray of bool, shape of the grid
        True where water runs to the node.
    """
    inside = np.zeros(terrain.height.size, dtype=bool)
    inside[node] = True
    position = int(np.flatnonzero(terrain.order == node)[0])
    for other in terrain.order[position:]:
        if inside[terrain.downstream[other]]:
            inside[other] = True
    return inside.reshape(terrain.height.shape)
