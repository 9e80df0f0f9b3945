"""Writes `report.html` and `report.pdf`."""

from __future__ import annotations

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
        folder = Path(folder)
        blocks = report_blocks(bundle, folder / "figures")
        written = [write_html(blocks, bundle.info, cautions.SHORT, folder / "report.html")]
        if pdf:
            written.append(write_pdf(blocks, bundle.info, cautions.SHORT, folder / "report.pdf"))
        return written
