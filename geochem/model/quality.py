"""Records of quality control: `Calibration` and `QualityReport`."""

from __future__ import annotations

from collections.abc import Mapping
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

#: one row per batch: its verdict, how many key elements it has and how many of them fail
#: and warn, and the last day of its readings
BATCHES: dict[str, str] = {
    "source": "text", "assay": "text", "instrument": "text", "mode": "text", "batch": "text",
    "verdict": "text", "n_key": "count", "n_fail": "count", "n_warn": "count",
    "n_reread": "count", "checked": "flag", "day": "date", "reason": "text",
}  # fmt: skip

#: drift of standards: within a batch (``scope`` "batch") and over the campaign ("campaign")
DRIFT: dict[str, str] = {
    "scope": "text", "assay": "text", "instrument": "text", "mode": "text", "batch": "text",
    "element": "text", "n": "count", "span": "number", "span_unit": "text", "change_pct": "number",
    "change_low": "number", "change_high": "number", "p": "number", "break_at": "date",
    "break_pct": "number", "break_p": "number", "verdict": "text", "reason": "text",
}  # fmt: skip

#: bias of standards with a 95 % interval
STANDARD_BIAS: dict[str, str] = {
    "assay": "text", "instrument": "text", "mode": "text", "standard": "text", "element": "text",
    "n": "count", "certified": "number", "bias_pct": "number", "low_pct": "number",
    "high_pct": "number", "allowed_pct": "number", "verdict": "text", "reason": "text",
}  # fmt: skip

#: what a drift correction did to the standards, per batch and element; left-out readings
DRIFT_CORRECTION: dict[str, str] = {
    "assay": "text", "instrument": "text", "mode": "text", "batch": "text", "element": "text",
    "method": "text", "n": "count", "before_pct": "number", "after_pct": "number",
    "corrected": "flag", "reason": "text",
}  # fmt: skip

#: detection limits per assay, instrument, mode and element; mg/kg
DETECTION: dict[str, str] = {
    "assay": "text", "instrument": "text", "mode": "text", "element": "text", "stated": "number",
    "reported": "number", "from_counting": "number", "n_blank": "count", "blank_3s": "number",
    "blank_mdl": "number", "n_low": "count", "low_sample": "text", "low_3s": "number",
    "low_mdl": "number", "found": "number", "verdict": "text", "reason": "text",
}  # fmt: skip

#: where the variance of log10 values comes from
VARIANCES: dict[str, str] = {
    "assay": "text", "medium": "text", "element": "text", "part": "text", "variance": "number",
    "share_pct": "number", "robust_variance": "number", "robust_share_pct": "number",
    "n": "count", "roles": "text", "verdict": "text", "reason": "text",
}  # fmt: skip

#: how far each element of each assay can be believed
RELIABILITY: dict[str, str] = {
    "assay": "text", "source": "text", "element": "text", "trust": "text", "n": "count",
    "below_pct": "number", "precision_pct": "number", "bias_pct": "number", "r2": "number",
    "n_pairs": "count", "detection_limit": "number", "by": "text", "reason": "text",
}  # fmt: skip

#: what a thin, wet or diluted pellet does to each element's line
PELLETS: dict[str, str] = {
    "element": "text", "line": "text", "energy_kev": "number", "depth_99_mm": "number",
    "n_known": "count", "n_thin": "count", "median_signal": "number", "least_signal": "number",
    "moist_reads": "number", "binder_reads": "number", "reason": "text",
}  # fmt: skip

#: what was sent to laboratories and came back, by job
JOBS: dict[str, str] = {
    "laboratory": "text", "job": "text", "sent": "date", "returned": "date", "n_sent": "count",
    "n_returned": "count", "n_outstanding": "count", "turnaround_days": "number",
    "waiting_days": "number", "verdict": "text", "reason": "text",
}  # fmt: skip

#: how often what read high was high in the laboratory
HITS: dict[str, str] = {
    "medium": "text", "element": "text", "assay": "text", "reference_assay": "text",
    "n_pairs": "count", "cut": "number", "reference_cut": "number", "n_high": "count", "n_confirmed": "count",
    "hit_rate_pct": "number", "hit_low_pct": "number", "hit_high_pct": "number",
    "n_missed": "count", "n_low": "count", "high_came_low": "text", "low_came_high": "text",
}  # fmt: skip


def _no_rows(columns: Mapping[str, str]) -> pd.DataFrame:
    from geochem.model.tables import empty

    return empty(dict(columns))


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
        Pairs measured on both sides; pairs left out because one side is a limit (where many lie
        below detection they are used by their likelihood, and the reason says so).
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
    slope_low, slope_high, intercept_low, intercept_high : float
        90 % intervals by the bootstrap of pairs.
    blocks : int
        Blocks (batches of readings) left out in turn by the cross-validation; 0: single pairs
        dealt into folds, because there are too few batches.
    near_bias_pct : float
        Bias left near the threshold (between the 75th and 97.5th percentile of all readings of
        that assay), NaN when fewer than five pairs lie there. [%]
    others : mapping of str to float
        Slopes of other methods on the same pairs and scale, as a check.
    mode, since, until, matrix : str
        Mode of the instrument, first and last day of reading, kind of ground that the line is for;
        empty where it does not matter.
    samples : frozenset of str, optional
        The samples that this line corrects; None for all of the assay. Lines of one element, assay
        and reference never share a sample.
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
    slope_low: float = float("nan")
    slope_high: float = float("nan")
    intercept_low: float = float("nan")
    intercept_high: float = float("nan")
    blocks: int = 0
    near_bias_pct: float = float("nan")
    others: Mapping[str, float] = field(default_factory=dict)
    mode: str = ""
    since: str = ""
    until: str = ""
    matrix: str = ""
    samples: frozenset[str] | None = None

    @property
    def group(self) -> str:
        """Which readings the line is for, in words; empty for all, and for all others."""
        since = f"from {self.since}" if self.since else ""
        until = f"to {self.until}" if self.until else ""
        parts = (self.instrument, self.mode, " ".join(x for x in (since, until) if x), self.matrix)
        return ", ".join(p for p in parts if p)


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
        ``element, assay, reference_assay, sample_id, x, y, x_err, y_err, used, reason, group``;
        mg/kg; `group` as that of the calibration.
    reread : pandas.DataFrame
        ``batch, sample_id, reason``: what to read or analyse again.
    findings : tuple of Finding
        What was noticed.
    drift, drift_correction, detection, variances, reliability, pellets, jobs, hits : DataFrame
        `DRIFT`, `DRIFT_CORRECTION` (rows only when a correction was asked for), `DETECTION`,
        `VARIANCES`, `RELIABILITY`, `PELLETS`, `JOBS`, `HITS`.
    bias : pandas.DataFrame
        `STANDARD_BIAS`.
    failed_batches : {"use", "down-weight", "leave out"}
        What was done with the values of failed batches.
    batches : pandas.DataFrame
        `BATCHES`: the verdict of each batch as a whole, which every output shows.
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
    drift: pd.DataFrame = field(default_factory=lambda: _no_rows(DRIFT))
    drift_correction: pd.DataFrame = field(default_factory=lambda: _no_rows(DRIFT_CORRECTION))
    detection: pd.DataFrame = field(default_factory=lambda: _no_rows(DETECTION))
    variances: pd.DataFrame = field(default_factory=lambda: _no_rows(VARIANCES))
    reliability: pd.DataFrame = field(default_factory=lambda: _no_rows(RELIABILITY))
    pellets: pd.DataFrame = field(default_factory=lambda: _no_rows(PELLETS))
    jobs: pd.DataFrame = field(default_factory=lambda: _no_rows(JOBS))
    hits: pd.DataFrame = field(default_factory=lambda: _no_rows(HITS))
    bias: pd.DataFrame = field(default_factory=lambda: _no_rows(STANDARD_BIAS))
    failed_batches: str = "use"
    batches: pd.DataFrame = field(default_factory=lambda: _no_rows(BATCHES))
