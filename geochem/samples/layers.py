"""Which polygon each sample lies in: every polygon layer becomes a text column of its name."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import DataRefused
from geochem.model.finding import Finding, name_some

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt

    from geochem.model.layers import Layer, Layers

    Text = npt.NDArray[np.object_]

UNMAPPED = "unmapped"
#: drawn or measured against, never joined
NOT_JOINED = frozenset(
    {"streams", "structures", "elevation", "workings", "access", "drilled", "image"}
)
#: polygons that lie in one another by their nature: the smallest one counts
NESTED = frozenset({"catchments"})
#: only inside or outside matters
IN_OR_OUT = frozenset({"boundary", "keep_out"})


def join_layers(
    x: npt.ArrayLike, y: npt.ArrayLike, layers: Layers, *, taken: dict[str, Text] | None = None
) -> tuple[dict[str, Text], tuple[Finding, ...]]:
    """Give each sample the name of the polygon it lies in, layer by layer.

    A sample on a border that two polygons share, or where polygons of one layer overlap, belongs
    to the polygon whose name comes first in the alphabet; of ``catchments``, which lie in one
    another, to the smallest. Outside all polygons it is
    ``"unmapped"``; of ``boundary`` and ``keep_out`` it is ``"inside"`` or ``"outside"``. Layers
    that are not polygons, and those with a meaning of their own (streams, structures, workings,
    access, drilled), are not joined.

    Parameters
    ----------
    x, y : array_like, shape (n_samples,)
        Positions in the campaign CRS; NaN gives None. [m]
    layers : Layers
        In the campaign CRS.
    taken : dict of str to ndarray of object, optional
        Columns that exist already; one that is empty throughout may be filled.

    Returns
    -------
    columns : dict of str to ndarray of object, shape (n_samples,)
        By layer name, in alphabetical order.
    findings : tuple of Finding
        ``layer-overlap``, ``layer-unmapped``.

    Raises
    ------
    DataRefused
        If the field log already says something in a column of the layer's name.
    """
    east, north = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    columns: dict[str, Text] = {}
    findings: list[Finding] = []
    clashes = []
    for name in sorted(layers.vector):
        layer = layers.vector[name]
        if name in NOT_JOINED:
            continue
        polygons = _polygons(layer.frame)
        if not len(polygons):
            continue
        if taken is not None and name in taken and any(v is not None for v in taken[name]):
            clashes.append(
                f"the layer '{name}' would overwrite the column '{name}' of the field log; "
                "rename one of them (the layer in the campaign file, or the column)."
            )
            continue
        columns[name], found = _join_one(east, north, layer, polygons)
        findings += found
    if clashes:
        raise DataRefused(clashes)
    return columns, tuple(findings)


def _polygons(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    kinds = frame.geometry.geom_type
    return frame.loc[kinds.isin(["Polygon", "MultiPolygon"]) & ~frame.geometry.is_empty]


def _names(layer: Layer, polygons: gpd.GeoDataFrame) -> list[str]:
    if layer.name in IN_OR_OUT or layer.field is None or layer.field not in polygons.columns:
        return ["inside"] * len(polygons)
    return [
        "unnamed" if v is None or v != v or not str(v).strip() else str(v).strip()
        for v in polygons[layer.field]
    ]


def _join_one(
    x: npt.NDArray[np.float64],
    y: npt.NDArray[np.float64],
    layer: Layer,
    polygons: gpd.GeoDataFrame,
) -> tuple[Text, list[Finding]]:
    import shapely

    out: Text = np.full(x.size, None, dtype=object)
    placed = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    outside = "outside" if layer.name in IN_OR_OUT else UNMAPPED
    out[placed] = outside
    names = _names(layer, polygons)
    shapes = polygons.geometry.to_numpy()
    nested = layer.name in NESTED
    if nested:
        # the smallest first: a catchment lies inside those downstream of it
        by_size = sorted(zip(np.round(shapely.area(shapes), 3), names, strict=True))
        order = list(dict.fromkeys(name for _, name in by_size))
    else:
        order = sorted(set(names))
    rank = np.array([order.index(n) for n in names])
    points = shapely.points(x[placed], y[placed])
    point, polygon = shapely.STRtree(shapes).query(points, predicate="intersects")
    if point.size:
        best = np.full(placed.size, len(order))
        np.minimum.at(best, point, rank[polygon])
        hit = best < len(order)
        out[placed[hit]] = np.array(order, dtype=object)[best[hit]]
    findings = []
    several = np.flatnonzero(np.bincount(point, minlength=placed.size) > 1)
    if several.size and not nested:
        # a border shared by neighbours is no overlap: ask for the inside proper
        among = np.isin(point, several)
        p, q = point[among], polygon[among]
        proper = shapely.contains_properly(shapes[q], points[p])
        inside: dict[int, set[int]] = {}
        for i, r in zip(p[proper], rank[q[proper]], strict=True):
            inside.setdefault(int(i), set()).add(int(r))
        doubtful = sorted(i for i, ranks in inside.items() if len(ranks) > 1)
        if doubtful:
            pairs = sorted({" / ".join(order[r] for r in sorted(inside[i])) for i in doubtful})
            findings.append(
                Finding(
                    "layer-overlap", "warning",
                    f"polygons of the layer '{layer.name}' overlap under {len(doubtful)} samples "
                    f"({name_some(pairs)}); the name that comes first in the alphabet was taken.",
                    file=layer.path.name, column=layer.field,
                )
            )  # fmt: skip
    lost = int((out[placed] == UNMAPPED).sum())
    if lost and not nested:
        findings.append(
            Finding(
                "layer-unmapped", "warning" if lost == placed.size else "note",
                f"{lost} of {placed.size} samples lie in no polygon of the layer '{layer.name}' "
                f"and are '{UNMAPPED}' there.",
                file=layer.path.name,
            )
        )  # fmt: skip
    return out, findings
