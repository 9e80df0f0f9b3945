"""The normal form of a sample id: what stays the same when people retype it."""

from __future__ import annotations

import re
import unicodedata

#: a number that a spreadsheet turned into a float
_FLOAT = re.compile(r"^\d+\.0+$")
_RUNS = re.compile(r"[^\W\d_]+|\d+")


def normal_form(sample_id: str) -> str:
    """Reduce an id to its runs of letters and of digits.

    Case, spaces, separators, the kind of dash, full-width characters and zeros before a number do
    not matter; where a run of digits ends does ("A-1-12" is not "A-11-2").

    Parameters
    ----------
    sample_id : str
        As written.

    Returns
    -------
    str
        Runs joined by a hyphen; the text itself, stripped, when it has neither letters nor digits.

    Examples
    --------
    >>> normal_form("SS_0012"), normal_form("ss–12"), normal_form("Ss 12 ")
    ('ss-12', 'ss-12', 'ss-12')
    >>> normal_form("1042.0"), normal_form("A-1-12") == normal_form("A-11-2")
    ('1042', False)
    """
    text = unicodedata.normalize("NFKC", sample_id).strip().strip("'").casefold()
    if _FLOAT.match(text):
        text = text.split(".")[0]
    runs = [r.lstrip("0") or "0" if r.isdigit() else r for r in _RUNS.findall(text)]
    return "-".join(runs) or text
