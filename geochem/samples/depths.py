"""One place sampled at several depths: results belong to a depth that they name, or to none."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from geochem.model.finding import Finding, name_some

if TYPE_CHECKING:
    import pandas as pd

Depth = tuple[float, float]
#: between the id of the field log and a depth, in the names of samples of one id
_MARK = "@"


def match_depths(
    pairs: pd.DataFrame, field_log: pd.DataFrame, depths: Mapping[tuple[str, str], Depth]
) -> list[Finding]:
    """Match ids by depth where one side has several, and undo matches of another depth.

    Parameters
    ----------
    pairs : pandas.DataFrame
        ``assay, sample_id, target, how`` of every id of the results; `target` and `how` are
        changed.
    field_log : pandas.DataFrame
        One row per id, with ``depth_from, depth_to``. [m]
    depths : mapping
        Per assay and id the one depth that the results state. [m]

    Returns
    -------
    list of Finding
        ``depth-not-stated`` (the field log has several depths, the results name none),
        ``depth-not-logged`` (the reverse), ``depth-differs``.
    """
    logged = {
        str(i): (_open(a), _open(b))
        for i, a, b in field_log[["sample_id", "depth_from", "depth_to"]].itertuples(
            index=False, name=None
        )
    }
    parts: dict[str, list[str]] = {}
    for sample in logged:
        if _MARK in sample:
            parts.setdefault(sample.rpartition(_MARK)[0], []).append(sample)
    lost: dict[tuple[str, str], list[str]] = {}
    target, how = pairs["target"].tolist(), pairs["how"].tolist()
    for k, (assay, sample) in enumerate(zip(pairs["assay"], pairs["sample_id"], strict=True)):
        if how[k] == "control":
            continue
        depth = depths.get((assay, sample))
        place, _, rest = sample.rpartition(_MARK)
        if how[k] == "unmatched" and sample in parts:
            same = [s for s in parts[sample] if depth is not None and logged[s] == depth]
            if len(same) == 1:
                target[k], how[k] = same[0], "exactly"
            else:
                code = "depth-not-stated" if depth is None else "depth-differs"
                lost.setdefault((code, assay), []).append(sample)
        elif how[k] == "unmatched" and place in logged:
            if logged[place] != (-1.0, -1.0) and f"{_MARK}{rest}" == _named(logged[place]):
                target[k], how[k] = place, "exactly"
            else:
                lost.setdefault(("depth-not-logged", assay), []).append(sample)
        elif how[k] in ("exactly", "normal") and depth is not None:
            there = logged[str(target[k])]
            if _apart(depth, there):
                target[k], how[k] = None, "unmatched"
                lost.setdefault(("depth-differs", assay), []).append(sample)
    pairs["target"], pairs["how"] = target, how
    said = {
        "depth-not-stated": "stand at several depths in the field log, and the results do not say "
        "at which; they were joined to none of them. Give the table of results the columns "
        "depth_from and depth_to, or each depth an id of its own",
        "depth-not-logged": "are results of several depths of one id, and the field log does not "
        "have these depths; they were joined to no sample. Log each depth in a row of its own",
        "depth-differs": "are from other depths than the field log has for these ids; they were "
        "joined to no sample. Correct the depths, or their unit (metres, or '(cm)' in the header)",
    }
    return [
        Finding(
            code, "warning",
            f"{len(ids)} ids of assay '{assay}' {said[code]}: {name_some(ids)}.",
            column="depth_from", sample_id=ids[0],
        )
        for (code, assay), ids in sorted(lost.items())
    ]  # fmt: skip


def _open(depth: float) -> float:
    return -1.0 if not np.isfinite(depth) else round(float(depth), 6)


def _named(depth: Depth) -> str:
    return _MARK + "-".join(f"{v:g}" if v >= 0 else "" for v in depth)


def _apart(a: Depth, b: Depth) -> bool:
    """Say whether two ranges are both known and have nothing in common."""
    if min(*a, *b) < 0:
        return False
    middle_a, middle_b = sum(a) / 2, sum(b) / 2
    return not (b[0] <= middle_a <= b[1] or a[0] <= middle_b <= a[1])
