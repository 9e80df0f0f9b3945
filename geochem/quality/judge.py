"""`judge_quality`: all checks in their order, one report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from geochem.elements import SYMBOLS
from geochem.errors import unknown
from geochem.model.finding import Finding, name_some
from geochem.model.quality import (
    BLANK_CHECKS,
    DUPLICATE_PAIRS,
    DUPLICATE_SUMMARY,
    QualityReport,
)
from geochem.model.tables import STANDARDS, conform
from geochem.quality.arrange import arrange, blank_to_none, by_text
from geochem.quality.blanks import blanks_by_batch, check_blanks, mill_findings
from geochem.quality.calibration import calibrate
from geochem.quality.calibration_pairs import assay_facts
from geochem.quality.departures import judge_departures
from geochem.quality.duplicates import pair_duplicates, summarise_duplicates
from geochem.quality.interference import interference_findings
from geochem.quality.limits import QualityLimits, read_limits
from geochem.quality.standards import bias_findings, check_standards, for_report
from geochem.quality.trust import trust_classes
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
        Limits by the names of `QualityLimits`.

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
    family = {assay: len(elements) for assay, elements in keys.items()}
    departures = judge_departures(checks, family, limits)
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
    trust, more = trust_classes(arranged, checks, duplicates, calibrations, digestion, limits)
    findings += more
    readers = sorted(a for a, f in facts.items() if f.source == "pxrf")
    findings += interference_findings(survey, readers)
    findings += mill_findings(survey, set().union(*(f.elements for f in facts.values())))
    verdicts = finish_verdicts(table, keys, trust)
    findings += _unchecked(verdicts)
    return QualityReport(
        verdicts=verdicts,
        standards=for_report(checks),
        blanks=conform(blank_to_none(blanks), BLANK_CHECKS, extra=True),
        pairs=conform(blank_to_none(pairs), DUPLICATE_PAIRS, extra=True),
        duplicates=conform(blank_to_none(duplicates), DUPLICATE_SUMMARY, extra=True),
        calibrations=calibrations,
        calibration_pairs=calibration_pairs,
        reread=samples_to_reread(verdicts, spoiled),
        findings=tuple(findings),
    )


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
