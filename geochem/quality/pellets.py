"""Thin, wet and diluted pellets: what they do to each element's line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from geochem.elements import element_rank
from geochem.model.finding import Finding, name_some
from geochem.model.quality import PELLETS
from geochem.model.tables import conform
from geochem.quality.limits import QualityLimits
from geochem.stats.pellet_thickness import (
    LINES,
    areal_mass,
    depth_of_signal,
    diluted_reading,
    signal_share,
)

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.survey import Survey

Floats = npt.NDArray[np.float64]

#: water and binder under these shares are not worth a word [%]
MOIST_PCT = 5.0
BINDER_PCT = 1.0
#: least powder of a pellet whose die is not known [mL] (common practice, no source)
LEAST_ML = 5.0


def judge_pellets(
    survey: Survey, elements: set[str], limits: QualityLimits
) -> tuple[pd.DataFrame, list[Finding], dict[str, list[str]]]:
    """Compare each pellet with the depth that each element's line comes from.

    The powder per area follows from loose volume and die; it does not change in pressing. What a
    line gives less than `thin_signal` of the full signal for, is thin for that element.

    Parameters
    ----------
    survey : Survey
        ``powder_ml, die_mm, die_fill, moisture_pct, binder_pct`` of samples.
    elements : set of str
        Measured by portable XRF.
    limits : QualityLimits
        ``loose_density, thin_signal``.

    Returns
    -------
    table : pandas.DataFrame
        Contract `PELLETS`: per element the depth of 99 % of its signal in soil pressed to 1.8
        g/cm3, pellets that are thin for it, and what the usual moisture and binder read.
    findings : list of Finding
        Per element what reads low in which samples.
    remarks : dict of str to list of str
        Per element, for the reliability table.

    References
    ----------
    .. [1] ``1 - exp(-mu m)`` with tabulated attenuation: see `geochem.stats.pellet_thickness`.
    """
    import pandas as pd

    names = ["sample_id", "powder_ml", "die_mm", "die_fill", "moisture_pct", "binder_pct"]
    frames = [
        pd.DataFrame(f).reindex(columns=names)
        for f in (survey.samples, survey.unlocated)
        if len(f)
    ]
    log = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=names)
    ids = log["sample_id"].to_numpy(dtype=object)
    number = {n: pd.to_numeric(log[n]).to_numpy(dtype=float) for n in names[1:]}
    mass = areal_mass(number["powder_ml"], number["die_mm"], loose_density=limits.loose_density)
    known = np.isfinite(mass) & (number["powder_ml"] > 0)
    wet, wax = number["moisture_pct"], number["binder_pct"]
    wetness = float(np.nanmedian(wet)) if np.isfinite(wet).any() else np.nan
    binder = float(np.nanmedian(wax)) if np.isfinite(wax).any() else np.nan
    rows: list[dict[str, object]] = []
    findings: list[Finding] = []
    remarks: dict[str, list[str]] = {}
    for element in sorted(elements & set(LINES), key=element_rank):
        line, energy = LINES[element]
        share = signal_share(mass[known], energy)
        thin = share < limits.thin_signal
        moist = float(diluted_reading(wetness / 100, energy)) if wetness >= 0 else np.nan
        rows.append(
            {
                "element": element, "line": line, "energy_kev": energy,
                "depth_99_mm": depth_of_signal(energy), "n_known": int(known.sum()),
                "n_thin": int(thin.sum()),
                "median_signal": float(np.median(share)) if len(share) else np.nan,
                "least_signal": float(share.min()) if len(share) else np.nan,
                "moist_reads": moist, "binder_reads": 1 - binder / 100 if binder >= 0 else np.nan,
            }
        )  # fmt: skip
        if thin.any():
            said = _thin(element, line, energy, share, ids[known], thin)
            findings.append(said)
            remarks.setdefault(element, []).append(
                f"{int(thin.sum())} of {len(share)} pellets thin for its line"
            )
            rows[-1]["reason"] = said.message
    findings += _little(ids, number["powder_ml"], known) if elements else []
    findings += _wet(ids, wet, elements) + _waxed(ids, wax, elements)
    if elements and len(log) and not known.any():
        findings.append(
            Finding(
                "pellet-thickness-unknown", "note",
                "powder volume and die diameter are not logged, so it cannot be said whether "
                "pellets are thick enough for the deep lines (Mo, Ag, Cd, Sn, Sb, Ba). Log "
                "powder_ml and die_mm.",
            )
        )  # fmt: skip
    return conform(pd.DataFrame(rows, columns=list(PELLETS)), PELLETS), findings, remarks


def _thin(
    element: str, line: str, energy: float, share: Floats, ids: npt.NDArray[np.object_],
    thin: npt.NDArray[np.bool_],
) -> Finding:  # fmt: skip
    order = np.argsort(share, kind="stable")
    worst = [str(ids[i]) for i in order if thin[i]]
    return Finding(
        "pellet-thin", "warning" if thin.mean() > 0.2 else "note",
        f"{element} {line} ({energy:.1f} keV) comes from {depth_of_signal(energy):.1f} mm of "
        f"pressed soil; {int(thin.sum())} of {len(share)} pellets are thinner and read down to "
        f"{100 * share.min():.0f} % of the full signal: {name_some(worst)}. Press more powder, or "
        f"compare only pellets of one volume.",
        sample_id=worst[0], element=element,
    )  # fmt: skip


def _little(
    ids: npt.NDArray[np.object_], powder: Floats, known: npt.NDArray[np.bool_]
) -> list[Finding]:
    """Name the pellets of little powder whose die is not logged, so that no element is judged."""
    hit = (powder < LEAST_ML) & ~known
    if not hit.any():
        return []
    named = [str(i) for i in ids[hit]]
    return [
        Finding(
            "powder-little", "warning",
            f"{len(named)} samples had less than {LEAST_ML:g} mL of powder, and the die is not "
            f"logged; heavy elements (Mo, Ag, Cd, Sn, Sb, Ba) read low in a thin pellet: "
            f"{name_some(named)}.",
            sample_id=named[0],
        )
    ]  # fmt: skip


def _wet(ids: npt.NDArray[np.object_], wet: Floats, elements: set[str]) -> list[Finding]:
    """Say per element what moist samples read."""
    hit = wet > MOIST_PCT
    if not hit.any():
        return []
    most = float(np.nanmax(wet))
    named = [
        f"{e} {100 * float(diluted_reading(most / 100, LINES[e][1])):.0f} %"
        for e in sorted(elements & set(LINES), key=element_rank)
    ]
    falls = (
        f"; at the most, {most:.0f} %, readings fall to these shares of dry powder: "
        f"{name_some(named, 12)}"
        if named
        else ""
    )
    return [
        Finding(
            "pellet-moist", "warning" if most > 20 else "note",
            f"{int(hit.sum())} samples hold more than {MOIST_PCT:g} % moisture "
            f"({name_some([str(i) for i in ids[hit]])}){falls}."
            f"{' Dry and read again.' if most > 20 else ''}",
            sample_id=str(ids[hit][0]),
        )
    ]  # fmt: skip


def _waxed(ids: npt.NDArray[np.object_], wax: Floats, elements: set[str]) -> list[Finding]:
    """Say per element what binder takes away, when it is not the same everywhere."""
    known = wax[np.isfinite(wax)]
    if not len(known) or float(known.max()) <= BINDER_PCT:
        return []
    low, high = float(known.min()), float(known.max())
    named = [
        f"{e} {100 * (1 - float(diluted_reading(high / 100, LINES[e][1]))):.0f}"
        for e in sorted(elements & set(LINES), key=element_rank)
    ]
    differs = high - low > BINDER_PCT
    text = (
        f"binder makes {low:g} to {high:g} % of the pellets" if differs
        else f"binder makes {high:g} % of the pellets"
    )  # fmt: skip
    return [
        Finding(
            "pellet-binder", "warning" if differs else "note",
            f"{text}: it dilutes by up to {high:g} %; because binder absorbs less than soil, thick "
            f"pellets read low by less (in %, binder taken as water): {name_some(named, 12)}. "
            f"{'Use one share of binder. ' if differs else ''}Press standards the same way.",
            sample_id=str(ids[np.nanargmax(wax)]),
        )
    ]  # fmt: skip
