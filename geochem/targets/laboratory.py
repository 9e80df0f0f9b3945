"""Laboratory values inside an outline, and the gate for elements a portable XRF cannot decide.

What lives here: robust scores of laboratory values against all laboratory values of the medium,
and whether an element may count. What does not: calibration (quality).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import XRF_ABOVE, XRF_NEVER, element_rank
from geochem.model import tables
from geochem.targets.ground import Sites

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    import pandas as pd

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

#: fewer laboratory values have no background of their own
FEWEST = 20
#: robust scores above background that confirm
CONFIRMS = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class LaboratoryScores:
    """Laboratory values of all sites.

    Parameters
    ----------
    z : mapping of str to ndarray, shape (n,)
        Robust score of log10 per element; NaN where no laboratory value or no background.
    present : mapping of str to ndarray of bool, shape (n,)
        Whether a laboratory value exists, a limit included.
    gated : mapping of str to set of str
        Per medium, elements whose accepted value is an uncalibrated XRF reading they cannot
        decide at any level.
    gated_below : mapping of str to mapping of str to float
        Per medium, level under which such a reading does not count. [mg/kg]
    """

    z: dict[str, FloatArray]
    present: dict[str, npt.NDArray[np.bool_]]
    gated: dict[str, set[str]]
    gated_below: dict[str, dict[str, float]]

    def may_count(self, element: str, medium: str, inside: IntArray, peak: float) -> bool:
        """Say whether an element may count inside an outline.

        Parameters
        ----------
        element, medium : str
            What.
        inside : ndarray of int
            Sites in the outline.
        peak : float
            Highest accepted value there. [mg/kg]

        Returns
        -------
        bool
            False when it is gated there and no laboratory value confirms it.
        """
        closed = element in self.gated.get(medium, set())
        level = self.gated_below.get(medium, {}).get(element)
        if level is not None and not peak >= level:
            closed = True
        if not closed:
            return True
        return element in self.present and bool(self.present[element][inside].any())


def laboratory_scores(
    samples: gpd.GeoDataFrame, sites: Sites, analytes: pd.DataFrame
) -> LaboratoryScores:
    """Score laboratory values of every element.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        With the columns of each assay.
    sites : Sites
        Scored samples.
    analytes : pandas.DataFrame
        Contract `tables.ANALYTES`: which assay is a laboratory's.

    Returns
    -------
    LaboratoryScores
        The highest score where several laboratory assays have the element.
    """
    laboratory = tables.laboratory_assays(analytes)
    medium = sites.frame["medium"].to_numpy(dtype=object)
    media = sorted({str(m) for m in medium})
    z: dict[str, FloatArray] = {}
    present: dict[str, npt.NDArray[np.bool_]] = {}
    stems = {str(c).split("_ppm__")[0] for c in samples.columns if "_ppm__" in str(c)}
    for element in sorted(stems, key=element_rank):
        for assay in tables.assays_of(samples, element):
            if assay not in laboratory:
                continue
            values = tables.values_of(samples, element, assay)
            value, below = values.value[sites.row], values.below[sites.row]
            known = np.isfinite(value)
            score = np.full(len(value), np.nan)
            for m in media:
                here = known & (medium == m)
                score[here] = _score(value[here], below[here])
            z[element] = np.fmax(z[element], score) if element in z else score
            present[element] = present.get(element, np.zeros(len(value), dtype=bool)) | known
    gated, under = _gates(analytes, media)
    return LaboratoryScores(z, present, gated, under)


def _score(value: FloatArray, below: npt.NDArray[np.bool_]) -> FloatArray:
    out = np.full(len(value), np.nan)
    if len(value) < FEWEST or not (value > 0).any() or below.mean() > 0.4:
        return out
    log = np.log10(np.where(value > 0, value, np.nan))
    centre = np.nanmedian(log)
    spread = 1.4826 * np.nanmedian(np.abs(log - centre))
    if spread > 0:
        out = np.where(below, np.nan, (log - centre) / spread)
    return out


def _gates(
    analytes: pd.DataFrame, media: list[str]
) -> tuple[dict[str, set[str]], dict[str, dict[str, float]]]:
    accepted = analytes[
        analytes["accepted"].to_numpy(dtype=bool)
        & (analytes["source"] == "pxrf").to_numpy()
        & ~analytes["calibrated"].to_numpy(dtype=bool)
    ]
    gated: dict[str, set[str]] = {}
    under: dict[str, dict[str, float]] = {}
    for m in media:
        here = accepted[accepted["medium"].isna() | (accepted["medium"] == m)]
        elements = {str(e) for e in here["element"]}
        gated[m] = elements & XRF_NEVER
        under[m] = {e: XRF_ABOVE[e] for e in sorted(elements & set(XRF_ABOVE))}
    return gated, under


def confirmation(
    laboratory: LaboratoryScores, inside: IntArray, elements: list[str]
) -> tuple[int, int]:
    """Count laboratory values of the association inside an outline.

    Parameters
    ----------
    laboratory : LaboratoryScores
        Of all sites.
    inside : ndarray of int
        Sites in the outline.
    elements : list of str
        Elements of the association with a positive weight.

    Returns
    -------
    sent, confirmed : int
        Samples with a laboratory value of any of them; those beyond background (k = 2).
    """
    sent = np.zeros(len(inside), dtype=bool)
    high = np.zeros(len(inside), dtype=bool)
    for element in elements:
        if element not in laboratory.z:
            continue
        sent |= laboratory.present[element][inside]
        with np.errstate(invalid="ignore"):
            high |= laboratory.z[element][inside] >= CONFIRMS
    return int(sent.sum()), int(high.sum())
