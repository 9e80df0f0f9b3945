"""Gold and the platinum metals: detected values, coarse grains, highs that stand alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from geochem.model import tables
from geochem.model.background import Gold
from geochem.model.finding import Finding, name_some
from geochem.units import shown_unit

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

#: metals that sit in few grains
METALS = ("Au", "Pt", "Pd")
#: duplicates that differ more speak of coarse grains [%]; Abzalov 2008, Exploration and Mining
#: Geology 17:131-144 (from memory): 40 % is usual for field duplicates of coarse gold, 30 % for pulps
COARSE_CV_PCT: Mapping[str, float] = {
    "field_duplicate": 40.0, "coarse_duplicate": 40.0, "pulp_duplicate": 30.0,
}  # fmt: skip
#: neighbours looked at, and how far they may be in nearest distances
_NEIGHBOURS, _REACH = 8, 3.0
#: detected values below which nothing is called high
_LEAST = 5


def describe_gold(
    samples: pd.DataFrame,
    *,
    duplicates: pd.DataFrame | None = None,
    thresholds: Mapping[tuple[str, str], float] | None = None,
    elements: Sequence[str] = METALS,
) -> tuple[tuple[Gold, ...], tuple[Finding, ...]]:
    """Describe metals whose values jump from grain to grain.

    Statistics are of detected values only: below the limit nothing is known of such a metal. A
    high value is never lowered; one without another high value among its nearest neighbours is
    named, so that no outline grows from it and nobody forgets it.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        Located samples.
    duplicates : pandas.DataFrame, optional
        `model.quality.DUPLICATE_SUMMARY`.
    thresholds : mapping of (medium, element) to float, optional
        What counts as high [mg/kg]; else the 95th percentile of the detected values.
    elements : sequence of str, default ("Au", "Pt", "Pd")
        Which metals.

    Returns
    -------
    gold : tuple of Gold
        One per medium and metal with values.
    findings : tuple of Finding
        Coarse grains, single highs.

    References
    ----------
    .. [1] Coarse grains seen by duplicates: Abzalov 2008, Explor. Min. Geol. 17:131-144; the rest:
       common practice, no source.
    """
    out: list[Gold] = []
    findings: list[Finding] = []
    for element in elements:
        if tables.value_column(element) not in samples.columns:
            continue
        cv, role = _duplicates(duplicates, element)
        coarse = bool(role)
        for medium in sorted(set(samples["medium"].dropna())):
            rows = np.flatnonzero((samples["medium"] == medium).to_numpy())
            frame = samples.iloc[rows]
            v = tables.values_of(frame, element)
            known = np.isfinite(v.value)
            detected = known & ~v.below
            if not known.any():
                continue
            found = np.sort(v.value[detected])
            cut = (thresholds or {}).get((medium, element), np.nan)
            if not np.isfinite(cut):
                cut = float(np.quantile(found, 0.95)) if found.size >= _LEAST else np.nan
            high = detected & (v.value > cut) if np.isfinite(cut) else np.zeros(len(frame), bool)
            ids = frame["sample_id"].to_numpy(dtype=object)
            alone = _alone(np.column_stack([frame.geometry.x, frame.geometry.y]), known, high)
            out.append(
                Gold(
                    element, medium, int(known.sum()), int(found.size), *_of_detected(found),
                    coarse, cv, ids[high], ids[alone], float(cut),
                )
            )  # fmt: skip
            findings += _single(out[-1])
        if coarse and any(g.element == element for g in out):
            findings.append(
                Finding(
                    "coarse-gold", "warning",
                    f"{element}: {role.replace('_', ' ')}s differ by {cv:.0f} % (coefficient of "
                    f"variation), more than {COARSE_CV_PCT[role]:.0f} %: grains are coarse, and one "
                    "value may be far from what the place holds. Take larger samples, or screen-fire "
                    "or bulk-leach assays, before a low value clears a place or a high one makes one.",
                    element=element,
                )
            )  # fmt: skip
    return tuple(out), tuple(findings)


def _of_detected(found: npt.NDArray[np.float64]) -> tuple[float, float, float]:
    if not found.size:
        return float("nan"), float("nan"), float("nan")
    return float(np.median(found)), float(np.quantile(found, 0.9)), float(found[-1])


def _duplicates(duplicates: pd.DataFrame | None, element: str) -> tuple[float, str]:
    """Give the largest variation of duplicates, and the role that speaks of coarse grains."""
    if duplicates is None or not len(duplicates):
        return float("nan"), ""
    mine = duplicates[(duplicates["element"] == element).to_numpy()]
    mine = mine[(mine["n_used"].fillna(0) >= _LEAST).to_numpy(dtype=bool)]
    largest, worst, by = float("nan"), 0.0, ""
    for role, cv in zip(mine["role"], mine["cv_pct"], strict=True):
        if role not in COARSE_CV_PCT or not np.isfinite(cv):
            continue
        largest = float(np.fmax(largest, cv))
        if cv / COARSE_CV_PCT[role] > max(worst, 1.0):
            worst, by = float(cv / COARSE_CV_PCT[role]), str(role)
            largest = float(cv)
    return largest, by


def _alone(
    xy: npt.NDArray[np.float64], known: npt.NDArray[np.bool_], high: npt.NDArray[np.bool_]
) -> npt.NDArray[np.bool_]:
    """Mark high values none of whose nearest neighbours is high."""
    from scipy.spatial import cKDTree

    out = high.copy()
    rows = np.flatnonzero(known)
    if len(rows) < 2 or not high.any():
        return out
    k = min(_NEIGHBOURS + 1, len(rows))
    away, near = cKDTree(xy[rows]).query(xy[rows], k=k)
    reach = _REACH * float(np.median(away[:, 1]))
    other = near != np.arange(len(rows))[:, None]
    beside = high[rows][near] & other & (away <= reach)
    out[rows] = high[rows] & ~beside.any(axis=1)
    return out


def _single(gold: Gold) -> list[Finding]:
    if not len(gold.single):
        return []
    unit, divisor = shown_unit(gold.element, gold.cut)
    return [
        Finding(
            "single-highs", "note",
            f"{len(gold.single)} of {len(gold.high)} {gold.medium} samples with {gold.element} over "
            f"{gold.cut / divisor:.3g} {unit} have no other such sample beside them: "
            f"{name_some(list(gold.single))}. They are kept as they are and make no outline; sample "
            "those places again.",
            sample_id=str(gold.single[0]), element=gold.element,
        )
    ]  # fmt: skip
