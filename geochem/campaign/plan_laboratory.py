"""Laboratory part of a plan: ids with controls, dispatch, orientation survey."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from geochem.campaign.plan_layout import Facts, State
from geochem.campaign.settings import Settings
from geochem.errors import DataRefused, WrongCall, nearest
from geochem.model.finding import Finding
from geochem.model.tables import assays_of

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class Ids:
    """Issued ids."""

    crew: pd.DataFrame | None = None
    analysis: pd.DataFrame | None = None
    key: pd.DataFrame | None = None
    findings: Sequence[Finding] = ()

    def named(self, stops: gpd.GeoDataFrame | None) -> gpd.GeoDataFrame | None:
        """Write the issued ids beside the day's points."""
        if stops is None:
            return None
        out = stops.copy()
        for name in ("sample_id", "also"):
            known = {} if self.crew is None else dict(
                zip(self.crew["planned_id"], self.crew[name], strict=True)
            )  # fmt: skip
            values = [known.get(p) for p in out["point"]]
            out[name] = [v if isinstance(v, str) else None for v in values]
            out[name] = out[name].astype(object)
        return out


@dataclass(frozen=True, slots=True, eq=False)
class Dispatched:
    """Laboratory part of a plan."""

    sheet: pd.DataFrame | None = None
    umpire: pd.DataFrame | None = None
    crosswalk: pd.DataFrame | None = None
    facts: Facts = field(default_factory=list)
    findings: Sequence[Finding] = ()


def controls_of(settings: Settings, state: State, names: Sequence[str]) -> Ids:
    """Issue ids with blind controls for the layout, or else for the day's points."""
    if not names:
        return Ids()
    from geochem.planning.controls import RATES, issue_ids

    table = settings.table("planning")
    standards = table["standards"] or _standards(state)
    rates = dict(table["controls"] or RATES)
    findings = []
    if rates.get("standard") and not standards:
        rates["standard"] = 0.0
        findings.append(
            Finding(
                "plan-no-standards", "warning",
                "no standard is known, so none is among the issued ids; name them in [standards] "
                "or [planning] standards.",
            )
        )  # fmt: skip
    if not table["controls"] and len(names) < sum(rate > 0 for rate in rates.values()):
        rates = {}
        findings.append(
            Finding(
                "plan-few-points", "note",
                f"{len(names)} points are too few for controls of their own; join them to a larger "
                "batch.",
            )
        )  # fmt: skip
    prefix, first, width = _series(state, table["id_prefix"])
    issued = issue_ids(
        names, rates=rates, standards=standards, prefix=prefix, first=first, width=width,
        batch=table["batch"], seed=settings.seed,
    )  # fmt: skip
    return Ids(issued.crew, issued.analysis, issued.key, findings)


def _standards(state: State) -> list[str]:
    frame = state.get("standards")
    return [] if frame is None else sorted(frame["standard"].dropna().unique())


def _series(state: State, prefix: str | None) -> tuple[str, int, int]:
    """Continue the commonest series of ids of the field log: prefix, number, digits."""
    log = state.get("field_log")
    ids = [] if log is None else list(log["sample_id"].dropna())
    found = [m for m in (re.fullmatch(r"(\D+)(\d+)", i) for i in ids) if m]
    if prefix is None:
        names = [m[1] for m in found]
        prefix = max(sorted(set(names)), key=names.count) if names else "S"
    mine = [m[2] for m in found if m[1] == prefix]
    return prefix, max(map(int, mine), default=0) + 1, max(map(len, mine), default=4)


def dispatch_of(settings: Settings, state: State) -> Dispatched:
    """Choose for the laboratory among the samples that were read."""
    table = settings.table("planning")
    survey = state.get("survey")
    if survey is None or not len(survey.results):
        return Dispatched()
    if table["dispatch_number"] is None and table["dispatch_share"] <= 0:
        return Dispatched()
    from geochem.campaign.wiring import used_samples
    from geochem.planning.dispatch import choose_for_laboratory
    from geochem.planning.submission import RATES, make_submission

    samples = used_samples(survey.samples)
    results = survey.results
    readings = results.loc[results["source"] == "pxrf"]
    if not len(readings):
        return Dispatched()
    assay = str(readings["assay"].iloc[0])
    elements, leading = _sought(settings, state, samples, assay)
    sent = set(results.loc[results["source"] == "laboratory", "sample_id"])
    if state.get("dispatch") is not None:
        sent |= set(state["dispatch"]["sample_id"])
    background, targets = state.get("background"), state.get("targets")
    try:
        chosen = choose_for_laboratory(
            samples, elements, assay=assay, share=table["dispatch_share"],
            number=table["dispatch_number"], unit=table["unit"],
            thresholds=None if background is None else background.thresholds,
            members=None if targets is None else targets.members, already=sent,
            seed=settings.seed,
        )  # fmt: skip
    except DataRefused as refusal:
        return Dispatched(findings=[Finding("dispatch-none", "note", str(refusal))])
    findings = list(chosen.findings)
    if not len(chosen.table):
        findings.append(
            Finding(
                "dispatch-enough", "note",
                f"{len(sent)} samples are at a laboratory or back: about one in "
                f"{1 / table['dispatch_share']:.0f} of {chosen.read} read is reached; none is "
                "chosen. dispatch_number asks for more.",
            )
        )  # fmt: skip
        return Dispatched(findings=findings)
    rates = dict(table["dispatch_controls"] or RATES)
    known = {*state["field_log"]["sample_id"].dropna(), *results["sample_id"]}
    made = make_submission(
        chosen.table, known_ids=known, rates=rates,
        standards=table["standards"] or _standards(state), umpire=table["umpire"],
        seed=settings.seed,
    )  # fmt: skip
    findings += made.findings
    words = {"range": "across the range", "threshold": "near thresholds", "unit": "in units",
             "target": "on targets"}  # fmt: skip
    facts: Facts = [
        ("Samples", f"{len(chosen.table)} of {chosen.read} read"),
        ("Chosen", ", ".join(f"{n} {words[p]}" for p, n in chosen.counts.items() if n)),
        (
            "Elements",
            f"{', '.join(elements)}{' (leading; none sought is read)' if leading else ''}",
        ),
        ("Controls", ", ".join(f"{n} {r.replace('_', ' ')}" for r, n in made.counts.items() if n)),
        ("Sheet", f"{len(made.sheet)} portions in random order"),
    ]
    return Dispatched(made.sheet, made.umpire, made.crosswalk, facts, findings)


def _sought(
    settings: Settings, state: State, samples: pd.DataFrame, assay: str
) -> tuple[list[str], bool]:
    """Give the sought elements that the instrument reads, else the leading ones."""
    from geochem.elements import XRF_NEVER

    def readable(element: str) -> bool:
        return element not in XRF_NEVER and assay in assays_of(samples, element)

    sought = [e for e in settings.table("targets")["seek"] if readable(e)]
    if sought:
        return sought, False
    evidence = state.get("evidence")
    counted = [] if evidence is None else [e for e in evidence.elements if readable(e)]
    weights: dict[str, float] = {}
    for association in () if evidence is None else evidence.associations:
        for element, weight in association.weights.items():
            weights[element] = max(weights.get(element, 0.0), abs(weight))
    counted.sort(key=lambda e: (-weights.get(e, 0.0), e))
    return counted[:4], True


def orientation_of(
    settings: Settings, state: State
) -> tuple[pd.DataFrame | None, Sequence[Finding]]:
    """Compare ways of sampling over known mineralisation and background."""
    given = settings.table("planning")["orientation"]
    survey = state.get("survey")
    if not given or survey is None or not len(survey.results):
        return None, ()
    from geochem.planning.orientation import compare_contrast

    words = {"over": "mineralised", "background": "background", **given}
    for key in given:
        if key not in ("column", "over", "background"):
            raise WrongCall(
                f"[planning] orientation: unknown key '{key}'; known: column, over, background."
            )
    column = words.get("column")
    log = state["field_log"]
    if column not in log.columns:
        raise WrongCall(
            f"[planning] orientation: the field log has no column '{column}'."
            f"{nearest(str(column), map(str, log.columns))}"
        )
    marks = log.drop_duplicates("sample_id").set_index("sample_id")[column]
    sides = {str(words["over"]).lower(): True, str(words["background"]).lower(): False}
    samples = survey.samples
    over = [sides.get(str(marks.get(i, "")).strip().lower()) for i in samples["sample_id"]]
    return compare_contrast(samples, over, analytes=survey.analytes)
