"""Dates and times as people write them, the same answer on every machine and in every year.

ISO first. Whether 03/04 is a day and a month or the other way is decided by the column: one date
that can only be read one way decides; a column without such a date is not read, and a finding
asks. Two-digit years 69-99 are 19xx, 00-68 are 20xx (POSIX.1-2017, strptime, %y).
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from geochem.model.finding import Finding, name_some

_CLOCK = r"(?P<h>\d{1,2}):(?P<min>\d{2})(?::(?P<s>\d{2})(?:[.,]\d+)?)?\s*(?P<ap>[AaPp]\.?[Mm]\.?)?"
_ZONE = r"\s*(?P<zone>Z|[+-]\d{2}:?\d{2})?"
_TAIL = rf"(?:[T ]\s*{_CLOCK}{_ZONE})?"
_ISO = re.compile(rf"(?P<y>\d{{4}})([-/.])(?P<mo>\d{{1,2}})\2(?P<d>\d{{1,2}}){_TAIL}", re.ASCII)
_COMPACT = re.compile(rf"(?P<y>(?:19|20)\d{{2}})(?P<mo>\d{{2}})(?P<d>\d{{2}}){_TAIL}", re.ASCII)
_SLASH = re.compile(
    rf"(?P<a>\d{{1,2}})([/.-])(?P<b>\d{{1,2}})\2(?P<y>\d{{4}}|\d{{2}}){_TAIL}", re.ASCII
)
_NAMED = re.compile(
    rf"(?P<d>\d{{1,2}})[ ./-]*(?P<name>[A-Za-z]{{3,9}})\.?[ ./,-]*(?P<y>\d{{4}}|\d{{2}}){_TAIL}",
    re.ASCII,
)
_NAMED_US = re.compile(
    rf"(?P<name>[A-Za-z]{{3,9}})\.?[ ]*(?P<d>\d{{1,2}}),?[ ]+(?P<y>\d{{4}}){_TAIL}", re.ASCII
)
_TIME = re.compile(_CLOCK + _ZONE, re.ASCII)
_MONTHS = {
    m: i + 1
    for i, m in enumerate(
        ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
    )
}
_FULL = ("january", "february", "march", "april", "may", "june", "july", "august", "september",
         "october", "november", "december")  # fmt: skip


@dataclass(slots=True)
class _Read:
    """One distinct text: a time, or the two halves that may be day and month."""

    moment: dt.datetime | None = None
    either: tuple[int, int, int, dt.time] | None = None
    point: bool = False
    two_digits: bool = False
    zone: bool = False
    missing: bool = False


@dataclass(slots=True, eq=False)
class Dates:
    """A column of dates.

    Parameters
    ----------
    moment : ndarray of datetime64[ns], shape (n_rows,)
        NaT where not read.
    findings : list of Finding
        What was assumed, what was not read.
    """

    moment: npt.NDArray[Any]
    findings: list[Finding] = field(default_factory=list)


def read_dates(
    texts: npt.NDArray[Any],
    *,
    file: str,
    column: str,
    rows: npt.NDArray[Any],
    missing: frozenset[str] = frozenset(),
) -> Dates:
    """Read a column of dates, with or without time of day.

    Parameters
    ----------
    texts : ndarray of str, shape (n_rows,)
        Cells.
    file, column : str
        For findings.
    rows : ndarray of int, shape (n_rows,)
        Row numbers, for findings.
    missing : frozenset of str, optional
        Further cells (small letters) that mean no date.

    Returns
    -------
    Dates
        Local clock time as written; a time zone is left out and said.

    Examples
    --------
    >>> texts = np.array(["17/03/2026", "04/03/2026"], dtype=object)
    >>> read_dates(texts, file="f", column="d", rows=np.array([2, 3])).moment.astype("M8[D]")
    array(['2026-03-17', '2026-03-04'], dtype='datetime64[D]')
    """
    import pandas as pd

    codes, distinct = pd.factorize(texts)
    reads = [_read(t, missing) for t in distinct]
    open_ones = [r.either for r in reads if r.either is not None]
    first_days = [e for e in open_ones if e[0] > 12 >= e[1]]
    second_days = [e for e in open_ones if e[1] > 12 >= e[0]]
    points = any(r.point for r in reads)
    order = ""
    if first_days and not second_days:
        order = "day first"
    elif second_days and not first_days:
        order = "month first"
    elif open_ones and not first_days and not second_days:
        if points:
            order = "day first"  # dates with points are written day first (common practice)
        elif all(e[0] == e[1] for e in open_ones):
            order = "day first"
    moments = np.full(len(distinct), np.datetime64("NaT"), dtype="datetime64[ns]")
    unread: list[int] = []
    for i, r in enumerate(reads):
        if r.moment is not None:
            moments[i] = np.datetime64(r.moment, "ns")
        elif r.either is not None:
            a, b, year, clock = r.either
            day, month = (a, b) if order == "day first" or (not order and a > 12) else (b, a)
            if not order and a <= 12 and b <= 12 and a != b:
                unread.append(i)
                continue
            made = _make(year, month, day, clock)
            if made is None:
                unread.append(i)
            else:
                moments[i] = np.datetime64(made, "ns")
        elif not r.missing:
            unread.append(i)
    moment = moments[codes] if len(texts) else np.empty(0, dtype="datetime64[ns]")
    findings: list[Finding] = []
    if unread:
        bad = np.isin(codes, np.array(unread))
        which = [distinct[i] for i in unread]
        ambiguous = (
            bool(open_ones) and not order and any(reads[i].either is not None for i in unread)
        )
        said = (
            "may be day/month or month/day and the column does not decide"
            if ambiguous and not (first_days and second_days)
            else "contradict each other about day and month"
            if first_days and second_days and ambiguous
            else "are no dates"
        )
        findings.append(
            Finding(
                "date-ambiguous" if ambiguous else "date-not-read", "warning",
                f"{int(bad.sum())} cells of column '{column}' {said} ({name_some(which, 3)}) and "
                f"were not read: rows {name_some(rows[bad].tolist())}. Write dates as "
                "2026-03-17.", file, int(rows[bad][0]), column,
            )
        )  # fmt: skip
    if order and open_ones and not (points and order == "day first"):
        findings.append(
            Finding(
                "date-order", "note",
                f"dates of column '{column}' were read with the {order}, as the column itself "
                "shows.", file, None, column,
            )
        )  # fmt: skip
    if any(r.two_digits for r in reads):
        findings.append(
            Finding(
                "date-two-digit-year", "note",
                f"years of column '{column}' have two digits: 00-68 were read as 2000-2068, "
                "69-99 as 1969-1999.", file, None, column,
            )
        )  # fmt: skip
    if any(r.zone for r in reads):
        findings.append(
            Finding(
                "time-zone-left-out", "note",
                f"column '{column}' states a time zone; clock times were kept as written.",
                file, None, column,
            )
        )  # fmt: skip
    return Dates(moment, findings)


def add_clock(moment: npt.NDArray[Any], texts: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Add times of day from a column of their own to dates; unreadable ones add nothing."""
    import pandas as pd

    codes, distinct = pd.factorize(texts)
    seconds = np.zeros(len(distinct), dtype="timedelta64[s]")
    for i, text in enumerate(distinct):
        match = _TIME.fullmatch(text.strip())
        clock = _clock(match) if match else None
        if clock is not None:
            seconds[i] = np.timedelta64(clock.hour * 3600 + clock.minute * 60 + clock.second, "s")
    return moment + seconds[codes].astype("timedelta64[ns]") if len(texts) else moment


def only_clock(texts: npt.NDArray[Any]) -> bool:
    """Say whether a column holds times of day only."""
    filled = [t for t in set(texts.tolist()) if t]
    return bool(filled) and all(_TIME.fullmatch(t.strip()) for t in filled)


def _read(text: str, missing: frozenset[str]) -> _Read:
    text = " ".join(text.split())
    low = text.lower()
    if not text or low in missing or low in {"n.a.", "na", "n/a", "n.s.", "-", "none", "null"}:
        return _Read(missing=True)
    for pattern in (_ISO, _COMPACT):
        match = pattern.fullmatch(text)
        if match:
            clock = _clock(match)
            made = clock and _make(int(match["y"]), int(match["mo"]), int(match["d"]), clock)
            return _Read(made or None, zone=bool(match["zone"]))
    for pattern in (_NAMED, _NAMED_US):
        match = pattern.fullmatch(text)
        if match:
            name = match["name"].lower()
            month = (
                _MONTHS.get(name[:3])
                if len(name) == 3 or name in _FULL or name == "sept"
                else None
            )
            clock = _clock(match)
            if month is None or clock is None:
                return _Read()
            return _Read(
                _make(_year(match["y"]), month, int(match["d"]), clock),
                two_digits=len(match["y"]) == 2, zone=bool(match["zone"]),
            )  # fmt: skip
    match = _SLASH.fullmatch(text)
    clock = _clock(match) if match else None
    if match is None or clock is None:
        return _Read()
    a, b = int(match["a"]), int(match["b"])
    if max(a, b) > 31 or min(a, b) < 1 or (a > 12 and b > 12):
        return _Read()
    return _Read(
        either=(a, b, _year(match["y"]), clock), point=match[2] == ".",
        two_digits=len(match["y"]) == 2, zone=bool(match["zone"]),
    )  # fmt: skip


def _clock(match: re.Match[str]) -> dt.time | None:
    if match["h"] is None:
        return dt.time(0)
    hour = int(match["h"])
    if match["ap"]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if match["ap"][0] in "Pp" else 0)
    try:
        return dt.time(hour, int(match["min"]), int(match["s"] or 0))
    except ValueError:
        return None


def _year(text: str) -> int:
    year = int(text)
    if len(text) == 4:
        return year
    return 1900 + year if year >= 69 else 2000 + year


def _make(year: int, month: int, day: int, clock: dt.time) -> dt.datetime | None:
    if not 1800 <= year <= 2200:
        return None
    try:
        return dt.datetime.combine(dt.date(year, month, day), clock)
    except ValueError:
        return None
