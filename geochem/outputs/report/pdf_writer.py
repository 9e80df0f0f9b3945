"""Blocks as a PDF, A4, with text that stays text."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.outputs.report.blocks import (
    Block,
    Bullets,
    Caution,
    Heading,
    Paragraph,
    Picture,
    Table,
)
from geochem.outputs.text_cells import printable

if TYPE_CHECKING:
    from geochem.model.bundle import CampaignInfo

_INK, _SOFT, _MARK, _RULE = (35, 33, 30), (105, 99, 92), (91, 38, 116), (205, 199, 188)
_MARGIN = 18.0
_FONT = "DejaVu"


def font_folder() -> Path:
    """Find the DejaVu fonts that matplotlib carries."""
    import matplotlib as mpl

    return Path(mpl.get_data_path()) / "fonts" / "ttf"


def write_pdf(blocks: Sequence[Block], info: CampaignInfo, short: str, path: Path) -> Path:
    """Write blocks as a PDF.

    Parameters
    ----------
    blocks : sequence of Block
        The content.
    info : CampaignInfo
        Title block, foot of every page.
    short : str
        One-line caution in the foot of every page.
    path : Path
        File.

    Returns
    -------
    Path
        The file.
    """
    pdf = _new_document(info, short)
    for block, following in zip(blocks, [*blocks[1:], None], strict=True):
        if isinstance(block, Heading) and isinstance(following, Picture):
            _room_for(
                pdf, _picture_size(pdf, following)[1] + 24
            )  # a heading stays with its figure
        _write(pdf, block)
    pdf.output(str(path))
    return path


def _new_document(info: CampaignInfo, short: str) -> Any:
    from fpdf import FPDF

    day = f"{info.clock:%Y-%m-%d}"

    class Document(FPDF):
        def footer(self) -> None:
            self.set_y(-13)
            self.set_font(_FONT, size=7)
            self.set_text_color(*_SOFT)
            self.cell(0, 4, f"{_safe(info.title)}, {day}. {short}", new_x="LMARGIN", new_y="NEXT")
            self.cell(0, 4, f"page {self.page_no()} of {{nb}}", align="R")

    pdf = Document(format="A4")
    pdf.set_creation_date(info.clock.astimezone())
    pdf.set_title(_safe(info.title))
    pdf.set_lang("en")
    pdf.set_producer("geochem")
    folder = font_folder()
    pdf.add_font(_FONT, "", folder / "DejaVuSans.ttf")
    pdf.add_font(_FONT, "B", folder / "DejaVuSans-Bold.ttf")
    pdf.set_margins(_MARGIN, 16, _MARGIN)
    pdf.set_auto_page_break(auto=True, margin=18)
    pdf.add_page()
    pdf.set_font(_FONT, "B", 19)
    pdf.set_text_color(*_INK)
    pdf.multi_cell(0, 9, _safe(info.title), align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.set_font(_FONT, size=9)
    pdf.set_text_color(*_SOFT)
    known = f", as known on {info.until}" if info.until else ""
    by = f", prepared by {info.prepared_by}" if info.prepared_by else ""
    for line in (
        f"Progress report, {day}{known}{by}",
        f"{info.crs} ({info.crs_name}), geochem {info.version}",
        short,
    ):
        pdf.multi_cell(0, 5, _safe(line), align="L", new_x="LMARGIN", new_y="NEXT")
    return pdf


def _safe(text: object) -> str:
    """Leave out control characters; everything else the font shows or marks as missing."""
    return printable(text, keep="\n")


def _write(pdf: Any, block: Block) -> None:
    if isinstance(block, Heading):
        _heading(pdf, block)
    elif isinstance(block, Paragraph):
        _text(pdf, block.text)
    elif isinstance(block, Bullets):
        for item in block.items:
            _item(pdf, item)
    elif isinstance(block, Caution):
        start, page = pdf.get_y() + 1, pdf.page_no()
        for item in block.items:
            _item(pdf, item)
        if pdf.page_no() == page:
            pdf.set_draw_color(*_MARK)
            pdf.set_line_width(0.8)
            pdf.line(_MARGIN - 3, start, _MARGIN - 3, pdf.get_y())
        pdf.ln(2)
    elif isinstance(block, Table):
        _table(pdf, block)
    elif isinstance(block, Picture):
        _picture(pdf, block)


def _heading(pdf: Any, block: Heading) -> None:
    if pdf.get_y() > pdf.h - 50:
        pdf.add_page()
    pdf.ln(5 if block.level == 1 else 2)
    pdf.set_font(_FONT, "B", 13 if block.level == 1 else 10)
    pdf.set_text_color(*(_MARK if block.level == 1 else _INK))
    pdf.multi_cell(0, 6.5, _safe(block.text), align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.ln(1)


def _text(pdf: Any, text: str, *, soft: bool = False, size: float = 9) -> None:
    pdf.set_font(_FONT, size=size)
    pdf.set_text_color(*(_SOFT if soft else _INK))
    pdf.multi_cell(0, size * 0.52, _safe(text), align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.ln(1)


def _item(pdf: Any, text: str) -> None:
    pdf.set_font(_FONT, size=9)
    pdf.set_text_color(*_INK)
    pdf.cell(5, 4.7, "•")
    pdf.multi_cell(0, 4.7, _safe(text), align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.ln(0.6)


def _table(pdf: Any, block: Table) -> None:
    from fpdf.enums import TableBordersLayout
    from fpdf.fonts import FontFace

    if not block.rows:
        return
    pdf.set_font(_FONT, size=7.5)
    pdf.set_text_color(*_INK)
    pdf.set_draw_color(*_RULE)
    pdf.set_line_width(0.2)
    columns = len(block.rows[0])
    widths = tuple(block.widths) or _widths(block, columns)
    has_head = any(block.header)
    head = FontFace(emphasis="BOLD", color=_SOFT)
    with pdf.table(
        col_widths=widths,
        borders_layout=TableBordersLayout.HORIZONTAL_LINES,
        headings_style=head,
        first_row_as_headings=has_head,
        line_height=4.2,
        text_align="LEFT",
        padding=(0.4, 1, 0.4, 0),
    ) as table:
        if has_head:
            table.row([_safe(cell) for cell in block.header])
        for row in block.rows:
            table.row([_safe(cell) or " " for cell in row])
    if block.caption:
        pdf.ln(1)
        _text(pdf, block.caption, soft=True, size=7.5)
    pdf.ln(2)


def _widths(block: Table, columns: int) -> tuple[float, ...]:
    """Share the width by the length of the text, so that nothing is squeezed to a letter."""
    lengths = []
    for i in range(columns):
        cells = [str(row[i]) for row in block.rows] + [str(block.header[i])]
        longest_word = max(len(word) for cell in cells for word in (cell.split() or [""]))
        mean = sum(map(len, cells)) / len(cells)
        lengths.append(max(4.0, longest_word * 1.15, min(mean, 40.0)))
    return tuple(length / sum(lengths) for length in lengths)


def _picture_size(pdf: Any, block: Picture) -> tuple[float, float]:
    """Give width and height of a picture on the page, in mm."""
    from PIL import Image

    with Image.open(block.path) as image:
        ratio = image.height / image.width
    width = pdf.epw
    height = width * ratio
    most = (pdf.h - 50) * 0.75
    return (most / ratio, most) if height > most else (width, height)


def _room_for(pdf: Any, height: float) -> None:
    if pdf.get_y() + height > pdf.h - 18:
        pdf.add_page()


def _picture(pdf: Any, block: Picture) -> None:
    width, height = _picture_size(pdf, block)
    _room_for(pdf, height + 8)
    pdf.image(str(block.path), w=width, h=height, alt_text=_safe(block.caption))
    pdf.ln(1)
    _text(pdf, block.caption, soft=True, size=7.5)
    pdf.ln(2)
