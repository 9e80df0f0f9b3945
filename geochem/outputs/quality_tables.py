"""The tables behind the quality verdicts, by the name of their file."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.quality import QualityReport


def quality_tables(report: QualityReport) -> dict[str, pd.DataFrame]:
    """Give every table of the quality report that a reviewer may ask for.

    Parameters
    ----------
    report : QualityReport
        From `judge_quality`.

    Returns
    -------
    dict of str to pandas.DataFrame
        Name of a sheet or file without ending, in the order of reading; empty tables included.
    """
    return {
        "reliability": report.reliability, "standards": report.standards,
        "standard_bias": report.bias, "blanks": report.blanks, "duplicate_pairs": report.pairs,
        "duplicates": report.duplicates, "variances": report.variances,
        "detection_limits": report.detection, "drift": report.drift,
        "drift_correction": report.drift_correction, "pellets": report.pellets,
        "read_again": report.reread, "laboratory_jobs": report.jobs, "hit_rates": report.hits,
        "calibration_pairs": report.calibration_pairs,
    }  # fmt: skip
