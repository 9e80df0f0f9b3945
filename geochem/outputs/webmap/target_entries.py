"""Targets, leads, follow-up and holes as plain values for the page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.webmap.vector_layers import shapes_of

if TYPE_CHECKING:
    import geopandas as gpd

    from geochem.model.bundle import Bundle
    from geochem.outputs.webmap.points import Points


def target_entries(bundle: Bundle, points: Points, origin: tuple[float, float]) -> dict[str, Any]:
    """Pack everything that `TargetReport` proposes.

    Parameters
    ----------
    bundle : Bundle
        All records.
    points : Points
        What is drawn, for the numbers of the samples in an outline.
    origin : tuple of float
        Easting and northing of zero. [m]

    Returns
    -------
    dict
        ``targets`` (all columns, ``shapes, criteria, members``), ``leads, follow_up, holes`` and
        ``why_none``.
    """
    import pandas as pd

    report = bundle.targets
    at = pd.Index(points.ids).get_indexer(pd.Index(report.members["sample_id"]))
    members: dict[str, list[int]] = {}
    for target, i in zip(report.members["target"], at, strict=True):
        if i >= 0:
            members.setdefault(str(target), []).append(int(i))
    criteria: dict[str, list[dict[str, Any]]] = {}
    for row in _rows(report.criteria):
        criteria.setdefault(str(row.pop("target", "")), []).append(row)
    targets = _with_shapes(report.targets, origin)
    for target in targets:
        target["members"] = members.get(str(target["target"]), [])
        target["criteria"] = criteria.get(str(target["target"]), [])
    return {
        "targets": targets,
        "leads": _with_shapes(report.leads, origin),
        "follow_up": _with_shapes(report.follow_up, origin),
        "holes": _with_shapes(report.holes, origin),
        "why_none": report.why_none,
    }


def _with_shapes(frame: gpd.GeoDataFrame, origin: tuple[float, float]) -> list[dict[str, Any]]:
    if not len(frame):
        return []
    rows = _rows(frame.drop(columns=frame.geometry.name))
    centres = frame.geometry.representative_point()
    for row, shape, centre in zip(rows, frame.geometry, centres, strict=True):
        row["shapes"] = [] if shape is None or shape.is_empty else shapes_of(shape, origin)
        if row["shapes"]:
            row["at"] = [round((centre.x - origin[0]) * 10), round((centre.y - origin[1]) * 10)]
    return [row for row in rows if row["shapes"]]


def _rows(frame: Any) -> list[dict[str, Any]]:
    return [
        {str(name): plain(value) for name, value in zip(frame.columns, row, strict=True)}
        for row in frame.itertuples(index=False, name=None)
    ]


def plain(value: Any) -> Any:
    """Turn a cell of a table into what JSON knows; numbers to six digits.

    Parameters
    ----------
    value : any
        A cell.

    Returns
    -------
    str, int, float, bool or None
        None for everything that is missing.
    """
    import pandas as pd

    if value is None or value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return round(float(value), 4) if np.isfinite(value) else None
    return str(value)
