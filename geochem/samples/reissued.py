"""Results that were delivered twice: a job issued again, a file that repeats an earlier one.

Two files of one assay are two issues of one job when they share most of their samples and most of
the shared values are equal, or when they state the same job and share nearly all. Equal values
count once. Where values were changed the newer issue replaces the older: newer by the day it was
received, else by a word of revision in the name of the file. Where nothing tells the newer, no
changed value is used, because one of the two is known to be wrong. A few repeated samples are no
second issue, and neither are values that differ throughout: those stay repeats.
"""

from __future__ import annotations

import itertools
import re
from pathlib import PurePath
from typing import TYPE_CHECKING

import numpy as np

from geochem.model.finding import Finding, name_some

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

#: two files are issues of one job from this share of the smaller one's samples in common, and this
#: share of equal values among them (common practice, no source)
SHARED, EQUAL = 0.5, 0.5
#: the same job number and nearly the same samples: one job, however many values were changed
SAME_JOB = 0.9
#: fewer samples in common say nothing
FEW = 3
_EARLY = re.compile(r"prelim|draft|provisional|(?<![a-z])old(?![a-z])", re.IGNORECASE)
_LATE = re.compile(
    r"(?:amend|correct|final|reissue|re-issue|revis)[a-z]*|(?<![a-z])(?:rev|v|version)[ ._-]?(\d+)",
    re.IGNORECASE,
)
_KEY = ["assay", "sample_id", "element", "method", "digestion"]
_SHOT = ["instrument", "mode", "reading", "date_read"]


def judge_reissued(results: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """Leave out what a later issue repeats or replaces, and say so.

    Parameters
    ----------
    results : pandas.DataFrame
        Contract `tables.RESULTS`, all assays; not changed.

    Returns
    -------
    results : pandas.DataFrame
        Without copies, replaced values, and values that contradict each other.
    findings : list of Finding
        ``results-delivered-twice``, ``job-reissued``, ``job-issues-contradict``.
    """
    pairs = results[["assay", "sample_id", "file"]].dropna().drop_duplicates()
    twice = pairs.duplicated(["assay", "sample_id"], keep=False)
    if not twice.any():
        return results, []
    results = results.reset_index(drop=True)
    drop = np.zeros(len(results), dtype=bool)
    findings: list[Finding] = []
    for assay in sorted(pairs.loc[twice, "assay"].unique()):
        mine = pairs.loc[pairs["assay"] == assay]
        ids = {str(f): set(g["sample_id"]) for f, g in mine.groupby("file")}
        doubled = sorted(set(pairs.loc[twice & (pairs["assay"] == assay), "file"]))
        for a, b in itertools.combinations(doubled, 2):
            shared = ids[a] & ids[b]
            if len(shared) < min(FEW, len(ids[a]), len(ids[b])):
                continue
            if len(shared) < SHARED * min(len(ids[a]), len(ids[b])):
                continue
            here = (results["assay"] == assay) & results["file"].isin([a, b]) & ~drop
            findings += _judge_pair(results.loc[here & results["sample_id"].isin(shared)],
                                    assay, a, b, ids, drop)  # fmt: skip
    if not drop.any():
        return results, findings
    return results.loc[~drop].reset_index(drop=True), findings


def _judge_pair(
    part: pd.DataFrame, assay: str, a: str, b: str, ids: dict[str, set[str]],
    drop: npt.NDArray[np.bool_],
) -> list[Finding]:  # fmt: skip
    """Compare the cells that two files share; marks what is left out."""
    pxrf = bool((part["source"] == "pxrf").any())
    key = [*_KEY, *_SHOT] if pxrf else _KEY
    said = part[["value", "below", "above"]].astype({"value": float})
    text = said["value"].round(9).astype(str) + said["below"].map({True: "<", False: ""})
    work = part[[*key, "file"]].assign(text=text + said["above"].map({True: ">", False: ""}))
    work["at"] = part.index.to_numpy()  # `results` has a RangeIndex
    if pxrf:
        # shots of one file are told apart by number and time; without these by their values
        work["reading"] = work["reading"].fillna(work["text"].where(work["date_read"].isna()))
    cells = (
        work.sort_values([*key, "file", "text"])
        .groupby([*key, "file"], dropna=False, sort=False)
        .agg(text=("text", "|".join), at=("at", list))
        .reset_index()
    )
    one = cells.loc[cells["file"] == a].drop(columns="file")
    two = cells.loc[cells["file"] == b].drop(columns="file")
    both = one.merge(two, on=key, how="inner", suffixes=("_a", "_b"), validate="one_to_one")
    if not len(both):
        return []
    equal = (both["text_a"] == both["text_b"]).to_numpy()
    shared = set(both["sample_id"])
    same_job = (
        not pxrf
        and _job(part, a) == _job(part, b) is not None
        and len(shared) >= SAME_JOB * max(len(ids[a]), len(ids[b]))
    )
    if equal.mean() < EQUAL and not same_job:
        return []  # other values throughout: repeats of these samples
    newer = _newer(part, a, b)
    old = "_a" if newer == b or newer is None else "_b"
    copies = [i for at in both.loc[equal, f"at{old}"] for i in at]
    drop[copies] = True
    findings = [
        Finding(
            "results-delivered-twice", "note",
            f"assay '{assay}': {len(copies)} values of {len(set(both.loc[equal, 'sample_id']))} "
            f"samples stand in '{a}' and in '{b}' and were used once.", a,
        )
    ] if copies else []  # fmt: skip
    changed = both.loc[~equal]
    if pxrf or not len(changed):
        return findings
    names = sorted(set(changed["sample_id"]))
    elements = name_some(sorted(set(changed["element"])))
    gone = [i for at in changed[f"at{old}"] for i in at]
    if newer is not None:
        older = a if newer == b else b
        drop[gone] = True
        return [
            *findings,
            Finding(
                "job-reissued", "warning",
                f"assay '{assay}': '{newer}' is a later issue of '{older}' and replaces "
                f"{len(gone)} values ({elements}) of {len(names)} samples: {name_some(names)}.",
                newer, None, None, names[0], str(changed["element"].iloc[0]),
            ),
        ]  # fmt: skip
    new = "_b" if old == "_a" else "_a"
    gone += [i for at in changed[f"at{new}"] for i in at]
    drop[gone] = True
    return [
        *findings,
        Finding(
            "job-issues-contradict", "warning",
            f"assay '{assay}': '{a}' and '{b}' are two issues of one job and disagree about "
            f"{len(changed)} values ({elements}) of {len(names)} samples ({name_some(names)}); "
            "nothing tells which issue is the later, so that neither value is used. Leave the "
            "older file out, or state the day each was received.",
            a, None, None, names[0], str(changed["element"].iloc[0]),
        ),
    ]  # fmt: skip


def _job(part: pd.DataFrame, file: str) -> str | None:
    """Give the job that a file states; None where the batch is only the name of the file."""
    jobs = set(part.loc[part["file"] == file, "batch"].dropna())
    return str(next(iter(jobs))) if len(jobs) == 1 and jobs != {PurePath(file).stem} else None


def _newer(part: pd.DataFrame, a: str, b: str) -> str | None:
    """Say which of two files is the later issue, if anything tells."""
    days = [part.loc[part["file"] == f, "date_received"].max() for f in (a, b)]
    if all(d == d for d in days) and days[0] != days[1]:
        return a if days[0] > days[1] else b
    ranks = [_rank(f) for f in (a, b)]
    if ranks[0] == ranks[1]:
        return None
    return a if ranks[0] > ranks[1] else b


def _rank(file: str) -> tuple[int, int]:
    """Rank the name of a file by its words of revision."""
    stem = PurePath(file).stem
    if _EARLY.search(stem):
        return (-1, 0)
    found = list(_LATE.finditer(stem))
    if not found:
        return (0, 0)
    return (1, max(int(m[1] or 0) for m in found))
