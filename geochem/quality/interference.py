"""Lines that overlap in portable XRF: what may be read too high, and in how many samples."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import XRF_LIGHT, element_rank
from geochem.model.finding import Finding, name_some
from geochem.model.tables import values_of

if TYPE_CHECKING:
    from geochem.model.survey import Survey

#: element, interfering element, lines, ratio of interferer to element from which to be wary.
#: Lines: standard X-ray tables; ratios: common practice, no source.
OVERLAPS: tuple[tuple[str, str, str, float], ...] = (
    ("As", "Pb", "As Ka 10.54 and Pb La 10.55 keV", 10.0),
    ("Co", "Fe", "Co Ka 6.93 and Fe Kb 7.06 keV", 500.0),
    ("Ba", "Ti", "Ba La 4.47 and Ti Ka 4.51 keV", 40.0),
    ("Ti", "Ba", "Ti Ka 4.51 and Ba La 4.47 keV", 1.0),
    ("V", "Ti", "V Ka 4.95 and Ti Kb 4.93 keV", 80.0),
    ("V", "Ba", "V Ka 4.95 and Ba Lb 4.83 keV", 20.0),
    ("Cr", "V", "Cr Ka 5.41 and V Kb 5.43 keV", 4.0),
    ("Mn", "Cr", "Mn Ka 5.90 and Cr Kb 5.95 keV", 5.0),
    ("W", "Zn", "W Lb 9.67 and Zn Kb 9.57 keV, W La 8.40 and Zn Ka 8.64 keV", 5.0),
    ("Zn", "W", "Zn Ka 8.64 and W La 8.40 keV", 1.0),
    ("Bi", "Pb", "Bi La 10.84 and Pb La 10.55 keV", 20.0),
    ("Ni", "Co", "Ni Ka 7.48 and Co Kb 7.65 keV", 5.0),
)

#: Weak lines that moisture, grain size and air between sample and detector change most.
WEAK = frozenset({"Mg", "Al", "Si", "P", "S", "Cl"})


def interference_findings(survey: Survey, assays: list[str]) -> list[Finding]:
    """Warn of overlapping lines and light elements.

    Parameters
    ----------
    survey : Survey
        Per-assay columns.
    assays : list of str
        Assays of portable XRF.

    Returns
    -------
    list of Finding
        A warning where more than a fifth of the detected values stand beside much of the
        interfering element, else a note.
    """
    out: list[Finding] = []
    for assay in assays:
        mark = f"_ppm__{assay}"
        names = [str(c) for c in survey.samples.columns]
        have = {c.removesuffix(mark) for c in names if c.endswith(mark)}
        for element, by, lines, ratio in OVERLAPS:
            if element in have and by in have:
                out += _overlap(survey, assay, element, by, lines, ratio)
        light = sorted(have & XRF_LIGHT, key=element_rank)
        weak = sorted(have & WEAK, key=element_rank)
        if light:
            out.append(
                Finding(
                    "xrf-too-light", "warning",
                    f"{assay} lists {', '.join(light)}: too light for portable XRF in air. These "
                    f"values are not to be used.",
                )
            )  # fmt: skip
        if weak:
            out.append(
                Finding(
                    "xrf-light-elements", "note",
                    f"{assay}: the weak lines of {', '.join(weak)} suffer from moisture, grain "
                    f"size and surface; use them only when calibrated on the same preparation.",
                )
            )  # fmt: skip
    return out


def _overlap(
    survey: Survey, assay: str, element: str, by: str, lines: str, ratio: float
) -> list[Finding]:
    one, other = values_of(survey.samples, element, assay), values_of(survey.samples, by, assay)
    detected = np.isfinite(one.value) & ~one.below
    n = int(detected.sum())
    if not n:
        return []
    with np.errstate(invalid="ignore"):
        hit = detected & (other.value > ratio * one.value) & ~other.below
    if not hit.any():
        return []
    share = hit.sum() / n
    ids = survey.samples["sample_id"].to_numpy(dtype=object)[hit]
    return [
        Finding(
            "xrf-interference", "warning" if share > 0.2 else "note",
            f"{assay}: {element} may be read too high under {by} ({lines}); {by} is more than "
            f"{ratio:g} x {element} in {int(hit.sum())} of {n} samples: {name_some(list(ids))}.",
            element=element,
        )
    ]  # fmt: skip
