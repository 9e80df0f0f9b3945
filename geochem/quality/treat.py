"""`judge_and_treat`: correct drift if asked for, judge, treat failed batches as asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

from geochem.model.quality import QualityReport
from geochem.quality.drift_correction import correct_drift
from geochem.quality.failed import treat_failed
from geochem.quality.judge import judge_quality
from geochem.quality.limits import QualityLimits, read_limits

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.survey import Survey


def judge_and_treat(
    survey: Survey,
    standards: pd.DataFrame,
    *,
    key_elements: Sequence[str] | None = None,
    options: Mapping[str, Any] | QualityLimits | None = None,
    dispatch: pd.DataFrame | None = None,
    today: date | None = None,
) -> tuple[Survey, QualityReport]:
    """Judge a survey and give back the values that the campaign wants to go on with.

    Parameters
    ----------
    survey, standards, key_elements, options, dispatch, today : as in judge_quality
        As `judge_quality` takes them; ``options["drift"]`` and ``options["failed_batches"]`` act.

    Returns
    -------
    survey : Survey
        The same when nothing was corrected, widened or left out.
    report : QualityReport
        Of the values after a drift correction, with ``drift_correction`` before and after.
    """
    limits = read_limits(options)
    survey, correction, said = correct_drift(survey, standards, limits)
    report = judge_quality(
        survey, standards, key_elements=key_elements, options=limits, dispatch=dispatch,
        today=today,
    )  # fmt: skip
    survey, report, more = treat_failed(survey, report, limits.failed_batches)
    return survey, replace(
        report, drift_correction=correction, findings=(*said, *report.findings, *more)
    )
