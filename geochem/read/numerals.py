"""Numbers as people write them: decimal comma, thousands, Unicode signs; nothing is guessed.

A comma or a point is only taken as what the column itself proves it to be. ``1,350`` alone may be
1350 or 1.35: it is then not read, and a finding asks.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

#: full-width forms, the minus signs and the narrow spaces, to what a keyboard has
_PLAIN: dict[int, int | str] = {
    **{c: c - 0xFEE0 for c in range(0xFF01, 0xFF5F)},
    0x3000: " ", 0x2212: "-", 0x2010: "-", 0x2011: "-", 0x2012: "-", 0x2013: "-", 0xFE63: "-",
    0xA0: " ", 0x2007: " ", 0x2009: " ", 0x202F: " ", 0x2264: "<", 0x2265: ">", 0x2019: "'",
}  # fmt: skip

_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_COMMA_NUMBER = re.compile(r"[+-]?(?:\d+(?:,\d*)?|,\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_COMMA_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+", re.ASCII)
_COMMA_GROUPS_POINT = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+\.\d+", re.ASCII)
_POINT_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(?:\.\d{3})+", re.ASCII)
_POINT_GROUPS_COMMA = re.compile(r"[+-]?[1-9]\d{0,2}(?:\.\d{3})+,\d+", re.ASCII)
_SPACE_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(?:[ ']\d{3})+(?:[.,]\d+)?", re.ASCII)


def plain(text: str) -> str:
    r"""Write full-width digits, Unicode minus and narrow spaces as a keyboard does.

    Examples
    --------
    >>> plain("\u221212\uff0e5")
    '-12.5'
    """
    return text if text.isascii() else text.translate(_PLAIN)


@dataclass(frozen=True, slots=True)
class Notation:
    """What the commas and points of a column are.

    Parameters
    ----------
    decimal : {".", ",", ""}
        Decimal mark; empty when the column cannot tell.
    comma_thousands, point_thousands : bool
        Whether the other mark separates thousands, with proof.
    proof : str
        A cell that proves it, or empty.
    doubt : str
        A cell that could be two numbers, or empty.
    mixed : bool
        Whether both marks are decimal marks in cells of the column (`proof` and `doubt` name one
        of each).
    usual : {".", ",", ""}
        Of a mixed column: the mark that at least nine in ten of the cells show.
    """

    decimal: str = "."
    comma_thousands: bool = False
    point_thousands: bool = False
    proof: str = ""
    doubt: str = ""
    mixed: bool = False
    usual: str = ""


POINT = Notation()


def notation_of(
    texts: Iterable[str], *, decimal: str | None = None, comma_table: bool = False
) -> Notation:
    """Find out from the distinct numbers of a column what its commas and points are.

    Parameters
    ----------
    texts : iterable of str
        Distinct numbers, signs of limits taken away, in plain writing.
    decimal : {".", ","}, optional
        What the user says.
    comma_table : bool, default False
        Whether another column of the table proves a decimal comma; a point before three digits is
        then no longer beyond doubt.

    Returns
    -------
    Notation
        Only what is proven.

    Examples
    --------
    >>> notation_of(["1,5", "12,25"]).decimal
    ','
    >>> notation_of(["1,350", "2,100"]).doubt
    '1,350'
    >>> notation_of(["1,350", "2,100.5"]).comma_thousands
    True
    """
    comma_proof = groups_proof = point_proof = point_groups_proof = doubt = doubt_point = ""
    any_comma_groups = False
    commas = points = 0
    for text in texts:
        if (" " in text or "'" in text) and _SPACE_GROUPS.fullmatch(text):
            # groups parted by spaces leave no doubt about what a comma or point after them is
            text = text.replace(" ", "").replace("'", "")
        comma, point = "," in text, "." in text
        if not comma and not point:
            continue
        if comma and point:
            if _COMMA_GROUPS_POINT.fullmatch(text):
                groups_proof = groups_proof or text
            elif _POINT_GROUPS_COMMA.fullmatch(text):
                point_groups_proof = point_groups_proof or text
        elif comma:
            if _COMMA_GROUPS.fullmatch(text):
                any_comma_groups = True
                if text.count(",") > 1:
                    groups_proof = groups_proof or text
                else:
                    doubt = doubt or text
            elif _COMMA_NUMBER.fullmatch(text):
                comma_proof = comma_proof or text
                commas += 1
        elif _POINT_GROUPS.fullmatch(text):
            if text.count(".") > 1:
                point_groups_proof = point_groups_proof or text
            else:
                doubt_point = doubt_point or text
        elif _NUMBER.fullmatch(text):
            point_proof = point_proof or text
            points += 1
    if decimal == ",":
        return Notation(",", point_thousands=not point_proof, proof="the decimal mark given")
    if decimal == ".":
        return Notation(".", comma_thousands=not comma_proof, proof="the decimal mark given")
    says_comma = comma_proof or point_groups_proof
    says_point = groups_proof or point_proof
    if says_comma and says_point:
        # two hands have written the column: a cell is read where it has one meaning only
        usual = "." if points >= 9 * commas else "," if commas >= 9 * points else ""
        if groups_proof or point_groups_proof:
            usual = ""
        return Notation("", proof=says_comma, doubt=says_point, mixed=True, usual=usual)
    if says_comma:
        return Notation(",", point_thousands=True, proof=says_comma)
    if says_point:
        return Notation(".", comma_thousands=True, proof=says_point)
    if any_comma_groups:
        return Notation("", doubt=doubt)
    if doubt_point and comma_table:
        return Notation("", doubt=doubt_point)
    return POINT


def number(text: str, notation: Notation = POINT) -> float | None:
    """Read one number, or say that it is none.

    Parameters
    ----------
    text : str
        In plain writing, without marks and units.
    notation : Notation
        Of its column.

    Returns
    -------
    float or None
        None for everything that is not beyond doubt one finite number.

    Examples
    --------
    >>> number("1 350.5"), number("-.5"), number("nan"), number("1_000"), number("1.2.3")
    (1350.5, -0.5, None, None, None)
    """
    got = _number(text, notation.decimal, notation.comma_thousands, notation.point_thousands)
    return None if got is None or got in (float("inf"), float("-inf")) else got


def only_meaning(text: str, notation: Notation) -> float | None:
    """Read a number of a column that proves no decimal mark, where it has one meaning only.

    Parameters
    ----------
    text : str
        In plain writing, without marks and units.
    notation : Notation
        Of its column.

    Returns
    -------
    float or None
        None when it is no number, or could be two.

    Examples
    --------
    >>> only_meaning("9,0", Notation("")), only_meaning("1,350", Notation(""))
    (9.0, None)
    """
    comma, point = text.count(","), text.count(".")
    mark = "." if point else ","
    single = _COMMA_GROUPS.fullmatch(text) or _POINT_GROUPS.fullmatch(text)
    if comma + point == 1 and single and mark != notation.usual:
        return None
    if comma + point == 1:
        return number(text, Notation(mark))
    ways = {
        number(text, Notation(d, comma_thousands=True, point_thousands=True)) for d in ".,"
    } - {None}
    return next(iter(ways)) if len(ways) == 1 else None


@lru_cache(maxsize=4096)
def _number(
    text: str,
    decimal: str,
    comma_thousands: bool,  # noqa: FBT001
    point_thousands: bool,  # noqa: FBT001
) -> float | None:
    if not text:
        return None
    if _SPACE_GROUPS.fullmatch(text):
        text = text.replace(" ", "").replace("'", "")
    comma, point = "," in text, "." in text
    if not comma and not point:
        return float(text) if _NUMBER.fullmatch(text) else None
    if decimal == ",":
        if point and not (
            point_thousands
            and (_POINT_GROUPS.fullmatch(text) or _POINT_GROUPS_COMMA.fullmatch(text))
        ):
            return None
        text = text.replace(".", "")
        return float(text.replace(",", ".")) if _COMMA_NUMBER.fullmatch(text) else None
    if decimal == ".":
        if comma:
            if not comma_thousands or not (
                _COMMA_GROUPS.fullmatch(text) or _COMMA_GROUPS_POINT.fullmatch(text)
            ):
                return None
            text = text.replace(",", "")
        return float(text) if _NUMBER.fullmatch(text) else None
    return None
