"""Finding the header among the first rows, and the rows of units, methods and limits about it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from geochem import units
from geochem.read.headers import is_strange_unit, looks_like_header
from geochem.read.numerals import plain
from geochem.read.synonyms import squeeze
from geochem.read.values import MARKS, Kind, understand

#: labels, in the first cells, of rows under or above the names
LABELS: dict[str, tuple[str, ...]] = {
    "unit": ("unit", "units", "uom", "unitofmeasure", "einheit", "unidad"),
    "method": ("method", "methods", "methodcode", "analysismethod", "scheme", "technique",
               "package", "digest", "digestion"),
    "limit": ("lod", "dl", "mdl", "ldl", "lld", "limit", "detectionlimit", "lowerlimit",
              "lowerdetectionlimit", "limitofdetection", "detlim", "detlimit", "mindetection",
              "lowerdl", "detection", "reportinglimit"),
    "limit_high": ("udl", "upperlimit", "upperdetectionlimit", "maxdetection", "upperdl"),
    "name": ("analyte", "analytes", "element", "elements", "parameter"),
}  # fmt: skip
_NUMBER = re.compile(r"[<>]?\s*[+-]?[\d.,]*\d[\d.,]*(?:[eE][+-]?\d+)?\s*%?", re.ASCII)
_ERROR_WORDS = re.compile(r"(?:\+/-|±|error|err|sd|[123]\s?(?:s|sd|sigma|σ))", re.IGNORECASE)
_VALUE_WORDS = frozenset({"value", "values", "result", "conc", "concentration", "reading"})


@dataclass(frozen=True, slots=True)
class HeaderRows:
    """Where the header is, as indices of records.

    Parameters
    ----------
    names : int
        The record that names the columns.
    above, under : tuple of int
        Further header rows.
    body : int
        The first record of the table's body.
    """

    names: int
    above: tuple[int, ...] = ()
    under: tuple[int, ...] = ()
    body: int = 1


def find_header(
    records: Sequence[Sequence[str]], header_rows: int | Sequence[int] | None = None
) -> HeaderRows:
    """Find the header of a table.

    Parameters
    ----------
    records : sequence of sequence of str
        The first records of the file, cleaned; blank ones are empty.
    header_rows : int or sequence of int, optional
        How many rows the header has, counted from the first row of the file that is not blank; or
        the rows that hold it, the first of the file being 1.

    Returns
    -------
    HeaderRows
        Indices into `records`.

    Raises
    ------
    LookupError
        If no row names columns.
    """
    filled = [sum(1 for c in r if c) for r in records]
    if header_rows is not None:
        if isinstance(header_rows, int):
            first = next((i for i, n in enumerate(filled) if n), 0)
            block = list(range(first, min(first + header_rows, len(records))))
        else:
            block = sorted(r - 1 for r in header_rows if 0 < r <= len(records))
        if not block:
            raise LookupError
        names = max(block, key=lambda i: (recognised(records[i]), filled[i], -i))
        return HeaderRows(
            names,
            tuple(i for i in block if i < names and filled[i]),
            tuple(i for i in block if i > names and filled[i]),
            block[-1] + 1,
        )
    wide = sorted((n for n in filled if n), reverse=True)
    if not wide or wide[0] < 2:
        raise LookupError
    usual = wide[len(wide) // 2]
    floor = max(2, min(usual, wide[0]) // 2)
    candidates = [
        i
        for i, r in enumerate(records[:60])
        if filled[i] >= floor and numeric_share(r) < 0.5 and not _is_label_row(r, "name")
    ]
    named = [i for i, r in enumerate(records[:60]) if filled[i] >= 2 and _is_label_row(r, "name")]
    if named:
        candidates = sorted({*candidates, *named})
    if not candidates:
        raise LookupError
    score = {i: recognised(records[i]) for i in candidates}
    best = max(score.values())
    names = next(i for i in candidates if score[i] >= 0.7 * best)
    under: list[int] = []
    i = names + 1
    while i < len(records) and len(under) < 5:
        if not filled[i]:
            i += 1
            continue
        if not row_kind(records[i], records[names]):
            # rows between the names and a row of units belong to the header
            ahead = [
                j
                for j in range(i + 1, min(i + 3, len(records)))
                if filled[j]
                and numeric_share(records[i]) == 0
                and row_kind(records[j], records[names]) == "unit"
            ]
            if not ahead:
                break
        under.append(i)
        i += 1
    above: list[int] = []
    for j in range(names - 1, max(names - 4, -1), -1):
        if filled[j] and row_kind(records[j], records[names], above=True):
            above.insert(0, j)
        else:
            break
    return HeaderRows(names, tuple(above), tuple(under), (under[-1] if under else names) + 1)


def recognised(record: Sequence[str]) -> int:
    """Count the cells that are headers known here."""
    return sum(1 for c in record if c and looks_like_header(c))


def numeric_share(record: Sequence[str]) -> float:
    """Give the share of the filled cells that are numbers or marks such as ``<5``."""
    filled = [plain(c) for c in record if c]
    if not filled:
        return 0.0
    return sum(1 for c in filled if _NUMBER.fullmatch(c)) / len(filled)


def is_error_word(cell: str) -> bool:
    """Say whether a cell of a header row says nothing but that its column holds errors."""
    return _ERROR_WORDS.fullmatch(cell.strip("()[] ")) is not None


def row_kind(record: Sequence[str], names: Sequence[str], *, above: bool = False) -> str | None:
    """Say whether a row beside the names holds units, methods or limits.

    Parameters
    ----------
    record : sequence of str
        The row.
    names : sequence of str
        The row that names the columns.
    above : bool, default False
        Whether the row stands above the names.

    Returns
    -------
    {"unit", "method", "limit", "limit_high"} or None
        None when it is something else, such as the first record of the body.
    """
    analytes = [j for j, n in enumerate(names) if n and looks_like_header(n, analytes_only=True)]
    cells = [record[j] for j in analytes if j < len(record) and record[j]]
    for kind in ("unit", "method", "limit", "limit_high"):
        if _is_label_row(record, kind, analytes):
            if kind in ("limit", "limit_high") and above:
                return None
            return kind
    if not cells or len(cells) < 0.5 * len(analytes):
        return None
    as_unit = sum(
        1
        for c in cells
        if units.read_unit(c)
        or is_strange_unit(c)
        or is_error_word(c)
        or c.strip("()[] ").casefold() in _VALUE_WORDS
    )
    if as_unit >= 0.6 * len(cells):
        return "unit"
    leading = [c for j, c in enumerate(record) if j not in analytes and c]
    values = sum(1 for c in cells if _NUMBER.fullmatch(plain(c)) or c.lower() in MARKS)
    if above:
        return "method" if not values and not recognised(record) and not leading else None
    # codes of methods under the names: no number, no mark, and nothing that would be a sample id
    if values or leading:
        return None
    if all(understand(c).kind in (Kind.READING, Kind.NOT_READ) for c in cells):
        return "method"
    return None


def _is_label_row(record: Sequence[str], kind: str, analytes: Sequence[int] = ()) -> bool:
    """Say whether one of the first cells, outside the analytes, labels the row."""
    first = next((j for j, c in enumerate(record[:3]) if c), None)
    if first is None or first in analytes or sum(1 for c in record if c) < 2:
        return False
    if squeeze(record[first]) not in LABELS[kind]:
        return False
    return kind != "name" or recognised(record[1:]) >= 2
