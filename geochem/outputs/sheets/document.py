"""An A4 document in black and white, with a foot that says what it is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from geochem.outputs.report.pdf_writer import font_folder
from geochem.outputs.text_cells import printable

if TYPE_CHECKING:
    from geochem.model.bundle import CampaignInfo

FONT = "DejaVu"
MARGIN = 14.0
BLACK, RULE = 0, 120


def new_document(info: CampaignInfo, kind: str, short: str, *, landscape: bool = False) -> Any:
    """Start a document without a page.

    Parameters
    ----------
    info : CampaignInfo
        Title and date of the foot.
    kind : str
        What the document is, for example ``"Field sheet"``.
    short : str
        One-line caution in the foot of every page.
    landscape : bool, default False
        Turn the pages.

    Returns
    -------
    fpdf.FPDF
        Fonts loaded.
    """
    from fpdf import FPDF

    foot = safe(f"{kind}, {info.title}, {info.clock:%Y-%m-%d}. {short}")

    class Document(FPDF):
        def footer(self) -> None:
            self.set_y(-10)
            self.set_font(FONT, size=7)
            self.set_text_color(BLACK)
            self.cell(self.epw - 25, 4, foot)
            self.cell(25, 4, f"page {self.page_no()} of {{nb}}", align="R")

    pdf = Document(format="A4", orientation="landscape" if landscape else "portrait")
    pdf.set_creation_date(info.clock.astimezone())
    pdf.set_title(safe(f"{kind}: {info.title}"))
    pdf.set_lang("en")
    pdf.set_producer("geochem")
    folder = font_folder()
    pdf.add_font(FONT, "", folder / "DejaVuSans.ttf")
    pdf.add_font(FONT, "B", folder / "DejaVuSans-Bold.ttf")
    pdf.set_margins(MARGIN, 12, MARGIN)
    pdf.set_auto_page_break(auto=True, margin=14)
    return pdf


def safe(text: object) -> str:
    """Leave out control characters."""
    return printable(text, keep="\n")


def title(pdf: Any, text: str, under: Sequence[str] = ()) -> None:
    """Write the title of a page and lines under it."""
    pdf.set_text_color(BLACK)
    pdf.set_font(FONT, "B", 15)
    pdf.multi_cell(0, 7, safe(text), align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.set_font(FONT, size=8.5)
    for line in under:
        pdf.multi_cell(0, 4.6, safe(line), align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.ln(1.5)


def heading(pdf: Any, text: str, *, room: float = 30.0) -> None:
    """Write a heading, on a new page when little room is left under it."""
    if pdf.get_y() > pdf.h - room:
        pdf.add_page()
    pdf.ln(2.5)
    pdf.set_font(FONT, "B", 10.5)
    pdf.multi_cell(0, 5.5, safe(text), align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.set_draw_color(BLACK)
    pdf.set_line_width(0.3)
    pdf.line(pdf.l_margin, pdf.get_y(), pdf.w - pdf.r_margin, pdf.get_y())
    pdf.ln(1.5)


def paragraph(pdf: Any, text: str, *, size: float = 8.5) -> None:
    """Write running text."""
    pdf.set_font(FONT, size=size)
    pdf.multi_cell(0, size * 0.53, safe(text), align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.ln(1)


def bullet(pdf: Any, text: str, *, mark: str = "•", size: float = 8.5) -> None:
    """Write an item of a list; the mark stands at the left margin of the moment."""
    pdf.set_font(FONT, size=size)
    pdf.cell(5, size * 0.53, mark)
    pdf.multi_cell(0, size * 0.53, safe(text), align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.ln(0.7)


def table(
    pdf: Any, header: Sequence[str], rows: Sequence[Sequence[object]], widths: Sequence[float],
    *, size: float = 8.0, height: float = 4.4,
) -> None:  # fmt: skip
    """Write a table; the header is repeated on every page. Widths are shares."""
    from fpdf.enums import TableBordersLayout
    from fpdf.fonts import FontFace

    if not rows:
        return
    pdf.set_font(FONT, size=size)
    pdf.set_draw_color(RULE)
    pdf.set_line_width(0.2)
    with pdf.table(
        col_widths=tuple(widths), borders_layout=TableBordersLayout.HORIZONTAL_LINES,
        headings_style=FontFace(emphasis="BOLD", color=BLACK), line_height=height,
        first_row_as_headings=any(header), text_align="LEFT", padding=(0.5, 1, 0.5, 0),
    ) as made:  # fmt: skip
        if any(header):
            made.row([safe(c) for c in header])
        for row in rows:
            made.row([safe("" if c is None else c) or " " for c in row])
    pdf.ln(2)


def facts(pdf: Any, rows: Sequence[tuple[str, str]]) -> None:
    """Write label and text side by side."""
    table(pdf, ("", ""), [(a, b) for a, b in rows], (0.3, 0.7))
