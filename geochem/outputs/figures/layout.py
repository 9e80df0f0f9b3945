"""Pages and map furniture: title, footer, window, grid, bar scale, north."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.outputs.cautions import SHORT
from geochem.outputs.figures.style import INK, MUTED, PAPER, literal
from geochem.outputs.figures.text_fit import one_line, round_steps, text_width, wrap

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from geochem.model.bundle import CampaignInfo

#: width and height of every page: fits a slide and the width of a printed page. [inch]
PAGE = (9.6, 6.0)
EDGE = 0.35
#: left, bottom, width, height of the map. [inch]
MAP_BOX = (0.62, 1.12, 6.28, 4.02)
#: left, bottom, width, height of what stands beside a map or a chart. [inch]
PANEL_BOX = (7.08, 0.52, 2.2, 4.66)
#: room of a chart with a panel beside it, of one without, axis labels included. [inch]
CHART_BOX = (0.35, 0.55, 6.55, 4.6)
WIDE_BOX = (0.35, 0.55, 8.9, 4.6)

Window = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Caption:
    """What stands above and below a figure.

    Parameters
    ----------
    title : str
        What is shown, in words.
    note : str
        Number of samples, method, and what the reader must know.
    source : str
        Where the data come from.
    """

    title: str
    note: str = ""
    source: str = ""


def new_page() -> Figure:
    """Open an empty page that needs no window system."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    page = Figure(figsize=PAGE)
    FigureCanvasAgg(page)
    return page


def place(page: Figure, box: Sequence[float]) -> Axes:
    """Add axes at a place given in inches from the lower left corner."""
    width, height = page.get_size_inches()
    left, bottom, wide, high = box
    return page.add_axes((left / width, bottom / height, wide / width, high / height))


def sheet_of(page: Figure) -> Axes:
    """Give the one axes of a page whose units are inches; words and legends stand on it."""
    for ax in page.axes:
        if ax.get_gid() == "sheet":
            return ax
    width, height = (float(v) for v in page.get_size_inches())
    sheet = page.add_axes((0, 0, 1, 1), gid="sheet")
    sheet.set_axis_off()
    sheet.set_xlim(0, width)
    sheet.set_ylim(0, height)
    sheet.set_zorder(1)  # above the others: it has no ground of its own
    return sheet


def page_of(ax: Axes) -> Figure:
    """Give the whole figure that axes belong to."""
    page = ax.get_figure(root=True)
    assert page is not None
    return page


def box_of(ax: Axes) -> tuple[float, float, float, float]:
    """Give the place of axes on their page in inches: left, bottom, width, height."""
    width, height = page_of(ax).get_size_inches()
    at = ax.get_position(original=True)
    return at.x0 * width, at.y0 * height, at.width * width, at.height * height


def chart_boxes(
    n: int, columns: int, room: Sequence[float] = WIDE_BOX, *, left: float = 0.45,
    inner: tuple[float, float] = (0.5, 0.55), bottom: float = 0.38, top: float = 0.22,
) -> list[tuple[float, float, float, float]]:  # fmt: skip
    """Divide a room into small charts, from the upper left.

    Parameters
    ----------
    n, columns : int
        How many charts, and how many side by side.
    room : sequence of float
        Left, bottom, width, height. [inch]
    left : float
        Kept free for labels at the outer left. [inch]
    inner : tuple of float
        Gaps between columns and between rows. [inch]
    bottom, top : float
        Kept free for labels below the lowest and above the highest chart. [inch]

    Returns
    -------
    list of (left, bottom, width, height)
        One per chart. [inch]
    """
    rows = math.ceil(n / columns)
    wide = (room[2] - left - inner[0] * (columns - 1)) / columns
    high = (room[3] - bottom - top - inner[1] * (rows - 1)) / rows
    return [
        (
            room[0] + left + (k % columns) * (wide + inner[0]),
            room[1] + bottom + (rows - 1 - k // columns) * (high + inner[1]),
            wide,
            high,
        )
        for k in range(n)
    ]


def head_and_foot(page: Figure, caption: Caption, info: CampaignInfo | None) -> None:
    """Write title, note, campaign, date, source and the caution.

    Parameters
    ----------
    page : Figure
        A whole page.
    caption : Caption
        Words of this figure.
    info : CampaignInfo, optional
        Of the campaign.
    """
    sheet = sheet_of(page)
    room = PAGE[0] - 2 * EDGE
    title = literal(caption.title, 300)
    size = next((s for s in (14, 12.5, 11) if text_width(title, s, "bold") <= room), 10)
    rows = wrap(title, room, size, "bold", most=2 if size == 10 else 1)
    y = PAGE[1] - 0.2
    for row in rows:
        sheet.text(EDGE, y, row, size=size, weight="bold", va="top")
        y -= size * 1.25 / 72
    y -= 0.04
    for row in wrap(literal(caption.note, 400), room, 8.5, most=2 if len(rows) == 1 else 1):
        sheet.text(EDGE, y, row, size=8.5, color=MUTED, va="top")
        y -= 0.15
    first, second, program = _foot(caption, info)
    width = room - text_width(SHORT, 7.5, "bold") - 0.3
    sheet.plot([EDGE, PAGE[0] - EDGE], [0.42, 0.42], color="#cfcac1", lw=0.6)
    sheet.text(EDGE, 0.31, one_line(first, width, 7.5), size=7.5, color=MUTED, va="center")
    width = room - text_width(program, 7.5) - 0.3
    sheet.text(EDGE, 0.16, one_line(second, width, 7.5), size=7.5, color=MUTED, va="center")
    sheet.text(PAGE[0] - EDGE, 0.16, program, size=7.5, color=MUTED, va="center", ha="right")
    sheet.text(
        PAGE[0] - EDGE, 0.31, SHORT, size=7.5, weight="bold", color=INK, va="center", ha="right"
    )


def finished(
    page: Figure,
    title: str,
    words: str,
    *,
    info: CampaignInfo | None,
    caption: Caption | None,
) -> Figure:
    """Put head and foot on a page of charts.

    Parameters
    ----------
    page : Figure
        With its charts.
    title, words : str
        Of the caption, when none is given.
    info : CampaignInfo, optional
        As in `head_and_foot`.
    caption : Caption, optional
        Instead of title and words.

    Returns
    -------
    Figure
        The page.
    """
    head_and_foot(page, caption or Caption(title, words), info)
    return page


def _foot(caption: Caption, info: CampaignInfo | None) -> tuple[str, str, str]:
    source = literal(caption.source, 300)
    if info is None:
        return "", source, "geochem"
    day = f"{info.clock.day} {info.clock:%B %Y}"
    state = f"Data known on {day}." if info.until else f"Drawn on {day}."
    by = f" Prepared by {info.prepared_by}." if info.prepared_by else ""
    return literal(f"{info.title}. {state}{by}", 300), source, f"geochem {info.version}".strip()


# --- maps ------------------------------------------------------------------------------------


def map_window(
    x: npt.NDArray[np.float64],
    y: npt.NDArray[np.float64],
    box: tuple[float, float] = MAP_BOX[2:],
    *,
    also: Sequence[Window] = (),
    margin: float = 0.06,
) -> Window:
    """Choose the part of the ground that fills a box.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Positions that must be inside. [m]
    box : (width, height)
        Of the map on the page. [inch]
    also : sequence of (west, south, east, north)
        Further rectangles that must be inside; with NaN they are ignored.
    margin : float
        Free on each side, as a share of the larger side. [-]

    Returns
    -------
    (west, east, south, north)
        In the proportions of the box. [m]
    """
    ok = np.isfinite(x) & np.isfinite(y)
    rectangles = [r for r in also if np.isfinite(r).all()]
    if ok.any():
        rectangles.append((x[ok].min(), y[ok].min(), x[ok].max(), y[ok].max()))
    if not rectangles:
        rectangles = [(0.0, 0.0, 1000.0, 1000.0)]
    west, south = (min(r[i] for r in rectangles) for i in (0, 1))
    east, north = (max(r[i] for r in rectangles) for i in (2, 3))
    free = margin * max(east - west, north - south, 50.0)
    wide, high = east - west + 2 * free, north - south + 2 * free
    scale = max(wide / box[0], high / box[1])  # metres per inch
    cx, cy = (west + east) / 2, (south + north) / 2
    return (
        cx - scale * box[0] / 2, cx + scale * box[0] / 2,
        cy - scale * box[1] / 2, cy + scale * box[1] / 2,
    )  # fmt: skip


def furnish(ax: Axes, window: Window, info: CampaignInfo | None, *, located: bool = True) -> None:
    """Set the window of a map and draw grid, coordinates, bar scale and north.

    The bar scale, the north arrow and the name of the CRS stand below the map, so that they hide
    nothing.

    Parameters
    ----------
    ax : Axes
        The map.
    window : (west, east, south, north)
        From `map_window`. [m]
    info : CampaignInfo, optional
        CRS and convergence.
    located : bool, default True
        False leaves out whatever says where on Earth the map lies: coordinates, grid and CRS.
    """
    west, east, south, north = window
    ax.set_xlim(west, east)
    ax.set_ylim(south, north)
    left, bottom, wide, high = box_of(ax)
    sheet = sheet_of(page_of(ax))
    foot = bottom - 0.66
    if not located:
        ax.set_xticks([])
        ax.set_yticks([])
        _north_arrow(sheet, left + 0.1, foot)
        _bar_scale(sheet, left + 0.42, foot, (east - west) / wide)
        return
    xs = _clear_of_ends(round_steps(west, east, max(2, round(wide / 1.35))), west, east, wide)
    ys = _clear_of_ends(round_steps(south, north, max(2, round(high))), south, north, high)
    ax.set_xticks(xs, [_coordinate(v) for v in xs])
    ax.set_yticks(ys, [_coordinate(v) for v in ys])
    ax.tick_params(length=3, pad=2, labelsize=7)
    for label in ax.get_yticklabels():
        label.set_rotation(90)
        label.set_verticalalignment("center")
    ax.grid(visible=True)
    ax.set_axisbelow(False)  # the grid lies over the pale polygons, below the symbols
    for line in (*ax.get_xgridlines(), *ax.get_ygridlines()):
        line.set(zorder=1.5, color="#7d776c", alpha=0.22, lw=0.5)
    ax.set_xlabel("Easting [m]", size=7.5, labelpad=1.5, color=MUTED)
    ax.set_ylabel("Northing [m]", size=7.5, labelpad=1.5, color=MUTED)
    _north_arrow(sheet, left + 0.1, foot)
    _bar_scale(sheet, left + 0.42, foot, (east - west) / wide)
    _frame_words(sheet, left + 2.75, foot, left + wide, info)


def furnish_together(
    axes: Sequence[Axes], window: Window, info: CampaignInfo | None, *, columns: int
) -> None:
    """Set one window on several maps; coordinates at the outer edges, the furniture once.

    Parameters
    ----------
    axes : sequence of Axes
        From the upper left, all of one size.
    window : (west, east, south, north)
        From `map_window`. [m]
    info : CampaignInfo, optional
        CRS and convergence.
    columns : int
        How many stand side by side.
    """
    west, east, south, north = window
    for k, ax in enumerate(axes):
        ax.set_xlim(west, east)
        ax.set_ylim(south, north)
        wide, high = box_of(ax)[2:]
        xs = round_steps(west, east, max(2, round(wide / 1.2)))
        ys = round_steps(south, north, max(2, round(high / 0.95)))
        lowest, first = k >= len(axes) - columns, k % columns == 0
        xs = _clear_of_ends(xs, west, east, wide)
        ys = _clear_of_ends(ys, south, north, high)
        ax.set_xticks(xs, [_coordinate(v) if lowest else "" for v in xs])
        ax.set_yticks(ys, [_coordinate(v) if first else "" for v in ys])
        ax.tick_params(length=2, pad=1.5, labelsize=6)
        for label in ax.get_yticklabels():
            label.set_rotation(90)
            label.set_verticalalignment("center")
        ax.grid(visible=True, color="#7d776c", alpha=0.22, lw=0.4, zorder=1.5)
    sheet = sheet_of(page_of(axes[0]))
    wide = box_of(axes[0])[2]
    _north_arrow(sheet, EDGE + 0.36, 0.52)
    _bar_scale(sheet, EDGE + 0.7, 0.52, (east - west) / wide)
    _frame_words(sheet, EDGE + 3.1, 0.52, PAGE[0] - EDGE, info)


def _clear_of_ends(ticks: list[float], low: float, high: float, inches: float) -> list[float]:
    """Leave out ticks whose label would reach beyond the map, unless hardly any remain."""
    free = 0.28 * (high - low) / inches
    inside = [t for t in ticks if low + free <= t <= high - free]
    return inside if len(inside) >= 2 else ticks


def _coordinate(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 1 or value == 0 else f"{value:g}"


def _bar_scale(sheet: Axes, x: float, y: float, metres_per_inch: float) -> None:
    """Draw a bar of a round length in four parts."""
    from matplotlib.patches import Rectangle

    room = 1.75 * metres_per_inch
    power = 10.0 ** math.floor(math.log10(room))
    length = max(m * power for m in (1, 2, 5) if m * power <= room)
    inches = length / metres_per_inch
    for k in range(4):
        fill = INK if k % 2 == 0 else PAPER
        sheet.add_patch(
            Rectangle((x + k * inches / 4, y + 0.02), inches / 4, 0.055, fc=fill, ec=INK, lw=0.6)
        )
    unit, divisor = ("km", 1000.0) if length >= 2000 else ("m", 1.0)
    for share in (0.0, 0.5, 1.0):
        words = f"{length * share / divisor:g}" + (f" {unit}" if share == 1.0 else "")
        sheet.text(x + share * inches, y + 0.115, words, size=7, ha="center", va="bottom")


def _north_arrow(sheet: Axes, x: float, y: float) -> None:
    from matplotlib.patches import Polygon

    for side, fill in ((-0.065, INK), (0.065, PAPER)):
        corners = [(x, y + 0.30), (x + side, y), (x, y + 0.06)]
        sheet.add_patch(Polygon(corners, closed=True, fc=fill, ec=INK, lw=0.6))


def _frame_words(sheet: Axes, x: float, y: float, end: float, info: CampaignInfo | None) -> None:
    north = "Arrow and grid lines: grid north."
    crs = ""
    if info is not None:
        named = info.crs_name and info.crs_name != info.crs
        crs = literal(f"{info.crs_name} ({info.crs})" if named else info.crs)
        angle = info.convergence
        if angle == angle:
            side = "east" if angle > 0 else "west"
            north = (
                f"Arrow: grid north; true north lies {abs(angle):.2f}\u00b0 {side} of it."
                if abs(angle) >= 0.005
                else "Arrow: grid north, which is true north here."
            )
    words = f"{crs}, metres" if crs else "metres"
    sheet.text(x, y + 0.27, one_line(words, end - x, 7), size=7, va="top", color=MUTED)
    sheet.text(x, y, one_line(north, end - x, 7), size=7, va="bottom", color=MUTED)
