"""From the campaign file to levelling, further columns and what is said of gold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from geochem.campaign.settings import Settings
from geochem.model.finding import Finding

if TYPE_CHECKING:
    from geochem.model.background import BackgroundReport, Gold
    from geochem.model.quality import QualityReport
    from geochem.model.survey import Survey

Given = tuple[dict[str, Any], Sequence[Finding]]


def level(settings: Settings, *, survey: Survey, quality: QualityReport) -> Given:
    """Bring instruments, batches ... to a common level where there is evidence."""
    from geochem.background.levelling import level_survey

    table = settings.table("background")
    by = [c for c in table["level_by"] if c]
    levelled, record, findings = level_survey(
        survey, by, evidence=table["level_from"], calibrations=quality.calibrations
    )
    return {"survey": levelled, "levelling": record}, findings


def add_columns(settings: Settings, *, survey: Survey) -> Given:
    """Add the indices, ratios, balances and enrichment factors that the campaign names."""
    from geochem.background.indices import add_indices

    table = settings.table("composition")
    samples, names, findings = add_indices(
        survey.samples,
        indices=table["indices"],
        ratios=table["ratios"],
        balances=table["balances"],
        enrichment=table["enrichment"],
        reference=table["enrichment_reference"],
    )
    survey = replace(survey, samples=samples) if names else survey  # type: ignore[type-var]
    return {"survey": survey, "further": tuple(names)}, findings


def with_further(
    report: BackgroundReport, survey: Survey, quality: QualityReport, further: Sequence[str]
) -> tuple[BackgroundReport, tuple[Gold, ...], Sequence[Finding]]:
    """Add thresholds of the further columns to a report, and describe gold of the laboratory."""
    from geochem.background.gold import METALS, describe_gold
    from geochem.campaign.wiring import used_samples

    samples = used_samples(survey.samples)
    if further:
        import pandas as pd

        from geochem.background.indices import index_thresholds

        more = index_thresholds(samples, further)
        report = replace(
            report, thresholds=pd.concat([report.thresholds, more], ignore_index=True)
        )
    analytes = survey.analytes
    assayed = analytes["accepted"] & (analytes["source"] == "laboratory")
    in_laboratory = set(analytes.loc[assayed, "element"])
    gold, findings = describe_gold(
        samples,
        duplicates=quality.duplicates,
        elements=[e for e in METALS if e in in_laboratory],
    )
    return report, gold, findings
