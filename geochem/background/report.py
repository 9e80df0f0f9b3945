"""The background of a survey: domains, location and scale, thresholds, probability plots."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.background.choice import (
    POSSIBLE,
    OwnChoice,
    choice_findings,
    methods_for,
    own_choice,
)
from geochem.background.chosen import NAME as CHOSEN
from geochem.background.disagreement import compare_with_survey
from geochem.background.domains import (
    ROCK,
    WHOLE,
    WITH_BACKGROUND,
    Domains,
    divide,
    medium_key,
    own_share,
)
from geochem.background.drift import Drift, drift_of, without_drift
from geochem.background.ground import decluster, point_coordinates
from geochem.background.groups import text_column
from geochem.background.guideline import NAME as GUIDELINE
from geochem.background.median_mad import MedianMad
from geochem.background.probability_plot import ProbabilityPlot
from geochem.background.stages import pinned
from geochem.background.table import (
    accepted_assays,
    check_elements,
    check_needs,
    finish,
    fit_each,
    select,
    threshold_row,
)
from geochem.elements import CRUST_SOURCE, crustal_abundance, element_rank
from geochem.model import tables
from geochem.model.background import BackgroundReport
from geochem.model.finding import Finding

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from geochem.background.guideline import Guideline
    from geochem.model.layers import Spacing
    from geochem.model.threshold import Threshold

    Array = npt.NDArray[np.float64]


def describe_background(
    samples: pd.DataFrame,
    elements: Sequence[str] | None,
    *,
    method: Any = "median_mad",
    options: Mapping[str, Any] | None = None,
    per_element: Mapping[str, Mapping[str, Any]] | None = None,
    by: str | Sequence[str] | None = None,
    spacings: Sequence[Spacing] = (),
    min_n: int = 30,
    pin_stage: str | None = None,
    near_contact: npt.NDArray[np.bool_] | None = None,
    excluded: Sequence[str] = (),
    guidelines: Mapping[str, Guideline] | None = None,
    analytes: pd.DataFrame | None = None,
    seed: int = 1,  # noqa: ARG001 - no step here is left to chance
) -> BackgroundReport:
    """Describe what is usual, per medium, domain and element.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        Located samples with accepted values.
    elements : sequence of str or None
        Which; None means all.
    method, options : as in `table.thresholds`
        Of the thresholds. Options that do not mention `log` keep the campaign's log10.
    per_element : mapping of str to mapping, optional
        ``{"Au": {"method": ..., "options": ..., "reason": ...}}`` for elements that are to be
        treated otherwise; ``{"Cu": {"value": 120, "reason": ...}}`` sets the threshold itself
        [mg/kg] and stands before a method; ``{"Zn": {"on": ["Fe", "Mn"], "reason": ...}}`` takes
        a robust regression off first, ``{"Zn": {"window": 100}}`` a moving median.
    by : str or sequence of str, optional
        Columns that name the domain, instead of the rule in `domains`.
    spacings : sequence of Spacing, optional
        Measured ones; they set the declustering cells (see `ground.decluster`).
    min_n : int, default 30
        Values that a domain needs to stand alone; from a third of that on it is pooled.
    pin_stage : str, optional
        Stage, for example ``"reconnaissance"``, whose samples alone make background and
        thresholds, so that later infill changes neither.
    near_contact : ndarray of bool, shape (n_samples,), optional
        From `contacts.near_contact`; goes into `domains`.
    excluded : sequence of str
        Elements of the association that is sought, which are no predictors of a regression.
    guidelines : mapping of str to Guideline, optional
        From `guideline.read_guidelines`, for elements whose method is ``guideline``.
    analytes : pandas.DataFrame, optional
        Says which assay is the accepted one per medium and element; without it the assay whose
        values agree everywhere is named.
    seed : int, default 1
        Not used: intervals have seeds of their own, tied to the values.

    Returns
    -------
    BackgroundReport
        `backgrounds` are always on log10: weighted median and MAD where valid, else mean and
        standard deviation of the censored lognormal fit.

    Raises
    ------
    WrongCall
        If an element, column, method or option is unknown.
    """
    import pandas as pd

    names = check_elements(samples, elements)
    assays = accepted_assays(samples, names, analytes)
    special = {e: own_choice(e, given) for e, given in (per_element or {}).items() if given}
    usual = methods_for(method, options)
    medium = text_column(samples, "medium", missing="")
    xy = point_coordinates(samples)
    own_of = {
        (one, e): own for one in set(medium) for e in names
        if e in special and (own := special[e].for_medium(one)) is not None
    }  # fmt: skip
    methods = {k: methods_for(method, options, own, guidelines) for k, own in own_of.items()}
    for chosen in (usual, *methods.values()):
        for m in chosen:
            check_needs(m, located=xy is not None)
    contact = np.zeros(len(samples), dtype=bool) if near_contact is None else near_contact
    shifts: dict[str, Array] = {}
    parts: list[pd.DataFrame] = []
    backgrounds: list[dict[str, Any]] = []
    rows: list[dict[str, Any]] = []
    records: dict[tuple[str, str, str], Threshold] = {}
    plots: dict[tuple[str, str], Threshold] = {}
    findings = choice_findings({e: c for e, c in special.items() if e in names}, set(medium))
    for one in sorted(set(medium)):
        here = np.flatnonzero(medium == one)
        frame = samples.iloc[here].reset_index(drop=True)
        if medium_key(one) == ROCK:
            backgrounds += _crust(frame, one, names, assays)
            continue
        if medium_key(one) not in WITH_BACKGROUND:
            findings.append(
                Finding(
                    "medium-without-background", "note",
                    f"'{one}' ({len(frame)} samples) is mapped only: thresholds and z-scores are "
                    "made for soil, till and stream sediment.",
                )
            )  # fmt: skip
            continue
        spot = None if xy is None else xy[here]
        grids = [s for s in spacings if s.medium == one]
        weights = np.ones(len(frame)) if spot is None else decluster(spot, grids)
        domains = divide(frame, one, by=by, min_n=min_n)
        findings += domains.findings
        base, said = pinned(frame, one, pin_stage, min_n)
        findings += said
        work = _Work(frame, one, domains, weights, spot, min_n, assays, base)
        z_parts: dict[str, Array] = {}
        for element in names:
            if frame[tables.value_column(element)].isna().all():
                continue  # not measured in this medium
            own = own_of.get((one, element))
            drift = None if own is None else drift_of(frame, element, own, spot, excluded)
            if drift is not None:
                findings += drift.findings
                shifts.setdefault(element, np.zeros(len(samples)))[here] = drift.shift
            done = _element(work, element, methods.get((one, element), usual), own, drift)
            backgrounds += done.backgrounds
            rows += done.rows
            records.update(done.records)
            if done.plot is not None:
                plots[one, element] = done.plot
            z_parts[element] = done.z
        findings += compare_with_survey(one, domains, z_parts)
        parts.append(
            pd.DataFrame(
                {
                    "sample_id": text_column(frame, "sample_id", missing=""),
                    "medium": one, "domain": domains.label, "weight": weights,
                    "near_contact": contact[here], "row": here,
                }
            )
        )  # fmt: skip
    if parts:
        table = pd.concat(parts, ignore_index=True)
        table = table.sort_values("sample_id", kind="stable", ignore_index=True)
        rows_of = table.pop("row").to_numpy()
        shifts = {e: s[rows_of] for e, s in shifts.items() if s.any()}
    else:
        table = pd.DataFrame({name: [] for name in _DOMAIN_KINDS})
    backgrounds.sort(key=lambda r: (r["medium"], r["domain"], element_rank(r["element"])))
    return BackgroundReport(
        tables.conform(table, _DOMAIN_KINDS),
        tables.conform(pd.DataFrame(backgrounds), tables.BACKGROUNDS),
        finish(rows), records, plots, tuple(findings), shifts,
    )  # fmt: skip


_DOMAIN_KINDS = {
    "sample_id": "text", "medium": "text", "domain": "text", "weight": "number",
    "near_contact": "flag",
}  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _Work:
    frame: pd.DataFrame
    medium: str
    domains: Domains
    weights: Array
    xy: Array | None
    min_n: int
    #: of (medium, element)
    assays: Mapping[tuple[str, str], str | None]
    #: samples that make the background
    base: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class _Done:
    backgrounds: list[dict[str, Any]]
    rows: list[dict[str, Any]]
    records: dict[tuple[str, str, str], Threshold]
    plot: Threshold | None
    #: two columns: z against the own domain and against the whole medium, NaN where none
    z: Array


def _element(
    work: _Work, element: str, methods: list[Any], choice: OwnChoice | None, drift: Drift | None
) -> _Done:
    """All domains of one element in one medium; parents before children."""
    as_read = tables.values_of(work.frame, element)
    values = without_drift(as_read, drift)
    assay = work.assays.get((work.medium, element))
    ordered = [WHOLE, *work.domains.parent]  # `divide` adds parents before their children
    fitted: dict[str, tuple[Threshold, list[Threshold], str]] = {}
    out = _Done([], [], {}, None, np.full((len(work.frame), 2), np.nan))
    plot = None
    for domain in ordered:
        member = work.domains.member[domain]
        inside = member & work.base
        part = select(values, inside)
        measured = int(np.isfinite(part.value).sum())
        parent = work.domains.parent.get(domain)
        share = own_share(measured, work.min_n) if parent is not None else 1.0
        spot = None if work.xy is None else work.xy[inside]
        if share > 0:
            weights = work.weights[inside]
            others = [m for m in methods if not _is_default(m)]
            usual = MedianMad(k=POSSIBLE, log=True)
            base, *more = fit_each([usual, *others], part, spot, weights)
            rest = iter(more)
            own = _once([base if _is_default(m) else next(rest) for m in methods], methods)
        note, pooled = "", None
        if parent is not None and (share < 1 or not _usable(base)):
            above_base, above_rows, _ = fitted[parent]
            if share <= 0 or not _usable(base):
                base, own, pooled = above_base, above_rows, parent
                note = (
                    f"{measured} values are too few: background of '{parent}'." if share <= 0
                    else f"No spread could be found here: background of '{parent}'."
                )  # fmt: skip
            elif _usable(above_base):
                pooled = parent
                note = (
                    f"{measured} values: {100 * share:.0f} % own background, "
                    f"{100 * (1 - share):.0f} % that of '{parent}'."
                )
                own = [
                    _pool(r, q, share) for r, q in zip(own, _paired(own, above_rows), strict=True)
                ]
                base = _pool(base, above_base, share)
        fitted[domain] = (base, own, note)
        n, n_below = measured, int(part.below.sum())
        own = [replace(r, n_used=n, n_below=n_below) for r in own]
        out.backgrounds.append(
            {
                "medium": work.medium, "domain": domain, "element": element, "assay": assay,
                "location": base.details.get("location", np.nan),
                "scale": base.details.get("scale", np.nan),
                "method": "median_mad" if base.method == "median_mad" else "censored_lognormal",
                "n": n, "n_below": n_below, "pooled_with": pooled,
                "reason": " ".join([note, *base.warnings]).strip() or None,
            }
        )  # fmt: skip
        words = " ".join(
            filter(None, [choice.words(base) if choice else "", drift.words if drift else ""])
        )
        if own:
            out.records[work.medium, domain, element] = own[0]
        out.rows.extend(
            threshold_row(
                work.medium,
                domain,
                element,
                assay,
                r,
                select(values, member),
                " ".join(filter(None, [note, words])),
            )
            for r in own
        )
        at = np.flatnonzero(work.domains.label == domain)
        out.z[at, 0] = _z(values, at, base)
        if domain == WHOLE:
            everyone = np.arange(len(work.frame))
            out.z[:, 1] = _z(values, everyone, base)
            if measured:
                raw = select(as_read, inside)
                plot = fit_each([ProbabilityPlot()], raw, spot, work.weights[inside])[0]
    return replace(out, plot=plot)


def _is_default(m: Any) -> bool:
    return isinstance(m, MedianMad) and m.log and m.scaled and m.k == POSSIBLE


def _usable(base: Threshold) -> bool:
    scale = base.details.get("scale", np.nan)
    return bool(np.isfinite(base.details.get("location", np.nan)) and scale > 0)


def _once(records: list[Threshold], methods: list[Any]) -> list[Threshold]:
    """Keep one of equal fall-backs."""
    out: list[Threshold] = []
    for record, m in zip(records, methods, strict=True):
        replaced = record.method != getattr(m, "name", record.method)
        if replaced and out and out[-1].method == record.method:
            continue
        out.append(record)
    return out


def _paired(own: list[Threshold], above: list[Threshold]) -> list[Threshold]:
    """For each record the parent's of the same k, else its first."""
    out = []
    for r in own:
        k = r.parameters.get("k")
        out.append(next((q for q in above if q.parameters.get("k") == k), above[0]))
    return out


def _pool(own: Threshold, parent: Threshold, share: float) -> Threshold:
    """Weigh a domain's threshold with its parent's on log10; location and scale likewise."""
    if own.method in (CHOSEN, GUIDELINE):
        return own  # what people set holds everywhere

    def mix(a: float, b: float) -> float:
        if not (a > 0 and b > 0):
            return float("nan")
        return float(10 ** (share * np.log10(a) + (1 - share) * np.log10(b)))

    details = dict(own.details)
    for key in ("location", "scale"):
        a, b = own.details.get(key, np.nan), parent.details.get(key, np.nan)
        details[key] = share * a + (1 - share) * b
    details["own_share"] = share
    return replace(
        own, value=mix(own.value, parent.value), low=mix(own.low, parent.low),
        high=mix(own.high, parent.high), details=details,
    )  # fmt: skip


def _z(values: tables.Values, at: npt.NDArray[np.intp], base: Threshold) -> Array:
    """Score of detected values on log10; NaN below detection."""
    location, scale = base.details.get("location", np.nan), base.details.get("scale", np.nan)
    x = values.value[at]
    with np.errstate(divide="ignore", invalid="ignore"):
        z = (np.log10(x) - location) / scale
    return np.where(values.below[at] | ~(x > 0), np.nan, z)


def _crust(
    frame: pd.DataFrame, medium: str, names: Sequence[str],
    assays: Mapping[tuple[str, str], str | None],
) -> list[dict[str, Any]]:  # fmt: skip
    """Rock has no background of its own: picked rock is biased."""
    abundance = crustal_abundance()
    rows = []
    for element in names:
        values = tables.values_of(frame, element)
        n = int(np.isfinite(values.value).sum())
        if element not in abundance or not n:
            continue
        rows.append(
            {
                "medium": medium, "domain": WHOLE, "element": element,
                "assay": assays.get((medium, element)),
                "location": float(np.log10(abundance[element])), "scale": np.nan,
                "method": "crustal_abundance", "n": n, "n_below": int(values.below.sum()),
                "pooled_with": None,
                "reason": "Picked rock has no background of its own; compared with the upper "
                f"continental crust, {abundance[element]:g} mg/kg ({CRUST_SOURCE}).",
            }
        )  # fmt: skip
    return rows
