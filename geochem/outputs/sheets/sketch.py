"""A sketch map of the day's points in black lines, for a photocopier."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from geochem.outputs.sheets.document import BLACK, FONT, safe
from geochem.outputs.wording import distance

if TYPE_CHECKING:
    from geochem.outputs.sheets.content import PlanContent

Floats = npt.NDArray[np.float64]

#: width [mm] and dash [mm] of a layer's lines
_LINES: dict[str, tuple[float, tuple[float, float] | None]] = {
    "boundary": (0.5, None), "keep_out": (0.3, (0.8, 0.8)), "access": (0.25, (2.5, 1.0)),
    "streams": (0.15, None),
}  # fmt: skip
#: under the map: bar scale, legend, north [mm]
_STRIP = 14.0
_WORDS = {"boundary": "boundary", "keep_out": "keep out", "access": "access", "streams": "stream"}


def draw_sketch(
    pdf: Any, content: PlanContent, x: float, y: float, width: float, height: float
) -> None:
    """Draw points, their numbers, the walk, layers, grid north and a bar scale into a frame.

    Parameters
    ----------
    pdf : fpdf.FPDF
        Open page.
    content : PlanContent
        With `day`.
    x, y, width, height : float
        Frame on the page. [mm]
    """
    if content.day is None or not len(content.day):
        return
    whole, height = height, height - _STRIP
    xy = content.day[["easting", "northing"]].to_numpy(dtype=float)
    everything = xy if content.start is None else np.vstack([xy, content.start])
    low, high = everything.min(axis=0), everything.max(axis=0)
    frame = np.array([width, height])
    per_mm = float(max(((high - low) * 1.14 / frame).max(), 60.0 / frame.min()))
    middle = (low + high) / 2

    def place(points: Floats) -> Floats:
        moved = (np.asarray(points, dtype=float).reshape(-1, 2) - middle) / per_mm
        return np.column_stack([x + width / 2 + moved[:, 0], y + height / 2 - moved[:, 1]])

    # the clip ends with an older state of colours; the context makes the writer know it
    with pdf.local_context(), pdf.rect_clip(x, y, width, height):
        _ground(pdf, content, place, middle, per_mm, width, height)
        _walk(pdf, content, place(xy), place)
    pdf.set_line_width(0.3)
    pdf.set_draw_color(BLACK)
    pdf.rect(x, y, width, whole)
    pdf.line(x, y + height, x + width, y + height)
    _bar_scale(pdf, x + 4, y + height + 8.5, per_mm, width)
    _legend(pdf, content, x + 0.36 * width, y + height + 2, 0.48 * width)
    _north(pdf, x + width - 17, y + height + 11.5, content.info.convergence)


def _ground(
    pdf: Any, content: PlanContent, place: Any, middle: Floats, per_mm: float, width: float,
    height: float,
) -> None:  # fmt: skip
    import shapely

    half = np.array([width, height]) / 2 * per_mm
    window = shapely.box(*(middle - half * 1.02), *(middle + half * 1.02))
    for name, (thick, dash) in _LINES.items():
        frame = content.around.get(name)
        if frame is None:
            continue
        pdf.set_line_width(thick)
        pdf.set_draw_color(BLACK)
        pdf.set_dash_pattern(*(dash or (0, 0)))
        for shape in frame.geometry:
            if shape is None or shape.is_empty or not shape.intersects(window):
                continue
            lines = shape.boundary if shape.geom_type.endswith("Polygon") else shape
            seen = shapely.intersection(lines, window).simplify(per_mm * 0.15)
            for part in shapely.get_parts(shapely.line_merge(seen) if "Multi" in
                                          seen.geom_type else seen):  # fmt: skip
                if "Line" in part.geom_type and part.length > 0:
                    points = place(shapely.get_coordinates(part))
                    pdf.polyline([tuple(map(float, p)) for p in points])
    pdf.set_dash_pattern()


def _walk(pdf: Any, content: PlanContent, points: Floats, place: Any) -> None:
    way = points if content.start is None else np.vstack([place(content.start), points])
    pdf.set_line_width(0.15)
    pdf.set_draw_color(110)
    if len(way) > 1:
        pdf.polyline([tuple(map(float, p)) for p in way])
    pdf.set_draw_color(BLACK)
    if content.start is not None:
        a, b = way[0]
        pdf.set_line_width(0.5)
        pdf.rect(float(a) - 1.6, float(b) - 1.6, 3.2, 3.2)
    pdf.set_text_color(BLACK)
    whys = list(content.day["why"]) if content.day is not None else []
    for number, (a, b) in enumerate(points, 1):
        gap = whys[number - 1] != "follow-up"
        pdf.set_line_width(0.3)
        pdf.set_fill_color(255 if gap else 0)
        pdf.circle(float(a), float(b), 1.1, style="DF")
    placed: list[tuple[float, float, float]] = []
    if content.start is not None:
        placed.append((float(way[0][0]) - 2.0, float(way[0][1]) + 2.0, 4.0))
    pdf.set_font(FONT, "B", 6.5)
    for number, (a, b) in enumerate(points, 1):
        text = str(number)
        wide = pdf.get_string_width(text) + 0.6
        spots = [(1.4, -0.6), (1.4, 2.6), (-1.4 - wide, -0.6), (-1.4 - wide, 2.6), (-wide / 2, -1.8),
                 (-wide / 2, 3.6), (2.6, 1.0), (-2.6 - wide, 1.0)]  # fmt: skip
        for dx, dy in spots:
            left, base = float(a) + dx, float(b) + dy
            free = all(
                left > q + w or left + wide < q or base - 2.3 > r or base < r - 2.3
                for q, r, w in placed
            )
            clear = np.hypot(
                points[:, 0] - (left + wide / 2), points[:, 1] - (base - 1.1)
            ).min() > 1.4  # fmt: skip
            if free and clear:
                pdf.text(left, base, text)
                placed.append((left, base, wide))
                break


def _bar_scale(pdf: Any, x: float, y: float, per_mm: float, width: float) -> None:
    most = 0.3 * width * per_mm
    power = 10 ** math.floor(math.log10(most))
    length = max(m * power for m in (1, 2, 5) if m * power <= most)
    mm = length / per_mm
    pdf.set_font(FONT, size=7)
    text = distance(length)
    pdf.set_fill_color(0)
    pdf.set_line_width(0.2)
    pdf.rect(x, y - 1.5, mm / 2, 1.5, style="DF")
    pdf.rect(x + mm / 2, y - 1.5, mm / 2, 1.5, style="D")
    pdf.text(x + mm + 1.5, y, text)


def _north(pdf: Any, x: float, y: float, convergence: float) -> None:
    pdf.set_fill_color(0)
    pdf.set_line_width(0.3)
    pdf.line(x, y, x, y - 7)
    pdf.polygon([(x, y - 10), (x - 1.6, y - 6), (x + 1.6, y - 6)], style="DF")
    pdf.set_font(FONT, size=6.5)
    pdf.text(x + 2.5, y - 4, "grid north")
    if math.isfinite(convergence):
        side = "E" if convergence >= 0 else "W"
        pdf.text(x + 2.5, y - 0.5, f"true {abs(convergence):.1f}° {side}")


def _legend(pdf: Any, content: PlanContent, x: float, y: float, width: float) -> None:
    pdf.set_xy(x, y)
    pdf.set_font(FONT, size=6.5)
    day = content.day
    lines = [n for n in _LINES if n in content.around and content.around[n] is not None]
    parts = []
    marks = {"follow-up": "● follow-up", "gap": "○ gap in the plan", "new point": "○ new point"}
    present = set() if day is None else set(day["why"])
    parts += [text for why, text in marks.items() if why in present]
    if content.start is not None:
        parts.append("□ start")
    words = {"boundary": "thick line", "keep_out": "dotted line", "access": "dashed line",
             "streams": "thin line"}  # fmt: skip
    parts += [f"{words[n]}: {_WORDS[n]}" for n in lines]
    parts.append("grey line: the walk, straight from point to point")
    pdf.multi_cell(width, 3.4, safe("   ".join(parts)), align="L")
