"""Writes `report.html` and `report.pdf`."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from geochem.outputs import cautions
from geochem.outputs.report.content import report_blocks
from geochem.outputs.report.html_writer import write_html
from geochem.outputs.report.pdf_writer import write_pdf

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle


class ReportRenderer:
    """The progress report."""

    name = "report"
    summary = "progress report as HTML page and PDF"
    formats = ("html", "pdf")
    #: needs the pictures and no other file that another renderer writes
    reads_folder = "figures"

    def render(self, bundle: Bundle, folder: Path, *, pdf: bool = True) -> list[Path]:
        """Write the report from records and the figures that were drawn before.

        Parameters
        ----------
        bundle : Bundle
            Records of a run.
        folder : Path
            Result folder.
        pdf : bool, default True
            Write the PDF as well.

        Returns
        -------
        list of Path
            What was written.
        """
        return [path for piece in self.pieces(bundle, folder, pdf=pdf) for path in piece()]

    def pieces(
        self, bundle: Bundle, folder: Path, *, pdf: bool = True
    ) -> list[Callable[[], list[Path]]]:
        """Give `render` in pieces that several processes can share.

        Parameters
        ----------
        bundle, folder, pdf
            As in `render`.

        Returns
        -------
        list of callable
            Each writes one file and gives it; the longest first.
        """
        folder, info = Path(folder), bundle.info
        blocks = report_blocks(bundle, folder / "figures")
        page = partial(write_html, blocks, info, cautions.SHORT, folder / "report.html")
        paper = partial(write_pdf, blocks, info, cautions.SHORT, folder / "report.pdf")
        return [lambda: [paper()], lambda: [page()]] if pdf else [lambda: [page()]]
