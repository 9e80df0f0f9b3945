"""The quality of a campaign in a few lines: what passed, what to read again."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from geochem.model.quality import QualityReport
from geochem.quality.arrange import BATCH_KEY, records
from geochem.quality.verdicts import batch_verdicts

if TYPE_CHECKING:
    import pandas as pd

_READS = re.compile(r"^reads (\d+) % (high|low) on (.+?) \(z")


def summary_lines(report: QualityReport) -> list[str]:
    """Give one line per batch that did not pass and one per assay for those that did.

    Parameters
    ----------
    report : QualityReport
        From `judge_quality`.

    Returns
    -------
    list of str
        Failed batches first, then warned, then how many passed.

    Examples
    --------
    A line reads ``xrf / X1-2026-03-04: fail (Cu, Zn read 27-28 % high on STD-B); read 42 samples
    again``.
    """
    batches = batch_verdicts(report)
    if batches.empty:
        return ["no results, so nothing was checked"]
    table = report.verdicts.fillna(dict.fromkeys(BATCH_KEY, ""))
    lines: dict[str, list[str]] = {"fail": [], "warn": []}
    for row in records(batches):
        if row["verdict"] == "pass":
            continue
        part = table
        for name in BATCH_KEY:
            part = part[part[name] == row[name]]
        name = " / ".join(x for x in (row["assay"], row["batch"] or "no batch", row["mode"]) if x)
        if row["verdict"] == "fail":
            part = part[part["key_element"] & (part["verdict"] == "fail")]
            word = "read" if row["source"] == "pxrf" else "analyse"
            one = "sample" if row["n_reread"] == 1 else "samples"
            end = f"; {word} {row['n_reread']} {one} again" if row["n_reread"] else ""
            lines["fail"].append(f"{name}: fail ({_why(part)}){end}")
        elif not row["checked"]:
            lines["warn"].append(f"{name}: warn (not checked: no usable standards); used")
        else:
            part = part[(part["verdict"] == "warn") & (part["action"] == "use, marked")]
            lines["warn"].append(f"{name}: warn ({_why(part)}); used, marked")
    out = lines["fail"] + lines["warn"]
    for assay, part in batches.groupby("assay", sort=True):
        good = int((part["verdict"] == "pass").sum())
        out.append(f"{assay}: {good} of {len(part)} batches pass")
    return out


def _why(part: pd.DataFrame) -> str:
    """Put elements with the same fault together."""
    groups: dict[tuple[str, str], list[tuple[str, int]]] = {}
    rest: list[str] = []
    for row in records(part):
        found = _READS.match(str(row["reason"]))
        if found:
            groups.setdefault((found[2], found[3]), []).append(
                (str(row["element"]), int(found[1]))
            )
        else:
            rest.append(f"{row['element']}: {row['reason']}")
    said = []
    for (word, where), hits in groups.items():
        low, high = min(h for _, h in hits), max(h for _, h in hits)
        much = f"{low}" if low == high else f"{low}-{high}"
        names = [e for e, _ in hits]
        named = ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")
        verb = "reads" if len(names) == 1 else "read"
        said.append(f"{named} {verb} {much} % {word} on {where}")
    said += rest[:2]
    more = max(len(rest) - 2, 0)
    return "; ".join(said) + (f"; and {more} more elements" if more else "")
