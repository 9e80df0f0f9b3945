"""Turned tables: one element per row and one sample per column, set upright."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from geochem.errors import DataRefused
from geochem.model.finding import Finding
from geochem.model.reading import Dialect
from geochem.read.header_rows import LABELS, find_header, recognised
from geochem.read.headers import looks_like_header
from geochem.read.synonyms import squeeze
from geochem.read.text_table import TextColumn, TextTable

#: so many columns a turned table may have: it holds a few hundred samples, never a survey
MAX_SAMPLES = 20_000
_LABELS = {word for kind, words in LABELS.items() if kind != "name" for word in words}
_STATISTICS = frozenset(
    {"n", "min", "max", "mean", "median", "average", "stdev", "sd", "minimum", "maximum", "count",
     "p25", "p75", "p90", "p95", "p98", "q1", "q3", "mad", "skewness", "crust", "threshold"}
)  # fmt: skip


def looks_turned(records: Sequence[Sequence[str]]) -> bool:
    """Say whether the first column names elements, each once, and the first row samples.

    Parameters
    ----------
    records : sequence of sequence of str
        The first records of a file, cleaned.

    Returns
    -------
    bool
        False for long tables (an element stands in many rows) and tables of statistics.

    Examples
    --------
    >>> looks_turned([["Element", "A1", "A2"], ["Cu", "1", "2"], ["Zn", "3", "4"], ["Pb", "5", ""]])
    True
    >>> looks_turned([["Element", "Sample", "Value"], ["Cu", "A1", "1"], ["Zn", "A1", "2"]])
    False
    """
    filled = [r for r in records if sum(1 for c in r if c) >= 2]
    if len(filled) < 3 or len(filled[0]) < 2:
        return False
    firsts = [next((c for c in r[:1]), "") for r in filled]
    named = [c for c in firsts[1:] if c and looks_like_header(c, analytes_only=True)]
    if len(named) < 3 or len(named) < 0.5 * len(firsts) or len(set(named)) < len(named):
        return False
    across = [c for c in filled[0][1:] if c and squeeze(c) not in _LABELS]
    if not across or sum(1 for c in across if squeeze(c) in _STATISTICS) * 2 > len(across):
        return False
    if recognised(across) > 0.3 * len(across):
        return False
    # upright tables name their columns in a row: there the first column is no better a header
    return max(recognised(r[1:]) for r in filled) < len(named)


def set_upright(
    place: Path, records: Sequence[Sequence[str]], dialect: Dialect, first_row: int = 1
) -> TextTable:
    """Exchange rows and columns, and find the header.

    Parameters
    ----------
    place : Path
        The file.
    records : sequence of sequence of str
        All records, cleaned.
    dialect : Dialect
        How the file was understood.
    first_row : int, default 1
        Row of the first record.

    Returns
    -------
    TextTable
        One row per sample; its `rows` are numbers of columns of the file.

    Raises
    ------
    DataRefused
        If it has too many columns, or no header can be found after all.
    """
    file = place.name
    start = next(i for i, r in enumerate(records) if sum(1 for c in r if c) >= 2)
    body = [list(r) for r in records[start:] if any(r)]
    width = max(len(r) for r in body)
    if width > MAX_SAMPLES:
        raise DataRefused(
            f"'{file}' has {width} columns and one element per row; turn it so that each row is a "
            "sample and each column an element."
        )
    for r in body:
        r.extend([""] * (width - len(r)))
    if not body[0][0] or squeeze(body[0][0]) in LABELS["name"]:
        body[0][0] = "Sample ID"
    turned = [list(c) for c in zip(*body, strict=True)]
    numbers = list(range(1, width + 1))
    # columns of units, methods and limits become header rows, wherever they stood
    order = sorted(
        range(width), key=lambda j: (j > 0, j > 0 and squeeze(turned[j][0]) not in _LABELS, j)
    )
    turned, numbers = [turned[j] for j in order], [numbers[j] for j in order]
    try:
        head = find_header(turned[:60])
    except LookupError:
        raise DataRefused(
            f"'{file}' seems to be turned: its first column names elements, one per row. Turn it "
            "so that each row is a sample and each column an element."
        ) from None
    kept = [
        (n, r) for n, r in zip(numbers[head.body :], turned[head.body :], strict=True) if any(r)
    ]
    columns = (
        tuple(TextColumn(list(c)) for c in zip(*(r for _, r in kept), strict=True))
        if kept
        else tuple(TextColumn([]) for _ in turned[head.names])
    )
    return TextTable(
        path=place,
        names=tuple(turned[head.names]),
        columns=columns,
        rows=np.array([n for n, _ in kept], dtype=np.int64),
        dialect=dialect,
        above=tuple(tuple(turned[i]) for i in head.above),
        under=tuple(tuple(turned[i]) for i in head.under),
        under_rows=tuple(numbers[i] for i in head.under),
        findings=(
            Finding(
                "table-turned", "note",
                f"'{file}' has one element per row and one sample per column; it was turned. Rows "
                "named in other findings are its columns, counted from the left.", file,
                start + first_row,
            ),
        ),
    )  # fmt: skip
