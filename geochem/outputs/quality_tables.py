"""The tables behind the quality verdicts, by the name of their sheet or table."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.quality import QualityReport


def quality_sheets(report: QualityReport) -> dict[str, pd.DataFrame]:
    """Give the short tables of the quality report, for the workbook.

    Parameters
    ----------
    report : QualityReport
        Of a run.

    Returns
    -------
    dict of str to DataFrame
        Name and rows in the order of reading; tables without rows are left out.
    """
    tables = {
        "batches": report.batches, "read again": report.reread,
        "reliability": report.reliability, "standard bias": report.bias,
        "duplicates": report.duplicates, "calibrations": calibration_table(report),
        "detection limits": report.detection, "drift": report.drift,
        "drift correction": report.drift_correction, "variances": report.variances,
        "pellets": report.pellets, "laboratory jobs": report.jobs, "hit rates": report.hits,
    }  # fmt: skip
    return {name: frame for name, frame in tables.items() if len(frame)}


def quality_points(report: QualityReport) -> dict[str, pd.DataFrame]:
    """Give the long tables, one row per result or pair, for the GeoPackage.

    Parameters
    ----------
    report : QualityReport
        Of a run.

    Returns
    -------
    dict of str to DataFrame
        Points of the control charts, blanks, duplicate pairs and calibration pairs.
    """
    return {
        "quality_standards": report.standards, "quality_blanks": report.blanks,
        "quality_duplicate_pairs": report.pairs,
        "quality_calibration_pairs": report.calibration_pairs,
    }  # fmt: skip


def calibration_table(report: QualityReport) -> pd.DataFrame:
    """Give one row per calibration line.

    Parameters
    ----------
    report : QualityReport
        Of a run.

    Returns
    -------
    pandas.DataFrame
        The numbers and words of `model.quality.Calibration`; ``n_samples`` that it corrects, empty
        for all, instead of their names.
    """
    import pandas as pd

    from geochem.model.quality import Calibration

    names = [f.name for f in fields(Calibration) if f.name not in ("samples", "others")]
    rows = [
        {
            **{n: getattr(c, n) for n in names},
            "n_samples": None if c.samples is None else len(c.samples),
        }
        for c in report.calibrations
    ]
    return pd.DataFrame(rows, columns=[*names, "n_samples"])
