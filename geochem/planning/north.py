"""Which north an azimuth means, and the same direction from grid north."""

from __future__ import annotations

import math
from typing import Literal, get_args

from geochem.errors import WrongCall, unknown

North = Literal["grid", "true", "magnetic"]


def grid_azimuth(
    azimuth: float,
    north: str | None,
    *,
    crs: object = None,
    easting: float = math.nan,
    northing: float = math.nan,
    declination: float | None = None,
) -> float:
    """Turn an azimuth into one from grid north, in which coordinates are reckoned.

    Parameters
    ----------
    azimuth : float
        Clockwise from `north`. [degrees]
    north : {"grid", "true", "magnetic"}
        Never guessed.
    crs : object, optional
        Working CRS; needed for true and magnetic north.
    easting, northing : float
        Where; the angle between the norths changes over the map. [m]
    declination : float, optional
        Magnetic north from true north, east positive; needed for magnetic north. [degrees]

    Returns
    -------
    float
        Clockwise from grid north, 0 to 360. [degrees]

    Raises
    ------
    WrongCall
        If north, or a number that its choice needs, is missing.

    Examples
    --------
    >>> grid_azimuth(30.0, "grid")
    30.0
    """
    if north is None:
        raise WrongCall(
            f"the azimuth {azimuth:g} does not say from which north; add north = 'grid', 'true' or "
            "'magnetic' (magnetic also needs the declination)."
        )
    if north not in get_args(North):
        raise unknown("north", north, get_args(North))
    if not math.isfinite(azimuth):
        raise WrongCall(f"an azimuth must be a number of degrees, got {azimuth}.")
    turned = azimuth
    if north == "magnetic":
        if declination is None or not math.isfinite(declination):
            raise WrongCall(
                "an azimuth from magnetic north needs declination = (degrees, east positive) of "
                "place and year; it is not guessed."
            )
        turned += declination
    if north != "grid":
        turned += convergence(crs, easting, northing)
    return turned % 360.0


def convergence(crs: object, easting: float, northing: float) -> float:
    """Give the angle from grid north to true north at a place, east positive. [degrees].

    Raises
    ------
    WrongCall
        If the CRS is no projected one in metres or the place is missing.
    """
    from pyproj import Proj, Transformer

    from geochem.coordinates import working_crs

    known = working_crs(crs)
    if not (math.isfinite(easting) and math.isfinite(northing)):
        raise WrongCall("the angle between true and grid north needs a place, got none.")
    lon, lat = Transformer.from_crs(known, known.geodetic_crs, always_xy=True).transform(
        easting, northing
    )
    return -float(Proj(known).get_factors(lon, lat).meridian_convergence)
