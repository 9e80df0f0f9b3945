"""Positions that take more than two plain columns: parts of degrees, both axes in one, grids.

What a table may have instead of, or beside, easting and northing:

* degrees, minutes and seconds in columns of their own, with or without a column of letters;
* both coordinates in one cell (``-12.5, 25.5``);
* a UTM zone (with band letter or hemisphere) and a hemisphere beside easting and northing;
* an MGRS reference.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import numpy.typing as npt

from geochem.read.numerals import Notation, plain
from geochem.read.positions import read_degrees
from geochem.read.synonyms import squeeze
from geochem.read.text_table import TextTable
from geochem.read.zones import read_hemisphere, read_mgrs, read_zone

#: column -> headers, squeezed; common practice, no source
PARTS: dict[str, tuple[str, ...]] = {
    "lat_m": ("latm", "latmin", "latmins", "latminute", "latminutes", "latitudemin",
              "latitudeminutes", "minlat", "latituteminutes"),
    "lon_m": ("lonm", "longm", "lonmin", "lonmins", "longmin", "lonminutes", "longminutes",
              "longitudemin", "longitudeminutes", "minlon", "minlong"),
    "lat_d": ("latd", "latdeg", "latdegs", "latdegrees", "latitudedeg", "latitudedegrees",
              "deglat", "lat", "latitude"),
    "lon_d": ("lond", "longd", "londeg", "longdeg", "londegrees", "longdegrees", "longitudedeg",
              "longitudedegrees", "deglon", "deglong", "lon", "long", "longitude"),
    "lat_s": ("lats", "latsec", "latsecs", "latseconds", "latitudesec", "latitudeseconds",
              "seclat"),
    "lon_s": ("lons", "longs", "lonsec", "longsec", "lonseconds", "longseconds", "longitudesec",
              "longitudeseconds", "seclon", "seclong"),
    "lat_h": ("ns", "lath", "lathem", "latdir", "latitudedirection", "lathemisphere",
              "latns", "latdirection"),
    "lon_h": ("ew", "lonh", "longh", "lonhem", "londir", "longdir", "longitudedirection",
              "lonhemisphere", "lonew", "londirection"),
}  # fmt: skip
#: columns that are taken for what their header says only where their cells agree
PLACE_WORDS = ("zone", "hemisphere", "mgrs", "latlon")
_LONGEST = 80
_BOTH = re.compile(r"\s*(.+?)\s*(?:[;/|]|,\s+|\s{2,}|(?<=[NSEWnsew])[\s,]+(?=\d)|,)\s*(.+?)\s*")
_METRES_BOTH = re.compile(
    r"\s*(\d{5,7}(?:\.\d+)?)\s*m?\s*E?[\s,;/]+(\d{5,8}(?:\.\d+)?)\s*m?\s*N?\s*"
)


def find_parts(table: TextTable) -> dict[str, int]:
    """Find the columns of degrees in parts; empty when minutes of both axes are not there.

    Parameters
    ----------
    table : TextTable
        Any table.

    Returns
    -------
    dict of str to int
        Keys of `PARTS` -> index of the column.
    """
    names = [squeeze(n) for n in table.names]
    found: dict[str, int] = {}
    for part, words in PARTS.items():
        hit = next((names.index(w) for w in words if w in names), None)
        if hit is not None and hit not in found.values():
            found[part] = hit
    whole = {"lat_d", "lat_m", "lon_d", "lon_m"} <= set(found)
    return found if whole else {}


def join_parts(table: TextTable, parts: dict[str, int], axis: str) -> npt.NDArray[np.object_]:
    """Write degrees in parts as one text per row, to be read like any other coordinate.

    Parameters
    ----------
    table : TextTable
        The table.
    parts : dict of str to int
        From `find_parts`.
    axis : {"lat", "lon"}
        Which.

    Returns
    -------
    ndarray of str, shape (n_rows,)
        Empty where degrees or minutes are missing; a lost sign (``-0``) is kept.
    """

    def texts(part: str) -> list[str]:
        i = parts.get(f"{axis}_{part}")
        if i is None:
            return [""] * len(table)
        return [plain(t).strip().rstrip("°'\"") for t in table.columns[i].texts().tolist()]

    out = np.full(len(table), "", dtype=object)
    rows = zip(texts("d"), texts("m"), texts("s"), texts("h"), strict=True)
    for i, (degree, minute, second, letter) in enumerate(rows):
        if degree and minute:
            seconds = f'{second}"' if second else ""
            out[i] = f"{degree}°{minute}'{seconds}{letter[:1].upper()}"
    return out


def split_pairs(
    texts: npt.NDArray[Any],
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], bool, list[int]]:
    """Read both coordinates out of one cell.

    Degrees are read as latitude, longitude (ISO 6709 has this order) unless letters say otherwise;
    metres as easting, northing.

    Parameters
    ----------
    texts : ndarray of str, shape (n_rows,)
        Cells such as ``-12.5, 25.5`` or ``12°30'S 25°30'E``.

    Returns
    -------
    x, y : ndarray, shape (n_rows,)
        NaN where not read.
    degrees : bool
        Whether they are degrees.
    bad : list of int
        Rows that were filled and not read.
    """
    x, y = np.full(len(texts), np.nan), np.full(len(texts), np.nan)
    degrees, bad = False, []
    for i, text in enumerate(texts.tolist()):
        if not text:
            continue
        # patterns with several runs of white space go over short texts only
        text = re.sub(r"\s{2,}", "  ", text)
        if len(text) > _LONGEST:
            bad.append(i)
            continue
        metres = _METRES_BOTH.fullmatch(text)
        if metres:
            x[i], y[i] = float(metres[1]), float(metres[2])
            continue
        got = _pair(plain(text))
        if got is None:
            bad.append(i)
        else:
            x[i], y[i] = got
            degrees = True
    return x, y, degrees, bad


def _pair(text: str) -> tuple[float, float] | None:
    match = _BOTH.fullmatch(text)
    if match is None:
        return None
    first, second = match[1], match[2]
    if re.search("[EWew]", first) and re.search("[NSns]", second):
        first, second = second, first

    def one(part: str, axis: str) -> float | None:
        marked = read_degrees(part, axis=axis, notation=Notation())
        if marked is not None:
            return marked
        bare = re.fullmatch(r"[+-]?\d{1,3}\.\d+", part.strip())
        limit = 90.0 if axis == "y" else 180.0
        return float(part) if bare and abs(float(part)) <= limit else None

    latitude, longitude = one(first, "y"), one(second, "x")
    if latitude is None or longitude is None:
        return None
    return longitude, latitude


def read_references(
    texts: npt.NDArray[Any],
) -> tuple[
    npt.NDArray[np.float64],
    npt.NDArray[np.float64],
    npt.NDArray[np.object_],
    npt.NDArray[np.float64],
    list[int],
]:
    """Read a column of MGRS references.

    Parameters
    ----------
    texts : ndarray of str, shape (n_rows,)
        Cells.

    Returns
    -------
    x, y : ndarray, shape (n_rows,)
        Middle of the square, UTM. [m]
    crs : ndarray of object, shape (n_rows,)
        EPSG code of the zone on WGS 84, None where not read.
    size : ndarray, shape (n_rows,)
        Side of the square. [m]
    bad : list of int
        Rows that were filled and not read.
    """
    n = len(texts)
    x, y, size = np.full(n, np.nan), np.full(n, np.nan), np.full(n, np.nan)
    crs = np.full(n, None, dtype=object)
    bad = []
    for i, text in enumerate(texts.tolist()):
        if not text:
            continue
        square = read_mgrs(plain(text))
        if square is None:
            bad.append(i)
            continue
        x[i] = square.easting + square.size / 2
        y[i] = square.northing + square.size / 2
        size[i] = square.size
        crs[i] = f"EPSG:{(32700 if square.south else 32600) + square.zone}"
    return x, y, crs, size, bad


def strip_axis_letters(
    table: TextTable, columns: dict[str, int]
) -> dict[str, tuple[npt.NDArray[Any], bool]]:
    """Take ``mE``, ``E`` and the like off metres, where both axes are written so.

    A bare ``N`` needs seven digits before it: ``123456N`` may be degrees, minutes and seconds.

    Parameters
    ----------
    table : TextTable
        The table.
    columns : dict of str to int
        Its ``x`` and ``y``.

    Returns
    -------
    dict
        Axis -> cells without the letters, and whether any had one; empty when nothing changes.
    """
    out: dict[str, tuple[npt.NDArray[Any], bool]] = {}
    if not {"x", "y"} <= set(columns):
        return out
    for axis, letter, digits in (("x", "E", "5,7"), ("y", "N", "7,8")):
        texts = table.columns[columns[axis]].some(np.arange(min(len(table), 50)))
        if not any(t[-1:].isalpha() for t in texts.tolist()):
            return {}
        pattern = re.compile(
            rf"(\d{{{digits}}}(?:[.,]\d+)?)\s*{letter}|(\d{{4,8}}(?:[.,]\d+)?)\s*m\s*{letter}",
            re.IGNORECASE | re.ASCII,
        )
        cells = table.columns[columns[axis]].texts()
        made = np.empty(len(cells), dtype=object)
        made[:] = [(m[1] or m[2]) if (m := pattern.fullmatch(t)) else t for t in cells.tolist()]
        if (made == cells).all():
            return {}
        out[axis] = made, True
    return out


def find_letters(table: TextTable) -> dict[str, int]:
    """Find columns that hold nothing but N and S, or E and W, beside decimal degrees.

    Parameters
    ----------
    table : TextTable
        Any table.

    Returns
    -------
    dict of str to int
        ``x`` and ``y`` -> index of the column; both or none.
    """
    names = [squeeze(n) for n in table.names]
    found = {}
    for axis, part, letters in (("x", "lon_h", {"E", "W"}), ("y", "lat_h", {"N", "S"})):
        for word in PARTS[part]:
            if word in names:
                cells = {t.upper() for t in table.columns[names.index(word)].texts() if t}
                if cells and cells <= letters:
                    found[axis] = names.index(word)
                break
    return found if len(found) == 2 else {}


def holds_places(table: TextTable, i: int, column: str) -> bool:
    """Say whether the cells of a column are what its header promises.

    Parameters
    ----------
    table : TextTable
        The table.
    i : int
        Index of the column.
    column : {"zone", "hemisphere", "mgrs", "latlon"}
        What the header says.

    Returns
    -------
    bool
        True when at least half of the first filled cells are that.
    """
    cells = [plain(t) for t in table.columns[i].some(np.arange(min(len(table), 200))) if t]
    if not cells:
        return False
    if column == "latlon":
        x, _, _, _ = split_pairs(np.array(cells, dtype=object))
        good = int(np.isfinite(x).sum())
    else:
        reader = {"zone": read_zone, "hemisphere": read_hemisphere, "mgrs": read_mgrs}[column]
        good = sum(1 for t in cells if reader(t) is not None)
    return good * 2 >= len(cells)
