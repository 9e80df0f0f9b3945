"""Duplicates: pairs by role, their RMS coefficient of variation, and bias between the two."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import element_rank
from geochem.model.finding import Finding, name_some
from geochem.model.quality import DUPLICATE_PAIRS, DUPLICATE_SUMMARY
from geochem.quality.arrange import Arranged, by_text, of_samples, reading_number, records, when
from geochem.quality.duplicate_statistics import COLUMNS, HORWITZ_FAIR, describe_pairs
from geochem.quality.limits import QualityLimits
from geochem.stats.precision import rms_cv, rms_cv_interval, sign_test

if TYPE_CHECKING:
    import pandas as pd

ROLES = (
    "field_duplicate", "coarse_duplicate", "pulp_duplicate", "repeat", "reread", "umpire",
)  # fmt: skip


def pair_duplicates(
    arranged: Arranged, limits: QualityLimits
) -> tuple[pd.DataFrame, list[Finding]]:
    """Pair each duplicate with its parent, and repeated shots of one preparation.

    Parameters
    ----------
    arranged : Arranged
        Results and controls.
    limits : QualityLimits
        ``duplicates_from_limits``.

    Returns
    -------
    pairs : pandas.DataFrame
        Contract `DUPLICATE_PAIRS`, then ``instrument, mode, hard_pct``: half the relative
        difference [%]; missing text is empty.
    findings : list of Finding
        Duplicates whose parent is not given or has no result.
    """
    import pandas as pd

    columns = [*DUPLICATE_PAIRS, "instrument", "mode", "hard_pct"]
    second = arranged.controls
    second = second[second["role"].isin(ROLES)]
    findings = _without_parent(second)
    second = second[second["parent"] != ""]
    frame = pd.concat(
        [_with_parents(arranged, second, findings), _repeat_shots(arranged)], ignore_index=True
    )
    if frame.empty:
        return pd.DataFrame(columns=columns), findings
    frame = arranged.with_limits(frame)
    mean = (frame["first"] + frame["second"]) / 2
    lowest = limits.duplicates_from_limits * frame["limit"].fillna(0.0)
    under = frame["first_below"] | frame["second_below"]
    near = ~under & (mean < lowest)
    over = frame["first_above"] | frame["second_above"]
    empty = ~(mean > 0)
    frame["hard_pct"] = 50 * (frame["first"] - frame["second"]).abs() / mean.where(mean > 0)
    frame["used"] = ~(under | near | over | empty)
    frame["reason"] = np.select(
        [under, near, over, empty],
        ["below detection", f"under {limits.duplicates_from_limits:g} detection limits",
         "above the range of the method", "no positive value"],
        "",
    ).astype(object)  # fmt: skip
    order = ["source", "assay", "role", "element", "sample_id", "parent", "batch", "second"]
    frame = frame.sort_values(order, kind="stable").reset_index(drop=True)
    return frame[columns], findings


def summarise_duplicates(
    pairs: pd.DataFrame, limits: QualityLimits
) -> tuple[pd.DataFrame, list[Finding]]:
    """Give precision and bias per role, assay and element.

    Passes when the RMS CV is acceptable; fails when even the lower end of its 90 % interval is
    not, on at least ten pairs; warns between. Field duplicates carry the ground's own variation.

    Parameters
    ----------
    pairs : pandas.DataFrame
        From `pair_duplicates`.
    limits : QualityLimits
        Acceptable CV by role and element.

    Returns
    -------
    summary : pandas.DataFrame
        Contract `DUPLICATE_SUMMARY`, then ``cv_low, cv_high`` and `duplicate_statistics.COLUMNS`.
    findings : list of Finding
        What was noticed.
    """
    import pandas as pd

    rows: list[dict[str, object]] = []
    for key, part in by_text(pairs, ["source", "assay", "role", "element"]):
        source, assay, role, element = key
        used = part[part["used"].to_numpy(dtype=bool)]
        a, b = used["first"].to_numpy(dtype=float), used["second"].to_numpy(dtype=float)
        n = len(a)
        cv = rms_cv(a, b)
        low, high = rms_cv_interval(cv, n) if n else (np.nan, np.nan)
        p = float(sign_test((b > a).sum(), (b < a).sum())) if n else np.nan
        allowed = limits.acceptable_cv(role, element)
        verdict, reason = _verdict(n, cv, low, allowed)
        if n >= 10 and p < 0.01:
            shift = 100 * (float(np.median(b / a)) - 1)
            reason += f"; second results are {shift:+.0f} % (sign test p {p:.2g})"
            verdict = "warn" if verdict == "pass" and abs(shift) > 5 else verdict
        more = describe_pairs(a, b, role, allowed)
        ratio = float(str(more["horwitz_ratio"]))
        if n >= 5 and np.isfinite(ratio):
            fair = HORWITZ_FAIR[0] <= ratio <= HORWITZ_FAIR[1]
            reason += f"; Horwitz ratio {ratio:.2f}"
            if not fair:
                reason += f", usual {HORWITZ_FAIR[0]:g} to {HORWITZ_FAIR[1]:g}"
                verdict = "warn" if verdict == "pass" and ratio > 1 else verdict
        if more["coarse_grains"]:
            reason += "; few large differences, as coarse grains make them"
        rows.append(
            {
                "source": source, "assay": assay, "role": role, "element": element,
                "n_pairs": len(part), "n_used": n,
                "n_near_limit": int(part["reason"].str.startswith(("below", "under")).sum()),
                "cv_pct": cv, "bias_p": p, "acceptable_cv_pct": allowed, "verdict": verdict,
                "reason": reason, "cv_low": low, "cv_high": high, **more,
            }
        )  # fmt: skip
    columns = [*DUPLICATE_SUMMARY, "cv_low", "cv_high", *COLUMNS]
    summary = pd.DataFrame(rows, columns=columns)
    return summary, _summary_findings(summary)


def _verdict(n: int, cv: float, low: float, allowed: float) -> tuple[str, str]:
    if n == 0:
        return "not judged", "no pair is clear of the detection limit"
    text = f"RMS CV {cv:.1f} % on {n} pairs, acceptable {allowed:g} %"
    if n < 5:
        return "not judged", text + "; fewer than 5 pairs"
    if cv <= allowed:
        return "pass", text
    return ("fail", text) if n >= 10 and low > allowed else ("warn", text)


def _with_parents(
    arranged: Arranged, second: pd.DataFrame, findings: list[Finding]
) -> pd.DataFrame:
    import pandas as pd

    if second.empty:
        return pd.DataFrame()
    first = _parent_values(arranged, second["parent"].unique())
    own = second.merge(first, on=["assay", "parent", "element"], how="left", validate="m:1")
    # An umpire's result stands against the other laboratory.
    alone = own["first"].isna() & (own["role"] == "umpire")
    if alone.any():
        others = first[first["first_source"] == "laboratory"].sort_values(
            ["n", "assay"], ascending=[False, True], kind="stable"
        )
        others = others.drop_duplicates(["parent", "element"]).drop(columns="assay")
        names = ["first", "first_below", "first_above", "n", "first_source"]
        filled = own.loc[alone].drop(columns=names).merge(
            others, on=["parent", "element"], how="left", validate="m:1"
        )  # fmt: skip
        own = pd.concat([own[~alone], filled], ignore_index=True)
    lost = sorted(
        set(own.loc[own["first"].isna(), "parent"]) - set(own.loc[own["first"].notna(), "parent"])
    )
    if lost:
        findings.append(
            Finding(
                "duplicate-parent-without-result", "warning",
                f"{len(lost)} parents of duplicates have no result of the same assay: "
                f"{name_some(lost)}; these pairs were left out.",
            )
        )  # fmt: skip
    own = own[own["first"].notna()]
    return pd.DataFrame(
        {
            **{c: own[c] for c in ("source", "assay", "batch", "role", "element", "sample_id",
                                   "parent", "instrument", "mode", "first")},
            "second": own["value"], "second_below": own["below"], "second_above": own["above"],
            "first_below": own["first_below"].astype(bool),
            "first_above": own["first_above"].astype(bool),
        }
    )  # fmt: skip


def _parent_values(arranged: Arranged, parents: np.ndarray) -> pd.DataFrame:
    """Mean of all results of each parent; a mean with a limit in it counts as below."""
    import pandas as pd

    results = arranged.results
    some = results[of_samples(results, parents)]
    names = ["source", "assay", "sample_id", "element"]
    part = pd.DataFrame({n: some[n].astype(object) for n in names})
    for n in ("value", "below", "above"):
        part[n] = some[n]
    missing = arranged.controls["sample_id"].isin(parents) & ~arranged.controls["sample_id"].isin(
        set(part["sample_id"])
    )
    more = arranged.controls.loc[missing, [*names, "value", "below", "above"]]
    part = pd.concat([part, more], ignore_index=True)
    grouped = part.groupby(["assay", "sample_id", "element"], sort=True, observed=True)
    return grouped.agg(
        first=("value", "mean"), first_below=("below", "max"), first_above=("above", "max"),
        n=("value", "size"), first_source=("source", "first"),
    ).reset_index().rename(columns={"sample_id": "parent"})  # fmt: skip


def _repeat_shots(arranged: Arranged) -> pd.DataFrame:
    """First and second shot of routine samples that one assay read more than once in a batch."""
    import pandas as pd

    results = arranged.results
    routine = np.flatnonzero(~results["control"].to_numpy())
    key = ["assay", "batch", "sample_id", "element"]
    joint = np.zeros(len(routine), dtype=np.int64)
    for k in key:
        joint *= len(results[k].cat.categories) + 1
        joint += results[k].cat.codes.to_numpy()[routine]
    some = results.iloc[routine[pd.Series(joint).duplicated(keep=False).to_numpy()]]
    if some.empty:
        return pd.DataFrame()
    some = some.assign(time=when(some), number=reading_number(some["reading"]))
    some = some.sort_values([*key, "time", "number", "value"], kind="stable")
    turn = some.groupby(key, observed=True).cumcount()
    one, two = some[turn == 0], some[turn == 1]
    one, two = one.reset_index(drop=True), two.reset_index(drop=True)
    text = {n: one[n].astype(object) for n in ("source", "assay", "batch", "element", "sample_id",
                                               "instrument", "mode")}  # fmt: skip
    return pd.DataFrame(
        {
            **text, "role": "repeat", "parent": text["sample_id"],
            "first": one["value"], "second": two["value"],
            "first_below": one["below"], "second_below": two["below"],
            "first_above": one["above"], "second_above": two["above"],
        }
    )  # fmt: skip


def _without_parent(second: pd.DataFrame) -> list[Finding]:
    ids = sorted(set(second.loc[second["parent"] == "", "sample_id"]))
    if not ids:
        return []
    return [
        Finding(
            "duplicate-without-parent", "warning",
            f"{len(ids)} duplicates do not say of which sample they are: {name_some(ids)}; they "
            f"were left out of the precision. Fill the column of the parent.",
            sample_id=ids[0],
        )
    ]  # fmt: skip


def _summary_findings(summary: pd.DataFrame) -> list[Finding]:
    out: list[Finding] = []
    bad = summary[summary["verdict"] == "fail"]
    for (assay, role), part in by_text(bad, ["assay", "role"]):
        rows = sorted(records(part), key=lambda r: element_rank(r["element"]))
        named = [
            f"{r['element']} {r['cv_pct']:.0f} % (acceptable {r['acceptable_cv_pct']:g} %)"
            for r in rows
        ]
        hint = ""
        if part["coarse_grains"].any() or {"Au", "Pt", "Pd", "W", "Sn"} & set(part["element"]):
            hint = " Coarse grains are likely: take larger samples, split after finer milling."
        out.append(
            Finding(
                "duplicates-imprecise", "warning",
                f"{assay}: the RMS CV of {role.replace('_', ' ')}s is above the acceptable one "
                f"for {name_some(named)}.{hint}",
            )
        )  # fmt: skip
    left = int(summary["n_near_limit"].sum()) if len(summary) else 0
    if left:
        out.append(
            Finding(
                "duplicates-near-limit", "note",
                f"{left} of {int(summary['n_pairs'].sum())} duplicate pairs lie below or near the "
                f"detection limit and were left out of the CV.",
            )
        )  # fmt: skip
    return out
