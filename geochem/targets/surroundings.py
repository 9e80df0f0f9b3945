"""What lies in and around an outline: layers, rock chips, cover, data quality.

What lives here: counts and distances, nothing judged. What does not: criteria and sentences.
Rock chips are picked, so they have no background of their own: a chip supports a target when an
element of its association stands far above the usual upper crust.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import XRF_NEVER
from geochem.model.cover import RESIDUAL, TRANSPORTED

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    import pandas as pd
    from shapely.geometry.base import BaseGeometry

    from geochem.model.layers import Layers

#: upper continental crust, mg/kg (Rudnick, R. L. and Gao, S. 2003, Treatise on Geochemistry
#: 3:1-64, table 3; from memory)
UPPER_CRUST: dict[str, float] = {
    "Li": 24.0, "Be": 2.1, "B": 17.0, "Sc": 14.0, "V": 97.0, "Cr": 92.0,
    "Mn": 774.0, "Co": 17.3, "Ni": 47.0, "Cu": 28.0, "Zn": 67.0, "Ga": 17.5, "Ge": 1.4,
    "As": 4.8, "Se": 0.09, "Rb": 84.0, "Sr": 320.0, "Y": 21.0, "Zr": 193.0, "Nb": 12.0,
    "Mo": 1.1, "Ag": 0.053, "Cd": 0.09, "In": 0.056, "Sn": 2.1, "Sb": 0.4, "Cs": 4.9,
    "Ba": 628.0, "La": 31.0, "Ce": 63.0, "Hf": 5.3, "Ta": 0.9, "W": 1.9, "Re": 0.000198,
    "Pt": 0.0005, "Pd": 0.00052, "Au": 0.0015, "Hg": 0.05, "Tl": 0.9, "Pb": 17.0, "Bi": 0.16,
    "Th": 10.5, "U": 2.7,
}  # fmt: skip
#: a rock chip supports from this many times the crust (common practice, no source)
CHIP_FACTOR = 10.0
#: beyond this distance workings and drilled holes do not count [m]
FAR_WORKINGS, FAR_DRILLED = 200.0, 500.0
#: fewer elevations tell no slope
FEWEST_SLOPE = 6


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """What lies in and around one outline; None means that nothing is known about it.

    Parameters
    ----------
    chips, chips_high : int
        Rock chips inside, and those far above the crust in an element of the association.
    chip_text : str
        The best chip in words; empty when none is high.
    transported, residual : float or None
        Share of the samples on transported cover, and on residual ground.
    workings, drilled : float or None
        Distance from the outline. [m]
    holes_inside : int
        Drilled holes that touch the outline.
    keep_out : float
        Share of the outline inside keep-out. [-]
    quality : float or None
        Mean verdict of the batches of the elements that count: pass 1, warn 0.5, fail 0.
    road : float or None
        Distance from the nearest road or track. [m]
    slope, downhill : float or None
        Mean slope of the ground, and where it falls to, clockwise from grid north. [degrees]
    """

    chips: int
    chips_high: int
    chip_text: str
    transported: float | None
    residual: float | None
    workings: float | None
    drilled: float | None
    holes_inside: int
    keep_out: float
    quality: float | None
    road: float | None = None
    slope: float | None = None
    downhill: float | None = None


def union_of(frame: gpd.GeoDataFrame | None) -> BaseGeometry | None:
    """Join all shapes of a layer; None when there are none."""
    if frame is None or not len(frame):
        return None
    whole = frame.geometry.union_all()
    return None if whole.is_empty else whole


def look_around(
    polygon: BaseGeometry,
    rows: npt.NDArray[np.intp],
    elements: Sequence[str],
    weights: Mapping[str, float],
    samples: gpd.GeoDataFrame,
    layers: Layers,
    verdicts: pd.DataFrame,
    analytes: pd.DataFrame,
) -> Surroundings:
    """Look at everything around one outline.

    Parameters
    ----------
    polygon : shapely geometry
        The outline.
    rows : ndarray of int
        Rows of its samples in `samples`.
    elements : sequence of str
        Elements beyond threshold inside.
    weights : mapping of str to float
        Of the association.
    samples : geopandas.GeoDataFrame
        All samples, rock chips among them.
    layers : Layers
        Around them.
    verdicts, analytes : pandas.DataFrame
        Contracts `tables.QUALITY`, `tables.ANALYTES`.

    Returns
    -------
    Surroundings
        For criteria and sentences.
    """
    chips, high, text = _rock_chips(polygon, weights, samples, analytes)
    transported, residual = _cover(samples, rows)
    drilled = layers.get("drilled")
    keep_out = union_of(layers.get("keep_out"))
    slope, downhill = slope_of(samples, rows)
    return Surroundings(
        chips=chips,
        chips_high=high,
        chip_text=text,
        transported=transported,
        residual=residual,
        workings=_distance(polygon, layers.get("workings")),
        drilled=_distance(polygon, drilled),
        holes_inside=0 if drilled is None else int(drilled.geometry.intersects(polygon).sum()),
        keep_out=0.0 if keep_out is None else polygon.intersection(keep_out).area / polygon.area,
        quality=_quality(verdicts, elements, analytes),
        road=_distance(polygon, layers.get("access")),
        slope=slope,
        downhill=downhill,
    )


def slope_of(
    samples: gpd.GeoDataFrame, rows: npt.NDArray[np.intp]
) -> tuple[float | None, float | None]:
    """Give the mean slope of the ground from the elevations of samples.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        With ``elevation``, if it was recorded. [m]
    rows : ndarray of int
        Those of the target.

    Returns
    -------
    slope, downhill : float or None
        Of the plane that fits best; None with fewer than `FEWEST_SLOPE` elevations, or when they
        stand in one line. [degrees], the second clockwise from grid north
    """
    if "elevation" not in samples.columns:
        return None, None
    height = samples["elevation"].to_numpy(dtype=float)[rows]
    known = np.isfinite(height)
    if known.sum() < FEWEST_SLOPE:
        return None, None
    points = samples.geometry.iloc[rows[known]]
    xy = np.column_stack([points.x.to_numpy(), points.y.to_numpy()])
    xy = xy - xy.mean(axis=0)
    if np.linalg.svd(xy, compute_uv=False)[1] < 0.1 * np.linalg.norm(xy):
        return None, None  # a single line tells no slope across it
    plane = np.linalg.lstsq(xy, height[known] - height[known].mean(), rcond=None)[0]
    slope = float(np.degrees(np.arctan(np.hypot(*plane))))
    return slope, float(np.degrees(np.arctan2(-plane[0], -plane[1])) % 360.0)


def _distance(polygon: BaseGeometry, frame: gpd.GeoDataFrame | None) -> float | None:
    if frame is None or not len(frame):
        return None
    return float(frame.geometry.distance(polygon).min())


def _rock_chips(
    polygon: BaseGeometry,
    weights: Mapping[str, float],
    samples: gpd.GeoDataFrame,
    analytes: pd.DataFrame,
) -> tuple[int, int, str]:
    rock = np.flatnonzero((samples["medium"] == "rock").to_numpy())
    here = rock[samples.geometry.iloc[rock].within(polygon).to_numpy()]
    if not len(here):
        return 0, 0, ""
    here = here[np.argsort(samples["sample_id"].astype(str).to_numpy()[here], kind="stable")]
    ids = samples["sample_id"].astype(str).to_numpy()
    pxrf = analytes[(analytes["source"] == "pxrf") & analytes["accepted"].to_numpy(dtype=bool)]
    only_xrf = set(pxrf.loc[~pxrf["calibrated"].to_numpy(dtype=bool), "element"]) & XRF_NEVER
    high = np.zeros(len(here), dtype=bool)
    best, text = 0.0, ""
    for element in sorted(weights):
        column = f"{element}_ppm"
        usual = UPPER_CRUST.get(element)
        if weights[element] <= 0 or usual is None or column not in samples.columns:
            continue
        if element in only_xrf:
            continue
        value = samples[column].to_numpy(dtype=float)[here]
        if f"{column}_below" in samples.columns:
            value = np.where(samples[f"{column}_below"].to_numpy(dtype=bool)[here], np.nan, value)
        times = value / usual
        with np.errstate(invalid="ignore"):
            high |= times >= CHIP_FACTOR
        if np.isfinite(times).any() and np.nanmax(times) > max(best, CHIP_FACTOR):
            k = int(np.nanargmax(times))
            best = float(times[k])
            rounded = float(f"{value[k]:.3g}")
            text = f"{ids[here[k]]} with {rounded:g} mg/kg {element}, {best:.0f} times the crust"
    return len(here), int(high.sum()), text


def _cover(
    samples: gpd.GeoDataFrame, rows: npt.NDArray[np.intp]
) -> tuple[float | None, float | None]:
    if "regolith" not in samples.columns:
        return None, None
    words = [str(w).lower() for w in samples["regolith"].iloc[rows].dropna()]
    words = [w for w in words if w and w != "unmapped"]
    if not words:
        return None, None
    moved = [any(part in w for part in TRANSPORTED) for w in words]
    home = [any(part in w for part in RESIDUAL) for w in words]
    return float(np.mean(moved)), float(np.mean(home))


def _quality(
    verdicts: pd.DataFrame, elements: Sequence[str], analytes: pd.DataFrame
) -> float | None:
    accepted = analytes[analytes["accepted"].to_numpy(dtype=bool)]
    pairs = set(zip(accepted["assay"], accepted["element"], strict=True))
    marks = {"pass": 1.0, "warn": 0.5, "fail": 0.0}
    found = [
        marks[v]
        for assay, element, v in zip(
            verdicts["assay"], verdicts["element"], verdicts["verdict"], strict=True
        )
        if v in marks and element in elements and ((assay, element) in pairs or not pairs)
    ]
    return float(np.mean(found)) if found else None
