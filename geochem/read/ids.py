"""Sample ids: always text, never interpreted; what cannot be an id is named."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import numpy.typing as npt

from geochem.model.finding import Finding, name_some
from geochem.read.synonyms import squeeze
from geochem.read.text_table import TextTable
from geochem.read.values import MARKS, Kind

_MISSING = {
    mark
    for mark, kind in MARKS.items()
    if kind in (Kind.NO_SAMPLE, Kind.NOT_ANALYSED, Kind.ERROR_CELL)
} - {"is", "ins", "nr", "nm", "nd", "ns", "missing"}
#: first cells of rows that sum up the rows above them
_SUMMARIES = frozenset(
    {"total", "totals", "sum", "mean", "average", "median", "minimum", "maximum", "min", "max",
     "stdev", "stddev", "standarddeviation", "count", "percentile"}
)  # fmt: skip
_POWER = re.compile(r"\d(?:[.,]\d+)?E[+-]?\d+", re.ASCII | re.IGNORECASE)
_DATE_LIKE = re.compile(
    r"\d{1,2}[-/ ](?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)[a-z]*(?:[-/ ]\d{2,4})?"
    r"|(?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)[-/ ]\d{2,4}|\d{4}-\d{2}-\d{2}(?: 00:00:00)?",
    re.ASCII,
)
_POINT_ZERO = re.compile(r"\d+\.0", re.ASCII)


def row_ids(table: TextTable, column: int | None) -> tuple[npt.NDArray[np.object_], list[Finding]]:
    """Give the sample id of every row.

    Parameters
    ----------
    table : TextTable
        The table.
    column : int or None
        Index of the id column; None makes ids from the name of the file and the row numbers,
        the same ones for everybody who reads this file.

    Returns
    -------
    ids : ndarray of object, shape (n_rows,)
        Text, None where there is no id.
    findings : list of Finding
        Rows without an id, rows of totals, ids that a spreadsheet program has damaged.
    """
    n = len(table)
    ids = np.full(n, None, dtype=object)
    if column is None:
        tag = re.sub(r"\W+", "_", table.path.stem).strip("_") or "table"
        ids[:] = [f"{tag}-R{int(r):04d}" for r in table.rows]
        finding = Finding(
            "ids-from-rows", "note",
            f"'{table.file}' has no column of sample ids; ids were made from its row numbers "
            f"({name_some(ids.tolist(), 2)}). They join only with the same file, and change when "
            "rows are moved: add a column of ids, or name it under `columns`.", table.file,
        )  # fmt: skip
        return ids, [finding]
    name = table.names[column]
    texts = table.columns[column].texts()
    findings: list[Finding] = []
    lowered = np.array([t.lower().replace(" ", "") for t in texts], dtype=object)
    missing = np.array([t == "" or t in _MISSING for t in lowered], dtype=bool)
    ids[~missing] = texts[~missing]
    if missing.any():
        rows = table.rows[missing]
        marks = sorted({t for t in texts[missing].tolist() if t})
        said = f" (marked {', '.join(marks[:3])})" if marks else ""
        findings.append(
            Finding(
                "id-missing", "warning",
                f"{int(missing.sum())} rows have no sample id in column '{name}'{said} and were "
                f"left out: rows {name_some(rows.tolist())}. Give each an id.",
                table.file, int(rows[0]), name,
            )
        )  # fmt: skip
    summary = np.array([squeeze(t) in _SUMMARIES for t in texts], dtype=bool)
    # only at the end of the table, where such rows stand
    tail = np.zeros(n, dtype=bool)
    i = n - 1
    while i >= 0 and (summary[i] or missing[i]):
        tail[i] = summary[i]
        i -= 1
    if tail.any():
        ids[tail] = None
        findings.append(
            Finding(
                "summary-row", "warning",
                f"rows {name_some(table.rows[tail].tolist())} sum up the rows above them "
                f"({name_some(texts[tail].tolist())}) and were not read as samples.",
                table.file, int(table.rows[tail][0]), name,
            )
        )  # fmt: skip
    findings += _closing(table, column, ids)
    known = [t for t in ids.tolist() if t is not None]
    if known and all(_POINT_ZERO.fullmatch(t) for t in known):
        ids[:] = [None if t is None else t[:-2] for t in ids]
        findings.append(
            Finding(
                "id-with-decimals", "note",
                f"all ids of column '{name}' end in '.0' ({name_some(known, 2)}): a program has "
                "made numbers of them; the '.0' was taken away.", table.file, None, name,
            )
        )  # fmt: skip
    damaged = [
        (t, int(r)) for t, r in zip(ids, table.rows, strict=True) if t and _POWER.fullmatch(t)
    ]
    if damaged:
        findings.append(
            Finding(
                "id-damaged", "warning",
                f"{len(damaged)} ids look like powers of ten "
                f"({name_some([t for t, _ in damaged])}): a spreadsheet program may have changed "
                "ids such as '891e3'. They were kept as they stand; compare them with the labels.",
                table.file, damaged[0][1], name, damaged[0][0],
            )
        )  # fmt: skip
    dated = [
        (t, int(r)) for t, r in zip(ids, table.rows, strict=True) if t and _DATE_LIKE.fullmatch(t)
    ]
    if dated and not any(f.code == "id-is-date" for f in table.findings):
        findings.append(
            Finding(
                "id-is-date", "warning",
                f"{len(dated)} ids of column '{name}' look like dates "
                f"({name_some([t for t, _ in dated])}): a spreadsheet program may have changed ids "
                "such as '1-3' or 'MAR-1'. They were kept as they stand; compare them with the "
                "labels.", table.file, dated[0][1], name, dated[0][0],
            )
        )  # fmt: skip
    return ids, findings


def _closing(table: TextTable, column: int, ids: npt.NDArray[np.object_]) -> list[Finding]:
    """Leave out rows at the end that hold a sentence and nothing else; changes `ids`."""
    lines: list[int] = []
    for i in range(len(ids) - 1, max(len(ids) - 40, 0), -1):
        text = ids[i]
        if text is None:
            continue
        sentence = len(text.split()) >= 3 or text[:1] in "*#"
        others = (c.some(np.array([i]))[0] for j, c in enumerate(table.columns) if j != column)
        if not sentence or any(others):
            break
        lines.append(i)
    if not lines or len(lines) == len(ids):
        return []
    lines.reverse()
    said = str(ids[lines[0]])
    ids[lines] = None
    return [
        Finding(
            "closing-lines", "note",
            f"{len(lines)} rows below the table of '{table.file}' are text and were not read as "
            f"samples (first: '{said[:60]}').", table.file, int(table.rows[lines[0]]),
        )
    ]  # fmt: skip


def text_or_none(texts: npt.NDArray[Any]) -> npt.NDArray[np.object_]:
    """Give cells as text, None where empty or marked as missing."""
    import pandas as pd

    codes, distinct = pd.factorize(texts)
    made = np.empty(len(distinct), dtype=object)
    made[:] = [None if not t or t.lower().replace(" ", "") in _MISSING else t for t in distinct]
    return made[codes] if len(texts) else np.empty(0, dtype=object)
