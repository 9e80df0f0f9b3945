"""Records of quality control: `Calibration` and `QualityReport`."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from geochem.model.finding import Finding

if TYPE_CHECKING:
    import pandas as pd

#: one row per standard result; `used` False when it has no certified value or is below detection
STANDARD_CHECKS: dict[str, str] = {
    "source": "text", "assay": "text", "instrument": "text", "mode": "text", "batch": "text",
    "standard": "text", "element": "text", "sample_id": "text", "date_read": "date",
    "order": "count", "value": "number", "certified": "number", "sd": "number",
    "bias_pct": "number", "centre": "number", "spread": "number", "z": "number",
    "verdict": "text", "used": "flag", "reason": "text",
}  # fmt: skip

#: one row per blank result
BLANK_CHECKS: dict[str, str] = {
    "source": "text", "assay": "text", "instrument": "text", "batch": "text", "role": "text",
    "element": "text", "sample_id": "text", "date_read": "date", "order": "count",
    "value": "number", "below": "flag", "limit": "number", "previous_value": "number",
    "verdict": "text", "reason": "text",
}  # fmt: skip

#: one row per duplicate pair and element
DUPLICATE_PAIRS: dict[str, str] = {
    "source": "text", "assay": "text", "batch": "text", "role": "text", "element": "text",
    "sample_id": "text", "parent": "text", "first": "number", "second": "number",
    "first_below": "flag", "second_below": "flag", "limit": "number", "used": "flag",
    "reason": "text",
}  # fmt: skip

#: one row per role, assay and element
DUPLICATE_SUMMARY: dict[str, str] = {
    "source": "text", "assay": "text", "role": "text", "element": "text", "n_pairs": "count",
    "n_used": "count", "n_near_limit": "count", "cv_pct": "number", "bias_p": "number",
    "acceptable_cv_pct": "number", "verdict": "text", "reason": "text",
}  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """XRF against laboratory for one element, errors on both sides.

    The corrected value is ``intercept + slope * x`` or, with `log`, ``10 ** (intercept +
    slope * log10(x))``; x and the result in mg/kg.

    Parameters
    ----------
    element : str
        Symbol.
    assay, reference_assay : str
        What is corrected, and toward what.
    instrument : str
        Serial number, or empty for all.
    slope, intercept, slope_se, intercept_se, covariance : float
        The line and its standard errors (on log10 scale with `log`).
    log : bool
        Fitted on log10 values.
    n, n_left_out : int
        Pairs used; pairs left out because one side is a limit.
    low, high : float
        Valid range of x. [mg/kg]
    r2 : float
        Squared correlation, for information only.
    rmse_pct, bias_pct : float
        Relative error and bias left after correction, cross-validated. [%]
    verdict : {"pass", "provisional", "fail"}
        Whether the correction may be used.
    reason : str
        Why, in a sentence.
    method, reference : str
        What was fitted and the publication.
    """

    element: str
    assay: str
    reference_assay: str
    instrument: str
    slope: float
    intercept: float
    slope_se: float
    intercept_se: float
    covariance: float
    log: bool
    n: int
    n_left_out: int
    low: float
    high: float
    r2: float
    rmse_pct: float
    bias_pct: float
    verdict: str
    reason: str
    method: str = "york"
    reference: str = "York et al. 2004, American Journal of Physics 72:367-375"


@dataclass(frozen=True, slots=True, eq=False)
class QualityReport:
    """All that quality control has to say.

    Parameters
    ----------
    verdicts : pandas.DataFrame
        Contract `tables.QUALITY`.
    standards, blanks, pairs, duplicates : pandas.DataFrame
        `STANDARD_CHECKS`, `BLANK_CHECKS`, `DUPLICATE_PAIRS`, `DUPLICATE_SUMMARY`.
    calibrations : tuple of Calibration
        Every one that was tried, those that failed included.
    calibration_pairs : pandas.DataFrame
        ``element, assay, reference_assay, sample_id, x, y, x_err, y_err, used``; mg/kg.
    reread : pandas.DataFrame
        ``batch, sample_id, reason``: what to read or analyse again.
    findings : tuple of Finding
        What was noticed.
    """

    verdicts: pd.DataFrame
    standards: pd.DataFrame
    blanks: pd.DataFrame
    pairs: pd.DataFrame
    duplicates: pd.DataFrame
    calibrations: tuple[Calibration, ...]
    calibration_pairs: pd.DataFrame
    reread: pd.DataFrame
    findings: tuple[Finding, ...] = field(default=())
