"""The sheet that the crew carries: map, points with room to write, preparation, safety."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.outputs import cautions
from geochem.outputs.sheets.document import (
    BLACK,
    FONT,
    bullet,
    heading,
    new_document,
    paragraph,
    safe,
    title,
)
from geochem.outputs.sheets.sketch import draw_sketch
from geochem.outputs.sheets.steps import BLANKS, PREPARE, RECORD

if TYPE_CHECKING:
    from geochem.outputs.sheets.content import PlanContent

_ROW = 9.5
#: printed columns: heading, column of the day's table, width [mm]
_PRINTED = (
    ("No", "stop", 9.0), ("Point", "point", 21.0), ("Sample id", "sample_id", 26.0),
    ("Easting", "easting", 19.0), ("Northing", "northing", 21.0), ("From last", "leg_m", 17.0),
    ("Why", "detail", 40.0),
)  # fmt: skip


def write_field_sheet(content: PlanContent, path: Path) -> Path:
    """Write the field sheet of a day: A4, landscape, black and white.

    Parameters
    ----------
    content : PlanContent
        With `day`.
    path : Path
        File.

    Returns
    -------
    Path
        The file.
    """
    pdf = new_document(content.info, "Field sheet", cautions.SHORT, landscape=True)
    _front(pdf, content)
    _points(pdf, content)
    _preparation(pdf)
    pdf.output(str(path))
    return path


def _front(pdf: Any, content: PlanContent) -> None:
    info = content.info
    pdf.add_page()
    title(
        pdf,
        f"Field sheet: {info.title}",
        (
            f"Coordinates: {info.crs} ({info.crs_name}), metres, easting then northing. "
            f"Planned on {info.clock:%Y-%m-%d}.",
        ),
    )
    pdf.set_font(FONT, size=9)
    for word, width in (("Date", 45), ("Crew", 75), ("Handheld", 55), ("Out", 40), ("Back", 40)):
        pdf.cell(width, 6, f"{word} {'.' * int(width * 0.62 - len(word))}")
    pdf.ln(9)
    top = pdf.get_y()
    draw_sketch(pdf, content, pdf.l_margin, top, 158, pdf.h - top - 16)
    left = pdf.l_margin
    pdf.set_left_margin(left + 165)
    pdf.set_xy(left + 165, top - 3)
    pdf.set_auto_page_break(auto=False)
    for label, text in content.day_facts:
        pdf.set_font(FONT, "B", 8.5)
        pdf.cell(32, 4.8, safe(label))
        pdf.set_font(FONT, size=8.5)
        pdf.multi_cell(0, 4.8, safe(text), align="L", new_x="LMARGIN", new_y="NEXT")
    heading(pdf, "Record", room=10)
    for item in RECORD:
        bullet(pdf, item, size=8)
    heading(pdf, "Safety", room=10)
    for item in cautions.FIELD:
        bullet(pdf, item, size=8)
    pdf.set_left_margin(left)
    pdf.set_auto_page_break(auto=True, margin=14)


def _points(pdf: Any, content: PlanContent) -> None:
    day = content.day
    if day is None or not len(day):
        return
    pdf.add_page()
    widths = _head(pdf)
    for row in day.to_dict("records"):
        if pdf.get_y() + _ROW > pdf.h - 15:
            pdf.add_page()
            widths = _head(pdf)
        _line(pdf, row, widths)
    pdf.ln(2)
    if day["also"].notna().any():
        paragraph(
            pdf,
            "A second id under the first: fill two bags from two holes at the same point, "
            "2 m apart, one id on each.",
        )


def _head(pdf: Any) -> list[float]:
    widths = [w for *_, w in _PRINTED] + [w for _, w in BLANKS]
    widths[-1] = pdf.epw - sum(widths)
    names = [n for n, *_ in _PRINTED] + [n for n, _ in BLANKS]
    pdf.set_font(FONT, "B", 7.5)
    pdf.set_text_color(BLACK)
    pdf.set_draw_color(BLACK)
    pdf.set_line_width(0.3)
    for name, width in zip(names, widths, strict=True):
        pdf.cell(width, 6, safe(name), border="B")
    pdf.ln(6)
    return widths


def _line(pdf: Any, row: dict[str, Any], widths: list[float]) -> None:
    top = pdf.get_y()
    x = pdf.l_margin
    pdf.set_line_width(0.15)
    for (_, column, _), width in zip(_PRINTED, widths, strict=False):
        lines = _cell_lines(pdf, column, row, width - 1.5)
        pdf.set_font(
            FONT, "B" if column in ("stop", "sample_id") else "", 8 if len(lines) < 2 else 7
        )
        step = 3.4
        base = top + _ROW / 2 + 1.1 - step * (len(lines) - 1) / 2
        for i, text in enumerate(lines):
            pdf.text(x + 0.5, base + i * step, text)
        x += width
    for width in widths[len(_PRINTED) :]:
        pdf.line(x, top + 1, x, top + _ROW)
        x += width
    pdf.line(pdf.l_margin, top + _ROW, pdf.w - pdf.r_margin, top + _ROW)
    pdf.set_xy(pdf.l_margin, top + _ROW)


def _cell_lines(pdf: Any, column: str, row: dict[str, Any], width: float) -> list[str]:
    value = row.get(column)
    if column in ("easting", "northing"):
        return [f"{value:.0f}"]
    if column == "leg_m":
        return [f"{value:.0f} m"]
    if column == "sample_id":
        both = [v for v in (value, row.get("also")) if isinstance(v, str) and v]
        return [safe(v) for v in both] or ["............"]
    pdf.set_font(FONT, size=7)
    return _wrapped(pdf, safe("" if value is None else value), width, 2)


def _wrapped(pdf: Any, text: str, width: float, most: int) -> list[str]:
    lines: list[str] = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if pdf.get_string_width(longer) <= width or not lines[-1]:
            lines[-1] = longer
        else:
            lines.append(word)
    if len(lines) > most:
        lines = [*lines[: most - 1], lines[most - 1] + " …"]
    while pdf.get_string_width(lines[-1]) > width and len(lines[-1]) > 2:
        lines[-1] = lines[-1][:-2].rstrip(" …") + "…"
    return lines


def _preparation(pdf: Any) -> None:
    pdf.add_page()
    title(pdf, "Preparation in camp", ("From the bag to the pellet; every step with its limit.",))
    pdf.set_font(FONT, size=9)
    for number, (word, text) in enumerate(PREPARE, 1):
        top = pdf.get_y()
        pdf.set_line_width(0.3)
        pdf.rect(pdf.l_margin, top + 0.6, 4, 4)
        pdf.set_font(FONT, "B", 10)
        pdf.set_x(pdf.l_margin + 7)
        pdf.cell(8, 5.2, str(number))
        pdf.cell(28, 5.2, word)
        pdf.set_font(FONT, size=10)
        pdf.multi_cell(0, 5.2, safe(text), align="L", new_x="LMARGIN", new_y="NEXT")
        pdf.ln(2.2)
    heading(pdf, "Before crushing and reading", room=40)
    for item in cautions.FIELD:
        bullet(pdf, item, size=9)
