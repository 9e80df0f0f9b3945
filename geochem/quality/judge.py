"""`judge_quality`: all checks in their order, one report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from geochem.elements import SYMBOLS
from geochem.errors import unknown
from geochem.model.finding import Finding, name_some
from geochem.model.quality import (
    BLANK_CHECKS,
    DRIFT,
    DUPLICATE_PAIRS,
    DUPLICATE_SUMMARY,
    QualityReport,
)
from geochem.model.tables import STANDARDS, conform
from geochem.quality.arrange import arrange, blank_to_none, by_text
from geochem.quality.batch_verdicts import batch_verdicts, last_days
from geochem.quality.bias import matrix_findings, standard_bias
from geochem.quality.blanks import blanks_by_batch, check_blanks
from geochem.quality.calibration import calibrate
from geochem.quality.calibration_pairs import assay_facts, media_of
from geochem.quality.departures import judge_departures
from geochem.quality.detection import detection_limits
from geochem.quality.drift import find_drift
from geochem.quality.duplicates import pair_duplicates, summarise_duplicates
from geochem.quality.interference import interference_findings
from geochem.quality.laboratory_view import hit_rates, laboratory_jobs
from geochem.quality.limits import QualityLimits, read_limits
from geochem.quality.mills import doubt_milled
from geochem.quality.pellets import judge_pellets
from geochem.quality.power import power_findings, say_blind
from geochem.quality.reliability import overrule, reliability_table
from geochem.quality.standards import bias_findings, check_standards, for_report
from geochem.quality.trust import trust_classes, trust_facts, trust_findings
from geochem.quality.variances import split_variances
from geochem.quality.verdicts import (
    finish_verdicts,
    key_elements_by_assay,
    samples_to_reread,
    spoiled_values,
    standards_and_blanks,
)

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.survey import Survey


def judge_quality(
    survey: Survey,
    standards: pd.DataFrame,
    *,
    key_elements: Sequence[str] | None = None,
    options: Mapping[str, Any] | QualityLimits | None = None,
    dispatch: pd.DataFrame | None = None,
    today: date | None = None,
) -> QualityReport:
    r"""Judge every batch, calibrate portable XRF to the laboratory, say what to read again.

    Parameters
    ----------
    survey : Survey
        Joined tables; accepted values are not needed. Not changed.
    standards : pandas.DataFrame
        Contract `tables.STANDARDS`; may be empty.
    key_elements : sequence of str, optional
        Elements a batch is judged on; None or empty: those detected in more than half of the
        samples.
    options : mapping or QualityLimits, optional
        Limits by the names of `QualityLimits`. ``drift`` and ``failed_batches`` act in
        `judge_and_treat`; here nothing is corrected or left out.
    dispatch : pandas.DataFrame, optional
        What was sent to laboratories: ``sample_id, laboratory, job, sent``.
    today : date, optional
        The day that waiting is counted to; default: the newest date in the data.

    Returns
    -------
    QualityReport
        Verdicts, checks, calibrations, samples to read again, findings.

    Raises
    ------
    WrongCall
        If an option or a key element is not known.

    Examples
    --------
    >>> report = judge_quality(survey, standards)              # doctest: +SKIP
    >>> print("\n".join(summary_lines(report)))                # doctest: +SKIP
    xrf / X1-2026-03-04: fail (Cu, Zn read 28 % high on STD-B); read 42 samples again
    """
    limits = read_limits(options)
    for element in key_elements or ():
        if element not in SYMBOLS:
            raise unknown("key element", element, SYMBOLS)
    certified = conform(standards, STANDARDS)
    arranged = arrange(survey)
    keys = key_elements_by_assay(arranged, key_elements, limits)
    checks, findings = check_standards(arranged, certified, limits)
    findings += bias_findings(checks, limits)
    findings += matrix_findings(arranged, checks, certified)
    drift, more = find_drift(checks, limits)
    findings += more
    family = {assay: len(elements) for assay, elements in keys.items()}
    departures = say_blind(judge_departures(checks, family, limits), limits)
    findings += power_findings(departures, keys, limits)
    blanks, more = check_blanks(survey, arranged, certified, limits)
    findings += more
    pairs, more = pair_duplicates(arranged, limits)
    findings += more
    duplicates, more = summarise_duplicates(pairs, limits)
    findings += more
    table = standards_and_blanks(
        arranged, departures, blanks_by_batch(blanks, arranged, limits), pairs
    )
    spoiled = spoiled_values(table, arranged)
    calibrations, calibration_pairs, more = calibrate(
        survey, arranged, duplicates, spoiled, limits
    )
    findings += more
    facts = assay_facts(survey, arranged)
    digestion = {assay: dict(fact.digestion) for assay, fact in facts.items()}
    known = trust_facts(arranged, checks, duplicates)
    trust = doubt_milled(survey, blanks, trust_classes(known, calibrations, digestion, limits))
    findings += trust_findings(trust)
    trust, by_hand, more = overrule(trust, limits.trust)
    findings += more
    readers = sorted(a for a, f in facts.items() if f.source == "pxrf")
    overlaps = interference_findings(survey, readers)
    findings += overlaps
    detection, more = detection_limits(arranged, survey.analytes, limits)
    findings += more
    variances, more = split_variances(arranged, pairs, media_of(survey))
    findings += more
    read = set().union(*(facts[a].elements for a in readers))
    pellets, more, thin = judge_pellets(survey, read, limits)
    findings += more
    hits, more = hit_rates(survey, {a: f.source for a, f in facts.items()}, calibrations, limits)
    findings += more
    jobs, more = laboratory_jobs(survey.results, dispatch, limits, today=today)
    findings += more
    reliability = reliability_table(
        known, trust, by_hand, calibrations, detection,
        _remarks(overlaps, thin, readers),
    )  # fmt: skip
    verdicts = finish_verdicts(table, keys, trust)
    findings += _unchecked(verdicts)
    reread = samples_to_reread(verdicts, spoiled)
    return QualityReport(
        verdicts=verdicts,
        standards=for_report(checks),
        blanks=conform(blank_to_none(blanks), BLANK_CHECKS, extra=True),
        pairs=conform(blank_to_none(pairs), DUPLICATE_PAIRS, extra=True),
        duplicates=conform(blank_to_none(duplicates), DUPLICATE_SUMMARY, extra=True),
        calibrations=calibrations,
        calibration_pairs=calibration_pairs,
        reread=reread,
        findings=tuple(findings),
        drift=conform(blank_to_none(drift), DRIFT),
        detection=detection,
        variances=variances,
        reliability=reliability,
        pellets=pellets,
        jobs=jobs,
        hits=hits,
        bias=standard_bias(checks, limits),
        batches=batch_verdicts(verdicts, reread, last_days(arranged.results)),
    )


def _remarks(
    overlaps: list[Finding], thin: dict[str, list[str]], readers: list[str]
) -> dict[tuple[str, str], list[str]]:
    """Give what the reliability table adds to the reasons of portable XRF."""
    out: dict[tuple[str, str], list[str]] = {}
    for assay in readers:
        for finding in overlaps:
            if finding.element and finding.message.startswith(f"{assay}: "):
                text = finding.message.removeprefix(f"{assay}: {finding.element} ")
                out.setdefault((assay, finding.element), []).append(text.partition(": ")[0])
        for element, said in thin.items():
            out.setdefault((assay, element), []).extend(said)
    return out


def _unchecked(verdicts: pd.DataFrame) -> list[Finding]:
    table = verdicts.fillna({"batch": ""})
    names = [
        f"{assay} / {batch}"
        for (assay, batch), part in by_text(table, ["assay", "batch"])
        if (part["reason"] == "not checked").all()
    ]
    if not names:
        return []
    return [
        Finding(
            "batch-not-checked", "warning",
            f"{len(names)} batches hold no controls: {name_some(names)}. They are used; put a "
            f"standard, a blank and a duplicate into every batch of about twenty.",
        )
    ]  # fmt: skip
