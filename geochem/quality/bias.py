"""Bias of each standard against its certificate, with confidence; mismatch of its matrix."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import element_rank
from geochem.model.finding import Finding, name_some
from geochem.model.quality import STANDARD_BIAS
from geochem.model.tables import conform
from geochem.quality.arrange import Arranged, blank_to_none, by_text
from geochem.quality.certificates import normal_name
from geochem.quality.limits import QualityLimits
from geochem.stats.reference_material import bias_limit, clustered_mean

if TYPE_CHECKING:
    import pandas as pd

#: elements that make the matrix: absorption and enhancement follow them
MATRIX = ("Si", "Al", "Ca", "Fe", "K", "S", "Ti")
#: a standard that holds so many times more or less than the samples is another matrix
#: (common practice, no source)
_FAR = 3.0


def standard_bias(checks: pd.DataFrame, limits: QualityLimits) -> pd.DataFrame:
    """Give the mean bias of every standard and element with a 95 % interval.

    Results of one batch share an error, so the interval rests on the batch means. A laboratory is
    compared with twice the standard deviation between laboratories and of the mean; portable XRF
    with `xrf_bias_pct`. A bias whose interval holds the allowed limit is open: warn.

    Parameters
    ----------
    checks : pandas.DataFrame
        From `check_standards`.
    limits : QualityLimits
        ``xrf_bias_pct, laboratory_bias_pct``.

    Returns
    -------
    pandas.DataFrame
        Contract `STANDARD_BIAS`; only where there is a certified value.
    """
    import pandas as pd

    rows = checks[(checks["used"] & checks["bias_pct"].notna()).to_numpy(dtype=bool)]
    out: list[dict[str, object]] = []
    key = ["source", "assay", "instrument", "mode", "standard", "element"]
    for names, part in by_text(rows, key):
        certified = float(part["certified"].median())
        mean, low, high = clustered_mean(part["bias_pct"], part["batch"])
        sd = float(part["sd"].median()) if part["sd_usable"].all() else np.nan
        if names[0] == "pxrf" or not np.isfinite(sd):
            allowed = limits.xrf_bias_pct if names[0] == "pxrf" else limits.laboratory_bias_pct
        else:
            within = float(part["value"].std(ddof=1)) if len(part) > 1 else 0.0
            allowed = 100 * bias_limit(sd, within, len(part)) / certified
        note = str(part["digestion_note"].iloc[0])
        verdict = "pass" if abs(mean) <= allowed else "warn"
        if np.isfinite(low) and (low > allowed or high < -allowed):
            verdict = "fail" if names[0] != "pxrf" else "warn"
        reason = f"{mean:+.1f} % ({low:+.1f} to {high:+.1f}), allowed {allowed:.1f} %"
        if note:
            verdict, reason = "not judged", note
        out.append(
            {
                **dict(zip(key, names, strict=True)), "n": len(part), "certified": certified,
                "bias_pct": mean, "low_pct": low, "high_pct": high, "allowed_pct": allowed,
                "verdict": verdict, "reason": reason,
            }
        )  # fmt: skip
    table = pd.DataFrame(out, columns=[*STANDARD_BIAS, "source"])
    return conform(blank_to_none(table), STANDARD_BIAS)


def matrix_findings(
    arranged: Arranged, checks: pd.DataFrame, standards: pd.DataFrame
) -> list[Finding]:
    """Say which standards are of another matrix than the samples.

    Parameters
    ----------
    arranged : Arranged
        Routine samples of portable XRF.
    checks : pandas.DataFrame
        From `check_standards`: the standards that were read.
    standards : pandas.DataFrame
        Contract `tables.STANDARDS`.

    Returns
    -------
    list of Finding
        One per standard whose major elements lie far from the samples' median.
    """
    read = checks[checks["source"] == "pxrf"]
    results = arranged.results
    keep = ~results["control"].to_numpy() & (results["source"] == "pxrf").to_numpy()
    keep = keep & results["element"].isin(MATRIX).to_numpy()
    usual = results[keep].groupby("element", observed=True)["value"].median()
    names = {normal_name(n): n for n in sorted(read["standard"].unique())}
    out: list[Finding] = []
    known = standards[standards["certified"].notna() & standards["element"].isin(MATRIX)]
    for key, name in sorted(names.items(), key=lambda p: p[1]):
        mine = known[
            np.array([normal_name(s or "") == key for s in known["standard"]], dtype=bool)
        ]
        certified = mine.groupby("element", observed=True)["certified"].median()
        said = []
        for element in sorted(set(certified.index) & set(usual.index), key=element_rank):
            ratio = float(certified[element]) / float(usual[element])
            if ratio > _FAR or ratio < 1 / _FAR:
                said.append(f"{element} {certified[element]:.3g} against {usual[element]:.3g} ppm")
        if said:
            matrix = mine["matrix"].dropna()
            kind = f" ({matrix.iloc[0]})" if len(matrix) else ""
            out.append(
                Finding(
                    "standard-matrix-mismatch", "note",
                    f"standard {name}{kind} is of another matrix than the samples: "
                    f"{name_some(said)}. Its bias need not be that of the samples; calibrate on "
                    f"samples of your own ground.",
                )
            )  # fmt: skip
    return out
