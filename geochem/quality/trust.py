"""Trust class per assay and element, in the manner of the verification reports to EPA Method 6200.

The limits of the classes and where they come from stand in `limits.toml`. Unusable is ours: not
detected, or beyond the reach of the method.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from geochem.elements import XRF_ABOVE, XRF_LIGHT, XRF_NEVER, element_rank
from geochem.model.finding import Finding, name_some
from geochem.model.quality import Calibration
from geochem.quality.certificates import PART
from geochem.quality.limits import TRUST_CLASSES, QualityLimits

if TYPE_CHECKING:
    import pandas as pd

    from geochem.quality.arrange import Arranged

CLASSES = TRUST_CLASSES

_ORDER = {"pass": 0, "provisional": 1, "fail": 2}


class Trust(NamedTuple):
    """A class of `CLASSES` and why."""

    level: str
    reason: str


def trust_classes(
    facts: pd.DataFrame,
    calibrations: Sequence[Calibration],
    digestion: dict[str, dict[str, str]],
    limits: QualityLimits,
) -> dict[tuple[str, str], Trust]:
    """Say how far each element of each assay can be believed.

    Parameters
    ----------
    facts : pandas.DataFrame
        From `trust_facts`.
    calibrations : sequence of Calibration
        Correlation with the laboratory.
    digestion : dict of assay to dict of element to str
        As stated.
    limits : QualityLimits
        Precision allowed.

    Returns
    -------
    dict of (assay, element) to Trust
        Every element of every assay.
    """
    best: dict[tuple[str, str], Calibration] = {}
    for c in calibrations:
        kept = best.get((c.assay, c.element))
        if kept is None or (_ORDER[c.verdict], -c.n) < (_ORDER[kept.verdict], -kept.n):
            best[c.assay, c.element] = c
    trust: dict[tuple[str, str], Trust] = {}
    for row in facts.itertuples():
        key = (str(row.assay), str(row.element))
        if row.source == "pxrf":
            trust[key] = _xrf(row, best.get(key), limits)
        else:
            trust[key] = _laboratory(row, digestion.get(key[0], {}).get(key[1], ""), limits)
    return trust


def trust_facts(
    arranged: Arranged, checks: pd.DataFrame, duplicates: pd.DataFrame
) -> pd.DataFrame:
    """Collect number, share below detection, precision and bias of every assay and element.

    Parameters
    ----------
    arranged : Arranged
        Results, for the share below detection.
    checks : pandas.DataFrame
        From `check_standards`: precision and bias.
    duplicates : pandas.DataFrame
        From `summarise_duplicates`: precision where no standard tells it.

    Returns
    -------
    pandas.DataFrame
        ``source, assay, element, n, n_below, level, rsd, bias_pct, z, cv_pct, precision, below``.
    """
    results = arranged.results[~arranged.results["control"].to_numpy()]
    key = ["source", "assay", "element"]
    facts = (
        results.groupby(key, observed=True)
        .agg(n=("below", "size"), n_below=("below", "sum"), level=("value", "median"))
        .reset_index()
    )
    for name in key:
        facts[name] = facts[name].astype(object)
    judged = checks[checks["judged"].to_numpy(dtype=bool)]
    judged = judged.assign(
        rsd=(100 * judged["spread"] / judged["centre"]).where(judged["freedom"] >= 3)
    )
    own = (
        judged.groupby(["assay", "element"], observed=True)[["rsd", "bias_pct", "z"]]
        .median()
        .reset_index()
    )
    tight = duplicates[
        duplicates["role"].isin(["pulp_duplicate", "repeat"]) & (duplicates["n_used"] >= 5)
    ]
    cv = tight.groupby(["assay", "element"], observed=True)["cv_pct"].max().reset_index()
    for more in (own, cv):
        facts = facts.merge(more, on=["assay", "element"], how="left", validate="m:1")
    facts["precision"] = facts["rsd"].astype(float).fillna(facts["cv_pct"].astype(float))
    facts["below"] = facts["n_below"] / facts["n"]
    return facts


def _xrf(row: object, fit: Calibration | None, limits: QualityLimits) -> Trust:
    element, below = str(row.element), float(row.below)  # type: ignore[attr-defined]
    rsd, bias = float(row.precision), float(row.bias_pct)  # type: ignore[attr-defined]
    confirmed = fit is not None and fit.verdict == "pass"
    if element in XRF_LIGHT:
        return Trust("unusable", "too light for portable XRF in air")
    if element in XRF_NEVER and not confirmed:
        return Trust("unusable", "out of reach of portable XRF unless a laboratory confirms it")
    if below >= 1.0:
        return Trust("unusable", "never detected")
    said = [f"{100 * below:.0f} % below detection"] if below > 0.5 else []
    if np.isfinite(rsd):
        said.append(f"RSD {rsd:.0f} %")
    if np.isfinite(bias):
        said.append(f"bias {bias:+.0f} %")
    if fit is not None:
        said.append(f"r2 {fit.r2:.2f} on {fit.n} pairs with {fit.reference_assay}, {fit.verdict}")
    level = float(row.level)  # type: ignore[attr-defined]
    if level < XRF_ABOVE.get(element, 0.0) and not confirmed:
        said.append(f"mostly under {XRF_ABOVE[element]:g} ppm, where it is not dependable")
        return Trust("qualitative", "; ".join(said))
    if 100 * below > limits.qualitative_below_pct:
        return Trust("qualitative", "; ".join(said))
    allowed = limits.precision_cr_pct if element == "Cr" else limits.precision_pct
    precise = not np.isfinite(rsd) or rsd < allowed
    partial = fit is not None and "digestion and portable XRF" in fit.reason
    enough = fit is not None and fit.n >= limits.calibration_pairs_provisional and not partial
    if not precise:
        return Trust("qualitative", "; ".join(said))
    if enough and fit is not None:
        tight = np.isfinite(rsd) and rsd <= limits.definitive_rsd_pct
        if fit.verdict == "pass" and fit.r2 >= limits.definitive_r2 and tight:
            return Trust("definitive", "; ".join([*said, "after calibration"]))
        if fit.verdict != "fail" and fit.r2 >= limits.screening_r2:
            return Trust("quantitative screening", "; ".join(said))
        # A narrow range makes r2 small though the error is small too.
        if fit.verdict != "fail":
            said.append(f"r2 under {limits.screening_r2:g}")
        return Trust("qualitative", "; ".join(said))
    said.append("no comparable laboratory pairs")
    if not np.isfinite(rsd):
        return Trust("qualitative", "; ".join(["precision not known", *said]))
    if np.isfinite(bias) and abs(bias) > limits.qualitative_bias_pct:
        return Trust("qualitative", "; ".join(said))
    return Trust("quantitative screening", "; ".join(said))


def _laboratory(row: object, digestion: str, limits: QualityLimits) -> Trust:
    below, rsd = float(row.below), float(row.precision)  # type: ignore[attr-defined]
    z, bias = float(row.z), float(row.bias_pct)  # type: ignore[attr-defined]
    if below >= 1.0:
        return Trust("unusable", "never detected")
    said = [f"{100 * below:.0f} % below detection"] if below > 0.5 else []
    if np.isfinite(rsd):
        said.append(f"RSD {rsd:.0f} %")
    if np.isfinite(z):
        said.append(f"standards {z:+.1f} SD")
    elif np.isfinite(bias):
        said.append(f"bias {bias:+.0f} %")
    many_below = 100 * below > limits.qualitative_below_pct
    if many_below or (np.isfinite(rsd) and rsd >= limits.precision_pct):
        return Trust("qualitative", "; ".join(said))
    if digestion in PART:
        said.append(f"{digestion} digestion: the soluble part only")
        return Trust("quantitative screening", "; ".join(said))
    if not np.isfinite(rsd) and not np.isfinite(z):
        return Trust("quantitative screening", "; ".join(["laboratory, not checked", *said]))
    tight = not np.isfinite(rsd) or rsd <= limits.definitive_rsd_pct
    near = tight and (not np.isfinite(z) or abs(z) <= limits.warn_s)
    if near and (np.isfinite(z) or abs(bias) <= limits.laboratory_bias_pct):
        return Trust("definitive", "; ".join(said))
    return Trust("quantitative screening", "; ".join(said))


def trust_findings(trust: dict[tuple[str, str], Trust]) -> list[Finding]:
    """Name per assay what is unusable or qualitative only, with the reasons."""
    out: list[Finding] = []
    for assay in sorted({a for a, _ in trust}):
        groups = {
            level: sorted(
                (e for (a, e), t in trust.items() if a == assay and t.level == level),
                key=element_rank,
            )
            for level in CLASSES
        }
        for level, code in (("unusable", "trust-unusable"), ("qualitative", "trust-qualitative")):
            if groups[level]:
                named = [f"{e} ({trust[assay, e].reason})" for e in groups[level]]
                out.append(
                    Finding(code, "note", f"{assay}: {level} {name_some(named)}.")
                )  # fmt: skip
    return out
