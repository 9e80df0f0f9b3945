"""Stream sediments by catchment: area, rocks upstream, residual, productivity, decay.

A stream sediment speaks for the ground upstream of it and is never interpolated as a point. What
lives here: which catchment each sample closes, which lies inside which, the areas of rock units.
The mathematics stands in `geochem.stats.dilution`, outlines from elevation in `flow`, distances in
`network`; how catchments become targets in `geochem.targets`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.elements import element_rank
from geochem.errors import MissingExtra, WrongCall
from geochem.model.catchments import STREAM, SedimentCatchments, smallest_holding
from geochem.model.finding import Finding, name_some
from geochem.model.layers import Layer, Layers
from geochem.model.tables import elements_of, values_of
from geochem.stats.dilution import productivity, rock_background
from geochem.surfaces.entering import entering
from geochem.surfaces.flow import catchments_from_elevation
from geochem.surfaces.network import distances_along

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    import pandas as pd

    from geochem.model.evidence import Evidence

    FloatArray = npt.NDArray[np.float64]

#: catchments from which rocks are told apart
_FEWEST = 10
_MOST_BELOW = 0.4
#: a catchment lies inside another when this share of it does
_INSIDE = 0.9
#: a rise above what is expected, as a share of it, that is followed downstream
_RISE = 0.25
DECAY = (
    "element", "catchment", "downstream", "distance_m", "rise", "expected_rise", "measured_rise",
    "ratio",
)  # fmt: skip


def sediment_catchments(
    samples: gpd.GeoDataFrame,
    evidence: Evidence,
    layers: Layers,
    *,
    elements: Sequence[str] | None = None,
) -> tuple[SedimentCatchments | None, tuple[Finding, ...]]:
    """Describe the catchments of stream sediments.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        All media.
    evidence : Evidence
        Counted elements.
    layers : Layers
        ``catchments`` (polygons, the whole ground upstream, one in another), else ``elevation``;
        ``geology`` and ``streams`` where there are.
    elements : sequence of str, optional
        Default: the three counted ones with most sediments beyond z = 2.

    Returns
    -------
    catchments : SedimentCatchments or None
        None without stream sediments or without any outline.
    findings : tuple of Finding
        What could not be done and why.
    """
    mine = samples.loc[(samples["medium"] == STREAM).to_numpy()].reset_index(drop=True)
    if not len(mine):
        return None, ()
    shapes, names, owner, origin, findings = _outlines(mine, layers)
    held = owner >= 0
    if not held.any():
        return None, tuple(findings)
    if not held.all():
        lost = mine["sample_id"].to_numpy()[~held].tolist()
        findings.append(
            Finding(
                "sediment-outside-catchments", "note",
                f"{len(lost)} stream sediments lie in no catchment ({name_some(lost)}); nothing is "
                "said of their ground.",
            )
        )  # fmt: skip
    used = sorted(set(owner[held].tolist()), key=lambda i: str(names[i]))
    number = {i: k for k, i in enumerate(used)}
    unit = np.array([number.get(i, -1) for i in owner.tolist()])
    frame = _frame(mine, [shapes[i] for i in used], [str(names[i]) for i in used], unit, layers)
    worked = sorted(set(elements), key=element_rank) if elements else _leading(evidence)
    frame, rocks, decay, worked, noticed = _elements(mine, frame, unit, worked, layers)
    return (
        SedimentCatchments(frame, decay, rocks, tuple(worked), origin),
        tuple(findings + noticed),
    )


def with_catchments(layers: Layers, found: SedimentCatchments | None) -> Layers:
    """Add outlines made from elevation as the layer that the user did not give.

    Parameters
    ----------
    layers : Layers
        Of the campaign.
    found : SedimentCatchments, optional
        What was outlined.

    Returns
    -------
    Layers
        With a layer ``catchments``; the same where there is one, or none was made.
    """
    if found is None or "catchments" in layers.vector or layers.elevation is None:
        return layers
    made = Layer(
        "catchments", found.frame[["catchment", "geometry"]], "catchment", layers.elevation
    )
    return Layers({**layers.vector, "catchments": made}, layers.image, layers.elevation)


def _outlines(mine: gpd.GeoDataFrame, layers: Layers) -> tuple[Any, Any, Any, str, list[Finding]]:
    """Give polygons, names, the polygon of each sample, where they come from, and findings."""
    x, y = mine.geometry.x.to_numpy(), mine.geometry.y.to_numpy()
    layer = layers.vector.get("catchments")
    nothing = np.empty(0, dtype=object), np.empty(0, dtype=object), np.full(len(mine), -1)
    if layer is not None and len(layer.frame):
        shapes = layer.frame.geometry.to_numpy()
        if layer.field is not None and layer.field in layer.frame.columns:
            names = layer.frame[layer.field].astype(str).to_numpy(dtype=object)
        else:
            names = np.array([f"catchment {i + 1}" for i in range(len(shapes))], dtype=object)
        owner, _ = smallest_holding(shapes, names, x, y)
        return shapes, names, owner, "layer", []
    if layers.elevation is None:
        return *nothing, "layer", []
    try:
        made = catchments_from_elevation(layers.elevation, x, y, mine.crs)
    except (MissingExtra, WrongCall) as error:
        return *nothing, "elevation", [
            Finding("catchments-not-outlined", "note", f"No catchments from elevation: {error}")
        ]  # fmt: skip
    names = mine["sample_id"].astype(str).to_numpy(dtype=object)
    owner = np.where([shape is not None for shape in made], np.arange(len(mine)), -1)
    # samples whose outlines are one and the same share a catchment
    seen: dict[bytes, int] = {}
    for i in np.flatnonzero(owner >= 0).tolist():
        owner[i] = seen.setdefault(made[i].normalize().wkb, i)
    return made, names, owner, "elevation", []


def _frame(
    mine: gpd.GeoDataFrame,
    shapes: list[Any],
    names: list[str],
    unit: npt.NDArray[np.intp],
    layers: Layers,
) -> gpd.GeoDataFrame:
    """Make the table of catchments: area, nesting, rocks."""
    import geopandas as gpd
    import pandas as pd
    import shapely

    area = shapely.area(shapes)
    n = len(shapes)
    tree = shapely.STRtree(shapes)
    small, large = tree.query(shapes, predicate="intersects")
    inside = np.zeros((n, n), dtype=bool)
    for i, j in zip(small.tolist(), large.tolist(), strict=True):
        if i != j and area[j] > area[i] * (1 + 1e-6):
            shared = shapely.area(shapely.intersection(shapes[i], shapes[j]))
            inside[i, j] = shared >= _INSIDE * area[i]
    below = [
        min(np.flatnonzero(inside[i]).tolist(), key=lambda j: area[j], default=-1)
        for i in range(n)
    ]
    ids = mine["sample_id"].astype(str).to_numpy()
    at = np.array([_outlet(mine, unit == k) for k in range(n)])
    distance = np.full(n, np.nan)
    streams = layers.get("streams")
    linked = [k for k in range(n) if below[k] >= 0]
    if streams is not None and len(streams) and linked:
        there = at[[below[k] for k in linked]]
        distance[linked] = distances_along(streams, at[linked], there)
    table = {
        "catchment": np.array(names, dtype=object),
        "samples": np.array([", ".join(ids[unit == k]) for k in range(n)], dtype=object),
        "area_km2": np.round(area / 1e6, 4),
        "upstream": inside.sum(axis=0),
        "downstream": np.array([None if j < 0 else names[j] for j in below], dtype=object),
        "distance_m": np.round(distance, 0),
    }
    columns = {k: pd.Series(v, dtype=v.dtype) for k, v in table.items()}
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=mine.crs)


def _outlet(mine: gpd.GeoDataFrame, rows: npt.NDArray[np.bool_]) -> tuple[float, float]:
    """Give the mean place of the samples of one catchment."""
    return float(mine.geometry.x[rows].mean()), float(mine.geometry.y[rows].mean())


def _rock_shares(frame: gpd.GeoDataFrame, layers: Layers) -> tuple[FloatArray, list[str]]:
    """Give the area of each rock unit in each catchment as a share; one unit when none is known."""
    import shapely

    layer = layers.vector.get("geology")
    shapes = frame.geometry.to_numpy()
    if layer is None or not len(layer.frame):
        return np.ones((len(frame), 1)), ["all ground"]
    named = layer.field is not None and layer.field in layer.frame.columns
    texts = layer.frame[layer.field] if named else ["mapped"] * len(layer.frame)
    units = [str(t) if t is not None and t == t else "unnamed" for t in texts]
    order = sorted(set(units))
    out = np.zeros((len(shapes), len(order) + 1))
    grounds = layer.frame.geometry.to_numpy()
    one, other = shapely.STRtree(grounds).query(shapes, predicate="intersects")
    shared = shapely.area(shapely.intersection(shapes[one], grounds[other]))
    for i, j, a in zip(one.tolist(), other.tolist(), shared.tolist(), strict=True):
        out[i, order.index(units[j])] += a
    area = shapely.area(shapes)
    out[:, -1] = np.maximum(area - out.sum(axis=1), 0.0)
    out = out / area[:, None]
    kept = out.max(axis=0) > 1e-3
    return out[:, kept], [name for name, k in zip([*order, "unmapped"], kept, strict=True) if k]


def _elements(
    mine: gpd.GeoDataFrame,
    frame: gpd.GeoDataFrame,
    unit: npt.NDArray[np.intp],
    elements: Sequence[str],
    layers: Layers,
) -> tuple[gpd.GeoDataFrame, pd.DataFrame, pd.DataFrame, list[str], list[Finding]]:
    """Work out each element: expected from the rocks, residual, productivity, decay."""
    import pandas as pd

    shares, units = _rock_shares(frame, layers)
    out = frame.copy()
    out["rocks"] = np.array(
        [
            ", ".join(
                f"{units[j]} {100 * row[j]:.0f} %" for j in np.argsort(-row) if row[j] >= 0.05
            )
            for row in shares
        ],
        dtype=object,
    )
    rocks: list[dict[str, Any]] = []
    decay: list[dict[str, Any]] = []
    worked, findings = [], []
    area = out["area_km2"].to_numpy(dtype=float)
    for element in elements:
        if element not in elements_of(mine):
            continue
        value, below, above, err = values_of(mine, element)
        known = np.isfinite(value) & (value > 0)
        part = float(below[known].mean()) if known.any() else 1.0
        if known.sum() < _FEWEST or part > _MOST_BELOW:
            findings.append(
                Finding(
                    "sediment-element", "note",
                    f"stream sediment: no background from rocks for {element}: {int(known.sum())} "
                    f"values, {part:.0%} of them below detection (at least {_FEWEST} and at most "
                    f"{_MOST_BELOW:.0%} are needed).",
                    element=element,
                )
            )  # fmt: skip
            continue
        log = entering(value, below, err, above).log
        here = [unit == k for k in range(len(out))]
        mean = np.array(
            [10 ** np.nanmean(log[m]) if np.isfinite(log[m]).any() else np.nan for m in here]
        )
        found = rock_background(mean, shares)
        yielded = productivity(found.residual, np.maximum(area, 1e-6))
        out[f"{element}_ppm"] = mean
        out[f"{element}_expected"] = found.expected
        out[f"{element}_residual"] = found.residual
        out[f"{element}_productivity"] = yielded
        rocks += [
            {"element": element, "unit": name, "background": c, "method": found.method,
             "explained": found.explained}
            for name, c in zip(units, found.coefficients.tolist(), strict=True)
        ]  # fmt: skip
        decay += _decay(element, out, found.residual, area)
        worked.append(element)
    columns = ["element", "unit", "background", "method", "explained"]
    return (
        out[[c for c in out.columns if c != "geometry"] + ["geometry"]],
        pd.DataFrame(rocks, columns=columns),
        pd.DataFrame(decay, columns=list(DECAY)),
        worked,
        findings,
    )


def _decay(
    element: str, frame: gpd.GeoDataFrame, residual: FloatArray, area: FloatArray
) -> list[dict[str, Any]]:
    """Compare each rise with the one that dilution leaves in the next sampled catchment."""
    row = {name: k for k, name in enumerate(frame["catchment"])}
    expected_here = frame[f"{element}_expected"].to_numpy(dtype=float)
    found = []
    for k, (name, below) in enumerate(zip(frame["catchment"], frame["downstream"], strict=True)):
        if below not in row or not residual[k] >= _RISE * expected_here[k]:
            continue
        j = row[below]
        expected = residual[k] * area[k] / area[j]
        found.append(
            {
                "element": element, "catchment": name, "downstream": below,
                "distance_m": frame["distance_m"].iloc[k], "rise": residual[k],
                "expected_rise": expected, "measured_rise": residual[j],
                "ratio": residual[j] / expected,
            }
        )  # fmt: skip
    return found


def _leading(evidence: Evidence) -> list[str]:
    table = evidence.anomalies
    rows = (table["medium"] == STREAM).to_numpy()
    count = {
        e: int((table[f"{e}_z"].to_numpy()[rows] > 2).sum())
        for e in evidence.elements
        if f"{e}_z" in table.columns
    }
    return sorted(count, key=lambda e: (-count[e], element_rank(e)))[:3]
