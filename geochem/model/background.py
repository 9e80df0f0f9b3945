"""`BackgroundReport`: domains, backgrounds and thresholds of all media."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from geochem.model.finding import Finding
from geochem.model.threshold import Threshold

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class BackgroundReport:
    """What is usual, per medium, domain and element.

    Parameters
    ----------
    domains : pandas.DataFrame
        ``sample_id, medium, domain, weight, near_contact``: one row per located sample of a medium that has a
        background, sorted by `sample_id`; `weight` is the declustering weight, mean 1 per medium.
    backgrounds : pandas.DataFrame
        Contract `tables.BACKGROUNDS`: location and scale of log10 values that z is measured
        against. Every (medium, domain, element) that occurs has a row, and domain ``"all"`` has
        one per medium and element.
    thresholds : pandas.DataFrame
        Contract `tables.THRESHOLDS`.
    threshold_records : mapping of (medium, domain, element) to Threshold
        The records behind it.
    probability_plots : mapping of (medium, element) to Threshold
        Fits of `ProbabilityPlot` on the whole medium, for the figures.
    findings : tuple of Finding
        What was noticed.
    shifts : mapping of element to ndarray, shape (n_samples,)
        Where the background drifts (regression, moving window): what to add to location and
        threshold of each sample on log10, in the rows of `domains`; zero elsewhere.
    """

    domains: pd.DataFrame
    backgrounds: pd.DataFrame
    thresholds: pd.DataFrame
    threshold_records: Mapping[tuple[str, str, str], Threshold] = field(default_factory=dict)
    probability_plots: Mapping[tuple[str, str], Threshold] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    shifts: Mapping[str, npt.NDArray[np.float64]] = field(default_factory=dict)


#: one row per group and element that levelling looked at
LEVELLING_GROUPS: dict[str, str] = {
    "column": "text", "assay": "text", "group": "text", "element": "text", "n_samples": "count",
    "median_before": "number", "median_after": "number",
    "n_evidence": "count", "evidence": "text", "found": "number", "found_low": "number",
    "found_high": "number", "factor": "number", "factor_low": "number", "factor_high": "number",
    "levelled": "flag", "reason": "text",
}  # fmt: skip

#: one row per column, assay and element: what levelling did to the variance of log10 values
LEVELLING_ELEMENTS: dict[str, str] = {
    "column": "text", "assay": "text", "element": "text", "groups": "count", "n": "count",
    "between_pct": "number", "likelihood_ratio": "number", "variance_before": "number",
    "variance_after": "number", "removed_pct": "number", "regional_pct": "number",
    "levelled": "flag", "reason": "text",
}  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Levelling:
    """What levelling did.

    Parameters
    ----------
    groups : pandas.DataFrame
        `LEVELLING_GROUPS`. Values of a group were multiplied by `factor` (90 % interval beside
        it); `found` is the factor that the evidence alone gives; medians are of detected values.
    elements : pandas.DataFrame
        `LEVELLING_ELEMENTS`: standard deviation between groups [%], variance of log10 of the
        detected values before and after, the share removed [%], and how much of what was
        removed follows the position on the ground (quadratic surface) [%].
    by, evidence : tuple of str
        Columns that name groups, in order; kinds of evidence.
    method, reference : str
        How, and publications.
    """

    groups: pd.DataFrame
    elements: pd.DataFrame
    by: tuple[str, ...]
    evidence: tuple[str, ...]
    method: str
    reference: str

    @property
    def done(self) -> bool:
        """Whether any value was changed."""
        return bool(self.elements["levelled"].any())


@dataclass(frozen=True, slots=True, eq=False)
class Gold:
    """What the values of a metal with a nugget effect can say, and what they cannot.

    Parameters
    ----------
    element, medium : str
        ``Au`` as a rule.
    n, n_detected : int
        Values, and those above detection.
    median, p90, peak : float
        Of the detected values alone. [mg/kg]
    coarse : bool
        Whether duplicates say that grains are coarse: single values then mean little.
    duplicate_cv_pct : float
        Largest coefficient of variation of a kind of duplicate; NaN when unknown. [%]
    high : ndarray of str
        Samples beyond `cut`.
    single : ndarray of str
        Those of them without another high value among their neighbours.
    cut : float
        What counts as high. [mg/kg]
    """

    element: str
    medium: str
    n: int
    n_detected: int
    median: float
    p90: float
    peak: float
    coarse: bool
    duplicate_cv_pct: float
    high: npt.NDArray[np.object_]
    single: npt.NDArray[np.object_]
    cut: float
