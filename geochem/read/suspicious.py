"""Readings that are written as numbers and are none: negative codes, zeros, unreadable cells."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from geochem.model.finding import Finding, name_some
from geochem.read.values import Kind, Parsed

#: numbers that stand for "nothing there"
MISSING_CODES = frozenset({-9.0, -99.0, -999.0, -9999.0, -99999.0, -888.0, -8888.0, -777.0,
                           -7777.0, -99.9, -999.9, -999.99, -9999.99, -1e30, -1e10})  # fmt: skip
#: a negative number that stands so often is a code, not a reading
MIN_REPEATS = 3
#: findings per column that name a single cell; more are counted in one
MAX_SINGLE = 20
#: positive numbers, written so, that stand for missing where several are far above all readings
_NINES = re.compile(r"9{4,9}(?:\.9+)?")


def judge_numbers(
    parsed: Parsed,
    *,
    file: str,
    column: str,
    element: str,
    rows: npt.NDArray[np.int64],
    ids: npt.NDArray[Any],
    raw: Callable[[npt.NDArray[Any]], Sequence[str]],
    may_be_negative: bool = False,
) -> list[Finding]:
    """Find out what negative numbers, zeros and unreadable cells are; changes `parsed`.

    A repeated identical negative number is the limit of its own size (``-0.005`` is ``<0.005``)
    unless it is a usual code for missing or larger than most readings. A zero, and a scattered
    negative number no larger than the lowest reading, is below a limit that the cell does not
    state. Any other negative number is not read.

    Parameters
    ----------
    parsed : Parsed
        One column.
    file, column, element : str
        For findings.
    rows, ids : ndarray, shape (n_rows,)
        Row numbers and sample ids.
    raw : callable
        Gives the text of some rows.
    may_be_negative : bool, default False
        Whether the quantity has zeros and negative readings (pH, moisture, balance).

    Returns
    -------
    list of Finding
        What was done.
    """
    findings: list[Finding] = []

    def say(code: str, where: npt.NDArray[np.bool_], message: str) -> None:
        first = int(np.flatnonzero(where)[0])
        findings.append(
            Finding(code, "warning", message, file, int(rows[first]), column,
                    ids[first] if where.sum() == 1 else None, element)
        )  # fmt: skip

    def some(where: npt.NDArray[np.bool_]) -> str:
        return name_some([i if i is not None else "no id" for i in ids[where].tolist()])

    findings += say_mixed(parsed, raw, file=file, column=column, rows=rows)
    reading = parsed.kind == Kind.READING
    if not may_be_negative:
        with np.errstate(invalid="ignore"):
            negative = reading & (parsed.number < 0)
            zero = reading & (parsed.number == 0)
            positive = reading & (parsed.number > 0)
            bad_limit = parsed.is_kind(Kind.BELOW, Kind.ABOVE) & (parsed.number <= 0)
        if bad_limit.any():
            parsed.kind[bad_limit & (parsed.kind == Kind.BELOW)] = Kind.BARE_BELOW
            parsed.kind[bad_limit & (parsed.kind == Kind.ABOVE)] = Kind.BARE_ABOVE
            say("limit-not-positive", bad_limit,
                f"{int(bad_limit.sum())} limits of column '{column}' are zero or negative "
                f"({some(bad_limit)}); they count as below a limit that is not stated.")  # fmt: skip
        if negative.any():
            _judge_negative(parsed, negative, positive, column, say, some)
        _judge_nines(parsed, column, raw, say, some)
        if zero.any():
            parsed.kind[zero] = Kind.BARE_BELOW
            say("zero-reading", zero,
                f"{int(zero.sum())} readings of column '{column}' are zero ({some(zero)}); no "
                "method measures zero: they count as below a limit that is not stated.")  # fmt: skip
    for kind, code, what in (
        (Kind.NOT_READ, "value-not-read", "is no reading"),
        (Kind.DOUBTFUL, "number-doubtful", "could be two numbers"),
    ):
        where = np.flatnonzero(parsed.kind == kind)
        if not len(where):
            continue
        if kind == Kind.DOUBTFUL:
            mask = parsed.kind == kind
            cells = list(dict.fromkeys(raw(where[:200])))
            say(code, mask,
                f"{len(where)} cells of column '{column}' could be two numbers "
                f"({name_some(cells, 3)}): nothing in the column proves whether the mark is a "
                f"decimal mark or parts thousands. They were not read ({some(mask)}). State "
                "`decimal`.")  # fmt: skip
            continue
        texts = raw(where[:MAX_SINGLE])
        for j, text in zip(where[:MAX_SINGLE].tolist(), texts, strict=True):
            who = f" of sample {ids[j]}" if ids[j] is not None else ""
            findings.append(
                Finding(
                    code, "warning",
                    f"'{text[:40]}'{who} in column '{column}' (row {int(rows[j])}) {what} and was "
                    "not read. Correct the cell, or leave it empty if there is no value.", file,
                    int(rows[j]), column, ids[j], element,
                )
            )  # fmt: skip
        more = where[MAX_SINGLE:]
        if len(more):
            findings.append(
                Finding(
                    code, "warning",
                    f"{len(more)} further cells of column '{column}' are no readings and were not "
                    f"read: rows {name_some(rows[more].tolist())} (samples "
                    f"{name_some(ids[more].tolist())}).", file, int(rows[more[0]]), column, None,
                    element,
                )
            )  # fmt: skip
    return findings


def say_mixed(
    parsed: Parsed,
    raw: Callable[[npt.NDArray[Any]], Any],
    *,
    file: str,
    column: str,
    rows: npt.NDArray[np.int64],
) -> list[Finding]:
    """Say that a column writes its decimals with comma and with point, and in which rows.

    Parameters
    ----------
    parsed : Parsed
        One column.
    raw : callable
        Gives the text of some rows.
    file, column, rows
        For the finding.

    Returns
    -------
    list of Finding
        One, or none.
    """
    if not parsed.notation.mixed:
        return []
    held = np.flatnonzero(parsed.is_kind(Kind.READING, Kind.BELOW, Kind.ABOVE))
    texts = raw(held)
    rare = "," if parsed.notation.usual != "," else "."
    where = [int(rows[j]) for j, t in zip(held.tolist(), texts, strict=True) if rare in t]
    return [
        Finding(
            "decimal-mixed", "warning",
            f"column '{column}' writes decimals with a comma and with a point "
            f"('{parsed.notation.proof}' and '{parsed.notation.doubt}'); cells that can only be "
            f"one number were read. Rows with '{rare}': {name_some(where)}.", file,
            where[0] if where else None, column,
        )
    ]  # fmt: skip


def _judge_nines(
    parsed: Parsed,
    column: str,
    raw: Callable[[npt.NDArray[Any]], Sequence[str]],
    say: Callable[[str, npt.NDArray[np.bool_], str], None],
    some: Callable[[npt.NDArray[np.bool_]], str],
) -> None:
    """Take 9999 and longer rows of nines, far above everything else, for codes of missing."""
    reading = parsed.kind == Kind.READING
    with np.errstate(invalid="ignore"):
        large = np.flatnonzero(reading & (parsed.number >= 9999))
    if not 2 <= len(large) <= 0.5 * reading.sum():
        return
    nines = [j for j, t in zip(large.tolist(), raw(large), strict=True) if _NINES.fullmatch(t)]
    others = reading.copy()
    others[nines] = False
    where = np.zeros(len(reading), dtype=bool)
    where[nines] = parsed.number[nines] > 10.0 * parsed.number[others].max(initial=0.0)
    if where.sum() < 2:
        return
    codes = sorted({f"{v:g}" for v in parsed.number[where].tolist()})
    parsed.kind[where] = Kind.NOT_ANALYSED
    say("missing-code", where,
        f"{name_some(codes)} in column '{column}' ({some(where)}) is more than ten times every "
        "other reading; it was taken as a code for a missing value.")  # fmt: skip


def _judge_negative(
    parsed: Parsed,
    negative: npt.NDArray[np.bool_],
    positive: npt.NDArray[np.bool_],
    column: str,
    say: Callable[[str, npt.NDArray[np.bool_], str], None],
    some: Callable[[npt.NDArray[np.bool_]], str],
) -> None:
    lowest = float(parsed.number[positive].min()) if positive.any() else np.inf
    middle = float(np.median(parsed.number[positive])) if positive.any() else np.inf
    left = negative.copy()
    codes, counts = np.unique(parsed.number[negative], return_counts=True)
    for code, count in zip(codes.tolist(), counts.tolist(), strict=True):
        where = negative & (parsed.number == code)
        if code in MISSING_CODES and (code < -9.0 or count >= MIN_REPEATS) and -code > lowest:
            parsed.kind[where] = Kind.NOT_ANALYSED
            say("missing-code", where,
                f"{code:g} stands {count} times in column '{column}' ({some(where)}); it was taken "
                "as a code for a missing value.")  # fmt: skip
        elif count >= MIN_REPEATS and -code <= middle:
            parsed.number[where] = -code
            parsed.kind[where] = Kind.BELOW
            say("negative-code", where,
                f"{code:g} stands {count} times in column '{column}' ({some(where)}); it was read "
                f"as below a limit of {-code:g}.")  # fmt: skip
        else:
            continue
        left &= ~where
    small = left & (-parsed.number <= lowest) & positive.any()
    if small.any():
        parsed.kind[small] = Kind.BARE_BELOW
        say("negative-reading", small,
            f"{int(small.sum())} readings of column '{column}' are negative and small "
            f"({some(small)}); they count as below a limit that is not stated.")  # fmt: skip
    large = left & ~small
    if large.any():
        parsed.kind[large] = Kind.NOT_ANALYSED
        say("negative-reading", large,
            f"{int(large.sum())} readings of column '{column}' are negative ({some(large)}); they "
            "were not read. Correct the cells.")  # fmt: skip
