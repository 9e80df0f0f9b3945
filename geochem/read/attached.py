"""Errors, limits and marks beside the values: which column of values each belongs to."""

from __future__ import annotations

from collections.abc import Mapping

from geochem.model.finding import Finding, name_some
from geochem.read.analyte_column import AnalyteColumn, Found, element_factor
from geochem.read.headers import HeaderMeaning
from geochem.read.numerals import plain
from geochem.read.text_table import TextTable

#: headers that are nothing but a word for an error: they belong to the column before them
_BARE_ERRORS = {"+/-": None, "±": None, "+-": None, "error": None, "err": None, "sigma": 1.0,
                "1s": 1.0, "2s": 2.0, "3s": 3.0, "1sigma": 1.0, "2sigma": 2.0,
                "3sigma": 3.0, "1sd": 1.0, "2sd": 2.0}  # fmt: skip


def attach(
    table: TextTable, meanings: Mapping[int, HeaderMeaning | None], free: set[int], out: Found
) -> None:
    """Give errors, limits and marks to the column of values they belong to; changes `out`.

    Parameters
    ----------
    table : TextTable
        The table.
    meanings : mapping of int to HeaderMeaning or None
        What the headers say.
    free : set of int
        Columns that are nothing else.
    out : Found
        Its columns of values get their errors; `attached` and `findings` grow.
    """
    by_index = {a.index: a for a in out.analytes}
    lost = []
    for i in sorted(free | set(meanings)):
        if i in by_index or i in out.attached:
            continue
        m = meanings.get(i)
        name = plain(table.names[i]).strip().lower().split(".")[0].replace(" ", "")
        before = by_index.get(i - 1)
        if m is None and name in _BARE_ERRORS and before is not None and before.error is None:
            _give_error(before, i, before.factor, _BARE_ERRORS[name], relative=False)
            out.attached[i] = "error"
            continue
        if m is None and not name:
            if _attach_marks(table, i, by_index, out):
                continue
            continue
        if m is None or m.kind in ("value", "other"):
            continue
        mine = [
            a
            for a in out.analytes
            if a.element == m.element and (a.oxide == m.oxide or m.oxide is None)
        ]
        same = [a for a in mine if a.method == m.method] if m.method else mine
        chosen = min(same or mine, key=lambda a: (a.index > i, abs(a.index - i)), default=None)
        if chosen is None:
            lost.append(table.names[i])
            out.attached[i] = "ignored"
            continue
        out.attached[i] = m.kind
        if m.kind in ("error", "relative_error"):
            factor = (
                element_factor(m.unit, m.oxide)
                if m.unit and not chosen.is_other
                else (chosen.factor)
            )
            _give_error(chosen, i, factor, m.sigma, relative=m.kind == "relative_error")
        elif m.kind == "limit":
            chosen.limit = i
            chosen.limit_factor = element_factor(m.unit, m.oxide) if m.unit else chosen.factor
        elif m.kind in ("qualifier", "below", "above"):
            setattr(chosen, m.kind, i)
    if lost:
        out.findings.append(
            Finding(
                "error-without-value", "note",
                f"columns {name_some(lost)} belong to elements that the table has no values of; "
                "they were not read.", table.file,
            )
        )  # fmt: skip


def _give_error(
    a: AnalyteColumn, i: int, factor: float, sigma: float | None, *, relative: bool
) -> None:
    a.error, a.error_factor, a.error_sigma, a.error_relative = i, factor, sigma, relative


def _attach_marks(
    table: TextTable, i: int, by_index: dict[int, AnalyteColumn], out: Found
) -> bool:
    """Take a column without a name that holds nothing but < and > for the one after it."""
    texts = {t for t in table.columns[i].texts().tolist() if t}
    following = by_index.get(i + 1)
    if not texts or not texts <= {"<", ">", "="} or following is None:
        return False
    following.qualifier = i
    out.attached[i] = "qualifier"
    out.findings.append(
        Finding(
            "marks-in-own-column", "note",
            f"the column without a name before '{table.names[i + 1]}' holds only < and >; the "
            "marks were taken for that column.", table.file, None, table.names[i + 1],
        )
    )  # fmt: skip
    return True
