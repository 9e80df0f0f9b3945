"""Verdict per batch and element, and what to read again.

An element's verdict is the worst of its standards and blanks in that batch; what that makes of
the batch as a whole is decided in `quality.batch_verdicts`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import SYMBOLS, XRF_LIGHT, XRF_NEVER, element_rank
from geochem.model.tables import QUALITY, conform
from geochem.quality.arrange import BATCH_KEY, Arranged, blank_to_none, by_text
from geochem.quality.limits import QualityLimits
from geochem.quality.trust import Trust

if TYPE_CHECKING:
    import pandas as pd

_KEY = [*BATCH_KEY, "element"]
_GRADE = {"pass": 0, "warn": 1, "fail": 2}
_WORDS = np.array(["pass", "warn", "fail"], dtype=object)


def key_elements_by_assay(
    arranged: Arranged, key_elements: Sequence[str] | None, limits: QualityLimits
) -> dict[str, frozenset[str]]:
    """Give the elements each assay's batches are judged on.

    Parameters
    ----------
    arranged : Arranged
        Results.
    key_elements : sequence of str, optional
        As the campaign names them; empty or None: those detected in more than `key_detected` of
        the routine samples of the assay.
    limits : QualityLimits
        ``key_detected``.

    Returns
    -------
    dict of str to frozenset of str
        By assay; symbols only, so no loss on ignition or the like.
    """
    rows = arranged.results
    routine = rows[~rows["control"].to_numpy()]
    rows = routine if len(routine) else rows
    share = 1 - rows.groupby(["assay", "element"], observed=True)["below"].mean()
    known = arranged.results[["assay", "source"]].drop_duplicates()
    readers = set(known.loc[known["source"] == "pxrf", "assay"].astype(str))
    out: dict[str, set[str]] = {str(a): set() for a in known["assay"]}
    for row in share.rename("detected").reset_index().to_dict("records"):
        assay, element = str(row["assay"]), str(row["element"])
        if element not in SYMBOLS:
            continue
        if key_elements:
            wanted = element in key_elements
        else:
            # What portable XRF cannot decide is not what its batches are judged on.
            out_of_reach = assay in readers and element in (XRF_NEVER | XRF_LIGHT)
            wanted = row["detected"] > limits.key_detected and not out_of_reach
        if wanted:
            out[assay].add(element)
    return {a: frozenset(e) for a, e in out.items()}


def standards_and_blanks(
    arranged: Arranged, departures: pd.DataFrame, blanks: pd.DataFrame, pairs: pd.DataFrame
) -> pd.DataFrame:
    """Join what the controls say to every batch and element that was measured.

    Parameters
    ----------
    arranged : Arranged
        Every batch and element has a row, with or without controls.
    departures, blanks : pandas.DataFrame
        From `judge_departures` and `blanks_by_batch`.
    pairs : pandas.DataFrame
        From `pair_duplicates`: counted.

    Returns
    -------
    pandas.DataFrame
        `BATCH_KEY`, ``element, n_standard, n_blank, n_duplicate, verdict, reason``.
    """
    parts = arranged.results.groupby(_KEY, observed=True).size().reset_index()[_KEY]
    for name in _KEY:
        parts[name] = parts[name].astype(object)
    import pandas as pd

    parts = pd.concat(
        [parts, arranged.controls[_KEY].drop_duplicates().astype(object)], ignore_index=True
    ).drop_duplicates()
    counted = pairs.groupby(_KEY, observed=True).size().rename("n_duplicate").reset_index()
    table = parts
    judged = departures[[*_KEY, "n_standard", "verdict", "reason"]]
    for more in (judged, blanks, counted):
        table = table.merge(more, on=_KEY, how="left", validate="1:1")
    for name in ("n_standard", "n_blank", "n_duplicate"):
        table[name] = pd.to_numeric(table[name]).fillna(0).astype(int)
    standard = table["verdict"].fillna("unjudged").to_numpy(dtype=object)
    blank = table["blank_verdict"].fillna("").to_numpy(dtype=object)
    told = table["reason"].fillna("").to_numpy(dtype=object)
    blank_told = table["blank_reason"].fillna("").to_numpy(dtype=object)
    checked = (table["n_standard"] + table["n_blank"] + table["n_duplicate"]).to_numpy() > 0
    grade = np.array(
        [max(_GRADE.get(s, 1), _GRADE.get(b, 0)) for s, b in zip(standard, blank, strict=True)],
        dtype=int,
    )
    reason: list[str] = []
    for s, b, t, bt, c in zip(standard, blank, told, blank_told, checked, strict=True):
        if not c:
            reason.append("not checked")
            continue
        if s == "unjudged":
            t = f"not checked against a standard: {t or 'none in this batch has this element'}"
        said = [bt, t] if _GRADE.get(b, 0) > _GRADE.get(s, 0) else [t, bt]
        reason.append("; ".join(x for x in said if x))
    table["verdict"] = _WORDS[grade]
    table["reason"] = np.array(reason, dtype=object)
    return table[[*_KEY, "n_standard", "n_blank", "n_duplicate", "verdict", "reason"]]


def finish_verdicts(
    table: pd.DataFrame,
    keys: dict[str, frozenset[str]],
    trust: dict[tuple[str, str], Trust],
) -> pd.DataFrame:
    """Add key element, trust and action.

    Parameters
    ----------
    table : pandas.DataFrame
        From `standards_and_blanks`.
    keys : dict of str to frozenset of str
        From `key_elements_by_assay`.
    trust : dict of (assay, element) to Trust
        From `trust_classes`.

    Returns
    -------
    pandas.DataFrame
        Contract `tables.QUALITY`, sorted by source, assay, instrument, mode, batch, element.
    """
    both = list(zip(table["assay"], table["element"], strict=True))
    out = table.copy()
    out["key_element"] = [e in keys.get(a, frozenset()) for a, e in both]
    levels = [trust.get(k, Trust("qualitative", "")) for k in both]
    out["trust"] = [t.level for t in levels]
    unchecked = out["reason"].str.startswith("not checked")
    out["action"] = np.select(
        [
            (out["verdict"] == "fail") & out["key_element"],
            (out["verdict"] == "fail") | ((out["verdict"] == "warn") & ~unchecked),
        ],
        ["read again", "use, marked"],
        "use",
    ).astype(object)
    out["rank"] = [element_rank(str(e)) for e in out["element"]]
    out = out.sort_values([*BATCH_KEY, "rank"], kind="stable").reset_index(drop=True)
    return conform(blank_to_none(out.drop(columns="rank")), QUALITY)


def spoiled_values(table: pd.DataFrame, arranged: Arranged) -> pd.DataFrame:
    """List the values of routine samples in failed batches.

    Parameters
    ----------
    table : pandas.DataFrame
        `BATCH_KEY`, ``element, verdict`` with empty text where missing.
    arranged : Arranged
        Results.

    Returns
    -------
    pandas.DataFrame
        `BATCH_KEY`, ``element, sample_id``.
    """
    failed = table.loc[table["verdict"] == "fail", _KEY]
    results = arranged.results
    columns = [*_KEY, "sample_id"]
    if failed.empty:
        return failed.assign(sample_id="")[columns]
    keep = ~results["control"].to_numpy()
    for name in _KEY:
        wanted = results[name].cat.categories.isin(failed[name].unique())
        keep &= wanted[results[name].cat.codes.to_numpy()]
    some = results.loc[keep, columns].astype(object)
    return some.merge(failed, on=_KEY, how="inner", validate="m:1")[columns].drop_duplicates()


def samples_to_reread(verdicts: pd.DataFrame, spoiled: pd.DataFrame) -> pd.DataFrame:
    """List the samples of failed batches.

    Parameters
    ----------
    verdicts : pandas.DataFrame
        Contract `tables.QUALITY`.
    spoiled : pandas.DataFrame
        From `spoiled_values`.

    Returns
    -------
    pandas.DataFrame
        ``batch, sample_id, reason``, then ``assay``: one row per assay, batch and sample.
    """
    import pandas as pd

    again = verdicts[verdicts["action"] == "read again"]
    rows: list[pd.DataFrame] = []
    named = again.fillna(dict.fromkeys(BATCH_KEY, ""))
    for key, part in by_text(named, BATCH_KEY):
        hit = spoiled
        for name, value in zip(BATCH_KEY, key, strict=True):
            hit = hit[hit[name] == value]
        ids = sorted(hit.loc[hit["element"].isin(set(part["element"])), "sample_id"].unique())
        word = "read" if key[0] == "pxrf" else "analyse"
        reason = f"{word} again: {', '.join(part['element'])} failed; {part['reason'].iloc[0]}"
        rows.append(
            pd.DataFrame(
                {"batch": key[4] or None, "sample_id": ids, "reason": reason, "assay": key[1]},
                dtype=object,
            )
        )
    columns = ["batch", "sample_id", "reason", "assay"]
    kept = [r for r in rows if len(r)]
    return (
        pd.concat(kept, ignore_index=True) if kept else pd.DataFrame(columns=columns, dtype=object)
    )
