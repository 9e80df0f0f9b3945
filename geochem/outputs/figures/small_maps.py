"""Several small maps of the same ground on one page, with one bar scale, north and CRS."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.figures.layout import (
    EDGE,
    PAGE,
    Caption,
    chart_boxes,
    furnish_together,
    head_and_foot,
    map_window,
    new_page,
    place,
    sheet_of,
)
from geochem.outputs.figures.style import INK, MUTED, literal, styled
from geochem.outputs.figures.symbols import put
from geochem.outputs.figures.text_fit import one_line, text_width, wrap

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    from matplotlib.figure import Figure

    from geochem.model.bundle import CampaignInfo

#: left, bottom, width, height of all small maps together. [inch]
ROOM = (EDGE, 1.0, PAGE[0] - 2 * EDGE, 4.2)


@dataclass(frozen=True, slots=True, eq=False)
class Kind:
    """Symbols of one kind on a small map.

    Parameters
    ----------
    text : str
        What they mean.
    x, y : ndarray, shape (n,)
        Positions. [m]
    style : dict
        Keywords of a line with markers.
    """

    text: str
    x: npt.NDArray[np.float64]
    y: npt.NDArray[np.float64]
    style: dict[str, Any]


@dataclass(frozen=True, slots=True, eq=False)
class Squares:
    """Square cells in classes.

    Parameters
    ----------
    text : str
        Of the class.
    west, south : ndarray, shape (n,)
        Lower left corners. [m]
    cell : float
        Side. [m]
    colour : str
        Fill.
    """

    text: str
    west: npt.NDArray[np.float64]
    south: npt.NDArray[np.float64]
    cell: float
    colour: str


@dataclass(frozen=True, slots=True, eq=False)
class SmallMap:
    """One of the maps.

    Parameters
    ----------
    title : str
        Above the map.
    kinds : tuple of Kind or Squares
        From bottom to top; the legend names them with their counts, top first.
    note : str
        Below its legend.
    """

    title: str
    kinds: tuple[Kind | Squares, ...]
    note: str = ""


@styled
def draw_small_maps(
    maps: Sequence[SmallMap],
    *,
    columns: int,
    boundary: gpd.GeoDataFrame | None = None,
    legend: float = 1.6,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
) -> Figure:
    """Draw small maps of the same ground side by side.

    Parameters
    ----------
    maps : sequence of SmallMap
        From the upper left.
    columns : int
        How many side by side.
    boundary : geopandas.GeoDataFrame, optional
        Drawn as a line on each.
    legend : float, default 1.6
        Room of the legend right of each map; 0 leaves the legends out. [inch]
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        The page.
    """
    page = new_page()
    room = ROOM if legend else (ROOM[0], ROOM[1] + 0.2, ROOM[2], ROOM[3] - 0.2)
    boxes = chart_boxes(len(maps), columns, room, left=0.3, inner=(0.28, 0.34), bottom=0.12)
    x = np.concatenate([_xy(k)[0] for m in maps for k in m.kinds] or [np.zeros(0)])
    y = np.concatenate([_xy(k)[1] for m in maps for k in m.kinds] or [np.zeros(0)])
    sheet = sheet_of(page)
    axes = []
    also = [tuple(boundary.total_bounds)] if boundary is not None and len(boundary) else []
    also = [b for b in also if b[2] - b[0] < 1.35 * max(np.ptp(x), 50) + 100] if len(x) else also
    box = (boxes[0][2] - legend, boxes[0][3])
    window = map_window(x, y, box, also=also, margin=0.04)
    for m, (left, bottom, wide, high) in zip(maps, boxes, strict=True):
        ax = place(page, (left, bottom, wide - legend, high))
        axes.append(ax)
        for z, kind in enumerate(m.kinds):
            _draw(ax, kind, 3 + 0.1 * z)
        if boundary is not None and len(boundary):
            for shape in boundary.boundary:
                for part in getattr(shape, "geoms", [shape]):
                    ax.plot(*part.xy, color=INK, lw=0.8, ls=(0, (7, 2, 1.5, 2)), zorder=2.5)
        words = one_line(literal(m.title, 90), wide, 9)
        sheet.text(left, bottom + high + 0.05, words, size=9, weight="bold", va="bottom")
        if legend:
            _legend(sheet, m, left + wide - legend + 0.12, bottom + high, legend - 0.12)
    if not legend and maps:
        _legend_below(sheet, maps[0])
    furnish_together(axes, window, info, columns=columns)
    head_and_foot(page, caption or Caption("Overview"), info)
    return page


def _xy(kind: Kind | Squares) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    return (kind.x, kind.y) if isinstance(kind, Kind) else (kind.west, kind.south)


def _draw(ax: Any, kind: Kind | Squares, zorder: float) -> None:
    if isinstance(kind, Kind):
        put(ax, kind.x, kind.y, kind.style, zorder=zorder, label=kind.text)
        return
    from matplotlib.collections import PolyCollection

    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * kind.cell
    squares = np.column_stack([kind.west, kind.south])[:, None, :] + corners
    cells = PolyCollection(list(squares), facecolor=kind.colour, edgecolor="none", zorder=zorder)
    cells.set_gid(kind.text)
    ax.add_collection(cells, autolim=False)


def _legend_below(sheet: Any, m: SmallMap) -> None:
    """Write one legend for all maps in a row, without numbers."""
    x = EDGE + 0.3
    for kind in reversed(m.kinds):
        if isinstance(kind, Kind):
            sheet.plot([x], [0.95], ls="none", **{**kind.style, "ms": kind.style["ms"] * 1.3})
            sheet.text(x + 0.1, 0.95, kind.text, size=7, va="center")
            x += 0.32 + text_width(kind.text, 7)


def _legend(sheet: Any, m: SmallMap, x: float, top: float, room: float) -> None:
    """Write symbol, meaning and number, highest first."""
    y = top - 0.06
    for kind in reversed(m.kinds):
        n = len(_xy(kind)[0])
        if isinstance(kind, Kind):
            style = {**kind.style, "ms": max(kind.style.get("ms", 3), 4.0)}
            sheet.plot([x + 0.06], [y], ls="none", **style)
        else:
            sheet.plot([x + 0.06], [y], ls="none", marker="s", ms=6, mfc=kind.colour, mec="none")
        sheet.text(x + room, y, f"{n}", size=7, va="center", ha="right", color=MUTED)
        for row in wrap(literal(kind.text, 80), room - 0.55, 7, most=2):
            sheet.text(x + 0.18, y, row, size=7, va="center")
            y -= 0.125
        y -= 0.03
    for row in wrap(literal(m.note, 200), room, 6.5, most=4) if m.note else []:
        sheet.text(x, y, row, size=6.5, va="center", color=MUTED)
        y -= 0.12
