"""Which result belongs to which sample: by id exactly, else by normal form, never by likeness."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from geochem.model.finding import Finding, name_some
from geochem.model.tables import ROLES
from geochem.samples.depths import match_depths
from geochem.samples.normal_form import normal_form

if TYPE_CHECKING:
    import pandas as pd

#: how many unmatched ids are looked up for a near miss, and among how many samples
_NEAR_ASKED, _NEAR_AMONG = 100, 3000

#: one row per assay of a `JoinReport`
JOIN_COUNTS: dict[str, str] = {
    "assay": "text", "ids": "count", "exactly": "count", "by_normal_form": "count",
    "controls": "count", "unmatched": "count", "values_unmatched": "count",
}  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class JoinReport:
    """What matched and what did not.

    Parameters
    ----------
    counts : pandas.DataFrame
        Per assay: ids, matched exactly, matched by normal form, controls, unmatched ids and how
        many values those have (`JOIN_COUNTS`).
    unmatched : tuple of (str, str)
        (assay, id) of results that belong to no sample.
    without_results : tuple of str
        Samples of the field log that no assay knows.
    suggestions : tuple of (str, str)
        (id in the results, id in the field log) that look alike; not matched.
    """

    counts: pd.DataFrame
    unmatched: tuple[tuple[str, str], ...]
    without_results: tuple[str, ...]
    suggestions: tuple[tuple[str, str], ...]

    def __repr__(self) -> str:
        lines = [self.counts.to_string(index=False) if len(self.counts) else "no assays"]
        lines.append(f"samples without any result: {len(self.without_results)}")
        lines += [f"  '{a}' in the results looks like '{b}'" for a, b in self.suggestions[:5]]
        return "\n".join(lines)


class Joined(NamedTuple):
    """Results with the ids of the field log, the role of every id, and the report.

    `reread_own` are samples that were read again under their own id.
    """

    results: pd.DataFrame
    roles: pd.DataFrame
    report: JoinReport
    findings: tuple[Finding, ...]
    reread_own: tuple[str, ...] = ()


def join_results(
    field_log: pd.DataFrame,
    results: pd.DataFrame,
    roles: pd.DataFrame,
    depths: Mapping[tuple[str, str], tuple[float, float]] | None = None,
) -> Joined:
    """Match the ids of results to the field log.

    First exactly, then by `normal_form`. A sample takes one spelling per assay: the exact one
    beats any other, and when two other spellings of one assay would fit, neither is taken.
    Likeness only makes a suggestion.

    Parameters
    ----------
    field_log : pandas.DataFrame
        One row per id (`judge_doubled`).
    results : pandas.DataFrame
        Contract `tables.RESULTS`, all assays; not changed.
    roles : pandas.DataFrame
        ``sample_id, role, parent, standard`` as the result tables say, maybe empty.
    depths : mapping, optional
        Per assay and id the one depth that the results state. [m]

    Returns
    -------
    Joined
        `results` in the order given with `sample_id` rewritten; `roles` one row per id that is
        not routine: ``sample_id, role, parent, standard, prep_batch, prep_order``.
    """
    findings: list[Finding] = []
    log_ids = field_log["sample_id"].tolist()
    by_form = _forms(log_ids, findings)
    said = roles.dropna(subset=["sample_id"]) if len(roles) else roles
    said_ids = (
        set(said.loc[said["role"].notna() & (said["role"] != "routine"), "sample_id"])
        if len(said)
        else set()
    )
    known = set(log_ids)
    pairs = results[["assay", "sample_id"]].dropna().value_counts(sort=False).reset_index()
    pairs = pairs.sort_values(["assay", "sample_id"]).reset_index(drop=True)
    form_of = {i: normal_form(i) for i in pairs["sample_id"].unique() if i not in known}
    target: list[str | None] = []
    how: list[str] = []
    for sample_id in pairs["sample_id"]:
        if sample_id in known:
            target.append(sample_id)
            how.append("exactly")
        elif sample_id in said_ids:
            target.append(sample_id)
            how.append("control")
        else:
            alike = by_form.get(form_of[sample_id])
            target.append(alike)
            how.append("normal" if alike else "unmatched")
    pairs["target"], pairs["how"] = target, how
    findings.extend(match_depths(pairs, field_log, depths or {}))
    findings.extend(_refuse_second_spelling(pairs))
    normal = pairs.loc[pairs["how"] == "normal"]
    other = pairs.loc[pairs["target"].notna() & (pairs["target"] != pairs["sample_id"])]
    rewritten = _rewrite(results, other) if len(other) else results
    if len(normal):
        rewrites = normal[["sample_id", "target"]].drop_duplicates()
        first = ", ".join(
            f"'{a}' is '{b}'" for a, b in rewrites.head(5).itertuples(index=False, name=None)
        )
        findings.append(
            Finding(
                "id-matched-by-normal-form", "note",
                f"{len(rewrites)} ids of the results are written differently in the field log "
                f"(case, spaces, separators or zeros) and were matched: {first}.",
                column="sample_id", sample_id=str(rewrites["target"].iloc[0]),
            )
        )  # fmt: skip
    all_roles, own, found = _settle_roles(field_log, said, pairs, by_form)
    findings += found
    report = _report(field_log, pairs, all_roles)
    findings += _report_findings(report, results, len(known))
    return Joined(rewritten, all_roles, report, tuple(findings), own)


def _forms(log_ids: list[str], findings: list[Finding]) -> dict[str, str]:
    """Map normal forms to ids of the field log; forms of two ids match nothing."""
    first: dict[str, str] = {}
    shared: dict[str, list[str]] = {}
    for sample_id in sorted(log_ids):
        form = normal_form(sample_id)
        if form in first:
            shared.setdefault(form, [first[form]]).append(sample_id)
        else:
            first[form] = sample_id
    if shared:
        some = "; ".join(" and ".join(v[:3]) for v in list(shared.values())[:5])
        findings.append(
            Finding(
                "ids-alike", "warning",
                f"{len(shared)} groups of ids in the field log differ only in case, spaces, "
                f"separators or zeros ({some}); they are kept apart, and results must spell them "
                "exactly.",
                column="sample_id",
            )
        )  # fmt: skip
    return {form: i for form, i in first.items() if form not in shared}


def _refuse_second_spelling(pairs: pd.DataFrame) -> list[Finding]:
    """Undo matches by normal form where a sample would be matched twice in one assay."""
    matched = pairs["target"].notna()
    double = matched & pairs.loc[matched].duplicated(["assay", "target"], keep=False).reindex(
        pairs.index, fill_value=False
    )
    undo = double & (pairs["how"] == "normal")
    if not undo.any():
        return []
    rows = pairs.loc[undo]
    named = [
        f"'{a}' for {b}"
        for a, b in rows[["sample_id", "target"]].itertuples(index=False, name=None)
    ]
    pairs.loc[undo, "how"] = "unmatched"
    pairs.loc[undo, "target"] = None
    return [
        Finding(
            "id-matched-twice", "warning",
            f"{len(named)} spellings would match a sample a second time in the same assay and "
            f"were not matched: {name_some(named)}; correct the spelling in the results.",
            column="sample_id",
        )
    ]  # fmt: skip


def _rewrite(results: pd.DataFrame, normal: pd.DataFrame) -> pd.DataFrame:
    ids = results["sample_id"].to_numpy(dtype=object, copy=True)
    assay = results["assay"].to_numpy(dtype=object)
    for name, group in normal.groupby("assay"):
        change = dict(zip(group["sample_id"], group["target"], strict=True))
        here = assay == name
        ids[here] = [change.get(i, i) for i in ids[here]]
    return results.assign(sample_id=ids)


def _settle_roles(
    field_log: pd.DataFrame, said: pd.DataFrame, pairs: pd.DataFrame, by_form: dict[str, str]
) -> tuple[pd.DataFrame, tuple[str, ...], list[Finding]]:
    """Give role, parent and standard of every id that is not routine; the field log goes first."""
    import pandas as pd

    findings: list[Finding] = []
    columns = ["sample_id", "role", "parent", "standard", "prep_batch", "prep_order"]
    logged = field_log[columns].copy()
    logged["role"], unknown = _role_words(logged["role"])
    _tell_unknown(unknown, field_log, findings)
    table = pd.DataFrame(columns=columns[:4], dtype=object)
    own_id: tuple[str, ...] = ()
    if len(said):
        table = said.reindex(columns=columns[:4]).copy()
        target = pairs.drop_duplicates("sample_id").set_index("sample_id")["target"]
        renamed = table["sample_id"].map(target)
        table["sample_id"] = renamed.where(renamed.notna(), table["sample_id"])
        table["role"], unknown = _role_words(table["role"])
        _tell_unknown(unknown, said, findings)
        table = table.loc[table["role"].notna() & (table["role"] != "routine")]
        # a second shot or a re-reading of a sample under its own id is still that sample
        routine = set(
            logged.loc[logged["role"].isna() | (logged["role"] == "routine"), "sample_id"]
        )
        own = table["parent"].isna() | (table["parent"] == table["sample_id"])
        again = table["role"].isin(["repeat", "reread"]) & own & table["sample_id"].isin(routine)
        own_id = tuple(sorted(set(table.loc[again & (table["role"] == "reread"), "sample_id"])))
        table, recurring = _one_each(table.loc[~again])
        findings += recurring
    merged = logged.merge(
        table, on="sample_id", how="outer", suffixes=("", "_said"), validate="one_to_one"
    )
    is_logged = merged["role"].notna() & (merged["role"] != "routine")
    both = is_logged & merged["role_said"].notna() & (merged["role"] != merged["role_said"])
    if both.any():
        ids = merged.loc[both, "sample_id"].tolist()
        findings.append(
            Finding(
                "role-differs", "note",
                f"{len(ids)} ids have another role in the results than in the field log, which "
                f"was believed: {name_some(ids)}.",
                column="role", sample_id=ids[0],
            )
        )  # fmt: skip
    merged["role"] = merged["role"].where(is_logged, merged["role_said"])
    for column in ("parent", "standard"):
        merged[column] = merged[column].where(merged[column].notna(), merged[f"{column}_said"])
    merged = merged.loc[merged["role"].notna(), columns].reset_index(drop=True)
    known = set(field_log["sample_id"]) | set(pairs["sample_id"])
    merged["parent"] = [
        p if p is None or p != p or p in known else by_form.get(normal_form(str(p)), p)
        for p in merged["parent"]
    ]
    findings += _judge_parents(merged, known)
    return merged.sort_values("sample_id").reset_index(drop=True), own_id, findings


def _one_each(table: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """Keep one row per id; an id with several parents or standards is paired with none of them."""
    findings: list[Finding] = []
    known = table.copy()
    for column, what in (("parent", "parents"), ("standard", "standards")):
        several = known.groupby("sample_id", sort=True)[column].nunique()
        ids = several.index[several > 1].tolist()
        if not ids:
            continue
        known[column] = known[column].where(~known["sample_id"].isin(ids), None)
        findings.append(
            Finding(
                "control-id-recurs", "warning",
                f"{len(ids)} ids of controls stand for different {what} in different rows "
                f"({name_some(ids)}); they were compared with none of them. Give every control an "
                "id of its own, for example with the day or the job in it.",
                column=column, sample_id=str(ids[0]),
            )
        )  # fmt: skip
    return known.sort_values(["sample_id", "role"]).drop_duplicates("sample_id"), findings


def _role_words(words: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Normalise role words; give the routine role to unknown ones and say which they were."""
    text = words.astype(object).where(words.notna(), None)
    tidy = text.map(
        lambda w: None if w is None else "_".join(str(w).casefold().replace("-", " ").split())
    )
    strange = tidy.notna() & ~tidy.isin(ROLES)
    return tidy.where(~strange, None).astype(object), text.loc[strange]


def _tell_unknown(unknown: pd.Series, table: pd.DataFrame, findings: list[Finding]) -> None:
    if len(unknown):
        ids = table.loc[unknown.index, "sample_id"].tolist()
        words = sorted({str(w) for w in unknown})
        findings.append(
            Finding(
                "role-unknown", "warning",
                f"the role word {name_some(words)} is not known and counts as routine for "
                f"{name_some(ids)}; known words: {', '.join(ROLES)}.",
                column="role", sample_id=str(ids[0]),
            )
        )  # fmt: skip


def _judge_parents(roles: pd.DataFrame, ids: set[str]) -> list[Finding]:
    needs = roles["role"].str.contains("duplicate") | roles["role"].isin(
        ["repeat", "reread", "umpire"]
    )
    missing = roles.loc[needs & ~roles["parent"].isin(ids)]
    if not len(missing):
        return []
    names = missing["sample_id"].tolist()
    return [
        Finding(
            "parent-missing", "warning",
            f"{len(names)} duplicates or repeats name no sample that is known, so no pair can be "
            f"formed: {name_some(names)}; give the id of the first sample in the column parent.",
            column="parent", sample_id=names[0],
        )
    ]  # fmt: skip


def _report(field_log: pd.DataFrame, pairs: pd.DataFrame, roles: pd.DataFrame) -> JoinReport:
    import pandas as pd

    from geochem.model.tables import conform

    controls = set(roles["sample_id"])
    final = pairs["target"].where(pairs["target"].notna(), pairs["sample_id"])
    is_control = final.isin(controls)
    rows = []
    for assay, group in pairs.groupby("assay", sort=True):
        control = is_control.loc[group.index]
        lost = (group["how"] == "unmatched") & ~control
        rows.append(
            {
                "assay": assay,
                "ids": len(group),
                "exactly": int(((group["how"] == "exactly") & ~control).sum()),
                "by_normal_form": int(((group["how"] == "normal") & ~control).sum()),
                "controls": int(control.sum()),
                "unmatched": int(lost.sum()),
                "values_unmatched": int(group.loc[lost, "count"].sum()),
            }
        )
    strays = pairs.loc[(pairs["how"] == "unmatched") & ~is_control]
    routine = field_log.loc[~field_log["sample_id"].isin(controls), "sample_id"]
    without = routine.loc[~routine.isin(set(final))].tolist()
    return JoinReport(
        counts=conform(pd.DataFrame(rows, columns=list(JOIN_COUNTS)), JOIN_COUNTS),
        unmatched=tuple(strays[["assay", "sample_id"]].itertuples(index=False, name=None)),
        without_results=tuple(sorted(without)),
        suggestions=_near_misses(sorted(set(strays["sample_id"])), without or routine.tolist()),
    )


def _near_misses(lost: list[str], samples: list[str]) -> tuple[tuple[str, str], ...]:
    import difflib

    if len(lost) * len(samples) > _NEAR_ASKED * _NEAR_AMONG:
        lost, samples = lost[:_NEAR_ASKED], samples[:_NEAR_AMONG]
    out = []
    for sample_id in lost:
        close = difflib.get_close_matches(sample_id, samples, n=1, cutoff=0.8)
        out += [(sample_id, close[0])] if close else []
    return tuple(out)


def _report_findings(report: JoinReport, results: pd.DataFrame, n_samples: int) -> list[Finding]:
    findings = []
    nameless = results["sample_id"].isna()
    if nameless.any():
        row = results.loc[nameless].iloc[0]
        findings.append(
            Finding(
                "result-without-id", "warning",
                f"{int(nameless.sum())} values have no sample id and belong to no sample; the "
                f"first is in row {row['row']} of {row['file']}.",
                file=row["file"], row=int(row["row"]) if row["row"] == row["row"] else None,
            )
        )  # fmt: skip
    by_assay: dict[str, list[str]] = {}
    for assay, sample_id in report.unmatched:
        by_assay.setdefault(assay, []).append(sample_id)
    values = report.counts.set_index("assay")["values_unmatched"]
    for assay, ids in by_assay.items():
        first = results.loc[(results["assay"] == assay) & (results["sample_id"] == ids[0])].iloc[0]
        row = first["row"]
        findings.append(
            Finding(
                "results-without-sample", "warning",
                f"{len(ids)} ids of assay '{assay}' ({int(values[assay])} values) are in no field "
                f"log and have no role: {name_some(ids)}; add them to the field log or correct "
                "the ids.",
                file=first["file"], row=None if row is None or row != row else int(row),
                column="sample_id", sample_id=ids[0],
            )
        )  # fmt: skip
    if report.suggestions:
        pairs = [f"'{a}' may be '{b}'" for a, b in report.suggestions]
        findings.append(
            Finding(
                "id-near-miss", "note",
                f"{len(pairs)} unmatched ids look like samples; nothing was matched by likeness: "
                f"{name_some(pairs)}.",
                column="sample_id", sample_id=report.suggestions[0][0],
            )
        )  # fmt: skip
    ids_without = list(report.without_results)
    if ids_without:
        findings.append(
            Finding(
                "samples-without-results", "note",
                f"{len(ids_without)} of {n_samples} samples of the field log have no result yet: "
                f"{name_some(ids_without)}.",
                sample_id=ids_without[0],
            )
        )  # fmt: skip
    return findings
