"""Delimited text (CSV and its relatives): bytes to a table of text with true row numbers."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import DataRefused, WrongCall
from geochem.model.finding import Finding, name_some
from geochem.model.reading import AssayRead, Dialect
from geochem.read.encodings import to_utf8
from geochem.read.header_rows import find_header, recognised
from geochem.read.records import Records, split_all, split_body, split_head
from geochem.read.source_file import check_table
from geochem.read.text_table import TextTable
from geochem.read.turned import looks_turned, set_upright

if TYPE_CHECKING:
    from collections.abc import Sequence

ENDINGS = frozenset({".csv", ".txt", ".tsv", ".tab", ".dat", ".asc", ".psv", ""})
SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "pipe"}
_NAMED = {name: mark for mark, name in SEPARATORS.items()} | {"\\t": "\t"}
_HINT = re.compile(r'"?sep=(.)"?\s*$', re.IGNORECASE)
_HEAD_BYTES = 1 << 20


class DelimitedReader:
    """Reads delimited text: comma, semicolon, tab or pipe, any usual encoding."""

    name = "delimited"
    summary = "CSV and other delimited text, wide or long, as laboratories and instruments send it"
    api_version = 1

    def can_read(self, path: str | Path) -> bool:
        """Say from the ending and the first bytes whether this reader fits."""
        place = Path(path)
        if place.suffix.lower() not in ENDINGS:
            return False
        try:
            with place.open("rb") as stream:
                head = stream.read(4096)
        except OSError:
            return False
        return bool(head.strip()) and any(s.encode() in head for s in SEPARATORS)

    def read(
        self,
        path: str | Path,
        *,
        source: str = "laboratory",
        assay: str | None = None,
        separator: str | None = None,
        decimal: str | None = None,
        encoding: str | None = None,
        header_rows: int | None = None,
    ) -> AssayRead:
        """Read a table of readings or results.

        Parameters
        ----------
        path : str or Path
            The file.
        source : {"laboratory", "pxrf"}, default "laboratory"
            What made the values.
        assay : str, optional
            Name of the assay; by default the source.
        separator, decimal, encoding, header_rows : optional
            What is known of the file; by default it is found out.

        Returns
        -------
        AssayRead
            Results, analytes and findings.
        """
        from geochem.read.assays import read_assays

        return read_assays(
            [Path(path)],
            assay=assay or source,
            source=source,
            separator=separator,
            decimal=decimal,
            encoding=encoding,
            header_rows=header_rows,
        )


def read_delimited(
    path: str | Path,
    *,
    separator: str | None = None,
    decimal: str | None = None,
    encoding: str | None = None,
    header_rows: int | Sequence[int] | None = None,
) -> TextTable:
    """Read delimited text into a table of text.

    Parameters
    ----------
    path : str or Path
        The file.
    separator : str, optional
        A character, or ``comma``, ``semicolon``, ``tab``, ``pipe``.
    decimal : {".", ","}, optional
        Decimal mark; by default each column proves its own.
    encoding : str, optional
        By default found out.
    header_rows : int, optional
        Number of header rows; by default found out.

    Returns
    -------
    TextTable
        Every record whose cells stand in their places; findings name the others.

    Raises
    ------
    DataRefused
        If the file is no table.
    WrongCall
        If an option is not one of those allowed.
    """
    place = check_table(path)
    separator = _check_separator(separator)
    try:
        data, found, certain = to_utf8(place.read_bytes(), encoding)
    except LookupError as error:
        raise WrongCall(
            f"unknown encoding '{encoding}'; possible are for example utf-8, utf-16, cp1252."
        ) from error
    except UnicodeDecodeError as error:
        raise DataRefused(
            f"'{place.name}' is not written in {encoding or 'the encoding its first bytes state'} "
            f"(byte {error.start + 1}); leave `encoding` out, or save the file as UTF-8."
        ) from error
    findings: list[Finding] = []
    file = place.name
    if not certain:
        findings.append(
            Finding(
                "encoding-assumed", "note",
                f"'{file}' is not UTF-8; it was read as {found}. If letters with accents look "
                "wrong, set `encoding`.", file,
            )
        )  # fmt: skip
    hint_rows = 0
    line_end = data.find(b"\n")
    first_line = data[:line_end]
    hint = _HINT.match(first_line.decode("utf-8", errors="replace"))
    if hint:
        separator = separator or hint[1]
        data, hint_rows = data[line_end + 1 :], 1
    if not data or data.isspace():
        raise DataRefused(f"'{file}' holds no rows; export it again.")
    head = _whole_lines(data)
    if separator is None:
        separator = _find_separator(head)
    if separator is None:
        raise DataRefused(
            f"'{file}' is not a table: no comma, semicolon, tab or pipe parts its lines into "
            "columns. Save it as .csv, or name the `separator`."
        )
    records, offsets = split_head(head, separator)
    if header_rows is None and looks_turned(records):
        upright = set_upright(
            place, split_all(data, separator),
            Dialect(encoding=found, separator=separator, decimal=decimal or "."), hint_rows + 1,
        )  # fmt: skip
        return dataclasses.replace(upright, findings=(*findings, *upright.findings))
    try:
        rows = find_header(records, _below_hint(header_rows, hint_rows))
    except LookupError:
        raise DataRefused(
            f"'{file}' has no row that names its columns among the first {min(len(records), 60)}; "
            "put the column names in the first row."
        ) from None
    names = list(records[rows.names])
    while (
        names
        and not names[-1]
        and not any(len(r) >= len(names) and r[len(names) - 1] for r in records[rows.names + 1 :])
    ):
        names.pop()  # separators at the end of the header with nothing under them
    width = len(names)
    start = len(head[: offsets[rows.body - 1]].encode("utf-8"))
    got = split_body(data, separator, width, hint_rows + rows.body + 1, start=start)
    findings += _name_damage(got, file, width)
    if b"\0" in data:
        findings.append(_name_nul(got, file))
    if rows.names > 0 and any(any(r) for r in records[: rows.names]):
        lines = [i + 1 + hint_rows for i in range(rows.names) if any(records[i])]
        if len(lines) > len(rows.above):
            findings.append(
                Finding(
                    "preamble", "note",
                    f"'{file}': the column names were found in row {rows.names + 1 + hint_rows}; "
                    "the lines before it were not read as data.", file,
                    rows.names + 1 + hint_rows,
                )
            )  # fmt: skip
    return TextTable(
        path=place,
        names=tuple(names),
        columns=tuple(got.columns),
        rows=got.rows,
        dialect=Dialect(
            encoding=found,
            separator=separator,
            decimal=decimal or ".",
            header_row=(max((rows.names, *rows.under))) + 1 + hint_rows,
        ),
        above=tuple(_fit(records[i], width) for i in rows.above),
        under=tuple(_fit(records[i], width) for i in rows.under),
        under_rows=tuple(i + 1 + hint_rows for i in rows.under),
        preamble=tuple(
            separator.join(records[i]) for i in range(rows.names) if i not in rows.above
        ),
        findings=tuple(findings),
    )


def _below_hint(
    header_rows: int | Sequence[int] | None, hint_rows: int
) -> int | Sequence[int] | None:
    """Count stated rows from the first record instead of from the first line."""
    if header_rows is None or isinstance(header_rows, int):
        return header_rows
    return [r - hint_rows for r in header_rows]


def _check_separator(separator: str | None) -> str | None:
    if separator is None:
        return None
    mark = _NAMED.get(separator.lower(), separator)
    if mark not in SEPARATORS:
        raise WrongCall(
            f"the separator {separator!r} is not possible; possible: comma, semicolon, tab, pipe "
            "or the character itself."
        )
    return mark


def _whole_lines(data: bytes) -> str:
    if len(data) <= _HEAD_BYTES:
        return data.decode("utf-8", errors="replace")
    cut = data.rfind(b"\n", 0, _HEAD_BYTES) + 1
    if not cut:
        cut = data.find(b"\n") + 1
    return data[:cut].decode("utf-8", errors="replace")


def _find_separator(head: str) -> str | None:
    """Choose the separator that parts most known headers, then the most regular one."""
    best: tuple[tuple[float, ...], str] | None = None
    for mark in SEPARATORS:
        if mark not in head:
            continue
        records, _ = split_head(head, mark, 120)
        widths = [len(r) for r in records if any(r)]
        if not widths:
            continue
        counts = np.bincount(widths)
        counts[:2] = 0
        if not counts.any():
            continue
        usual = int(counts.argmax())
        known = max((recognised(r) for r in records[:40] if len(r) > 1), default=0)
        key = (known, round(counts[usual] / len(widths), 2), usual)
        if best is None or key > best[0]:
            best = (key, mark)
    return None if best is None else best[1]


def _fit(record: Sequence[str], width: int) -> tuple[str, ...]:
    return tuple([*record, *[""] * width][:width])


def _name_damage(got: Records, file: str, width: int) -> list[Finding]:
    findings = []
    for code, damaged, what in (
        ("row-too-long", got.long, "more"),
        ("row-too-short", got.short, "fewer"),
    ):
        for row, first, n in damaged[:20]:
            findings.append(
                Finding(
                    code, "warning",
                    f"row {row} (first cell '{first[:40]}') has {n} cells, {what} than the "
                    f"{width} of the header; it was not used, because its values may stand in "
                    "other columns. Mend the row.", file, row, None, first[:60] or None,
                )
            )  # fmt: skip
        if len(damaged) > 20:
            findings.append(
                Finding(
                    code, "warning",
                    f"{len(damaged) - 20} further rows have {what} cells than the header and were "
                    f"not used (rows {name_some([d[0] for d in damaged[20:]])}).", file,
                )
            )  # fmt: skip
    if got.closing:
        findings.append(
            Finding(
                "closing-lines", "note",
                f"{len(got.closing)} lines below the table of '{file}' are text and were not read "
                f"as data (first: '{got.closing[0][1][:60]}').", file, got.closing[0][0],
            )
        )  # fmt: skip
    for row, first, n in got.open_quote[:20]:
        used = "read as it stands" if n == width else "not used"
        findings.append(
            Finding(
                "quote-not-closed", "warning",
                f"row {row} (first cell '{first[:40]}') opens a quotation mark that it does not "
                f"close; the row was {used}. Mend the row.", file, row, None, first[:60] or None,
            )
        )  # fmt: skip
    if got.filled:
        findings.append(
            Finding(
                "row-end-cut", "warning",
                f"{got.filled} rows have fewer cells than the header and no row ends in an empty "
                "cell: the program that wrote the file cut off the empty end; these cells were "
                "read as empty.", file,
            )
        )  # fmt: skip
    return findings


def _name_nul(got: Records, file: str) -> Finding:
    rows = sorted(
        {
            int(got.rows[i])
            for column in got.columns
            for i, t in enumerate(column.texts())
            if "\0" in t
        }
    )
    where = f"rows {name_some(rows)}" if rows else "the header or a damaged row"
    return Finding(
        "nul-byte", "warning",
        f"'{file}' holds NUL bytes ({where}): the file was damaged when it was copied or saved. "
        "Values with such a byte are not read; export the file again.", file,
        rows[0] if rows else None,
    )  # fmt: skip
