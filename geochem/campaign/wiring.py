"""From the campaign file to the call of each step; no mathematics here.

Every function takes the settings and its inputs by name, and returns its outputs by name with the
findings that are new.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from geochem.campaign import asked
from geochem.campaign.settings import Settings
from geochem.errors import DataRefused
from geochem.model.finding import Finding, name_some

if TYPE_CHECKING:
    import pandas as pd

    from geochem.background.guideline import Guideline
    from geochem.model.background import BackgroundReport, Gold
    from geochem.model.catchments import SedimentCatchments
    from geochem.model.evidence import Composition, Evidence
    from geochem.model.layers import Layers, Spacing
    from geochem.model.quality import QualityReport
    from geochem.model.reading import AssayRead
    from geochem.model.survey import Survey
    from geochem.model.targets import TargetReport
    from geochem.model.threshold import Comparison

Given = tuple[dict[str, Any], Sequence[Finding]]


def join_survey(
    settings: Settings, *, field_log: pd.DataFrame, assays: Sequence[AssayRead], layers: Layers
) -> Given:
    """Join, locate, check the preparation."""
    from geochem.samples.assemble import assemble_survey

    survey = assemble_survey(field_log, assays, layers, crs=settings.top["crs"])
    if not len(survey.samples) and not len(survey.unlocated):
        raise DataRefused(
            ["no sample could be used; see the reasons:", *(f.message for f in survey.findings)]
        )
    return {"survey": survey}, survey.findings


def judge(
    settings: Settings,
    *,
    survey: Survey,
    standards: pd.DataFrame,
    dispatch: pd.DataFrame | None = None,
    until: date | None = None,
) -> Given:
    """Judge the controls, try calibrations, treat drift and failed batches as asked for."""
    from geochem.quality.treat import judge_and_treat

    table = settings.table("quality")
    key_elements = table["key_elements"] or settings.table("targets")["seek"] or None
    survey, report = judge_and_treat(
        survey, standards, key_elements=key_elements, options=table["options"] or None,
        dispatch=dispatch, today=until,
    )  # fmt: skip
    return {"quality": report, "survey": survey}, report.findings


def accept(settings: Settings, *, survey: Survey, quality: QualityReport) -> Given:
    """Choose one assay per element and medium, and measure the grids."""
    from geochem.samples.accept import accept_values
    from geochem.samples.spacing import measure_spacings

    before = len(survey.findings)
    accepted = accept_values(
        survey, quality.calibrations, prefer=settings.table("quality")["prefer"] or None
    )
    accepted = replace(accepted, analytes=_with_trust(accepted.analytes, quality.verdicts))
    spacings = measure_spacings(accepted.samples)
    return {"survey": accepted, "spacings": spacings}, accepted.findings[before:]


def _with_trust(analytes: pd.DataFrame, verdicts: pd.DataFrame) -> pd.DataFrame:
    """Write the trust class of quality control beside each assay and element."""
    known = verdicts.dropna(subset=["trust"]).drop_duplicates(["assay", "element"])
    trust = known.set_index(["assay", "element"])["trust"]
    keys = list(zip(analytes["assay"], analytes["element"], strict=True))
    classes: list[Any] = [trust.get(key) for key in keys]
    return analytes.assign(trust=classes)


def used_samples(samples: Any) -> Any:
    """Leave out samples that are shown but not used."""
    if "use" not in samples.columns:
        return samples
    return samples.loc[samples["use"] != "context"].reset_index(drop=True)


def _elements(settings: Settings, survey: Survey) -> list[str]:
    wanted = settings.table("anomalies")["elements"]
    return [e for e in survey.elements if not wanted or e in wanted]


def count_progress(
    settings: Settings,  # noqa: ARG001 - one signature for all operations
    *,
    survey: Survey,
    field_log: pd.DataFrame,
    plan: pd.DataFrame | None,
    dispatch: pd.DataFrame | None,
    until: date | None,
) -> Given:
    """Count planned, collected, read, sent and returned samples."""
    findings: list[Finding] = []
    routine = field_log["role"].isna() | (field_log["role"] == "routine")
    ids = set(field_log.loc[routine, "sample_id"].dropna())
    results = survey.results
    by_source = {
        source: len(ids & set(results.loc[results["source"] == source, "sample_id"]))
        for source in ("pxrf", "laboratory")
    }
    progress: dict[str, Any] = {
        "planned": None, "collected": len(ids), "located": len(survey.samples),
        "read": by_source["pxrf"], "sent": None, "returned": by_source["laboratory"],
    }  # fmt: skip
    if plan is not None:
        progress["planned"] = len(plan)
        done = set(field_log["planned_id"].dropna()) | ids
        progress["planned_done"] = int(plan["planned_id"].isin(done).sum())
        left = plan.loc[~plan["planned_id"].isin(done), ["easting", "northing"]].dropna()
        progress["open_points"] = left.to_numpy(dtype=float).round(1).tolist()
    if dispatch is not None:
        sent = dispatch
        if until is not None:
            import pandas as pd

            sent = sent.loc[~(sent["sent"] >= pd.Timestamp(until) + pd.Timedelta(days=1))]
        back = set(results.loc[results["source"] == "laboratory", "sample_id"])
        waiting = sorted(set(sent["sample_id"]) - back)
        progress["sent"] = len(set(sent["sample_id"]))
        progress["outstanding"] = len(waiting)
        if waiting:
            findings.append(
                Finding(
                    "laboratory-outstanding",
                    "note",
                    f"{len(waiting)} samples are at the laboratory and not back: "
                    f"{name_some(waiting)}.",
                )
            )
    return {"progress": progress}, findings


def compose(settings: Settings, *, survey: Survey) -> Given:
    """Describe the composition of every medium that has enough samples."""
    from geochem.composition.describe import describe_composition

    table = settings.table("composition")
    samples = used_samples(survey.samples)
    found: list[Finding] = []
    compositions: list[Composition] = []
    for medium in sorted(samples["medium"].dropna().unique()):
        parts = [
            e
            for e in _elements(settings, survey)
            if not table["elements"] or e in table["elements"]
        ]
        composition, findings = describe_composition(
            samples.loc[samples["medium"] == medium].reset_index(drop=True),
            parts,
            medium=medium,
            max_below=table["max_below"],
            replacement=table["replacement"],
            draws=table["draws"],
            seed=settings.seed,
        )
        found += findings
        if composition is not None:
            compositions.append(composition)
    return {"compositions": tuple(compositions)}, found


def describe(
    settings: Settings,
    *,
    survey: Survey,
    spacings: Sequence[Spacing],
    compositions: Sequence[Composition],
    layers: Layers,
    quality: QualityReport,
    further: Sequence[str] = (),
) -> Given:
    """Find backgrounds and thresholds; say what gold can tell."""
    from geochem.background.contacts import contact_findings, near_contact
    from geochem.background.data_groups import COLUMN, data_groups
    from geochem.background.report import describe_background
    from geochem.campaign.levels import with_further

    table = settings.table("background")
    samples = used_samples(survey.samples)
    by, near = table["by"] or None, None
    said: list[Finding] = []
    if table["groups"]:
        label = data_groups(
            samples["sample_id"], compositions, table["groups"], seed=settings.seed
        )
        samples = samples.assign(**{COLUMN: label})
        by = [*(by or []), COLUMN]
    geology = layers.vector.get("geology")
    if table["contact_m"] and geology is not None and geology.field:
        near = near_contact(samples, geology.frame, geology.field, table["contact_m"])
        said = contact_findings(samples["sample_id"], near, table["contact_m"])
    report = describe_background(
        samples,
        _elements(settings, survey),
        method=table["method"],
        options=table["options"] or None,
        per_element=table["element"] or None,
        by=by,
        spacings=spacings,
        min_n=table["min_n"],
        pin_stage=table["pin_stage"],
        near_contact=near,
        excluded=_sought_association(settings),
        guidelines=_guidelines(settings),
        analytes=survey.analytes,
        seed=settings.seed,
    )
    report, gold, findings = with_further(report, survey, quality, further)
    return {"background": report, "gold": gold}, [*said, *report.findings, *findings]


def _sought_association(settings: Settings) -> list[str]:
    """Elements of the association that the user seeks; none when all presets compete."""
    from geochem.anomalies.associations import choose

    table = settings.table("targets")
    if not table["seek"] and not table["association"]:
        return []
    chosen = choose(table["seek"], table["association"], asked.own_presets(settings))
    return sorted({e for a in chosen for e, weight in a.weights.items() if weight > 0})


def _guidelines(settings: Settings) -> dict[str, Guideline]:
    from geochem.background.guideline import read_guidelines

    path = settings.table("background")["guidelines"]
    return read_guidelines(settings.resolve(path)) if path else {}


def compare_thresholds(
    settings: Settings,
    *,
    survey: Survey,
    background: BackgroundReport,
    evidence: Evidence,
    targets: TargetReport,
) -> Given:
    """Put all threshold methods side by side for the leading elements."""
    from geochem.background.comparison import compare

    table = settings.table("background")
    samples = used_samples(survey.samples)
    thresholds = background.thresholds
    wanted = [str(e) for e in settings.table("targets")["seek"] or ()]
    wanted += [str(e) for e in targets.targets["peak_element"].dropna()]
    wanted += list(evidence.elements)
    guidelines = _guidelines(settings)
    weights = background.domains.set_index("sample_id")["weight"]
    made: dict[tuple[str, str], Comparison] = {}
    for element in dict.fromkeys(wanted):
        if len(made) >= table["compare"]:
            break
        mine = thresholds.loc[(thresholds["element"] == element) & (thresholds["domain"] == "all")]
        if not len(mine):
            continue
        medium = str(mine.sort_values(["n", "medium"], ascending=[False, True])["medium"].iloc[0])
        own = table["element"].get(element) or {}
        made[medium, element] = compare(
            samples, element, medium=medium, guidelines=guidelines, bootstrap=0,
            weights=weights.reindex(samples["sample_id"]).fillna(1.0).to_numpy(),
            chosen=(own.get("values") or {}).get(medium, own.get("value")), reason=own.get("reason", ""),
        )  # fmt: skip
    return {"comparisons": made}, []


def search(
    settings: Settings,
    *,
    survey: Survey,
    background: BackgroundReport,
    compositions: Sequence[Composition],
    spacings: Sequence[Spacing],
    quality: QualityReport,
) -> Given:
    """Score elements and associations."""
    from geochem.anomalies.batch_steps import batches_of
    from geochem.anomalies.search import search_anomalies

    table = settings.table("targets")
    evidence = search_anomalies(
        used_samples(survey.samples),
        background,
        compositions,
        spacings,
        analytes=survey.analytes,
        calibrations=quality.calibrations,
        seek=table["seek"],
        association=table["association"],
        own_presets=asked.own_presets(settings),
        batches=batches_of(survey.results),
        grouping=asked.grouping(settings.table("anomalies")),
        seed=settings.seed,
    )
    return {"evidence": evidence}, evidence.findings


def propose(
    settings: Settings,
    *,
    survey: Survey,
    evidence: Evidence,
    background: BackgroundReport,
    spacings: Sequence[Spacing],
    layers: Layers,
    catchments: SedimentCatchments | None,
    quality: QualityReport,
    gold: Sequence[Gold] = (),
    clock: datetime,
    until: date | None = None,
) -> Given:
    """Draw outlines, rank them, propose follow-up and holes."""
    from geochem.campaign.decisions import for_outputs, mark_report, over_register
    from geochem.campaign.history import read_previous, read_register
    from geochem.surfaces.catchments import with_catchments
    from geochem.targets.propose import propose_targets

    table = settings.table("targets")
    folder = settings.folder / "history"
    previous, findings = read_previous(folder, clock.date(), settings.top["crs"], until=until)
    register, found = read_register(folder)
    findings += found
    decided = settings.decisions
    named = decided is not None or len(register) > 0
    effects: dict[str, str] = {}
    if decided is not None:
        findings += decided.findings
        register, effects, found = over_register(register, decided)
        findings += found
    report = propose_targets(
        used_samples(survey.samples),
        evidence,
        background,
        spacings,
        with_catchments(layers, catchments),
        analytes=survey.analytes,
        quality=quality,
        wanted=table["wanted"],
        max_spacing_m=table["max_spacing_m"],
        seek=table["seek"],
        weights=table["weights"] or None,
        ranker=table["ranker"],
        previous=previous.targets,
        used_names=previous.used_names,
        same_day=previous.same_day if named else None,
        register=register,
        clock=clock,
        seed=settings.seed,
        budget=asked.budget(table["follow_up"], settings.table("planning")["points_per_day"]),
        alone={
            e: [s for g in gold if g.element == e for s in g.single]
            for e in {g.element for g in gold}
        },
    )
    findings += report.findings
    shown: dict[str, Any] = {}
    if decided is not None:
        report, found = mark_report(report, decided, effects, previous.used_names)
        findings += found
        shown, found = for_outputs(decided, effects, set(background.thresholds["element"]))
        findings += found
    return {"targets": report, "previous": previous, "decisions": shown}, findings
