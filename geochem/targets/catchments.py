"""Stream sediments: a sample speaks for the ground upstream, so targets are catchments.

What lives here: which sample stands in which catchment, and the catchments made ready to be judged
against the same null as grids. Hulls, surfaces and local statistics on the points are never used.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.model.catchments import STREAM, smallest_holding
from geochem.targets.ground import Sites
from geochem.targets.null import (
    Background,
    Part,
    describe_background,
    standardised,
    without_spikes,
)

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

#: a neighbouring catchment joins a target when its mean score reaches this
JOINS = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Catchments:
    """Sampled catchments.

    Parameters
    ----------
    name : tuple of str
        Of each, in a fixed order.
    shape : tuple of shapely geometry
        Polygons.
    sites : ndarray of int, shape (n,)
        Samples, as rows of `Sites`.
    unit : ndarray of int, shape (n,)
        Catchment of each sample.
    touching : tuple of ndarray of int
        Sampled neighbours of each catchment.
    """

    name: tuple[str, ...]
    shape: tuple[BaseGeometry, ...]
    sites: IntArray
    unit: IntArray
    touching: tuple[IntArray, ...]

    def members(self, unit: int, mean: FloatArray) -> list[int]:
        """Give the catchments that make one target: it and the touching ones that agree."""
        return [unit, *(int(t) for t in self.touching[unit] if mean[t] >= JOINS)]


def sampled_catchments(
    sites: Sites, layer: gpd.GeoDataFrame, field: str | None
) -> Catchments | None:
    """Assign stream-sediment samples to the smallest catchment that holds them.

    Parameters
    ----------
    sites : Sites
        All samples.
    layer : geopandas.GeoDataFrame
        Polygons.
    field : str, optional
        Column with their names.

    Returns
    -------
    Catchments or None
        None when no sample stands in any.
    """
    import shapely

    rows = np.flatnonzero((sites.frame["medium"] == STREAM).to_numpy())
    shapes = layer.geometry.to_numpy()
    named = field is not None and field in layer.columns
    names = layer[field].astype(str).to_numpy() if named else None
    owner, order = smallest_holding(
        shapes, names, sites.frame["easting"].to_numpy()[rows],
        sites.frame["northing"].to_numpy()[rows],
    )  # fmt: skip
    held = owner >= 0
    if not held.any():
        return None
    used = [i for i in order if (owner == i).any()]
    number = {i: k for k, i in enumerate(used)}
    chosen = [shapes[i] for i in used]
    tree = shapely.STRtree(chosen)
    left, right = tree.query(chosen, predicate="intersects")
    touching = tuple(np.sort(right[(left == k) & (right != k)]) for k in range(len(used)))
    return Catchments(
        tuple(f"catchment {k + 1}" if names is None else str(names[i])
              for k, i in enumerate(used)),
        tuple(chosen),
        rows[held],
        np.array([number[i] for i in owner[held]], dtype=np.intp),
        touching,
    )  # fmt: skip


def catchment_part(sites: Sites, catchments: Catchments, exclude: npt.NDArray[np.bool_]) -> Part:
    """Make catchments ready to be judged: each alone, and each with those that touch it.

    Parameters
    ----------
    sites : Sites
        All samples.
    catchments : Catchments
        Sampled ones.
    exclude : ndarray of bool, shape (n,)
        Samples inside targets already found.

    Returns
    -------
    Part
        Units are catchments; a single sample cannot carry one, because scores are winsorised.
    """
    xy = sites.frame[["easting", "northing"]].to_numpy(dtype=float)[catchments.sites]
    scores = np.nan_to_num(sites.scores[catchments.sites])
    spacing = _typical_distance(xy)
    background = describe_background(xy, scores, spacing, exclude)
    m = len(catchments.shape)
    own = [np.flatnonzero(catchments.unit == k) for k in range(m)]
    pooled = [
        np.sort(np.concatenate([own[k], *(own[int(t)] for t in catchments.touching[k])]))
        for k in range(m)
    ]
    beside = _beside(pooled, catchments.unit, xy)
    values = without_spikes(standardised(scores, background), beside)
    return Part(
        STREAM, xy, np.ones(len(xy)), values, background,
        [_means(own, xy, background), _means(pooled, xy, background)],
        np.empty((0, 2), dtype=np.intp), np.arange(m), beside, 1, 1,
    )  # fmt: skip


def _beside(pooled: list[IntArray], unit: IntArray, xy: FloatArray, most: int = 8) -> IntArray:
    """List the nearest samples of the same and of touching catchments, padded with its own."""
    out = np.repeat(np.arange(len(unit))[:, None], most, axis=1)
    for i, u in enumerate(unit):
        others = pooled[u][pooled[u] != i]
        apart = np.round(np.hypot(*(xy[others] - xy[i]).T), 3)
        near = others[np.lexsort([others, apart])][:most]
        out[i, : len(near)] = near
    return out


def _typical_distance(xy: FloatArray) -> float:
    from scipy.spatial import cKDTree

    if len(xy) < 2:
        return 1000.0
    nearest = cKDTree(xy).query(xy, k=2)[0][:, 1]
    return max(float(np.median(nearest)), 1.0)


def _means(groups: list[IntArray], xy: FloatArray, background: Background) -> object:
    """Give the mean of each group over its standard deviation in continuous background."""
    from scipy.sparse import csr_array

    nugget = float(background.nugget.mean()) if len(background.nugget) else 1.0
    reach = float(np.exp(np.log(background.range_m).mean())) if len(background.range_m) else 1.0
    rows, columns, data = [], [], []
    for k, group in enumerate(groups):
        p = xy[group]
        apart = np.sqrt(((p[:, None] - p[None]) ** 2).sum(axis=2))
        covariance = (1 - nugget) * np.exp(-apart / reach) + nugget * np.eye(len(group))
        weight = 1.0 / np.sqrt(covariance.sum())
        rows += [k] * len(group)
        columns += group.tolist()
        data += [weight] * len(group)
    return csr_array((data, (rows, columns)), shape=(len(groups), len(xy)))
