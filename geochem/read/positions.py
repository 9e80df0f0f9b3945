"""Coordinates as people write them: plain numbers, decimal comma, degrees-minutes-seconds.

A position is never guessed: a letter of the other axis, a sign and a letter both, minutes of 60
or more, a comma that could be thousands are named and not read.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from geochem.model.finding import Finding, name_some
from geochem.read.numerals import Notation, notation_of, number, plain
from geochem.read.text_table import TextColumn
from geochem.read.values import Kind, parse_column

#: no coordinate is longer; patterns go over short texts only
_LONGEST = 80
_DEGREE = "°º˚*"
_MINUTE = "'′’`´"
_SECOND = '"″”“'
_LETTER = re.compile(r"^\s*([NSEW])?(.*?)([NSEW])?\s*$", re.IGNORECASE | re.DOTALL)
_PARTS = re.compile(
    rf"([+-]?\d+(?:[.,]\d+)?)(?:\s*[{_DEGREE}]\s*|\s+|\s*:\s*|\s*d\s*)"
    rf"(?:(\d+(?:[.,]\d+)?)(?:\s*[{_MINUTE}](?![{_MINUTE}])\s*|\s+|\s*:\s*|\s*m\s*|$)"
    rf"(?:(\d+(?:[.,]\d+)?)(?:\s*(?:[{_SECOND}]|[{_MINUTE}]{{2}}|s)?\s*)?)?)?$",
    re.ASCII,
)


@dataclass(slots=True, eq=False)
class Coordinates:
    """One axis.

    Parameters
    ----------
    number : ndarray, shape (n_rows,)
        NaN where not read.
    degrees : bool
        Whether the cells themselves are degrees (marks or letters).
    findings : list of Finding
        What was not read.
    """

    number: npt.NDArray[np.float64]
    degrees: bool = False
    findings: list[Finding] = field(default_factory=list)


def read_axis(
    column: TextColumn,
    *,
    axis: str,
    file: str,
    name: str,
    rows: npt.NDArray[Any],
    decimal: str | None = None,
) -> Coordinates:
    """Read one column of coordinates.

    Parameters
    ----------
    column : TextColumn
        Cells.
    axis : {"x", "y"}
        East (E, W) or north (N, S).
    file, name : str
        For findings.
    rows : ndarray of int, shape (n_rows,)
        Row numbers, for findings.
    decimal : {".", ","}, optional
        Decimal mark the user states.

    Returns
    -------
    Coordinates
        Metres or degrees as written; south and west are negative.
    """
    parsed = parse_column(column, decimal=decimal)
    values = np.where(parsed.kind == Kind.READING, parsed.number, np.nan)
    for where in parsed.unit_rows.values():
        values[where] = np.nan
    odd = parsed.is_kind(Kind.NOT_READ, Kind.BELOW, Kind.ABOVE)
    for where in parsed.unit_rows.values():
        odd[where] = True
    degrees = False
    bad: list[int] = []
    doubtful = np.flatnonzero(parsed.kind == Kind.DOUBTFUL)
    if odd.any():
        import pandas as pd

        index = np.flatnonzero(odd)
        codes, distinct = pd.factorize(column.some(index))
        cores = [plain(t) for t in distinct]
        notation = notation_of(
            [m for t in cores for m in re.findall(r"\d+[.,]\d+", t)], decimal=decimal
        )
        got = [read_degrees(t, axis=axis, notation=notation) for t in distinct]
        made = np.array([np.nan if g is None else g for g in got])
        values[index] = made[codes]
        degrees = any(g is not None for g in got)
        bad = index[np.isnan(values[index])].tolist()
    findings = []
    if bad:
        cells = column.some(np.array(bad[:200]))
        findings.append(
            Finding(
                "position-not-read", "warning",
                f"{len(bad)} cells of column '{name}' are no coordinates "
                f"({name_some(list(dict.fromkeys(cells.tolist())), 3)}) and were not read: rows "
                f"{name_some(rows[bad].tolist())}. Write decimal numbers, or degrees as "
                "12°34'56\"S with one letter and no sign.", file, int(rows[bad[0]]), name,
            )
        )  # fmt: skip
    if len(doubtful):
        cells = column.some(doubtful[:5])
        findings.append(
            Finding(
                "position-doubtful", "warning",
                f"{len(doubtful)} cells of column '{name}' could be two numbers "
                f"({name_some(cells.tolist(), 2)}: is the comma a decimal mark or does it part "
                "thousands?) and were not read. State `decimal`.", file,
                int(rows[doubtful[0]]), name,
            )
        )  # fmt: skip
    return Coordinates(values, degrees, findings)


def read_degrees(text: str, *, axis: str, notation: Notation | None = None) -> float | None:
    r"""Read one coordinate in degrees with marks, letters or parts.

    Parameters
    ----------
    text : str
        A cell.
    axis : {"x", "y"}
        Which letters are right: E and W, or N and S.
    notation : Notation, optional
        Of decimals.

    Returns
    -------
    float or None
        Decimal degrees, None for everything that is not beyond doubt.

    Examples
    --------
    >>> round(read_degrees("12°34'56\"S", axis="y"), 6), read_degrees("-12°30'S", axis="y")
    (-12.582222, None)
    >>> read_degrees("0°30'S", axis="y"), read_degrees("12°75'S", axis="y")
    (-0.5, None)
    """
    text = text.replace("−", "-").replace("–", "-").replace("\u00a0", " ").strip()
    match = _LETTER.match(text) if len(text) <= _LONGEST else None
    if match is None:
        return None
    before, body, after = match[1], match[2].strip(), match[3]
    if before and after:
        return None
    letter = (before or after or "").upper()
    if letter and letter not in ("EW" if axis == "x" else "NS"):
        return None
    if not body:
        return None
    notation = notation or Notation()
    if notation.decimal == "":
        return None
    simple = number(body.rstrip(_DEGREE + " "), notation)
    if simple is not None:
        marked = body != body.rstrip(_DEGREE + " ")
        if not letter and not marked:
            return None
        value, negative = abs(simple), body.startswith("-")
    else:
        parts = _PARTS.match(body)
        if parts is None:
            return None
        pieces = [number(p.lstrip("+-"), notation) for p in parts.groups() if p]
        if any(p is None for p in pieces):
            return None
        degree, minute, second = ([float(p or 0.0) for p in pieces] + [0.0, 0.0])[:3]
        if minute >= 60 or second >= 60 or (len(pieces) > 1 and degree != int(degree)):
            return None
        if len(pieces) > 2 and minute != int(minute):
            return None
        marked = any(c in body for c in _DEGREE + ":") or bool(letter)
        if not marked:
            return None
        value, negative = degree + minute / 60 + second / 3600, body.startswith("-")
    if letter and (negative or body.startswith("+")):
        return None
    if value > (180.0 if axis == "x" else 90.0):
        return None
    return -value if negative or letter in ("S", "W") else value


def look_like_degrees(x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]) -> bool:
    """Say whether all positions could be longitude and latitude and hardly be metres."""
    ok = np.isfinite(x) & np.isfinite(y)
    if not ok.any():
        return False
    ax, ay = np.abs(x[ok]), np.abs(y[ok])
    if ax.max() > 180 or ay.max() > 90:
        return False
    # a local grid may start at 0: whole numbers only are no degrees
    return bool((np.mod(x[ok], 1) != 0).any() or (np.mod(y[ok], 1) != 0).any())
