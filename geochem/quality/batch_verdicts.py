"""One verdict per batch: the only place where it is decided, for terminal, report, slides and map.

A batch is judged on its key elements. It fails when a key element fails: the chance of that without
fault is `QualityLimits.family_alarm` for all key elements together. It warns when more than one in
ten of its key elements warns, or nothing was checked; one warning among many key elements is what
chance brings.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.model.quality import BATCHES
from geochem.model.tables import conform
from geochem.quality.arrange import BATCH_KEY, blank_to_none, by_text, records, when

if TYPE_CHECKING:
    import pandas as pd

_READS = re.compile(r"^reads (\d+) % (high|low) on (.+?) \(z")


def last_days(results: pd.DataFrame) -> dict[tuple[str, str], Any]:
    """Give the last day of every assay and batch.

    Parameters
    ----------
    results : pandas.DataFrame
        `Arranged.results`.

    Returns
    -------
    dict of (assay, batch) to Timestamp
        Without those that have no date.
    """
    import pandas as pd

    days = when(results).to_numpy(dtype="datetime64[ns]")
    known = ~np.isnat(days)
    assay, batch = results["assay"].cat, results["batch"].cat
    joint = assay.codes.to_numpy().astype(np.int64) * len(batch.categories)
    joint = joint + batch.codes.to_numpy()
    last = np.full(len(assay.categories) * len(batch.categories), np.iinfo(np.int64).min)
    np.maximum.at(last, joint[known], days[known].astype(np.int64))
    names, kinds = batch.categories.astype(str), assay.categories.astype(str)
    out: dict[tuple[str, str], Any] = {}
    for i in np.flatnonzero(last > np.iinfo(np.int64).min).tolist():
        first, second = divmod(i, len(names))
        out[kinds[first], names[second]] = pd.Timestamp(int(last[i])).normalize()
    return out


def batch_verdicts(
    verdicts: pd.DataFrame,
    reread: pd.DataFrame,
    days: Mapping[tuple[str, str], Any] | None = None,
) -> pd.DataFrame:
    """Give one row per batch.

    Parameters
    ----------
    verdicts : pandas.DataFrame
        Contract `tables.QUALITY`: one row per batch and element.
    reread : pandas.DataFrame
        ``batch, sample_id, reason, assay``: counted.
    days : mapping of (assay, batch) to Timestamp, optional
        From `last_days`.

    Returns
    -------
    pandas.DataFrame
        Contract `BATCHES`, sorted by source, assay, instrument, mode, batch.
    """
    import pandas as pd

    table = verdicts.fillna(dict.fromkeys(BATCH_KEY, ""))
    again = reread.fillna({"batch": ""}).groupby(["assay", "batch"], observed=True).size()
    rows: list[dict[str, object]] = []
    for key, part in by_text(table, BATCH_KEY):
        keyed = part["key_element"].to_numpy(dtype=bool)
        judged = part[keyed] if keyed.any() else part
        unchecked = judged["reason"].fillna("").str.startswith("not checked").to_numpy(dtype=bool)
        warned = judged[(judged["verdict"] == "warn").to_numpy() & ~unchecked]
        failed = part[keyed & (part["verdict"] == "fail").to_numpy()]
        verdict, reason = "pass", ""
        if len(failed):
            verdict, reason = "fail", _why(failed)
        elif unchecked.all():
            verdict, reason = "warn", "not checked: no usable standards"
        elif len(warned) > max(1, 0.1 * len(judged)):
            verdict, reason = "warn", _why(warned)
        rows.append(
            {
                **dict(zip(BATCH_KEY, key, strict=True)), "verdict": verdict,
                "n_key": int(keyed.sum()), "n_fail": len(failed), "n_warn": len(warned),
                "n_reread": int(again.get((key[1], key[4]), 0)),
                "checked": not unchecked.all(), "reason": reason,
                "day": (days or {}).get((key[1], key[4]), pd.NaT),
            }
        )  # fmt: skip
    return conform(blank_to_none(pd.DataFrame(rows, columns=list(BATCHES))), BATCHES)


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
