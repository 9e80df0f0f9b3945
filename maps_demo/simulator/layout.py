"""Where and when samples were taken: planned grid, two visits, rock chips, stream sediments."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import shapely

from .deposits import radius
from .fields import Array, stream
from .ground import Ground
from .settings import Settings
from .terrain import upstream

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class Sites:
    """Everything that was planned and collected.

    Parameters
    ----------
    boundary, keep_out : Polygon
        In the strike frame.
    road : LineString or None
        In the strike frame.
    plan : pandas.DataFrame
        ``planned_id, line, station, along, across, visit``.
    soils, rocks, sediments : pandas.DataFrame
        Collected, with ``along, across, date, crew`` and what a field log says of each.
    catchments : list of Polygon
        Of the sediments, in their order, in the strike frame.
    catchment_nodes : list of ndarray, shape (n, 2)
        Places inside each catchment, in the strike frame. [m]
    """

    boundary: shapely.Polygon
    keep_out: shapely.Polygon
    road: shapely.LineString | None
    plan: pd.DataFrame
    soils: pd.DataFrame
    rocks: pd.DataFrame
    sediments: pd.DataFrame
    catchments: list[shapely.Geometry]
    catchment_nodes: list[Array]


def make_sites(ground: Ground) -> Sites:
    """Plan the campaign and collect the samples.

    Parameters
    ----------
    ground : Ground
        Drawn ground.

    Returns
    -------
    Sites
        The same for the same ground.
    """
    settings = ground.settings
    half_length, half_width = settings.length / 2, settings.width / 2
    reach_along, reach_across = half_length + 180.0, half_width + 180.0
    boundary = shapely.Polygon(
        [
            (-reach_along, -reach_across),
            (reach_along, -reach_across),
            (reach_along, reach_across - 900),
            (reach_along - 700, reach_across - 900),
            (reach_along - 700, reach_across),
            (-reach_along, reach_across),
        ]
    )
    rng = stream(settings.seed, "sites")
    middle = np.array([0.30 * half_length, -0.55 * half_width])
    angle = np.linspace(0, 2 * np.pi, 13)[:-1]
    reach = 190.0 + 45.0 * rng.uniform(-1, 1, angle.size)
    keep_out = shapely.Polygon(
        middle + np.column_stack([np.cos(angle), np.sin(angle)]) * reach[:, None]
    )
    road = None
    if settings.road:
        along = np.linspace(-reach_along, reach_along, 60)
        across = 0.45 * half_width * np.sin(along / (0.42 * half_length) + 0.6) + 0.12 * along
        road = shapely.LineString(
            np.column_stack([along, np.clip(across, -reach_across, reach_across)])
        )
    plan = _plan(settings, boundary, keep_out)
    soils = _collect(plan, settings, rng)
    rocks = _pick_rocks(ground, boundary, keep_out, stream(settings.seed, "rock sites"))
    sediments, catchments, nodes = _pick_sediments(ground, boundary, keep_out)
    return Sites(boundary, keep_out, road, plan, soils, rocks, sediments, catchments, nodes)


def _plan(
    settings: Settings, boundary: shapely.Polygon, keep_out: shapely.Polygon
) -> pd.DataFrame:
    import pandas as pd

    lines = np.arange(round(settings.length / settings.line_spacing) + (settings.length > 0))
    lines = lines[lines * settings.line_spacing <= settings.length + 1e-6]
    stations = np.arange(round(settings.width / settings.station_spacing) + 1)
    i, j = (grid.ravel() for grid in np.meshgrid(lines, stations, indexing="ij"))
    offset = j * settings.station_spacing
    first_of_second = lines[-1] + 1 - settings.second_visit_lines
    table = pd.DataFrame(
        {
            "metres": i * settings.line_spacing,
            "offset": offset,
            "visit": np.where(i >= first_of_second, 2, 1),
            "reached": i <= lines[-1] - settings.unsampled_lines,
        }
    )
    extra = []
    if settings.infill_spacing:
        half = settings.length / 2
        closer = np.arange(0.0, settings.width + 1e-6, settings.infill_spacing)
        denser = closer
        closer = closer[np.mod(closer, settings.station_spacing) > 1e-6]
        for name in settings.infill:
            every = (*settings.bodies, *settings.false_bodies)
            body = next(b for b in every if b.name == name)
            for metres in _infill_lines(settings, lines):
                if abs(metres - half - body.along) > 1.15 * body.half_length:
                    continue
                between = metres % settings.line_spacing > 1e-6
                stations_here = denser if between else closer
                near = np.abs(stations_here - settings.width / 2 - body.across)
                near = near <= 1.3 * body.half_width
                extra.append(
                    pd.DataFrame(
                        {
                            "metres": metres,
                            "offset": stations_here[near],
                            "visit": 2,
                            "reached": True,
                        }
                    )
                )
    table = pd.concat([table, *extra], ignore_index=True)
    table["along"] = table["metres"] - settings.length / 2
    table["across"] = table["offset"] - settings.width / 2
    shapely.prepare(boundary)
    shapely.prepare(keep_out)
    allowed = shapely.contains_xy(
        boundary, table["along"], table["across"]
    ) & ~shapely.contains_xy(keep_out, table["along"], table["across"])
    table = table[allowed].drop_duplicates(["metres", "offset"])
    table = table.sort_values(["visit", "metres", "offset"], ignore_index=True)
    table["planned_id"] = [f"P{number:05d}" for number in range(1, len(table) + 1)]
    table["line"] = [f"L{int(metres):05d}" for metres in table["metres"]]
    table["station"] = [f"{int(metres):04d}" for metres in table["offset"]]
    return table


def _infill_lines(settings: Settings, lines: npt.NDArray[np.int64]) -> Array:
    """Give where infill lines run: on the lines of the grid and, if asked for, between them."""
    if not settings.infill_line_spacing:
        return lines * settings.line_spacing
    step = settings.infill_line_spacing
    return np.arange(0.0, lines[-1] * settings.line_spacing + 1e-6, step)


def _collect(plan: pd.DataFrame, settings: Settings, rng: np.random.Generator) -> pd.DataFrame:
    soils = plan[plan["reached"]].copy()
    # two crews take every other line; a few stations were under water or on rock
    soils = soils[rng.random(len(soils)) > 0.006]
    crew = (soils["metres"].to_numpy() / settings.line_spacing).astype(int) % 2
    soils["crew"] = np.where(crew == 0, "A", "B")
    days = np.empty(len(soils), dtype=int)
    for visit, span in ((1, settings.days), (2, settings.second_days)):
        for name in ("A", "B"):
            chosen = ((soils["visit"] == visit) & (soils["crew"] == name)).to_numpy()
            count = int(chosen.sum())
            days[chosen] = np.arange(count) * span // max(count, 1)
    starts = np.where(soils["visit"] == 1, 0, (settings.second_day - settings.first_day).days)
    soils["day"] = days + starts
    soils["date"] = [settings.first_day + timedelta(days=int(d)) for d in soils["day"]]
    soils = soils.sort_values(["day", "crew", "metres", "offset"], ignore_index=True)
    n = len(soils)
    soils["along"] = soils["along"] + rng.normal(0, 3.0, n)
    soils["across"] = soils["across"] + rng.normal(0, 3.0, n)
    soils["accuracy_m"] = np.round(np.clip(rng.gamma(6.0, 0.7, n), 2, 12), 0)
    soils["horizon"] = np.where(rng.random(n) < 0.985, "B", "C")
    soils["depth_from"] = np.round(rng.choice([0.15, 0.20, 0.25], n), 2)
    soils["depth_to"] = np.round(soils["depth_from"] + rng.choice([0.10, 0.15], n), 2)
    return soils


def _pick_rocks(
    ground: Ground,
    boundary: shapely.Polygon,
    keep_out: shapely.Polygon,
    rng: np.random.Generator,
) -> pd.DataFrame:
    import pandas as pd

    settings = ground.settings
    n = settings.rocks
    half_length, half_width = settings.length / 2, settings.width / 2
    # where crews walk, and nearer to what looks interesting
    along = rng.uniform(-half_length, half_length, 6 * n)
    across = rng.uniform(-half_width, half_width, 6 * n)
    for number, body in enumerate(settings.bodies):
        chosen = np.arange(6 * n) % (3 * len(settings.bodies)) == 3 * number
        spread = rng.normal(0, 0.4, (int(chosen.sum()), 2))
        along[chosen] = body.along + body.half_length * spread[:, 0]
        across[chosen] = body.across + body.half_width * spread[:, 1]
    good = (
        shapely.contains_xy(boundary, along, across)
        & ~shapely.contains_xy(keep_out, along, across)
        & (ground.cover_share(along, across) == 0)
        & (np.abs(along) < half_length)
    )
    along, across = along[good][:n], across[good][:n]
    n = len(along)
    unit = ground.unit_at(along, across)
    near = np.full(n, 9.0)
    for body in settings.bodies:
        near = np.minimum(near, radius(body, along, across))
    day = rng.integers(0, settings.days, n)
    order = np.lexsort((across, along, day))
    return pd.DataFrame(
        {
            "along": along[order],
            "across": across[order],
            "day": day[order],
            "date": [settings.first_day + timedelta(days=int(d)) for d in day[order]],
            "crew": rng.choice(["A", "B"], n),
            "accuracy_m": np.round(np.clip(rng.gamma(6.0, 0.7, n), 2, 12), 0),
            "kind": rng.choice(
                ["outcrop", "float", "channel", "dump"], n, p=[0.6, 0.3, 0.07, 0.03]
            ),
            "rock": [ground.units[u].rock for u in unit[order]],
            "radius": near[order],
            "mineralised": (near[order] < 0.6) & (rng.random(n) < 0.35),
        }
    )


def _pick_sediments(
    ground: Ground, boundary: shapely.Polygon, keep_out: shapely.Polygon
) -> tuple[pd.DataFrame, list[shapely.Geometry], list[Array]]:
    import pandas as pd

    settings = ground.settings
    rng = stream(settings.seed, "sediment sites")
    terrain = ground.terrain
    along, across = (grid.ravel() for grid in terrain.lattice.nodes())
    gathered = terrain.gathered.ravel()
    usable = (gathered > 0.35e6) & (gathered < 4e6)
    usable &= shapely.contains_xy(boundary, along, across)
    usable &= ~shapely.contains_xy(keep_out, along, across)
    chosen: list[int] = []
    for node in rng.permutation(np.flatnonzero(usable)):
        if len(chosen) == settings.sediments:
            break
        apart = np.hypot(along[chosen] - along[node], across[chosen] - across[node])
        if not chosen or apart.min() > 230.0:
            chosen.append(int(node))
    chosen.sort()
    shapes, inside = [], []
    half = terrain.lattice.cell / 2
    for node in chosen:
        mask = upstream(terrain, node).ravel()
        cells = shapely.box(
            along[mask] - half, across[mask] - half, along[mask] + half, across[mask] + half
        )
        merged = shapely.union_all(cells).buffer(half / 2).buffer(-half / 2)
        shapes.append(merged.simplify(half))
        inside.append(np.column_stack([along[mask], across[mask]]))
    n = len(chosen)
    day = rng.integers(0, settings.days, n)
    table = pd.DataFrame(
        {
            "along": along[chosen],
            "across": across[chosen],
            "day": day,
            "date": [settings.first_day + timedelta(days=int(d)) for d in day],
            "crew": "B",
            "accuracy_m": np.round(np.clip(rng.gamma(6.0, 0.7, n), 2, 12), 0),
            "area_km2": gathered[chosen] / 1e6,
        }
    )
    return table, shapes, inside
