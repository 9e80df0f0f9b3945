"""What people put on the ground: road dust, galvanised fences, tailings, single spikes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from .fields import Array, stream

if TYPE_CHECKING:
    import pandas as pd

    from .ground import Ground
    from .layout import Sites

#: rise at the source [-] and reach [m] of what lies beside a road and a fence; invented
ROAD_DUST: dict[str, float] = {"Pb": 1.5, "Zn": 0.8, "Cu": 0.25}
ROAD_REACH = 25.0
FENCE_ZINC: dict[str, float] = {"Zn": 2.2, "Pb": 0.5}
FENCE_REACH = 12.0

#: rise at the dump of an old working [-]; it falls to nothing within TAILINGS_RUN downstream
TAILINGS: dict[str, float] = {
    "Zn": 2.8, "Pb": 4.0, "As": 3.0, "Cu": 1.6, "Ag": 3.0, "Sb": 2.0, "Ba": 0.8, "Fe": 0.3,
}  # fmt: skip
TAILINGS_RUN = 1500.0
TAILINGS_HALF_WIDTH = 90.0


def tailings_path(ground: Ground, number: int) -> shapely.LineString:
    """Follow the water from an old working as far as its tailings were washed.

    Parameters
    ----------
    ground : Ground
        Drawn ground.
    number : int
        Which of ``settings.tailings``.

    Returns
    -------
    LineString
        Downstream, in the strike frame.
    """
    patch, terrain = ground.settings.tailings[number], ground.terrain
    along, across = (grid.ravel() for grid in terrain.lattice.nodes())
    node = int(np.argmin(np.hypot(along - patch.along, across - patch.across)))
    path = [(patch.along, patch.across), (float(along[node]), float(across[node]))]
    run = 0.0
    while terrain.downstream[node] != node and run < TAILINGS_RUN:
        node = int(terrain.downstream[node])
        run += float(np.hypot(along[node] - path[-1][0], across[node] - path[-1][1]))
        path.append((float(along[node]), float(across[node])))
    return shapely.LineString(path)


def fence_lines(ground: Ground) -> list[shapely.LineString]:
    """Give the fences: across the strike, beside a sampling line, so that many samples are near.

    Parameters
    ----------
    ground : Ground
        Drawn ground.

    Returns
    -------
    list of LineString
        In the strike frame.
    """
    settings = ground.settings
    rng = stream(settings.seed, "fences")
    out = []
    for _ in range(settings.fences):
        line = rng.integers(3, max(4, int(settings.length / settings.line_spacing) - 3))
        along = line * settings.line_spacing - settings.length / 2 + rng.uniform(-6, 6)
        lean = rng.uniform(-12, 12)
        low, high = np.sort(rng.uniform(-0.5, 0.5, 2)) * settings.width
        high = max(high, low + 0.3 * settings.width)
        out.append(shapely.LineString([(along, low), (along + lean, high)]))
    return out


def contaminate(ground: Ground, sites: Sites, table: pd.DataFrame, place: Array) -> Array:
    """Put road dust, fence zinc, tailings and single spikes on soils, in place.

    Parameters
    ----------
    ground : Ground
        Drawn ground.
    sites : Sites
        With the road.
    table : pandas.DataFrame
        ``medium, role, along, across`` of every sample.
    place : ndarray, shape (n, n_elements)
        What is at each place; changed. [mg/kg]

    Returns
    -------
    ndarray of int
        Rows of the spikes.
    """
    settings = ground.settings
    rng = stream(settings.seed, "contamination")
    soil = (table["medium"] == "soil").to_numpy()
    where = shapely.points(table["along"].to_numpy(float), table["across"].to_numpy(float))

    def put(rises: dict[str, float], strength: Array) -> None:
        for element, most in rises.items():
            if element in ground.elements:
                place[:, ground.elements.index(element)] *= 1.0 + most * strength

    if sites.road is not None:
        near = np.exp(-shapely.distance(where, sites.road) / ROAD_REACH)
        put(ROAD_DUST, np.where(soil, near, 0.0))
    for fence in fence_lines(ground):
        near = np.exp(-shapely.distance(where, fence) / FENCE_REACH)
        put(FENCE_ZINC, np.where(soil, near, 0.0))
    for number, patch in enumerate(settings.tailings):
        path = tailings_path(ground, number)
        gone = np.clip(1.0 - shapely.line_locate_point(path, where) / TAILINGS_RUN, 0.0, 1.0)
        beside = shapely.distance(where, path) / max(TAILINGS_HALF_WIDTH, patch.half_width)
        put(TAILINGS, np.where(soil, gone * np.exp(-(beside**2)), 0.0))
    routine = np.flatnonzero(soil & (table["role"] == "routine").to_numpy())
    spikes = np.sort(rng.choice(routine, min(settings.spikes, len(routine)), replace=False))
    metals = [e for e in ("Cu", "Zn", "Pb", "As", "Ni") if e in ground.elements]
    for row in spikes:
        for element in rng.choice(metals, 2, replace=False):
            place[row, ground.elements.index(element)] *= rng.uniform(5, 11)
    return spikes
