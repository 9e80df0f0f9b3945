"""Blanks: contamination and carry-over, relative to the detection limit and to what came before.

A coarse blank goes through crusher, mill and sieve: what came before it there is what may have
been carried over. A pulp blank or instrument blank follows in the order of reading.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.model.finding import Finding, name_some
from geochem.model.quality import BLANK_CHECKS
from geochem.quality.arrange import (
    BATCH_KEY,
    Arranged,
    by_text,
    of_samples,
    reading_number,
    records,
    when,
)
from geochem.quality.certificates import normal_name
from geochem.quality.limits import QualityLimits

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.survey import Survey

ROLES = ("blank", "coarse_blank", "pulp_blank")

#: A quartz blank holds these by nature; without its certificate they are not failed
#: (common practice, no source).
NATURAL = frozenset({"Si", "Al", "Fe", "K", "Ca", "Ti", "Na", "Mg", "P", "S", "Mn", "Zr"})


def check_blanks(
    survey: Survey, arranged: Arranged, standards: pd.DataFrame, limits: QualityLimits
) -> tuple[pd.DataFrame, list[Finding]]:
    """Judge every result of a blank.

    The reference is the largest of the detection limit, the certified value of the blank if the
    table of standards has one, and, from five blanks of one kind on, their usual value; beyond
    `blank_warn_limits` of it a blank warns, beyond `blank_fail_limits` it fails.

    Parameters
    ----------
    survey : Survey
        For the order of preparation.
    arranged : Arranged
        Controls in time order.
    standards : pandas.DataFrame
        Contract `tables.STANDARDS`; a blank may have certified values too.
    limits : QualityLimits
        What warns and what fails.

    Returns
    -------
    checks : pandas.DataFrame
        Contract `BLANK_CHECKS`, then ``mode, reference, excess`` (above the reference, mg/kg).
        Missing text is empty.
    findings : list of Finding
        What was noticed.
    """
    import pandas as pd

    rows = arranged.controls
    rows = rows[rows["role"].isin(ROLES)].reset_index(drop=True)
    if rows.empty:
        return pd.DataFrame(columns=[*BLANK_CHECKS, "mode", "reference", "excess"]), []
    rows = arranged.with_limits(rows)
    rows["date_read"] = when(rows)
    rows["limit"] = rows["limit"].where(~rows["below"], np.fmax(rows["limit"], rows["value"]))
    rows["reference"] = _reference(rows, standards)
    rows["previous_value"], rows["previous"] = _previous(survey, arranged, rows)
    rows["excess"] = np.where(
        rows["below"], 0.0, (rows["value"] - rows["reference"].fillna(0.0)).clip(lower=0.0)
    )
    rows = _verdicts(rows, limits)
    return rows[[*BLANK_CHECKS, "mode", "reference", "excess"]], [
        *_like_a_sample(rows),
        *_always_there(rows),
    ]


def blanks_by_batch(
    checks: pd.DataFrame, arranged: Arranged, limits: QualityLimits
) -> pd.DataFrame:
    """Judge each element of each batch by its blanks.

    Parameters
    ----------
    checks : pandas.DataFrame
        From `check_blanks`.
    arranged : Arranged
        For the median of the samples.
    limits : QualityLimits
        ``blank_matters_pct``.

    Returns
    -------
    pandas.DataFrame
        `BATCH_KEY`, ``element, n_blank, blank_verdict, blank_reason``.
    """
    import pandas as pd

    key = [*BATCH_KEY, "element"]
    if checks.empty:
        return pd.DataFrame(columns=[*key, "n_blank", "blank_verdict", "blank_reason"])
    samples = arranged.results[~arranged.results["control"]]
    medians = samples.groupby(["assay", "element"], observed=True)["value"].median()
    level = medians.rename("level").reset_index()
    for name in ("assay", "element"):
        level[name] = level[name].astype(object)
    rows = checks.merge(level, on=["assay", "element"], how="left", validate="m:1")
    matters = ~(rows["excess"] < limits.blank_matters_pct / 100 * rows["level"])
    fails = (rows["verdict"] == "fail") & matters
    rows["grade"] = np.where(fails, 2, np.where(rows["verdict"] == "pass", 0, 1))
    rows["said"] = np.where(
        (rows["verdict"] == "fail") & ~matters,
        rows["reason"] + f"; under {limits.blank_matters_pct:g} % of the median sample",
        rows["reason"],
    )
    worst = rows.sort_values(["grade", "excess"], ascending=False, kind="stable")
    first = worst.drop_duplicates(key)[[*key, "grade", "said"]]
    n = rows.groupby(key, sort=False, observed=True).size().rename("n_blank").reset_index()
    out = n.merge(first, on=key, how="left", validate="1:1")
    out["blank_verdict"] = np.array(["pass", "warn", "fail"], dtype=object)[out["grade"]]
    out["blank_reason"] = out["said"].where(out["grade"] > 0, "")
    return out[[*key, "n_blank", "blank_verdict", "blank_reason"]]


def _reference(rows: pd.DataFrame, standards: pd.DataFrame) -> np.ndarray:
    kind = ["assay", "instrument", "mode", "role", "standard", "element"]
    seen = rows.groupby(kind, sort=False, observed=True)["value"]
    usual = seen.transform("median").where(seen.transform("size") >= 5, np.nan)
    plain = {n: normal_name(n) for n in rows["standard"].unique()}
    named = [plain[n] for n in rows["standard"]]
    known = standards[standards["certified"].notna()]
    values = {
        (normal_name(s or ""), e): float(c)
        for s, e, c in zip(known["standard"], known["element"], known["certified"], strict=True)
    }
    certified = [values.get(k, np.nan) for k in zip(named, rows["element"], strict=True)]
    return np.fmax(np.fmax(rows["limit"].to_numpy(), usual.to_numpy()), np.asarray(certified))


def _verdicts(rows: pd.DataFrame, limits: QualityLimits) -> pd.DataFrame:
    value, reference = rows["value"].to_numpy(), rows["reference"].to_numpy()
    with np.errstate(divide="ignore", invalid="ignore"):
        times = np.where(rows["below"], 0.0, value / reference)
    natural = rows["element"].isin(NATURAL).to_numpy()
    verdict = np.where(
        times > limits.blank_fail_limits,
        "fail",
        np.where(times > limits.blank_warn_limits, "warn", "pass"),
    ).astype(object)
    verdict[natural & (verdict == "fail")] = "warn"
    reason = np.full(len(rows), "", dtype=object)
    reason[~np.isfinite(times)] = "no detection limit is known"
    told = np.flatnonzero(verdict != "pass")
    for i, row in zip(told, records(rows.iloc[told]), strict=True):
        text = (
            f"{row['role'].replace('_', ' ')} {row['sample_id']} holds {value[i]:.3g} ppm "
            f"{row['element']}, {times[i]:.1f} x the reference of {reference[i]:.3g}"
        )
        before = float(row["previous_value"])
        if before > value[i]:
            text += (
                f"; after {row['previous']} with {before:.3g} ppm "
                f"({100 * value[i] / before:.1f} % carried over)"
            )
        if natural[i]:
            text += "; may be its own, give its certified value"
        reason[i] = text
    return rows.assign(verdict=verdict, reason=reason)


def _previous(
    survey: Survey, arranged: Arranged, rows: pd.DataFrame
) -> tuple[np.ndarray, np.ndarray]:
    """Give value and id of what was prepared, else read, before each blank."""
    import pandas as pd

    before = _prepared_before(survey, arranged, rows)
    read = _read_before(arranged, rows)
    previous = np.where(before != "", before, read)
    results = arranged.results
    some = results[of_samples(results, previous)]
    means = some.groupby(["assay", "sample_id", "element"], observed=True)["value"].mean()
    table = means.rename("previous_value").reset_index()
    for name in ("assay", "sample_id", "element"):
        table[name] = table[name].astype(object)
    asked = pd.DataFrame(
        {"assay": rows["assay"], "sample_id": previous, "element": rows["element"]}
    )
    found = asked.merge(table, on=["assay", "sample_id", "element"], how="left", validate="m:1")
    return found["previous_value"].to_numpy(dtype=float), previous


def _prepared_before(survey: Survey, arranged: Arranged, rows: pd.DataFrame) -> np.ndarray:
    import pandas as pd

    names = ["sample_id", "prep_batch", "prep_order"]
    parts = [arranged.controls[names]]
    for frame in (survey.samples, survey.unlocated):
        if set(names) <= set(frame.columns):
            parts.append(pd.DataFrame(frame[names]))
    order = pd.concat(parts, ignore_index=True)
    order = order[order["prep_order"].notna()].drop_duplicates("sample_id")
    order["prep_batch"] = order["prep_batch"].fillna("").astype(str)
    order = order.sort_values(["prep_batch", "prep_order", "sample_id"], kind="stable")
    order["before"] = order.groupby("prep_batch", observed=True)["sample_id"].shift(1)
    known = dict(zip(order["sample_id"], order["before"].fillna(""), strict=True))
    # A pulp blank does not pass the mill.
    return np.array(
        ["" if r == "pulp_blank" else known.get(s, "")
         for s, r in zip(rows["sample_id"], rows["role"], strict=True)],
        dtype=object,
    )  # fmt: skip


def _read_before(arranged: Arranged, rows: pd.DataFrame) -> np.ndarray:
    """Look at one element only: the one blanks have most often stands for the whole reading."""
    answer = np.full(len(rows), "", dtype=object)
    results = arranged.results
    for assay, part in rows.groupby("assay", sort=True, observed=True):
        lead = part["element"].value_counts(sort=False).sort_index().idxmax()
        shots = results[(results["assay"] == assay) & (results["element"] == lead)]
        shots = shots.assign(time=when(shots), number=reading_number(shots["reading"]))
        shots = shots[shots["time"].notna()]
        if shots.empty or not (shots["time"].dt.normalize() != shots["time"]).any():
            # Days without hours say nothing about order, unless readings are numbered.
            shots = shots[shots["number"].notna()]
        shots = shots.sort_values(["instrument", "time", "number", "sample_id"], kind="stable")
        shots["before"] = shots.groupby("instrument", observed=True)["sample_id"].shift(1)
        shots["sample_id"] = shots["sample_id"].astype(object)
        # One id may be read many times: the shot is known by its time and number too.
        shot = ["sample_id", "time", "number"]
        asked = part[["sample_id"]].assign(time=when(part), number=reading_number(part["reading"]))
        found = asked.merge(
            shots.drop_duplicates(shot)[[*shot, "before"]], on=shot, how="left", validate="m:1"
        )["before"].to_numpy(dtype=object)
        answer[part.index.to_numpy()] = [v if isinstance(v, str) else "" for v in found]
    return answer


def _like_a_sample(rows: pd.DataFrame) -> list[Finding]:
    judged = rows[~rows["element"].isin(NATURAL)]
    share = judged.assign(bad=judged["verdict"] == "fail")
    share = (
        share.groupby(["assay", "sample_id"], observed=True)["bad"]
        .agg(["mean", "size"])
        .reset_index()
    )
    wrong = share[(share["mean"] > 0.5) & (share["size"] >= 4)]
    return [
        Finding(
            "blank-looks-like-a-sample", "warning",
            f"{r['sample_id']} is logged as a blank but most elements of {r['assay']} stand well "
            f"above detection; check whether it was swapped with a sample.",
            sample_id=str(r["sample_id"]),
        )
        for r in records(wrong)
    ]  # fmt: skip


def _always_there(rows: pd.DataFrame) -> list[Finding]:
    kind = ["assay", "role", "element"]
    seen = rows.groupby(kind, observed=True)[["value", "limit", "below"]].agg(
        {"value": "median", "limit": "median", "below": "mean"}
    )
    n = rows.groupby(kind, observed=True).size()
    steady = seen[(n >= 5) & (seen["below"] < 0.5) & (seen["value"] > 5 * seen["limit"])]
    out: list[Finding] = []
    for (assay, role), part in by_text(steady.reset_index(), ["assay", "role"]):
        named = [f"{r['element']} {r['value']:.3g} ppm" for r in records(part)]
        out.append(
            Finding(
                "blank-never-empty", "note",
                f"{assay}: most results of the {role.replace('_', ' ')} hold {name_some(named)}. "
                f"It is the material's own or constant contamination; blanks are judged from that "
                f"level on. Give its certified values to tell them apart.",
            )
        )  # fmt: skip
    return out
