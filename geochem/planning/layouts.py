"""The door to all layouts: places, names, the order of the walk, counts and distance."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from geochem.errors import DataRefused, WrongCall, unknown
from geochem.model.finding import Finding
from geochem.planning.followed_lines import followed_places
from geochem.planning.grids import grid_places
from geochem.planning.line_stations import line_places
from geochem.planning.north import grid_azimuth
from geochem.planning.stratified import stratified_places

if TYPE_CHECKING:
    import geopandas as gpd

    from geochem.planning.ground import Ground

Floats = npt.NDArray[np.float64]

#: number of a line, stations, places, in walking order
Leg = tuple[int, npt.NDArray[np.intp], Floats]

#: name -> what it is
KINDS: dict[str, str] = {
    "square": "square grid",
    "rectangular": "rectangular grid",
    "staggered": "grid with every second line shifted by half a station spacing",
    "lines": "parallel lines, stations measured along each",
    "ridges": "points along ridges and spurs",
    "streams": "points along streams, off every junction",
    "stratified": "one random point in every cell",
}

#: a plan beyond this is a slip of the keyboard
MOST_POINTS = 200_000


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """A sampling layout.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        ``planned_id, easting, northing, line, station, order`` and a point; in walking order.
    kind : str
        A key of `KINDS`.
    line_spacing, station_spacing : float
        [m]; line spacing is NaN for points along the user's lines.
    azimuth, grid_azimuth : float
        Of the lines, as given and from grid north; NaN where it means nothing. [degrees]
    north : str
        From which north `azimuth` counts.
    lines : int
        With at least one point.
    area_km2, kept_out_km2 : float
        Allowed ground, and what was cut away. [km2]
    walking_km : float
        Straight lines from point to point in order, up one line and down the next. [km]
    findings : tuple of Finding
        What was noticed.
    """

    points: gpd.GeoDataFrame
    kind: str
    line_spacing: float
    station_spacing: float
    azimuth: float
    grid_azimuth: float
    north: str
    lines: int
    area_km2: float
    kept_out_km2: float
    walking_km: float
    findings: tuple[Finding, ...] = field(default=())

    def __repr__(self) -> str:
        return (
            f"Layout: {KINDS[self.kind]}, {len(self.points)} points on {self.lines} lines, "
            f"{self.area_km2:.2f} km2, {self.walking_km:.1f} km to walk"
        )


def lay_out(
    ground: Ground,
    kind: str = "square",
    *,
    line_spacing: float | None = None,
    station_spacing: float | None = None,
    azimuth: float | None = None,
    north: str | None = None,
    declination: float | None = None,
    origin: tuple[float, float] | None = None,
    follow: gpd.GeoDataFrame | None = None,
    prefix: str = "P",
    seed: int = 1,
) -> Layout:
    """Lay out sampling points on the allowed ground.

    Parameters
    ----------
    ground : Ground
        From `ground.sampling_ground`.
    kind : str, default "square"
        A key of `KINDS`.
    line_spacing, station_spacing : float
        Across and along the lines [m]; one of them is enough for a square.
    azimuth : float, optional
        Of the lines [degrees]; default: along grid north. Needs `north`.
    north : {"grid", "true", "magnetic"}
        From which north `azimuth` counts.
    declination : float, optional
        For magnetic north. [degrees, east positive]
    origin : (float, float), optional
        A place that a grid goes through, to continue an older one.
    follow : geopandas.GeoDataFrame, optional
        Lines of the user's, for ``ridges`` and ``streams``.
    prefix : str, default "P"
        Of the planned ids.
    seed : int, default 1
        For random places.

    Returns
    -------
    Layout
        Points, counts, walking distance.

    Raises
    ------
    WrongCall
        If the kind is unknown, a spacing is missing or not usable, an azimuth has no north.
    DataRefused
        If no point falls on the ground.
    """
    if kind not in KINDS:
        raise unknown("layout", kind, KINDS)
    line, station = _spacings(kind, line_spacing, station_spacing)
    if azimuth is None:
        if north is not None and north != "grid":
            raise WrongCall(f"north = '{north}' is given without an azimuth; give both.")
        azimuth, north = 0.0, "grid"
    east, north_of = ground.middle
    turned = grid_azimuth(
        azimuth, north, crs=ground.crs, easting=east, northing=north_of, declination=declination
    )
    if kind in ("ridges", "streams"):
        if follow is None:
            raise WrongCall(
                f"the layout '{kind}' needs lines to follow: name a layer of {kind} in [layers] "
                "and follow = 'its name' in [planning]."
            )
        places = followed_places(ground, follow, station, streams=kind == "streams")
        line = azimuth = turned = math.nan
    else:
        _check_number(ground, line, station)
        if kind == "lines":
            places = line_places(ground, line, station, turned, origin=origin)
        elif kind == "stratified":
            places = stratified_places(ground, line, station, turned, seed=seed)
        else:
            places = grid_places(
                ground, line, station, turned, staggered=kind == "staggered", origin=origin
            )
    if not places:
        raise DataRefused(
            f"no point of a {KINDS[kind]} of {station:g} m falls on the allowed ground "
            f"({ground.area_km2:.4g} km2); choose a smaller spacing or check boundary and keep_out."
        )
    walk = _chained(places) if kind in ("ridges", "streams") else _to_and_fro(places)
    points, walked = _numbered(walk, prefix, ground)
    return Layout(
        points, kind, line, station, azimuth, turned, str(north), len(places), ground.area_km2,
        ground.kept_out_km2, walked / 1000.0, _noticed(ground, len(points), line, station),
    )  # fmt: skip


def _spacings(kind: str, line: float | None, station: float | None) -> tuple[float, float]:
    if kind == "square":
        if line is not None and station is not None and line != station:
            raise WrongCall(
                f"a square grid has one spacing, got {line:g} and {station:g} m; choose layout = "
                "'rectangular' for two."
            )
        line = station = line if station is None else station
    if kind in ("ridges", "streams"):
        line = station
    if line is None or station is None:
        missing = "line_spacing" if line is None else "station_spacing"
        raise WrongCall(
            f"the layout '{kind}' needs {missing} in metres, or a body = {{ length, width }} and a "
            "probability from which the spacing is found."
        )
    for name, value in (("line_spacing", line), ("station_spacing", station)):
        if not (math.isfinite(value) and value > 0):
            raise WrongCall(f"{name} must be above zero metres, got {value}.")
    return float(line), float(station)


def _check_number(ground: Ground, line: float, station: float) -> None:
    wanted = ground.area_km2 * 1e6 / (line * station)
    if wanted > MOST_POINTS:
        raise WrongCall(
            f"a spacing of {line:g} by {station:g} m on {ground.area_km2:.4g} km2 makes "
            f"{wanted:.3g} points; the most is {MOST_POINTS}. Are the spacings in metres?"
        )


def _to_and_fro(places: list[Floats]) -> list[Leg]:
    """Walk up one line and down the next: number of the line, stations, places in order."""
    walk = []
    for number, xy in enumerate(places):
        turn = -1 if number % 2 else 1
        walk.append((number + 1, np.arange(1, len(xy) + 1)[::turn], xy[::turn]))
    return walk


def _chained(places: list[Floats]) -> list[Leg]:
    """Walk the stretches one after another, always on to the nearest end of one not walked."""
    left = list(range(len(places)))
    walk = []
    here = places[0][0]
    while left:
        ends = [(np.hypot(*(places[i][e] - here)), i, e) for i in left for e in (0, -1)]
        _, i, end = min(ends)
        turn = -1 if end else 1
        walk.append((i + 1, np.arange(1, len(places[i]) + 1)[::turn], places[i][::turn]))
        here = walk[-1][2][-1]
        left.remove(i)
    return walk


def _numbered(walk: list[Leg], prefix: str, ground: Ground) -> tuple[gpd.GeoDataFrame, float]:
    """Name the points in the order of the walk."""
    import geopandas as gpd
    import pandas as pd

    xy = np.round(np.vstack([part for _, _, part in walk]), 2)
    sizes = [len(part) for _, _, part in walk]
    width = max(4, len(str(len(xy))))
    line_width = max(2, len(str(len(walk))))
    numbers = np.repeat([number for number, _, _ in walk], sizes)
    frame = pd.DataFrame(
        {
            "planned_id": [f"{prefix}{i:0{width}d}" for i in range(1, len(xy) + 1)],
            "easting": xy[:, 0],
            "northing": xy[:, 1],
            "line": [f"L{n:0{line_width}d}" for n in numbers],
            "station": [str(n) for n in np.concatenate([named for _, named, _ in walk])],
            "order": np.arange(1, len(xy) + 1),
        }
    )
    for name in ("planned_id", "line", "station"):
        frame[name] = frame[name].astype(object)
    points = gpd.GeoDataFrame(
        frame, geometry=gpd.points_from_xy(xy[:, 0], xy[:, 1]), crs=ground.crs
    )
    return points, float(np.hypot(*np.diff(xy, axis=0).T).sum()) if len(xy) > 1 else 0.0


def _noticed(ground: Ground, n: int, line: float, station: float) -> tuple[Finding, ...]:
    found = []
    if ground.kept_out_km2 > 0:
        found.append(
            Finding(
                "plan-kept-out",
                "note",
                f"{ground.kept_out_km2:.3g} of {ground.boundary_km2:.3g} km2 inside the boundary "
                "are kept out; ways round them are not in the walking distance.",
            )
        )
    full = ground.area_km2 * 1e6 / (line * station) if math.isfinite(line) else math.nan
    if math.isfinite(full) and (n < 0.5 * full or n > 2.0 * full) and max(n, full) > 4:
        found.append(
            Finding(
                "plan-narrow-ground",
                "warning",
                f"the ground is narrow beside the spacing: {n} points stand where its area asks for "
                f"{full:.0f}; look at the map before the grid is bought.",
            )
        )
    return tuple(found)
