"""Where each sample is, in the campaign CRS, and which positions cannot be believed.

A position is refused (the sample keeps its values and goes to the samples without position) when
it is missing, in degrees in a column of metres, 0,0 away from everything else, with swapped axes,
outside the world or the CRS, or alone far from all other samples and from the boundary. Odd but
possible positions stay: negative eastings, several samples at one place, a second area with three
samples or more. Nothing is repaired by guessing: no zone, no hemisphere, no swap.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from geochem.coordinates import (
    degrees_of,
    inside_area,
    name_of,
    transform_positions,
    working_crs,
)
from geochem.errors import DataRefused
from geochem.model.finding import Finding, name_some
from geochem.samples.far_positions import explain_far

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    import pandas as pd
    import pyproj

    Floats = npt.NDArray[np.float64]
    Flags = npt.NDArray[np.bool_]

#: a position may lie so far outside the area a CRS is made for: zones are used past their edge
_MARGIN = 3.0  # [degrees]
#: nearer to the rest than this, nothing is called far [m]
_NEVER_FAR = 10_000.0
#: so many samples together are a second area and no typing error
_SECOND_AREA = 3


class Located(NamedTuple):
    """Positions in the campaign CRS; NaN where `reason` says why there is none."""

    x: Floats
    y: Floats
    reason: npt.NDArray[np.object_]
    findings: tuple[Finding, ...]


def locate_samples(
    field_log: pd.DataFrame, crs: object, *, boundary: gpd.GeoDataFrame | None = None
) -> Located:
    """Convert the positions of a field log to the campaign CRS and judge them.

    Parameters
    ----------
    field_log : pandas.DataFrame
        Columns ``sample_id, x, y, crs, file, row``; `crs` empty means the campaign's.
    crs : object
        The campaign CRS.
    boundary : geopandas.GeoDataFrame, optional
        Polygons in the campaign CRS within which samples are expected.

    Returns
    -------
    Located
        One entry per row.

    Raises
    ------
    WrongCall
        If the campaign CRS is not projected in metres.
    DataRefused
        If a conversion is possible only by a ballpark datum shift.
    """
    target = working_crs(crs)
    n = len(field_log)
    x, y = np.full(n, np.nan), np.full(n, np.nan)
    reason = np.full(n, None, dtype=object)
    findings: list[Finding] = []
    refused: list[str] = []
    given_x = field_log["x"].to_numpy(dtype=float)
    given_y = field_log["y"].to_numpy(dtype=float)
    missing = ~(np.isfinite(given_x) & np.isfinite(given_y))
    reason[missing] = "position-missing"
    named = [None if c is None or c != c else str(c) for c in field_log["crs"]]
    for text in sorted({t for t in named if t is not None} | {""}):
        here = np.array([(t or "") == text for t in named], dtype=bool) & ~missing
        if not here.any():
            continue
        source = _source(text, target)
        if source is None:
            reason[here] = "crs-unknown"
            continue
        where = np.flatnonzero(here)
        wrong = _implausible(given_x[where], given_y[where], source, target)
        reason[where] = wrong
        good = where[np.array([w is None for w in wrong], dtype=bool)]
        if not good.size:
            continue
        try:
            moved = transform_positions(given_x[good], given_y[good], source, target)
        except DataRefused as refusal:
            refused += refusal.reasons
            continue
        x[good], y[good] = moved.x, moved.y
        reason[good[~np.isfinite(moved.x)]] = "position-outside-crs"
        findings += moved.findings
    if refused:
        raise DataRefused(refused)
    placed = np.flatnonzero(np.isfinite(x))
    edges = None if boundary is None or not len(boundary) else boundary.geometry.union_all()
    far, outside = _far(x[placed], y[placed], edges)
    reason[placed[far]] = "position-far"
    sources = {t: _source(t, target) for t in dict.fromkeys(named) if t is not None}
    explain_far(
        reason, x, y, given_x, given_y, [None if t is None else sources[t] for t in named], target,
    )  # fmt: skip
    gone = np.array([r is not None for r in reason], dtype=bool)
    x[gone] = np.nan
    y[gone] = np.nan
    findings += _say(field_log, reason, target)
    findings += _say_strange(field_log, x, y, target)
    if outside.any():
        ids = field_log["sample_id"].to_numpy()[placed[outside]].tolist()
        findings.append(
            Finding(
                "position-outside-boundary", "warning",
                f"{len(ids)} samples lie outside the boundary and are used: {name_some(ids)}.",
                sample_id=str(ids[0]),
            )
        )  # fmt: skip
    return Located(x, y, reason, tuple(findings))


def _source(text: str, target: pyproj.CRS) -> pyproj.CRS | None:
    import pyproj

    if not text:
        return target
    try:
        return pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError:
        return None


def _implausible(
    x: Floats, y: Floats, source: pyproj.CRS, target: pyproj.CRS
) -> npt.NDArray[np.object_]:
    """Say what is wrong with coordinates in their own CRS, or None."""
    reason = np.full(x.size, None, dtype=object)
    apart = _apart_from_rest(x, y)
    if source.is_geographic:
        reason[(np.abs(x) > 360) | (np.abs(y) > 360)] = "metres-in-degrees"
    else:
        # a whole survey a few metres wide beside the false origin is degrees; some rows among
        # others are degrees only when these are far away
        tiny = (np.abs(x) <= 180) & (np.abs(y) <= 90)
        if tiny.all():
            alike = x.size > 0 and float(max(np.ptp(x), np.ptp(y))) < 10
            # a wrong sign among them spreads them; read as degrees most then lie in the area
            alike = alike or float(inside_area(x, y, source, _MARGIN).mean()) >= 0.5
        else:
            alike = float(np.maximum(np.abs(x), np.abs(y))[~tiny].min()) > 1000
        if alike:
            reason[tiny] = "degrees-in-metres"
    reason[(x == 0) & (y == 0) & (apart | (x.size < 3))] = "position-zero"
    lon, lat = degrees_of(x, y, source)
    area = target if source.is_geographic else source
    there = inside_area(lon, lat, area, _MARGIN)
    lon_swapped, lat_swapped = degrees_of(y, x, source)
    swapped = ~there & inside_area(lon_swapped, lat_swapped, area, _MARGIN)
    # of coordinates without a fixed area only the impossible shows
    open_ = np.array([r is None for r in reason], dtype=bool)
    reason[open_ & swapped] = "axes-swapped"
    open_ &= ~swapped
    reason[open_ & ~np.isfinite(lon)] = "position-outside-crs"
    reason[open_ & _wrong_sign(lon, lat, there, area)] = "sign-wrong"
    open_ &= np.array([r is None for r in reason], dtype=bool)
    strange = open_ & np.isfinite(lon) & ~inside_area(lon, lat, area, 4 * _MARGIN)
    # the area of use is advice: a survey that is outside as a whole is believed
    if strange.any() and strange.mean() < 0.5:
        reason[strange] = "position-outside-crs"
    elif strange.all() and not source.is_geographic:
        # unless a thousand times the numbers fit, as kilometres do
        kilometres = inside_area(*degrees_of(1e3 * x, 1e3 * y, source), area, _MARGIN)
        reason[kilometres] = "kilometres-in-metres"
    return reason


def _wrong_sign(lon: Floats, lat: Floats, there: Flags, area: pyproj.CRS) -> Flags:
    """Say which positions lie in the area only with the other sign of latitude or longitude."""
    wrong = np.zeros(lon.size, dtype=bool)
    far = ~there & np.isfinite(lon) & ~inside_area(lon, lat, area, 2 * _MARGIN)
    for flip_lon, flip_lat in ((-1, 1), (1, -1), (-1, -1)):
        wrong |= far & inside_area(flip_lon * lon, flip_lat * lat, area, _MARGIN)
    return wrong


def _apart_from_rest(x: Floats, y: Floats) -> Flags:
    """Say which positions are nowhere near the middle half of all."""
    if x.size < 3:
        return np.zeros(x.size, dtype=bool)
    distance = np.hypot(x - np.median(x), y - np.median(y))
    return distance > 20 * max(float(np.median(distance)), 1e-9)


def _far(x: Floats, y: Floats, edges: object) -> tuple[Flags, Flags]:
    """Say which positions are far from everything, and which others lie outside the boundary."""
    import shapely
    from scipy.spatial import cKDTree

    n = x.size
    far, outside = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    within = np.ones(n, dtype=bool)
    if edges is not None and n:
        points = shapely.points(x, y)
        within = shapely.intersects(edges, points)
        outside = ~within
    if n >= 5:
        distance = np.hypot(x - np.median(x), y - np.median(y))
        limit = max(10.0 * float(np.quantile(distance, 0.8)), _NEVER_FAR)
        suspect = np.flatnonzero(distance > limit)
        if suspect.size:
            company = cKDTree(np.column_stack([x, y])).query_ball_point(
                np.column_stack([x[suspect], y[suspect]]), _NEVER_FAR, return_length=True
            )
            far[suspect[company < _SECOND_AREA]] = True
    if edges is not None and n:
        far &= ~within
        width = max(float(np.hypot(*np.subtract(edges.bounds[2:], edges.bounds[:2]))), _NEVER_FAR)  # type: ignore[attr-defined]
        astray = outside & (shapely.distance(edges, shapely.points(x, y)) > 10.0 * width)
        # when most lie astray, the boundary is the doubtful one
        if astray.mean() < 0.5:
            far |= astray
    return far, outside & ~far


def _say_strange(
    field_log: pd.DataFrame, x: Floats, y: Floats, target: pyproj.CRS
) -> list[Finding]:
    """Ask when most samples lie outside the area for which the campaign CRS is meant."""
    placed = np.flatnonzero(np.isfinite(x))
    if not placed.size:
        return []
    lon, lat = degrees_of(x[placed], y[placed], target)
    strange = ~inside_area(lon, lat, target, 4 * _MARGIN)
    if strange.mean() < 0.5:
        return []
    ids = field_log["sample_id"].to_numpy()[placed[strange]].tolist()
    return [
        Finding(
            "survey-outside-crs-area", "warning",
            f"{len(ids)} samples lie outside the area for which {name_of(target)} is meant; they "
            f"are used where the coordinates put them: {name_some(ids)}. Check zone, hemisphere "
            "and unit of the coordinates, unless a grid beyond its zone is meant.",
            column="x", sample_id=str(ids[0]),
        )
    ]  # fmt: skip


#: reason -> what it means and what to do
_SENTENCES = {
    "position-missing": "have no position; give easting and northing",
    "crs-unknown": "name a CRS that is not known; use a code like EPSG:4326",
    "metres-in-degrees": "have coordinates too large for degrees; give the CRS they are in",
    "degrees-in-metres": "have coordinates that look like degrees where metres are expected; give "
    "crs = 'EPSG:4326' (or the right one) for the field log",
    "kilometres-in-metres": "have coordinates that lie in the area only as kilometres; write them in "
    "metres",
    "position-zero": "have the position 0, 0, far from all others",
    "axes-swapped": "lie in the area only when easting and northing are exchanged; exchange the "
    "columns",
    "sign-wrong": "lie in the area only with the other sign of latitude or longitude (south and "
    "west are negative); correct the sign, or add the letter",
    "zone-wrong": "lie among the others only when read in the neighbouring UTM zone; give their "
    "zone in a column, or their CRS",
    "position-outside-crs": "lie outside the area of the coordinate reference system; check zone, "
    "hemisphere and digits",
    "position-far": "lie far from all other samples; check the digits and the zone",
}


def _say(
    field_log: pd.DataFrame, reason: npt.NDArray[np.object_], target: pyproj.CRS
) -> list[Finding]:
    out = []
    for code, sentence in _SENTENCES.items():
        hit = np.flatnonzero(reason == code)
        if not hit.size:
            continue
        rows = field_log.iloc[hit]
        ids = rows["sample_id"].tolist()
        first = rows.iloc[0]
        row = first["row"] if "row" in rows.columns else None
        extra = f" (campaign CRS {name_of(target)})" if "crs" in code else ""
        out.append(
            Finding(
                code, "warning",
                f"{len(ids)} samples {sentence}{extra}; they keep their values and are left off "
                f"the map: {name_some(ids)}.",
                file=first["file"] if "file" in rows.columns else None,
                row=None if row is None or row != row else int(row),
                column="crs" if code == "crs-unknown" else "x", sample_id=str(ids[0]),
            )
        )  # fmt: skip
    return out
