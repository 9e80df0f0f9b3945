"""The value parser: what one cell of an analyte column says.

A cell is a reading, a limit (below, above), a limit without its number, one of three kinds of
missing, or not read at all. Nothing else ever becomes a number: ``nan``, ``inf``, ``0x1F``,
``1_000`` and ``1.2.3`` are not readings.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from enum import IntEnum
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from geochem import units
from geochem.read.digits import read_digits
from geochem.read.numerals import POINT, Notation, notation_of, number, only_meaning, plain
from geochem.read.text_table import TextColumn


class Kind(IntEnum):
    """What a cell is."""

    EMPTY = 0
    READING = 1
    BELOW = 2
    ABOVE = 3
    BARE_BELOW = 4  # below a limit that the cell does not state
    BARE_ABOVE = 5
    NO_SAMPLE = 6  # not enough material
    NOT_ANALYSED = 7
    ERROR_CELL = 8  # a spreadsheet's own error
    NOT_READ = 9  # none of these: a finding
    DOUBTFUL = 10  # a number that could be two numbers: a finding


MISSING = (Kind.EMPTY, Kind.NO_SAMPLE, Kind.NOT_ANALYSED, Kind.ERROR_CELL)

#: cells without number -> kind; compared in small letters without spaces. Common practice,
#: no source.
MARKS: dict[str, Kind] = {
    **dict.fromkeys(
        ("<", "<lod", "lod", "<dl", "<mdl", "mdl", "<lld", "<loq", "<llod", "<ldl", "nd", "n.d.",
         "n.d", "nd.", "bdl", "b.d.l.", "b.d.l", "b.d.", "b.d", "bd", "bld", "b.l.d.", "<bdl",
         "<nd", "<d.l.", "belowdetection", "belowdetectionlimit", "belowlod", "notdetected",
         "non-detect", "nondetect", "undetected", "<detectionlimit", "<limit", "k.d.", "n.n.",
         "lld", "<ld", "ld", "bql", "<lql"),
        Kind.BARE_BELOW,
    ),
    **dict.fromkeys(
        (">", ">lod", ">uod", ">ul", ">udl", "overrange", "over-range", "overlimit", "over",
         "o.r.", "abovelimit", "aboverange", ">max", "uod", "saturated"),
        Kind.BARE_ABOVE,
    ),
    **dict.fromkeys(
        ("n.s.", "ns", "n.s", "insufficient", "insufficientsample", "insufficientmaterial", "ins",
         "insuf", "i.s.", "is", "nosample", "notenoughsample", "notsufficient", "lnr", "l.n.r.",
         "listednotreceived", "notreceived", "nss", "n.s.s.", "samplemissing", "missingsample"),
        Kind.NO_SAMPLE,
    ),
    **dict.fromkeys(
        ("na", "n.a.", "n.a", "n/a", "notanalysed", "notanalyzed", "notapplicable", "-", "--",
         "---", "null", "none", "*", "notassayed", "notmeasured", "n.m.", "nm", "n.r.", "nr",
         "missing", ".", "..", "?", "notreported", "nodata", "n/r"),
        Kind.NOT_ANALYSED,
    ),
    **dict.fromkeys(
        ("#n/a", "#na", "#div/0!", "#value!", "#ref!", "#name?", "#num!", "#null!", "#error!",
         "#spill!", "#calc!", "#gettingdata"),
        Kind.ERROR_CELL,
    ),
}  # fmt: skip

_HASHES = re.compile(r"#{2,}")
_LIMIT = re.compile(r"([<>])\s*=?\s*(.+)", re.ASCII)
_TRAILING = re.compile(r"(.*\S)\s*([<>])", re.ASCII)
_FLAGGED = re.compile(r"(.*\d)\s*(U|UJ|J)", re.ASCII)
_UNIT = re.compile(r"([^A-Za-z%µμ]*[0-9.,])\s*([A-Za-z%µμ][A-Za-z%µμ/. 0-9-]*)")


@dataclass(frozen=True, slots=True)
class Cell:
    """One distinct text, understood; `core` is its number as text, `unit` one in the cell."""

    kind: Kind
    core: str = ""
    unit: str | None = None


def understand(text: str) -> Cell:
    """Say what a cell is, its number still as text.

    Parameters
    ----------
    text : str
        A cleaned cell.

    Returns
    -------
    Cell
        `READING`, `BELOW` and `ABOVE` only stand here provided that `core` is a number.

    Examples
    --------
    >>> understand("<0.5"), understand("n.d.").kind.name
    (Cell(kind=<Kind.BELOW: 2>, core='0.5', unit=None), 'BARE_BELOW')
    """
    if not text:
        return Cell(Kind.EMPTY)
    text = plain(text).strip()
    squeezed = text.lower().replace(" ", "")
    if not squeezed:
        return Cell(Kind.EMPTY)
    if squeezed in MARKS:
        return Cell(MARKS[squeezed])
    if _HASHES.fullmatch(squeezed):
        return Cell(Kind.ERROR_CELL)
    kind, core = Kind.READING, text
    if text[0] in "<>":
        match = _LIMIT.fullmatch(text)
        if match is None:
            return Cell(Kind.NOT_READ, text)
        kind = Kind.BELOW if match[1] == "<" else Kind.ABOVE
        core = match[2].strip()
    elif text[-1] in "<>":
        match = _TRAILING.fullmatch(text)
        if match is None:
            return Cell(Kind.NOT_READ, text)
        kind = Kind.BELOW if match[2] == "<" else Kind.ABOVE
        core = match[1]
    if core[-1:] in "UJ" and kind == Kind.READING:
        flagged = _FLAGGED.fullmatch(core)
        if flagged:
            # data qualifiers: U not detected at this limit, J estimated
            core = flagged[1]
            kind = Kind.BELOW if flagged[2].startswith("U") else Kind.READING
    unit = None
    if core[-1:].isalpha() or core[-1:] in "%)":
        match = _UNIT.fullmatch(core)
        known = units.read_unit(match[2]) if match else None
        if match and known:
            core, unit = match[1].strip(), known
    return Cell(kind, core, unit)


@lru_cache(maxsize=256)
def _which(kinds: tuple[int, ...]) -> npt.NDArray[np.bool_]:
    """Give a table that says of every kind whether it is one of some."""
    table = np.zeros(256, dtype=bool)
    table[list(kinds)] = True
    return table


#: of every kind, whether it is a value or a limit: ``HELD[kind]``
HELD = _which((Kind.READING, Kind.BELOW, Kind.ABOVE))


@dataclass(slots=True, eq=False)
class Parsed:
    """A column of values.

    Parameters
    ----------
    number : ndarray, shape (n_rows,)
        Readings and limits as delivered (unit of the column); NaN for everything else.
    kind : ndarray of uint8, shape (n_rows,)
        `Kind` of each cell.
    notation : Notation
        What commas and points were taken for.
    unit_rows : dict of str to ndarray
        Rows whose cell states a unit of its own.
    """

    number: npt.NDArray[np.float64]
    kind: npt.NDArray[np.uint8]
    notation: Notation = POINT
    unit_rows: dict[str, npt.NDArray[np.int64]] = field(default_factory=dict)

    def is_kind(self, *kinds: Kind) -> npt.NDArray[np.bool_]:
        """Say which cells are of one of some kinds."""
        return _which(kinds)[self.kind]


def parse_column(
    column: TextColumn, *, decimal: str | None = None, comma_table: bool = False
) -> Parsed:
    """Read a column of values; each distinct odd text is looked at once.

    Parameters
    ----------
    column : TextColumn
        Its cells.
    decimal : {".", ","}, optional
        Decimal mark the user states.
    comma_table : bool, default False
        Whether another column proves a decimal comma.

    Returns
    -------
    Parsed
        Same length.

    Examples
    --------
    >>> got = parse_column(TextColumn(["12", "<5", "", "ND", "1.2.3"]))
    >>> got.number.tolist(), got.kind.tolist()
    ([12.0, 5.0, nan, nan, nan], [1, 2, 0, 4, 9])
    """
    n = len(column)
    values = np.full(n, np.nan)
    kinds = np.zeros(n, dtype=np.uint8)
    rest: npt.NDArray[np.int64] | None = None
    if column.in_bytes and decimal != "," and not comma_table:
        values, mark = column.take_plain() or read_digits(*column.cut())
        kinds = _KIND_OF_MARK[mark]
        rest = np.flatnonzero(mark == 255)
        if not len(rest):
            return Parsed(values, kinds)
        texts = column.some(rest)
        # a comma decides what a point is: then the whole column is looked at as text
        if any("," in t for t in set(texts.tolist())):
            rest, texts = None, column.texts()
    else:
        texts = column.texts()
    import pandas as pd

    codes, distinct = pd.factorize(texts)
    cells = [understand(t) for t in distinct]
    cores = [c.core for c in cells if c.kind in (Kind.READING, Kind.BELOW, Kind.ABOVE)]
    notation = notation_of(cores, decimal=decimal, comma_table=comma_table)
    got = np.full(len(cells), np.nan)
    kind = np.zeros(len(cells), dtype=np.uint8)
    with_unit: dict[str, list[int]] = {}
    for i, cell in enumerate(cells):
        kind[i] = cell.kind
        if cell.kind in (Kind.READING, Kind.BELOW, Kind.ABOVE):
            value = number(cell.core, notation)
            if value is None and not notation.decimal:
                # no proof for the column: a cell that can only be one number is still that number
                value = only_meaning(cell.core, notation)
                if value is None and _looks_number(cell.core):
                    kind[i] = Kind.DOUBTFUL
                    continue
            if value is None:
                kind[i] = Kind.NOT_READ
                continue
            got[i] = value
            if cell.unit:
                with_unit.setdefault(cell.unit, []).append(i)
    rows = np.arange(n) if rest is None else rest
    values[rows] = got[codes]
    kinds[rows] = kind[codes]
    unit_rows = {u: rows[np.isin(codes, np.array(which))] for u, which in with_unit.items()}
    return Parsed(values, kinds, notation, unit_rows)


#: what `read_digits` says -> `Kind`
_KIND_OF_MARK = np.full(256, Kind.NOT_READ, dtype=np.uint8)
_KIND_OF_MARK[:4] = [Kind.EMPTY, Kind.READING, Kind.BELOW, Kind.ABOVE]


def _looks_number(core: str) -> bool:
    return bool(re.fullmatch(r"[+-]?[\d.,]*\d[\d.,]*", core, re.ASCII))
