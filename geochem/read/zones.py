"""UTM zones and grid references: a zone with band letter or hemisphere, and MGRS, to a CRS.

The letter beside a zone is either a hemisphere (N, S) or a latitude band (C to X, without I and
O). ``S`` is both: south of the equator, or the band from 32 to 40 degrees north. Only the column
itself, the northing or a stated CRS may settle that; nothing is guessed.

MGRS is the grid of NATO STANAG 2211 and NGA.STND.0037: zone, band, two letters of a square of 100
km, and as many digits of easting as of northing, cut off and not rounded.
"""

from __future__ import annotations

import math
import re
from typing import NamedTuple

#: latitude bands from 80 degrees south, 8 degrees each (the last one 12)
BANDS = "CDEFGHJKLMNPQRSTUVWX"
#: letters of the squares: columns in three sets of eight, rows in two of twenty
_COLUMNS = ("ABCDEFGH", "JKLMNPQR", "STUVWXYZ")
_ROWS = ("ABCDEFGHJKLMNPQRSTUV", "FGHJKLMNPQRSTUVABCDE")
_ZONE = re.compile(
    r"(?:utm\s*)?(?:zone\s*)?0?(\d{1,2})\s*[-_/]?\s*([A-Za-z]*)", re.IGNORECASE | re.ASCII
)
_MGRS = re.compile(r"0?(\d{1,2})([C-HJ-NP-X])([A-HJ-NP-Z])([A-HJ-NP-V])(\d*)", re.ASCII)
_HEMISPHERES = {"n": "N", "north": "N", "northern": "N", "s": "S", "south": "S", "southern": "S"}


class Zone(NamedTuple):
    """A zone as written: number, and the letter or word beside it in capitals (maybe empty)."""

    number: int
    letter: str


class Square(NamedTuple):
    """What an MGRS reference names: zone, hemisphere, south-west corner and size of the square."""

    zone: int
    south: bool
    easting: float
    northing: float
    size: float


def read_zone(text: str) -> Zone | None:
    """Read a UTM zone.

    Parameters
    ----------
    text : str
        For example ``35``, ``35S``, ``zone 35 K`` or ``UTM 35 south``.

    Returns
    -------
    Zone or None
        None when it is no zone.

    Examples
    --------
    >>> read_zone("35K"), read_zone("UTM zone 35 south"), read_zone("61S") is None
    (Zone(number=35, letter='K'), Zone(number=35, letter='S'), True)
    """
    match = _ZONE.fullmatch(text.strip()) if len(text) <= 40 else None
    if match is None or not 1 <= int(match[1]) <= 60:
        return None
    letter = match[2].casefold()
    if letter in _HEMISPHERES:
        return Zone(int(match[1]), _HEMISPHERES[letter])
    if not letter:
        return Zone(int(match[1]), "")
    return Zone(int(match[1]), letter.upper()) if letter.upper() in BANDS else None


def read_hemisphere(text: str) -> str | None:
    """Read N or S out of a column of hemispheres.

    Examples
    --------
    >>> read_hemisphere("South"), read_hemisphere("K")
    ('S', None)
    """
    return _HEMISPHERES.get(text.strip().rstrip(".").casefold())


def band_limits(band: str) -> tuple[float, float]:
    """Give the southern and northern latitude of a band, in degrees.

    Examples
    --------
    >>> band_limits("K"), band_limits("X")
    ((-24.0, -16.0), (72.0, 84.0))
    """
    south = -80.0 + 8.0 * BANDS.index(band)
    return south, south + (12.0 if band == "X" else 8.0)


def read_mgrs(text: str) -> Square | None:
    """Read an MGRS reference.

    Parameters
    ----------
    text : str
        With or without spaces; at least one digit of easting and of northing.

    Returns
    -------
    Square or None
        None when it is none, or the row of the square does not lie in the band.

    References
    ----------
    NGA.STND.0037, Universal Grids and Grid Reference Systems, 2014.

    Examples
    --------
    >>> read_mgrs("18S UJ 23478 06483")
    Square(zone=18, south=False, easting=323478.0, northing=4306483.0, size=1.0)
    """
    match = _MGRS.fullmatch(re.sub(r"[\s\-]+", "", text).upper()) if len(text) <= 60 else None
    if match is None:
        return None
    zone, band, column, row, digits = int(match[1]), match[2], match[3], match[4], match[5]
    if not 1 <= zone <= 60 or len(digits) % 2 or not 2 <= len(digits) <= 10:
        return None
    letters = _COLUMNS[(zone - 1) % 3]
    if column not in letters:
        return None
    half = len(digits) // 2
    size = 10.0 ** (5 - half)
    easting = (letters.index(column) + 1) * 1e5 + int(digits[:half]) * size
    northing = _ROWS[(zone - 1) % 2].index(row) * 1e5 + int(digits[half:]) * size
    low, high = (_northing(latitude, south=band < "N") for latitude in band_limits(band))
    # rows repeat every 2,000 km: the one that lies in the band, with room for squares on its edge
    fits = [n for n in (northing + 2e6 * k for k in range(5)) if low - 1.2e5 <= n <= high + 1.2e5]
    if len(fits) != 1:
        return None
    return Square(zone, band < "N", easting, fits[0], size)


def _northing(latitude: float, *, south: bool) -> float:
    """Give the UTM northing on the central meridian, good to 200 m, in metres."""
    # meridian arc of WGS 84 (a 6378137, e2 0.00669438) to the second order, times 0.9996
    a, e2, phi = 6378137.0, 0.00669438, math.radians(latitude)
    arc = a * (
        (1 - e2 / 4 - 3 * e2**2 / 64) * phi
        - (3 * e2 / 8 + 3 * e2**2 / 32) * math.sin(2 * phi)
        + (15 * e2**2 / 256) * math.sin(4 * phi)
    )
    return 0.9996 * arc + (1e7 if south else 0.0)


def northing_fits(northing: float, band: str) -> bool:
    """Say whether a northing lies in a band, with 120 km to spare.

    Examples
    --------
    >>> northing_fits(8000000.0, "K"), northing_fits(8000000.0, "S")
    (True, False)
    """
    low, high = (_northing(latitude, south=band < "N") for latitude in band_limits(band))
    return low - 1.2e5 <= northing <= high + 1.2e5
