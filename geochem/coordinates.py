"""Coordinates from one reference system to another: the operation is chosen, named and measured.

Datum shifts differ from country to country and some need grid files that are not installed.
Asked carelessly, the projection library then shifts by a "ballpark" operation (in effect none, up
to hundreds of metres wrong) or borrows the shift of another country. Here the operation must be
published for the ground where the samples are, it is never a ballpark one, and its name and stated
accuracy are reported.
"""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from geochem.errors import DataRefused, WrongCall
from geochem.model.finding import Finding

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    import pyproj

    Floats = npt.NDArray[np.float64]


class Transformed(NamedTuple):
    """Coordinates in the new system and what to say about them; not finite where impossible."""

    x: Floats
    y: Floats
    operation: str
    accuracy_m: float
    findings: tuple[Finding, ...]


WGS84 = "EPSG:4326"


def read_crs(text: object) -> pyproj.CRS:
    """Understand a CRS.

    Parameters
    ----------
    text : object
        Anything that names a CRS, for example ``"EPSG:32735"``.

    Returns
    -------
    pyproj.CRS
        The CRS.

    Raises
    ------
    WrongCall
        If it is none.
    """
    import pyproj

    try:
        return pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError:
        raise WrongCall(
            f"'{text}' is no coordinate reference system; write for example 'EPSG:32735' "
            "(UTM zone 35 south on WGS 84)."
        ) from None


def working_crs(crs: object) -> pyproj.CRS:
    """Check that a campaign CRS is one in which distances can be measured.

    Parameters
    ----------
    crs : object
        Anything that names a CRS, for example ``"EPSG:32735"``.

    Returns
    -------
    pyproj.CRS
        Projected, in metres.

    Raises
    ------
    WrongCall
        If it is unknown, not projected or not in metres.

    Examples
    --------
    >>> working_crs("EPSG:32735").name
    'WGS 84 / UTM zone 35S'
    """
    known = read_crs(crs)
    if not known.is_projected:
        raise WrongCall(
            f"the campaign CRS {name_of(known)} is not projected; give one in metres (such as the "
            "UTM zone of the area). Coordinates in degrees may stay in the field log with "
            "crs = 'EPSG:4326' beside its path."
        )
    if any(abs(a.unit_conversion_factor - 1.0) > 1e-9 for a in known.axis_info[:2]):
        raise WrongCall(
            f"the campaign CRS {name_of(known)} counts in {known.axis_info[0].unit_name}; give a "
            "projected CRS in metres."
        )
    return known


def name_of(crs: pyproj.CRS) -> str:
    """Name a CRS by code and name."""
    code = crs.to_authority()
    return f"{code[0]}:{code[1]} ({crs.name})" if code else str(crs.name)


def transform_positions(
    x: npt.ArrayLike, y: npt.ArrayLike, source: pyproj.CRS, target: pyproj.CRS
) -> Transformed:
    """Convert positions by one operation that is published for where most of them are.

    Parameters
    ----------
    x, y : array_like, shape (n_samples,)
        Easting and northing, or longitude and latitude, always in this order. [m] or [degrees]
    source, target : pyproj.CRS
        From and to.

    Returns
    -------
    Transformed
        With findings ``crs-operation`` (which, and how accurate), ``crs-grid-missing`` and
        ``crs-operation-area``.

    Raises
    ------
    DataRefused
        If only a ballpark operation is left.
    """
    east, north = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if source.equals(target) or not east.size:
        return Transformed(east.copy(), north.copy(), "none needed", 0.0, ())
    from pyproj.aoi import AreaOfInterest
    from pyproj.transformer import TransformerGroup

    lon, lat = degrees_of(east, north, source)
    good = np.isfinite(lon) & np.isfinite(lat)
    if not good.any():
        nowhere = np.full(east.shape, np.nan)
        return Transformed(nowhere, nowhere.copy(), "none possible", np.nan, ())
    # where most samples are: a stray typing error must not choose the operation
    west, mid_lon, right = np.quantile(lon[good], [0.1, 0.5, 0.9])
    south, mid_lat, top = np.quantile(lat[good], [0.1, 0.5, 0.9])
    if right - west > 20 or top - south > 20:
        west = right = mid_lon
        south = top = mid_lat
    area = AreaOfInterest(
        max(west - 1e-4, -180.0), max(south - 1e-4, -90.0), min(right + 1e-4, 180.0),
        min(top + 1e-4, 90.0),
    )  # fmt: skip
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # said below in our own words
        group = TransformerGroup(
            source,
            target,
            always_xy=True,
            area_of_interest=area,  # type: ignore[arg-type]
            allow_ballpark=False,
        )
    if not group.transformers:
        raise DataRefused(
            f"no datum shift from {name_of(source)} to {name_of(target)} that is published for "
            f"their area (near {mid_lat:.2f}, {mid_lon:.2f} degrees latitude, longitude) is "
            "installed, and a ballpark shift can be hundreds of metres wrong. Convert the "
            "coordinates with software that has the shift grid, or work in the CRS in which they "
            "were measured."
        )
    inside = [_inside(t, lon[good], lat[good]) for t in group.transformers]
    best = next((i for i, here in enumerate(inside) if here.all()), 0)
    chosen = group.transformers[best]
    new_x, new_y = chosen.transform(east, north)
    accuracy = float(chosen.accuracy)
    said = f"within {accuracy:g} m" if accuracy >= 0 else "of unknown accuracy"
    if accuracy == 0:
        said = "exact, no change of datum"
    findings = [
        Finding(
            "crs-operation", "warning" if accuracy > 10 or accuracy < 0 else "note",
            f"{east.size} positions were converted from {name_of(source)} to {name_of(target)} by "
            f"'{chosen.description}' ({said}).",
            column="crs",
        )
    ]  # fmt: skip
    if not group.best_available:
        findings.append(
            Finding(
                "crs-grid-missing", "note",
                f"a more accurate conversion from {name_of(source)} to {name_of(target)} needs a "
                f"shift grid that is not installed; the one used is {said}.",
                column="crs",
            )
        )  # fmt: skip
    if not inside[best].all():
        place = getattr(chosen.area_of_use, "name", "another area")
        findings.append(
            Finding(
                "crs-operation-area", "warning",
                f"{int((~inside[best]).sum())} of {east.size} positions lie outside the area for "
                f"which the conversion is published ({place}); its accuracy is not known there.",
                column="crs",
            )
        )  # fmt: skip
    return Transformed(
        np.where(np.isfinite(new_x), new_x, np.nan), np.where(np.isfinite(new_y), new_y, np.nan),
        str(chosen.description), accuracy, tuple(findings),
    )  # fmt: skip


def transform_frame(
    frame: gpd.GeoDataFrame, target: object
) -> tuple[gpd.GeoDataFrame, Transformed]:
    """Convert a layer as `transform_positions` does positions.

    Parameters
    ----------
    frame : geopandas.GeoDataFrame
        With a CRS; not changed.
    target : object
        Anything that names a CRS.

    Returns
    -------
    frame : geopandas.GeoDataFrame
        A new frame in `target`, two-dimensional.
    transformed : Transformed
        Every vertex, the operation, and what to say about it.

    Raises
    ------
    DataRefused
        If only a ballpark operation is left.
    """
    import shapely

    goal = read_crs(target)
    shapes = shapely.force_2d(frame.geometry.to_numpy())
    xy = shapely.get_coordinates(shapes)
    done = transform_positions(xy[:, 0], xy[:, 1], frame.crs, goal)
    moved = shapely.set_coordinates(shapes.copy(), np.column_stack([done.x, done.y]))
    return frame.set_geometry(list(moved), crs=goal), done


def degrees_of(x: Floats, y: Floats, crs: pyproj.CRS) -> tuple[Floats, Floats]:
    """Give longitude and latitude in the datum of the CRS itself; NaN where impossible.

    Parameters
    ----------
    x, y : ndarray, shape (n_samples,)
        Coordinates in `crs`, x first.
    crs : pyproj.CRS
        Projected or geographic.

    Returns
    -------
    lon, lat : ndarray, shape (n_samples,)
        [degrees]
    """
    from pyproj import Transformer

    geodetic = crs.geodetic_crs
    if crs.is_geographic or geodetic is None:
        lon, lat = x.astype(float), y.astype(float)
    else:
        lon, lat = Transformer.from_crs(crs, geodetic.to_2d(), always_xy=True).transform(x, y)
    wrong = ~(np.isfinite(lon) & np.isfinite(lat) & (np.abs(lon) <= 360) & (np.abs(lat) <= 90))
    return np.where(wrong, np.nan, lon), np.where(wrong, np.nan, lat)


def inside_area(lon: Floats, lat: Floats, crs: pyproj.CRS, margin: float) -> npt.NDArray[np.bool_]:
    """Say which positions lie in the area a CRS is made for, with a margin in degrees."""
    area = crs.area_of_use
    if area is None:
        return np.isfinite(lon)
    return _in_box(lon, lat, area.west, area.south, area.east, area.north, margin)


def _inside(transformer: pyproj.Transformer, lon: Floats, lat: Floats) -> npt.NDArray[np.bool_]:
    area: Any = transformer.area_of_use  # None for some operations, whatever its type says
    if area is None:
        return np.ones(lon.shape, dtype=bool)
    return _in_box(lon, lat, area.west, area.south, area.east, area.north, 0.0)


def _in_box(
    lon: Floats, lat: Floats, west: float, south: float, east: float, north: float, margin: float
) -> npt.NDArray[np.bool_]:
    """Test a box of degrees; one that crosses the date line has east < west."""
    width = (east - west) % 360.0 or 360.0
    along = (lon - west + margin) % 360.0
    in_lon = along <= width + 2.0 * margin if width + 2.0 * margin < 360.0 else np.isfinite(lon)
    return in_lon & (lat >= south - margin) & (lat <= north + margin)
