"""What stands inside an outline: elements, contrast, peak, centre.

What lives here: plain numbers on the samples of one outline, the element condition included.
What does not: layers around it (`surroundings`), laboratory (`laboratory`), judgement (`criteria`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import element_rank
from geochem.model import tables
from geochem.targets.ground import Sites
from geochem.targets.laboratory import LaboratoryScores

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    import pandas as pd

    from geochem.model.evidence import Association

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

#: possible and probable anomaly, in robust standard deviations
POSSIBLE, PROBABLE = 2.0, 3.0
#: an element is measured densely when it is known in this share of the samples of the medium
DENSE = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Inside:
    """Numbers of one outline.

    Parameters
    ----------
    elements : tuple of str
        Beyond k = 2 in at least one sample, toward the sign of the association, strongest first.
    hidden : tuple of str
        Those of the association that stand out against the whole survey (median z of 2 and more)
        but not against their own unit, which may hide them.
    meets : bool
        Whether the element condition holds.
    leading : str
        Strongest element with a positive weight (else the strongest of any sign).
    contrast : float
        Median of the leading element inside over its background median. [-]
    peak : float
        Its highest value inside. [mg/kg]
    centre : ndarray, shape (2,)
        Easting and northing, weighted by score. [m]
    anomalous_share : float
        Share of samples inside with an association score of at least one. [-]
    mean_score : float
        Mean association score inside. [-]
    """

    elements: tuple[str, ...]
    hidden: tuple[str, ...]
    meets: bool
    leading: str
    contrast: float
    peak: float
    centre: FloatArray
    anomalous_share: float
    mean_score: float


def describe_inside(
    sites: Sites,
    inside: IntArray,
    association: Association,
    number: int,
    samples: gpd.GeoDataFrame,
    backgrounds: pd.DataFrame,
    laboratory: LaboratoryScores,
    seek: Sequence[str],
) -> Inside:
    """Describe the samples of one outline.

    Parameters
    ----------
    sites : Sites
        All samples.
    inside : ndarray of int
        Those in the outline.
    association : Association
        The strongest one.
    number : int
        Its column in the scores.
    samples : geopandas.GeoDataFrame
        Accepted values.
    backgrounds : pandas.DataFrame
        Contract `tables.BACKGROUNDS`.
    laboratory : LaboratoryScores
        For the gate.
    seek : sequence of str
        Sought elements.

    Returns
    -------
    Inside
        Elements that are gated do not appear.
    """
    beyond, meets = elements_beyond(sites, inside, association, samples, laboratory, seek)
    leading = next((e for e in beyond if association.weights[e] > 0), beyond[0] if beyond else "")
    score = np.nan_to_num(sites.scores[inside, number])
    weight = np.maximum(score, 0.0) + 1e-6
    xy = sites.frame[["easting", "northing"]].to_numpy(dtype=float)[inside]
    return Inside(
        elements=tuple(beyond),
        hidden=_hidden_by_their_unit(sites, inside, association, beyond, samples, laboratory),
        meets=meets,
        leading=leading,
        contrast=_contrast(sites, inside, leading, samples, backgrounds) if leading else np.nan,
        peak=_highest(samples, sites.row[inside], leading) if leading else np.nan,
        centre=(weight[:, None] * xy).sum(axis=0) / weight.sum(),
        anomalous_share=float((score >= 1.0).mean()),
        mean_score=float(score.mean()),
    )


def elements_beyond(
    sites: Sites,
    inside: IntArray,
    association: Association,
    samples: gpd.GeoDataFrame,
    laboratory: LaboratoryScores,
    seek: Sequence[str],
) -> tuple[list[str], bool]:
    """List elements beyond k = 2 in at least one sample, and say whether they are enough.

    Parameters
    ----------
    sites, inside, association, samples, laboratory, seek
        As in `describe_inside`.

    Returns
    -------
    beyond : list of str
        Toward the sign of the association, most telling first, without gated ones.
    meets : bool
        Two of them; or one beyond k = 3 that is sought or, nothing being sought, carries most
        weight among those measured densely. An element all of whose high values inside stand alone
        (coarse gold) does not count.
    """
    medium = str(sites.frame["medium"].iloc[inside[0]])
    signed, top = {}, {}
    for element, weight in association.weights.items():
        if weight == 0:
            continue
        measured = element in sites.z.columns
        if measured:
            z = sites.z[element].to_numpy()[inside] * np.sign(weight)
        elif element in laboratory.z:  # its accepted value says nothing, a laboratory's does
            z = laboratory.z[element][inside] * np.sign(weight)
        else:
            continue
        highest = float(np.nan_to_num(z, nan=-np.inf).max(initial=-np.inf))
        # most are not beyond: whether they may count is asked of the others alone
        if highest < POSSIBLE or (
            measured
            and not laboratory.may_count(
                element, medium, inside, _highest(samples, sites.row[inside], element)
            )
        ):
            continue
        signed[element], top[element] = z, highest
    beyond = list(signed)
    # most telling first: weight times the mean of the three highest, so that one sample does not
    # decide and tellurium does not stand before copper
    own = association.weights
    beyond.sort(key=lambda e: (-round(abs(own[e]) * _best(signed[e]), 6), element_rank(e)))
    firm = [e for e in beyond if not _only_alone(signed[e], inside, sites.alone.get(e))]
    return beyond, _meets(firm, top, association, sites, medium, samples, seek)


def _only_alone(z: FloatArray, inside: IntArray, alone: npt.NDArray[np.bool_] | None) -> bool:
    return alone is not None and bool(alone[inside][z >= POSSIBLE].all())


def _hidden_by_their_unit(
    sites: Sites,
    inside: IntArray,
    association: Association,
    beyond: Sequence[str],
    samples: gpd.GeoDataFrame,
    laboratory: LaboratoryScores,
) -> tuple[str, ...]:
    medium = str(sites.frame["medium"].iloc[inside[0]])
    found = []
    for element, weight in association.weights.items():
        if weight <= 0 or element in beyond or element not in sites.z_all.columns:
            continue
        z = sites.z_all[element].to_numpy()[inside]
        if not np.isfinite(z).any() or np.nanmedian(z) < POSSIBLE:
            continue
        if laboratory.may_count(
            element, medium, inside, _highest(samples, sites.row[inside], element)
        ):
            found.append(element)
    return tuple(sorted(found, key=element_rank))


def _best(z: FloatArray) -> float:
    known = np.sort(z[np.isfinite(z)])[::-1]
    return float(known[:3].mean())


def _highest(samples: gpd.GeoDataFrame, row: IntArray, element: str) -> float:
    if f"{element}_ppm" not in samples.columns:
        return float("nan")
    value = samples[f"{element}_ppm"].to_numpy(dtype=float)[row]
    if f"{element}_ppm_below" in samples.columns:
        below = samples[f"{element}_ppm_below"].to_numpy(dtype=bool)[row]
        value = np.where(below, np.nan, value)
    return float(np.nanmax(value)) if np.isfinite(value).any() else float("nan")


def _contrast(
    sites: Sites,
    inside: IntArray,
    element: str,
    samples: gpd.GeoDataFrame,
    backgrounds: pd.DataFrame,
) -> float:
    import pandas as pd

    if f"{element}_ppm" not in samples.columns:
        return float("nan")
    values = tables.values_of(samples, element).value[sites.row[inside]]
    location = backgrounds.drop_duplicates(["medium", "domain", "element"]).set_index(
        ["medium", "domain", "element"]
    )["location"]
    here = sites.frame.iloc[inside]
    at = pd.MultiIndex.from_arrays(
        [here["medium"], here["domain"], np.full(len(here), element, dtype=object)]
    )
    usual = 10.0 ** location.reindex(at).to_numpy(dtype=float)
    known = np.isfinite(values) & np.isfinite(usual)
    if not known.any():
        return float("nan")
    return float(np.median(values[known]) / np.median(usual[known]))


def _meets(
    beyond: list[str],
    top: dict[str, float],
    association: Association,
    sites: Sites,
    medium: str,
    samples: gpd.GeoDataFrame,
    seek: Sequence[str],
) -> bool:
    """Apply the element condition: two beyond k = 2, or the one that matters beyond k = 3."""
    if len(beyond) >= 2:
        return True
    probable = [e for e in beyond if top[e] >= PROBABLE]
    if not probable:
        return False
    if seek:
        return bool(set(probable) & set(seek))
    return heaviest_dense(association, sites, medium, samples) in probable


def heaviest_dense(
    association: Association, sites: Sites, medium: str, samples: gpd.GeoDataFrame
) -> str:
    """Name the element that carries most weight among those measured densely; may be empty."""
    rows = sites.row[(sites.frame["medium"] == medium).to_numpy()]
    best, name = 0.0, ""
    for element in sorted(association.weights, key=element_rank):
        if element not in sites.z.columns or f"{element}_ppm" not in samples.columns:
            continue
        known = np.isfinite(samples[f"{element}_ppm"].to_numpy(dtype=float)[rows])
        weight = abs(association.weights[element])
        if len(known) and known.mean() >= DENSE and weight > best + 1e-12:
            best, name = weight, element
    return name
