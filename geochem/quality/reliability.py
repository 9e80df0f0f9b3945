"""The element reliability table: how far each element can be believed, why, and who says so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import SYMBOLS, element_rank
from geochem.model.finding import Finding, name_some
from geochem.model.quality import RELIABILITY, Calibration
from geochem.model.tables import conform
from geochem.quality.trust import Trust

if TYPE_CHECKING:
    import pandas as pd


def overrule(
    trust: Mapping[tuple[str, str], Trust], given: Mapping[str, Mapping[str, tuple[str, str]]]
) -> tuple[dict[tuple[str, str], Trust], set[tuple[str, str]], list[Finding]]:
    """Put the classes that the user set by hand in the place of those that were worked out.

    Parameters
    ----------
    trust : mapping of (assay, element) to Trust
        From `trust_classes`.
    given : mapping of assay to mapping of element to (class, reason)
        `QualityLimits.trust`; assay ``""`` stands for all.

    Returns
    -------
    trust : dict of (assay, element) to Trust
        New.
    by_hand : set of (assay, element)
        Those that were set.
    findings : list of Finding
        What was set, and what the data say instead.
    """
    out, by_hand, said = dict(trust), set(), []
    for (assay, element), found in trust.items():
        entry = given.get(assay, {}).get(element) or given.get("", {}).get(element)
        if entry is None:
            continue
        level, reason = entry
        by_hand.add((assay, element))
        own = f"set by hand{': ' + reason if reason else ''}"
        if level != found.level:
            own += f" (worked out: {found.level}, {found.reason or 'no reason'})"
            said.append(f"{assay} {element} {level} instead of {found.level}")
        out[assay, element] = Trust(level, own)
    findings = []
    if said:
        findings.append(
            Finding(
                "trust-set-by-hand", "note",
                f"[quality] sets how far elements are trusted: {name_some(said)}.",
            )
        )  # fmt: skip
    return out, by_hand, findings


def reliability_table(
    facts: pd.DataFrame,
    trust: Mapping[tuple[str, str], Trust],
    by_hand: set[tuple[str, str]],
    calibrations: Sequence[Calibration],
    detection: pd.DataFrame,
    remarks: Mapping[tuple[str, str], Sequence[str]],
) -> pd.DataFrame:
    """Give one row per assay and element.

    Parameters
    ----------
    facts : pandas.DataFrame
        ``source, assay, element, n, below, precision, bias_pct`` from `trust_facts`.
    trust : mapping of (assay, element) to Trust
        After `overrule`.
    by_hand : set of (assay, element)
        Those that were set.
    calibrations : sequence of Calibration
        Correlation and number of pairs; the one with most pairs.
    detection : pandas.DataFrame
        Contract `DETECTION`.
    remarks : mapping of (assay, element) to sequence of str
        Overlapping lines, thin pellets and the like.

    Returns
    -------
    pandas.DataFrame
        Contract `RELIABILITY`, sorted by assay and atomic number.
    """
    import pandas as pd

    best: dict[tuple[str, str], Calibration] = {}
    for c in calibrations:
        kept = best.get((c.assay, c.element))
        if kept is None or c.n > kept.n:
            best[c.assay, c.element] = c
    known = detection.assign(
        limit=detection["stated"].fillna(detection["reported"]).fillna(detection["found"])
    )
    limit = known.groupby(["assay", "element"], observed=True)["limit"].median()
    rows = []
    for row in facts.itertuples():
        key = (str(row.assay), str(row.element))
        level = trust.get(key, Trust("qualitative", ""))
        fit = best.get(key)
        said = [level.reason, *remarks.get(key, ())]
        rows.append(
            {
                "assay": key[0], "source": row.source, "element": key[1], "trust": level.level,
                "n": row.n, "below_pct": 100 * float(str(row.below)),
                "precision_pct": row.precision, "bias_pct": row.bias_pct,
                "r2": fit.r2 if fit else np.nan, "n_pairs": fit.n if fit else np.nan,
                "detection_limit": limit.get(key, np.nan),
                "by": "hand" if key in by_hand else "rule",
                "reason": "; ".join(s for s in said if s),
            }
        )  # fmt: skip
    table = pd.DataFrame(rows, columns=list(RELIABILITY))
    table = table[table["element"].isin(SYMBOLS)]
    order = sorted(
        range(len(table)),
        key=lambda i: (str(table["assay"].iloc[i]), element_rank(str(table["element"].iloc[i]))),
    )
    return conform(table.iloc[order], RELIABILITY)
