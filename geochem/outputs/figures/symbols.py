"""Symbols of samples on maps: how large, in which order, graded or by medium."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.figures.layout import box_of
from geochem.outputs.figures.style import INK, PAPER, RAMP, STEPS, shape_of

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    from matplotlib.axes import Axes

    from geochem.outputs.figures.layout import Window

#: with more symbols than this a PDF holds them as a picture; text and lines stay vectors
RASTER_ABOVE = 5000


def positions(
    samples: gpd.GeoDataFrame,
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Give easting and northing of every row in metres."""
    points = samples.geometry
    return points.x.to_numpy(dtype=float), points.y.to_numpy(dtype=float)


def media_of(samples: gpd.GeoDataFrame) -> tuple[npt.NDArray[np.object_], list[str]]:
    """Give the medium of every row, and the media, most samples first.

    Returns
    -------
    medium : ndarray of str, shape (n_samples,)
        ``"not stated"`` where the field log has none.
    media : list of str
        Without repetition.
    """
    medium = samples["medium"].fillna("not stated").to_numpy(dtype=object)
    names, counts = np.unique(medium.astype(str), return_counts=True)
    order = sorted(zip(names.tolist(), counts.tolist(), strict=True), key=lambda p: (-p[1], p[0]))
    return medium, [name for name, _ in order]


def symbol_size(
    ax: Axes,
    x: npt.NDArray[np.float64],
    y: npt.NDArray[np.float64],
    window: Window,
    *,
    least: float = 4.2,
    most: float = 9.5,
) -> float:
    """Choose the largest diameter so that neighbours mostly stay apart.

    Parameters
    ----------
    ax : Axes
        The map.
    x, y : ndarray, shape (n,)
        Positions. [m]
    window : (west, east, south, north)
        What is shown. [m]
    least, most : float
        Limits of the diameter. [pt]

    Returns
    -------
    float
        Diameter. [pt]
    """
    from scipy.spatial import cKDTree

    if len(x) < 3:
        return most
    points = np.column_stack([x, y])
    few = points[:: max(1, len(points) // 1500)]
    distance, _ = cKDTree(points).query(few, k=2)
    nearest = float(np.median(distance[:, 1]))
    per_metre = box_of(ax)[2] * 72.0 / (window[1] - window[0])
    # samples along a line may touch, lines may not: the mean room counts too
    room = np.sqrt(max((window[1] - window[0]) * (window[3] - window[2]), 1.0) / len(x))
    wanted = (0.65 * nearest + 0.45 * float(room)) * per_metre
    return float(np.clip(wanted, least, most))


def graded_style(level: int, size: float, marker: str = "o") -> dict[str, Any]:
    """Give the look of a step, 0 to 5, of the ramp."""
    dark = level >= 3
    shrink = {"D": 0.82, "s": 0.88, "v": 1.05, "^": 1.05}.get(marker, 1.0)
    return {
        "marker": marker,
        "ms": STEPS[level] * size * shrink,
        "mfc": RAMP[level],
        "mec": PAPER if dark else RAMP[min(level + 2, 5)],
        "mew": 0.35 if dark else 0.4,
    }


def medium_style(medium: str, size: float) -> dict[str, Any]:
    """Give the look of a sample of a medium where no value is shown."""
    fills = {"o": RAMP[3], "v": "#2d7f8e", "D": "#c98a2b", "h": "#7b8a3c", "p": "#6a9a5b"}
    marker = shape_of(medium)
    return {
        "marker": marker,
        "ms": size * (0.85 if marker in "Ds" else 1.0),
        "mfc": fills.get(marker, "#8c8c8c"),
        "mec": INK if marker != "o" else PAPER,
        "mew": 0.35,
    }


def put(
    ax: Axes,
    x: npt.NDArray[np.float64],
    y: npt.NDArray[np.float64],
    style: dict[str, Any],
    *,
    zorder: float = 3.0,
    label: str = "",
) -> int:
    """Draw one kind of symbol; give how many there are.

    Parameters
    ----------
    ax : Axes
        The map or chart.
    x, y : ndarray, shape (n,)
        Positions.
    style : dict
        Keywords of a line with markers.
    zorder : float
        Higher is nearer the reader.
    label : str
        Stored on the artist (`gid`), for tests and editing of PDF.

    Returns
    -------
    int
        n.
    """
    if len(x):
        ax.plot(
            x, y, ls="none", zorder=zorder, gid=label or None,
            rasterized=len(x) > RASTER_ABOVE // 4 or None, **style,
        )  # fmt: skip
    return len(x)
