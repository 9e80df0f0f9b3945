"""Calibration of portable XRF to the laboratory, element by element, with errors on both sides."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from geochem.elements import SYMBOLS, element_rank
from geochem.model.finding import Finding, name_some
from geochem.model.quality import Calibration
from geochem.quality.calibration_fit import Fit, fit_line
from geochem.quality.calibration_groups import LEAST_GAP, Group, read_under, split_pairs
from geochem.quality.calibration_limits import count_below, line_with_limits
from geochem.quality.calibration_pairs import (
    PAIR_COLUMNS,
    Errors,
    assay_facts,
    collect_pairs,
    conditions_of,
)
from geochem.quality.certificates import PART
from geochem.quality.limits import QualityLimits

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.survey import Survey
    from geochem.quality.arrange import Arranged


@dataclass(frozen=True, slots=True)
class _Job:
    """One element of one portable-XRF assay toward one laboratory assay."""

    element: str
    assay: str
    reference: str
    digestion: str
    fraction_differs: bool


def calibrate(
    survey: Survey,
    arranged: Arranged,
    duplicates: pd.DataFrame,
    spoiled: pd.DataFrame,
    limits: QualityLimits,
) -> tuple[tuple[Calibration, ...], pd.DataFrame, list[Finding]]:
    """Fit every portable-XRF element to every laboratory assay that has it.

    Pairs are the samples that both have measured; pairs with a limit on either side are counted and
    left out, or where many lie below detection used by their likelihood; readings of batches that
    failed are left out. Whether a calibration may be used is
    decided by the number of pairs and by cross-validated error and bias, not by r2.

    Parameters
    ----------
    survey : Survey
        Per-assay columns of ``samples`` and ``unlocated``.
    arranged : Arranged
        Results, for the instrument of each sample.
    duplicates : pandas.DataFrame
        From `summarise_duplicates`: the error of a value where none is stated.
    spoiled : pandas.DataFrame
        ``assay, element, sample_id``: values of failed batches.
    limits : QualityLimits
        Numbers of pairs, error and bias allowed.

    Returns
    -------
    calibrations : tuple of Calibration
        Those that failed included; by element, assay, reference, instrument.
    pairs : pandas.DataFrame
        ``element, assay, reference_assay, sample_id, x, y, x_err, y_err, used``, then ``reason``;
        mg/kg.
    findings : list of Finding
        What was noticed.
    """
    import pandas as pd

    facts = assay_facts(survey, arranged)
    readers = sorted(a for a, f in facts.items() if f.source == "pxrf")
    laboratories = sorted(a for a, f in facts.items() if f.source == "laboratory")
    errors = Errors(duplicates, limits)
    failed = {
        (str(a), str(e)): set(ids)
        for (a, e), ids in spoiled.groupby(["assay", "element"], observed=True)["sample_id"]
    }
    calibrations: list[Calibration] = []
    tables: list[pd.DataFrame] = []
    findings: list[Finding] = []
    for assay in readers:
        conditions = conditions_of(survey, arranged, assay)
        matrix = limits.calibration_matrix
        conditions["matrix"] = {} if matrix == "none" else conditions[matrix]
        every = read_under(conditions)
        labelled: dict[tuple[str, ...], dict[str, npt.NDArray[np.object_]]] = {}
        for reference in laboratories:
            elements = sorted(
                (facts[assay].elements & facts[reference].elements) & SYMBOLS, key=element_rank
            )
            few: list[str] = []
            fractions = {facts[assay].fraction_um, facts[reference].fraction_um}
            differs = len(fractions) == 2 and all(np.isfinite(f) for f in fractions)
            for element in elements:
                pairs = collect_pairs(survey, element, assay, reference, failed, errors)
                ids = tuple(pairs["sample_id"].to_numpy(dtype=object))
                if ids not in labelled:
                    # Most elements have the same pairs: looked up once.
                    labelled[ids] = {
                        what: np.array([known.get(i, "") for i in ids], dtype=object)
                        for what, known in conditions.items()
                    }
                for what, labels in labelled[ids].items():
                    pairs[what] = pd.Series(labels, dtype=object)
                usable = int(pairs["used"].sum())
                if usable < 3:
                    if len(pairs):
                        few.append(element)
                    tables.append(pairs)
                    continue
                digestion = facts[reference].digestion.get(element, "")
                everything = _measured(survey, element, assay)
                pairs["group"] = pd.Series([""] * len(pairs), dtype=object)
                one = _Job(element, assay, reference, digestion, differs)
                for group in split_pairs(pairs, conditions, limits, every=every):
                    part = pairs[group.rows]
                    done, fit = _one(one, group, part, everything, limits)
                    calibrations.append(done)
                    findings += _disagreement(one, part, fit, matrix)
                    own = part.index[fit.wild]
                    pairs.loc[own, "used"] = False
                    pairs.loc[own, "reason"] = "far off the line"
                    if not group.lacking:
                        pairs.loc[part.index, "group"] = done.group
                tables.append(pairs)
            findings += _about(assay, reference, facts, few, tables, limits)
    calibrations.sort(key=lambda c: (element_rank(c.element), c.assay, c.reference_assay, c.group))
    findings += _lines_said(calibrations)
    findings += _ranges(survey, calibrations)
    kept = [t for t in tables if len(t)]
    columns = [*PAIR_COLUMNS, "reason", "group"]
    empty = pd.DataFrame(columns=columns)
    all_pairs = pd.concat(kept, ignore_index=True)[columns] if kept else empty
    return tuple(calibrations), all_pairs, findings


def _one(
    job: _Job, group: Group, pairs: pd.DataFrame, everything: npt.NDArray[np.float64],
    limits: QualityLimits,
) -> tuple[Calibration, Fit]:  # fmt: skip
    used = pairs[pairs["used"].to_numpy(dtype=bool)]
    place = np.flatnonzero(pairs["used"].to_numpy(dtype=bool))
    fit = fit_line(
        used["x"].to_numpy(), used["y"].to_numpy(), used["x_err"].to_numpy(),
        used["y_err"].to_numpy(), log_range=limits.calibration_log_range,
        blocks=used["batch"].to_numpy(dtype=object), wild=group.wild,
    )  # fmt: skip
    wild = np.zeros(len(pairs), dtype=bool)
    wild[place[fit.wild]] = True
    kept = used["x"].to_numpy()[~fit.wild]
    limited = count_below(pairs)
    left_out = int((pairs["reason"] == "above the range").sum())
    whole = line_with_limits(fit, pairs, wild)
    if whole is None:
        left_out += limited
    else:
        fit = whole
    near, near_se = _near_threshold(kept, fit, everything)
    verdict, reason = _verdict(
        job, fit, kept, (left_out, limited), everything, limits, near, near_se
    )
    if group.lacking:
        verdict = "provisional" if verdict == "pass" else verdict
        reason += f"; {group.lacking}"
    done = Calibration(
        element=job.element, assay=job.assay, reference_assay=job.reference,
        instrument=group.instrument, slope=fit.slope, intercept=fit.intercept,
        slope_se=fit.slope_se, intercept_se=fit.intercept_se, covariance=fit.covariance,
        log=fit.log, n=fit.n, n_left_out=left_out, low=float(kept.min()), high=float(kept.max()),
        r2=fit.r2, rmse_pct=fit.rmse_pct, bias_pct=fit.bias_pct, verdict=verdict, reason=reason,
        slope_low=fit.slope_interval[0], slope_high=fit.slope_interval[1],
        intercept_low=fit.intercept_interval[0], intercept_high=fit.intercept_interval[1],
        blocks=fit.blocks, near_bias_pct=near, others=fit.others, mode=group.mode,
        since=group.since, until=group.until, matrix=group.matrix, samples=group.samples,
    )  # fmt: skip
    return done, replace(fit, wild=wild)


def _near_threshold(
    x: npt.NDArray[np.float64], fit: Fit, everything: npt.NDArray[np.float64]
) -> tuple[float, float]:
    """Give bias and its standard error where thresholds lie, NaN with fewer than five pairs. [%]."""
    if len(everything) < 20 or len(fit.residual) != len(x):
        return float("nan"), float("nan")
    low, high = np.quantile(everything, [0.75, 0.975])
    there = fit.residual[(x >= low) & (x <= high)]
    if len(there) < 5:
        return float("nan"), float("nan")
    spread = 125 * float(np.std(there, ddof=1)) / np.sqrt(len(there))
    return 100 * float(np.expm1(np.median(there))), float(spread)


def _verdict(
    job: _Job, fit: Fit, x: npt.NDArray[np.float64], counts: tuple[int, int],
    everything: npt.NDArray[np.float64], limits: QualityLimits,
    near: float = float("nan"), near_se: float = 0.0,
) -> tuple[str, str]:  # fmt: skip
    left_out, limited = counts
    numbers = (
        f"{fit.n} pairs, {x.min():.3g} to {x.max():.3g} ppm, error {fit.rmse_pct:.0f} %"
        f"{f' over {fit.blocks} batches left out in turn' if fit.blocks else ''}, "
        f"bias in the upper third {fit.bias_pct:+.0f} %"
    )
    if np.isfinite(near):
        numbers += f", near the threshold {near:+.0f} %"
    if left_out:
        numbers += f", {left_out} pairs with a limit left out"
    if "without limits" in fit.others:
        numbers += (
            f", {limited} pairs below detection used by their likelihood (slope {fit.slope:.2f}, "
            f"without them {fit.others['without limits']:.2f})"
        )
    if job.digestion in PART:
        return "fail", (
            f"{job.reference} is a {job.digestion} digestion and portable XRF sees everything: "
            f"the two measure different things and are not corrected onto each other ({numbers})"
        )
    if job.fraction_differs:
        return (
            "fail",
            f"{job.assay} and {job.reference} measured different size fractions ({numbers})",
        )
    if fit.n < limits.calibration_pairs_provisional:
        return "fail", (
            f"only {fit.n} pairs, {limits.calibration_pairs_provisional} are needed ({numbers})"
        )
    if not fit.slope > 3 * fit.slope_se:
        return "fail", f"no relation beyond chance over the sampled range ({numbers})"
    # The bias of a third of the pairs is itself only known to its standard error.
    bias = max(abs(fit.bias_pct) - fit.bias_se, 0.0)
    if np.isfinite(near):
        bias = max(bias, abs(near) - near_se)
    grade, why = "pass", ""
    allowed, spread = limits.calibration_bias_pct, limits.calibration_error_pct
    if bias > 2 * allowed or fit.rmse_pct > 1.7 * spread:
        worse = "bias" if bias > 2 * allowed else "error"
        return "fail", f"the {worse} left after correction is too large ({numbers})"
    if bias > allowed or fit.rmse_pct > spread:
        grade, why = "provisional", "; error or bias larger than wished"
    if fit.n < limits.calibration_pairs:
        grade, why = "provisional", f"{why}; {limits.calibration_pairs} pairs are needed to pass"
    if len(everything) >= 20 and np.quantile(x, 0.25) > np.quantile(everything, 0.75):
        grade, why = "provisional", f"{why}; the pairs were picked from high readings only"
    if limited > fit.n:
        grade, why = "provisional", f"{why}; most pairs are below detection"
    low, high = fit.others.get("theil-sen low", np.nan), fit.others.get("theil-sen high", np.nan)
    clear = fit.slope_interval[1] < low or fit.slope_interval[0] > high
    if clear:
        grade = "provisional"
        why += f"; single pairs steer the slope ({fit.slope:.2f}, without regard to them "
        why += f"{fit.others['theil-sen']:.2f})"
    return grade, numbers + why


def _lines_said(calibrations: list[Calibration]) -> list[Finding]:
    """Say which elements have one line for all readings and which have several, and why."""
    out: list[Finding] = []
    for key in sorted({(c.assay, c.reference_assay) for c in calibrations}):
        mine = [c for c in calibrations if (c.assay, c.reference_assay) == key]
        lines: dict[str, list[str]] = {}
        for c in mine:
            lines.setdefault(c.element, []).append(c.group or "all others")
        several = {e: g for e, g in lines.items() if len(g) > 1}
        if not several:
            continue
        named = [f"{e} ({'; '.join(g)})" for e, g in several.items()]
        common = [e for e in lines if e not in several]
        end = f" One line serves all readings of {name_some(common)}." if common else ""
        out.append(
            Finding(
                "calibrated-by-group", "note",
                f"{key[0]} to {key[1]}: readings differ beyond chance and by more than "
                f"{100 * LEAST_GAP:.0f} % in {name_some(named)}, so each group is corrected by a "
                f"line of its own.{end}",
            )
        )  # fmt: skip
    return out


def _shifts(used: pd.DataFrame, fit: Fit, labels: npt.NDArray[np.object_]) -> dict[str, float]:
    """Give what a line leaves over in each group [%], where the groups differ; else nothing."""
    from scipy.stats import kruskal

    residual = np.log(np.clip(fit.at(used["x"].to_numpy()), 1e-12, None) / used["y"].to_numpy())
    names = [n for n in sorted(set(labels)) if n and (labels == n).sum() >= 5]
    if len(names) < 2:
        return {}
    parts = [residual[labels == n] for n in names]
    middle = [float(np.median(p)) for p in parts]
    if max(middle) - min(middle) <= 0.10 or kruskal(*parts).pvalue >= 0.001:
        return {}
    return dict(zip(names, 100 * np.expm1(middle), strict=True))


def _measured(survey: Survey, element: str, assay: str) -> npt.NDArray[np.float64]:
    from geochem.model.tables import values_of

    found = values_of(survey.samples, element, assay)
    keep = np.isfinite(found.value) & ~found.below & ~found.above
    return found.value[keep]


def _disagreement(job: _Job, pairs: pd.DataFrame, fit: Fit, matrix: str) -> list[Finding]:
    """Say when the same line does not serve every medium or kind of ground."""
    out: list[Finding] = []
    used = pairs[pairs["used"].to_numpy(dtype=bool) & ~fit.wild]
    for what in ("medium", "lithology", "regolith"):
        if what == matrix:
            continue
        shifts = _shifts(used, fit, used[what].to_numpy(dtype=object))
        named = [f"{n} {s:+.0f} %" for n, s in shifts.items()]
        if named:
            out.append(
                Finding(
                    f"calibration-differs-by-{what}", "warning",
                    f"{job.assay} to {job.reference}, {job.element}: one line does not serve "
                    f"every {what} (left over: {', '.join(named)}). For lines of their own: "
                    f"[quality] options = {{ calibration_matrix = '{what}' }}.",
                    element=job.element,
                )
            )  # fmt: skip
    return out


def _about(
    assay: str, reference: str, facts: dict[str, Any], few: list[str], tables: list[pd.DataFrame],
    limits: QualityLimits,
) -> list[Finding]:  # fmt: skip
    out: list[Finding] = []
    if few:
        out.append(
            Finding(
                "calibration-too-few-pairs", "note",
                f"{assay} to {reference}: fewer than 3 usable pairs for {name_some(few)}, so no "
                f"line was tried.",
            )
        )  # fmt: skip
    mine = [t for t in tables if len(t) and t["reference_assay"].iloc[0] == reference
            and t["assay"].iloc[0] == assay]  # fmt: skip
    if not mine:
        return out
    stated = set(facts[reference].digestion.values()) - {"", "unknown"}
    if not stated:
        out.append(
            Finding(
                "digestion-unstated", "warning",
                f"The digestion of {reference} is not stated; it counts as comparable with "
                f"portable XRF. State digestion in the campaign file: a partial one must not be "
                f"used to correct readings.",
            )
        )  # fmt: skip
    if not np.isfinite([facts[assay].fraction_um, facts[reference].fraction_um]).all():
        out.append(
            Finding(
                "fraction-unstated", "note",
                f"The size fraction of {assay} or {reference} is not stated; they count as "
                f"comparable.",
            )
        )  # fmt: skip
    for code, reason, words in (
        ("calibration-failed-batches", "batch failed", "lie in batches that failed"),
        ("calibration-wild-pairs", "far off the line", "lie far off the line (mixed up samples?)"),
    ):
        hit = {i for t in mine for i in t.loc[t["reason"] == reason, "sample_id"]}
        if hit:
            out.append(
                Finding(
                    code, "warning",
                    f"{assay} to {reference}: pairs of {len(hit)} samples {words} and were left "
                    f"out for some elements: {name_some(sorted(hit))}.",
                )
            )  # fmt: skip
    assumed = sorted(
        {str(t["element"].iloc[0]) for t in mine if t["assumed"].any()}, key=element_rank
    )
    if assumed:
        out.append(
            Finding(
                "calibration-errors-assumed", "note",
                f"{assay} to {reference}: no error is stated and no duplicates tell it for "
                f"{name_some(assumed)}; {limits.xrf_error_pct:g} % and "
                f"{limits.laboratory_error_pct:g} % were taken.",
            )
        )  # fmt: skip
    return out


def _ranges(survey: Survey, calibrations: list[Calibration]) -> list[Finding]:
    out: list[Finding] = []
    for key in sorted({(c.assay, c.reference_assay) for c in calibrations}):
        parts = []
        for c in calibrations:
            if (c.assay, c.reference_assay) != key or c.verdict == "fail":
                continue
            x = _measured(survey, c.element, c.assay)
            above = int((x > c.high).sum())
            if above > 0.05 * max(len(x), 1):
                parts.append(f"{c.element} {above} above {c.high:.3g} ppm")
        if parts:
            out.append(
                Finding(
                    "calibration-extrapolated", "warning",
                    f"{key[0]} to {key[1]}: more than 5 % of the samples read above the valid "
                    f"range ({name_some(parts)}); send some of them to the laboratory.",
                )
            )  # fmt: skip
    return out
