"""How a slide is laid out: title, body, foot with the caution; on plain 16:9 or on a template."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from geochem.errors import WrongCall

INK, SOFT, MARK, RULE = "23211E", "6D675F", "5B2674", "D9D3C8"
#: lengths in the code are those of a slide of this size [inch]; others are scaled to it
WIDTH, HEIGHT, EDGE = 13.333, 7.5, 0.6
_FONT = "Calibri"


class Deck:
    """A presentation in the making.

    Parameters
    ----------
    foot : str
        Stands at the foot of every slide.
    template : Path, optional
        A presentation whose size, layouts, fonts and colours are taken; its own slides are not.

    Raises
    ------
    WrongCall
        If the template is no presentation.
    """

    def __init__(self, foot: str, template: Path | None = None) -> None:
        from pptx import Presentation
        from pptx.util import Inches

        self._foot = foot
        self._own_look = template is None
        if template is None:
            self._presentation: Any = Presentation()
            self._presentation.slide_width = Inches(WIDTH)
            self._presentation.slide_height = Inches(HEIGHT)
        else:
            self._presentation = _opened(template)
        self._across = self._presentation.slide_width / Inches(WIDTH)
        self._down = self._presentation.slide_height / Inches(HEIGHT)

    def _x(self, inches: float) -> Any:
        from pptx.util import Inches

        return Inches(inches * self._across)

    def _y(self, inches: float) -> Any:
        from pptx.util import Inches

        return Inches(inches * self._down)

    def _points(self, size: float) -> Any:
        from pptx.util import Pt

        return Pt(max(8.0, round(size * min(self._across, self._down), 1)))

    def save(self, path: Path, *, title: str, clock: Any) -> None:
        """Write the file."""
        core = self._presentation.core_properties
        core.title, core.author = title, "geochem"
        core.created = core.modified = clock
        self._presentation.save(str(path))

    def title_slide(self, title: str, lines: Sequence[str]) -> None:
        """Open the presentation."""
        slide = self._blank(None)
        self._box(slide, [title], EDGE, 2.1, WIDTH - 2 * EDGE, 1.6, size=38, bold=True)
        self._bar(slide, EDGE, 3.75, 2.4)
        self._box(slide, lines, EDGE, 4.0, WIDTH - 2 * EDGE, 2.2, size=18, colour=SOFT)

    def text_slide(self, title: str, items: Sequence[str], *, size: float = 20) -> None:
        """Show sentences."""
        slide = self._blank(title)
        self._box(slide, items, EDGE, 1.5, WIDTH - 2 * EDGE, 5.2, size=size, bullets=True)

    def two_columns(
        self, title: str, left: tuple[str, Sequence[str]], right: tuple[str, Sequence[str]]
    ) -> None:
        """Show two lists side by side."""
        slide = self._blank(title)
        half = (WIDTH - 2 * EDGE - 0.5) / 2
        for x, (head, items) in ((EDGE, left), (EDGE + half + 0.5, right)):
            self._box(slide, [head], x, 1.45, half, 0.5, size=18, bold=True, colour=MARK)
            self._box(slide, items, x, 2.0, half, 4.7, size=16, bullets=True)

    def picture_slide(self, title: str, path: Path, alt: str, items: Sequence[str]) -> None:
        """Show a picture with words beside it."""
        from PIL import Image

        slide = self._blank(title)
        with Image.open(path) as image:
            # on a slide of another shape the lengths across and down differ
            ratio = image.width / image.height * self._down / self._across
        height = 5.3
        width = height * ratio
        most = WIDTH - 2 * EDGE - 3.6
        if width > most:
            width, height = most, most / ratio
        picture = slide.shapes.add_picture(
            str(path), self._x(EDGE), self._y(1.4), self._x(width), self._y(height)
        )
        picture._element.nvPicPr.cNvPr.set("descr", alt)
        x = EDGE + width + 0.4
        self._box(slide, items, x, 1.4, WIDTH - EDGE - x, 5.3, size=15, bullets=True)

    def table_slide(
        self,
        title: str,
        header: Sequence[str],
        rows: Sequence[Sequence[str]],
        widths: Sequence[float],
        note: str = "",
    ) -> None:
        """Show a table; more rows than fit go on further slides."""
        per_slide = 10
        pages = [rows[i : i + per_slide] for i in range(0, len(rows), per_slide)] or [[]]
        for number, page in enumerate(pages, 1):
            more = f" ({number} of {len(pages)})" if len(pages) > 1 else ""
            self._table(title + more, header, page, widths, note)

    def _table(
        self,
        title: str,
        header: Sequence[str],
        rows: Sequence[Sequence[str]],
        widths: Sequence[float],
        note: str,
    ) -> None:
        slide = self._blank(title)
        span = WIDTH - 2 * EDGE
        frame = slide.shapes.add_table(
            len(rows) + 1, len(header), self._x(EDGE), self._y(1.45), self._x(span),
            self._y(0.4 * (len(rows) + 1)),
        )  # fmt: skip
        frame._element.nvGraphicFramePr.cNvPr.set("descr", title)
        table = frame.table
        style = frame._element.graphic.graphicData.tbl.tblPr
        style.set("bandRow", "0")
        for column, share in zip(table.columns, widths, strict=True):
            column.width = self._x(span * share / sum(widths))
        for i, row in enumerate([header, *rows]):
            for j, text in enumerate(row):
                self._cell(table.cell(i, j), str(text), head=i == 0)
        if note:
            self._box(slide, [note], EDGE, 6.35, span, 0.5, size=12, colour=SOFT)

    def _cell(self, cell: Any, text: str, *, head: bool) -> None:
        from pptx.dml.color import RGBColor
        from pptx.util import Inches

        cell.text = text
        cell.margin_top = cell.margin_bottom = Inches(0.03)
        cell.fill.solid()
        cell.fill.fore_color.rgb = RGBColor.from_string(MARK if head else "FFFFFF")
        for paragraph in cell.text_frame.paragraphs:
            for run in paragraph.runs:
                run.font.size, run.font.bold = self._points(12), head
                if self._own_look:
                    run.font.name = _FONT
                run.font.color.rgb = RGBColor.from_string("FFFFFF" if head else INK)

    def _blank(self, title: str | None) -> Any:
        layout = self._layout(titled=title is not None)
        slide = self._presentation.slides.add_slide(layout)
        for shape in list(slide.placeholders):
            if title is None or shape.placeholder_format.idx != 0:
                shape._element.getparent().remove(shape._element)
        if title is not None:
            self._title(slide, title)
        self._box(
            slide, [self._foot], EDGE, HEIGHT - 0.5, WIDTH - 2 * EDGE, 0.3, size=10, colour=SOFT
        )
        return slide

    def _layout(self, *, titled: bool) -> Any:
        """Choose the layout with the fewest placeholders that has, or has not, a title."""
        layouts = list(self._presentation.slide_layouts)
        fits = [
            layout
            for layout in layouts
            if any(p.placeholder_format.idx == 0 for p in layout.placeholders) == titled
        ]
        return min(fits or layouts, key=lambda layout: len(list(layout.placeholders)))

    def _title(self, slide: Any, title: str) -> None:
        from pptx.dml.color import RGBColor
        from pptx.enum.text import MSO_ANCHOR, PP_ALIGN

        shape = slide.shapes.title
        if shape is None:  # a template without any title
            self._box(slide, [title], EDGE, 0.45, WIDTH - 2 * EDGE, 0.75, size=28, bold=True)
            return
        shape.left, shape.top = self._x(EDGE), self._y(0.45)
        shape.width, shape.height = self._x(WIDTH - 2 * EDGE), self._y(0.75)
        shape.text_frame.text = title
        shape.text_frame.vertical_anchor = MSO_ANCHOR.MIDDLE
        paragraph = shape.text_frame.paragraphs[0]
        paragraph.alignment = PP_ALIGN.LEFT
        font = paragraph.runs[0].font
        font.size, font.bold = self._points(28), True
        if self._own_look:
            font.name = _FONT
            font.color.rgb = RGBColor.from_string(INK)
            self._bar(slide, EDGE + 0.1, 1.22, 1.6)

    def _bar(self, slide: Any, x: float, y: float, width: float) -> None:
        from pptx.dml.color import RGBColor
        from pptx.enum.shapes import MSO_SHAPE

        bar = slide.shapes.add_shape(
            MSO_SHAPE.RECTANGLE, self._x(x), self._y(y), self._x(width), self._y(0.06)
        )
        bar.fill.solid()
        bar.fill.fore_color.rgb = RGBColor.from_string(MARK)
        bar.line.fill.background()

    def _box(
        self,
        slide: Any,
        lines: Sequence[str],
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        size: float,
        bold: bool = False,
        colour: str = INK,
        bullets: bool = False,
    ) -> None:
        from pptx.dml.color import RGBColor

        frame = slide.shapes.add_textbox(
            self._x(x), self._y(y), self._x(width), self._y(height)
        ).text_frame
        frame.word_wrap = True
        for i, line in enumerate(lines):
            paragraph = frame.paragraphs[0] if i == 0 else frame.add_paragraph()
            run = paragraph.add_run()
            run.text = ("• " if bullets else "") + line
            run.font.size, run.font.bold = self._points(size), bold
            paragraph.space_after = self._points(size * 0.45)
            if self._own_look:  # a template may be dark: its own colour of text is left alone
                run.font.name = _FONT
                run.font.color.rgb = RGBColor.from_string(colour)


def _opened(template: Path) -> Any:
    """Open a template and take its own slides out."""
    from pptx import Presentation

    try:
        presentation: Any = Presentation(str(template))
    except Exception as error:
        raise WrongCall(
            f"{template.name} cannot be used as a template of slides ({error}); give a PowerPoint "
            "presentation (.pptx). A .potx is opened in its program and saved as .pptx first."
        ) from error
    listed = presentation.slides._sldIdLst
    for slide in list(listed):
        presentation.part.drop_rel(slide.rId)
        listed.remove(slide)
    return presentation
