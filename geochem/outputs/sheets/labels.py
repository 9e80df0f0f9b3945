"""Labels for sample bags with a QR code of the id; needs the extra ``plan``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.optional import require
from geochem.outputs.sheets.document import FONT, new_document, safe

if TYPE_CHECKING:
    from geochem.model.bundle import CampaignInfo

_COLUMNS, _ROWS = 3, 8
_WIDE, _HIGH = 62.0, 33.0


def write_labels(ids: Sequence[str], info: CampaignInfo, path: Path) -> Path:
    """Write labels, 24 to an A4 page; the code holds the sample id and nothing else.

    Parameters
    ----------
    ids : sequence of str
        Sample ids.
    info : CampaignInfo
        Title and date.
    path : Path
        File.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    MissingExtra
        If the package that makes QR codes is not installed.
    """
    maker = require("segno", extra="plan", purpose="draw QR codes on labels")
    pdf = new_document(info, "Labels", "")
    pdf.set_auto_page_break(auto=False)
    for number, text in enumerate(ids):
        place = number % (_COLUMNS * _ROWS)
        if place == 0:
            pdf.add_page()
        x = 12.0 + (place % _COLUMNS) * _WIDE
        y = 12.0 + (place // _COLUMNS) * _HIGH
        _label(pdf, maker.make(text, error="m", micro=False), text, info.title, x, y)
    pdf.output(str(path))
    return path


def _label(pdf: Any, code: Any, text: str, title: str, x: float, y: float) -> None:
    pdf.set_draw_color(150)
    pdf.set_line_width(0.1)
    pdf.rect(x, y, _WIDE - 2, _HIGH - 2)
    rows = [list(row) for row in code.matrix_iter(scale=1, border=2)]
    size = 24.0 / len(rows)
    pdf.set_fill_color(0)
    for i, row in enumerate(rows):
        start = None
        for j, dark in enumerate([*row, 0]):
            if dark and start is None:
                start = j
            elif not dark and start is not None:
                # a run of dark modules is one bar: no hair lines between them
                left = x + 3 + start * size
                pdf.rect(left, y + 3 + i * size, (j - start) * size, size * 1.02, style="F")
                start = None
    pdf.set_font(FONT, "B", 12 if len(text) < 12 else 9)
    pdf.text(x + 29, y + 12, safe(text))
    pdf.set_font(FONT, size=6)
    pdf.set_xy(x + 28, y + 15)
    pdf.multi_cell(_WIDE - 32, 2.8, safe(title)[:60], align="L")
