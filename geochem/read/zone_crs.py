"""The CRS of each row from its UTM zone, and the datum it is on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from geochem.model.finding import Finding, name_some
from geochem.read.synonyms import squeeze
from geochem.read.text_table import TextTable
from geochem.read.zones import Zone, northing_fits, read_hemisphere, read_zone

if TYPE_CHECKING:
    from geochem.read.columns import Plan

#: what a column of datums may say -> name of the datum as the EPSG register writes it
DATUMS: dict[str, str] = {
    "wgs84": "WGS 84", "wgs1984": "WGS 84", "nad27": "NAD27", "nad83": "NAD83",
    "ed50": "ED50", "etrs89": "ETRS89", "sad69": "SAD69", "psad56": "PSAD56",
    "sirgas2000": "SIRGAS 2000", "arc1950": "Arc 1950", "arc1960": "Arc 1960",
    "wgs72": "WGS 72",
}  # fmt: skip


def zone_crs(
    table: TextTable,
    plan: Plan,
    x: npt.NDArray[np.float64],
    y: npt.NDArray[np.float64],
    crs: str | None,
) -> tuple[npt.NDArray[np.object_], list[Finding]]:
    """Give every row the CRS of its zone.

    The datum is that of the stated `crs`, else of a column of datums, else WGS 84 with a finding.
    A row whose zone or hemisphere cannot be known gets a CRS that nothing knows, so that its
    sample is left off the map and named.

    Parameters
    ----------
    table, plan
        The table and what its columns are.
    x, y : ndarray, shape (n_rows,)
        Easting and northing. [m]
    crs : str, optional
        As stated for the table.

    Returns
    -------
    crs : ndarray of object, shape (n_rows,)
        Text, None where the row has no zone (it then takes the table's).
    findings : list of Finding
        Zones that were not understood, letters that contradict the northing, the datum.
    """
    findings: list[Finding] = []
    stated = _utm_of(crs)
    zones, unread = _zones(table, plan, stated)
    if unread:
        findings.append(_say(table, plan, "zone-not-read", unread, "state no UTM zone"))
    letters = {z.letter for z in zones if z is not None and len(z.letter) == 1}
    has_bands = bool(letters - {"N", "S"})
    datum = _datum(table, plan, stated, findings)
    made = np.full(len(table), None, dtype=object)
    known: dict[tuple[int, bool, str], str | None] = {}
    without: list[int] = []
    contrary: list[int] = []
    for i, zone in enumerate(zones):
        if zone is None or not np.isfinite(x[i]) or not np.isfinite(y[i]):
            continue
        south = _is_south(zone, y[i], has_bands, stated)
        if south is None:
            without.append(i)
            made[i] = f"UTM zone {zone.number}, hemisphere not known"
            continue
        if has_bands and len(zone.letter) == 1 and not northing_fits(float(y[i]), zone.letter):
            contrary.append(i)
            made[i] = f"UTM zone {zone.number}{zone.letter}, northing outside the band"
            continue
        key = (zone.number, south, datum[i])
        if key not in known:
            known[key] = find_utm(*key)
        made[i] = known[key] or f"{datum[i]} / UTM zone {zone.number}{'S' if south else 'N'}"
    if without:
        findings.append(
            _say(
                table, plan, "hemisphere-not-known", without,
                "leave open whether the zone is north or south of the equator (S may also be the "
                "band from 32 to 40 degrees north); write the hemisphere in a column of its own, "
                "or state the CRS",
            )
        )  # fmt: skip
    if contrary:
        findings.append(
            _say(
                table, plan, "zone-contradicts-northing", contrary,
                "have a northing that does not lie in the band of their zone",
            )
        )  # fmt: skip
    several = sorted({str(c) for c in made if c is not None and str(c).startswith("EPSG")})
    if len(several) > 1:
        counts = [f"{c} {int(sum(1 for m in made if m == c))}" for c in several]
        findings.append(
            Finding(
                "zones-mixed", "note",
                f"'{table.file}' has positions in {len(several)} UTM zones "
                f"({name_some(counts)}); each row was read in its own.", table.file,
            )
        )  # fmt: skip
    return made, findings


def _zones(
    table: TextTable, plan: Plan, stated: tuple[str, int, bool] | None
) -> tuple[list[Zone | None], list[int]]:
    """Read zone and hemisphere of every row."""
    n = len(table)
    i, h = plan.columns.get("zone"), plan.columns.get("hemisphere")
    texts = table.columns[i].texts().tolist() if i is not None else [""] * n
    sides = table.columns[h].texts().tolist() if h is not None else [""] * n
    out: list[Zone | None] = []
    unread = []
    for row, (text, side) in enumerate(zip(texts, sides, strict=True)):
        zone = read_zone(text) if text else None
        if zone is None and text:
            unread.append(row)
        if zone is None and not text and i is None and stated is not None and side:
            zone = Zone(stated[1], "")
        if zone is not None and side:
            half = read_hemisphere(side)
            # a column of hemispheres outweighs the letter: marked so that S is no band
            zone = Zone(zone.number, f"{half}!") if half else zone
        out.append(zone)
    return out, unread


def _is_south(
    zone: Zone,
    northing: float,
    has_bands: bool,  # noqa: FBT001
    stated: tuple[str, int, bool] | None,
) -> bool | None:
    letter = zone.letter
    if letter.endswith("!"):
        return letter[0] == "S"
    if not letter:
        return stated[2] if stated is not None else None
    if has_bands:
        return letter < "N"
    if letter == "N":
        return False
    if stated is not None:
        return stated[2]
    # S alone: a hemisphere, unless the northing would also fit the band
    return None if northing_fits(northing, "S") else True


def _utm_of(crs: str | None) -> tuple[str, int, bool] | None:
    """Give datum, zone and side of a stated CRS that is a UTM zone."""
    if crs is None:
        return None
    import pyproj

    try:
        known = pyproj.CRS.from_user_input(crs)
    except pyproj.exceptions.CRSError:
        return None
    zone = known.utm_zone
    if zone is None:
        return None
    geodetic = known.geodetic_crs
    name = "WGS 84" if geodetic is None else str(geodetic.name)
    return name, int(zone[:-1]), zone[-1] == "S"


def find_utm(zone: int, south: bool, datum: str) -> str | None:  # noqa: FBT001
    """Find the code of a UTM zone on a datum.

    Parameters
    ----------
    zone : int
        1 to 60.
    south : bool
        Which side of the equator.
    datum : str
        As the EPSG register writes it, for example ``"WGS 84"``.

    Returns
    -------
    str or None
        ``EPSG:...``; None when the register has none.

    Examples
    --------
    >>> find_utm(35, True, "WGS 84"), find_utm(30, False, "ED50")
    ('EPSG:32735', 'EPSG:23030')
    """
    if datum == "WGS 84":
        return f"EPSG:{(32700 if south else 32600) + zone}"
    from pyproj.database import query_utm_crs_info

    wanted = f"{datum} / UTM zone {zone}{'S' if south else 'N'}"
    hit = sorted(i.code for i in query_utm_crs_info() if i.name == wanted)
    return f"EPSG:{hit[0]}" if hit else None


def _datum(
    table: TextTable,
    plan: Plan,
    stated: tuple[str, int, bool] | None,
    findings: list[Finding],
) -> list[str]:
    """Give the datum of every row."""
    n = len(table)
    if stated is not None:
        return [stated[0]] * n
    i = plan.columns.get("datum")
    if i is not None:
        texts = table.columns[i].texts().tolist()
        out = [DATUMS.get(squeeze(t), t) if t else "WGS 84" for t in texts]
        if all(texts):
            return out
    else:
        out = ["WGS 84"] * n
    findings.append(
        Finding(
            "datum-assumed", "warning",
            f"'{table.file}' states UTM zones and no datum; WGS 84 was taken. State the CRS of "
            "the table if its positions are on another datum: they may be hundreds of metres "
            "off.", table.file, None, table.names[plan.columns.get("zone", 0)],
        )
    )  # fmt: skip
    return out


def _say(table: TextTable, plan: Plan, code: str, rows: list[int], what: str) -> Finding:
    i = plan.columns.get("zone", plan.columns.get("hemisphere", 0))
    cells: list[Any] = list(dict.fromkeys(table.columns[i].some(np.array(rows)).tolist()))
    return Finding(
        code, "warning",
        f"{len(rows)} rows of '{table.file}' {what} (column '{table.names[i]}': "
        f"{name_some(cells, 3)}): rows {name_some(table.rows[rows].tolist())}. They get no place "
        "on the map.", table.file, int(table.rows[rows[0]]), table.names[i],
    )  # fmt: skip
