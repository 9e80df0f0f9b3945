"""Writes `index.html`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.outputs import cautions
from geochem.outputs.report.content import headline
from geochem.outputs.wording import batch_rows, progress_rows

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle

#: file, what it is; those missing are not offered
_OFFERED = (
    ("map.html", "Map", "interactive, one file, works without network"),
    ("report.html", "Report", "progress, quality, thresholds, targets"),
    ("report.pdf", "Report as PDF", "to print or send"),
    ("slides.pptx", "Slides", "editable presentation"),
    ("campaign.gpkg", "GeoPackage", "all layers for a desktop GIS; styles in styles/"),
    ("cells.csv", "Cells of the map", "mean, counts, below detection and beyond threshold"),
    ("anomalies/part-00001.parquet", "Scores", "z and probability of every value, in parts"),
    ("samples.xlsx", "Samples", "accepted values as a workbook"),
    ("samples.csv", "Samples as CSV", "every assay, flag and error"),
    ("targets.csv", "Targets", "table; also .geojson and .gpx"),
    ("follow_up.csv", "Follow-up samples", "table; follow_up.gpx for handhelds"),
    ("holes.csv", "Holes", "collar table with reasons"),
    ("thresholds.csv", "Thresholds", "by medium, domain and element"),
    ("quality.csv", "Quality", "verdict per batch and element"),
    ("findings.csv", "Findings", "everything noticed in the data"),
    ("run.json", "Record of the run", "inputs, settings, versions"),
)


class StartPageRenderer:
    """The first page to open."""

    name = "start_page"
    summary = "start page: what was done, verdicts, cautions and links to the rest"
    formats = ("html",)

    def render(self, bundle: Bundle, folder: Path) -> list[Path]:
        """Write the page; offers what is in the folder by then.

        Parameters
        ----------
        bundle : Bundle
            Records of a run.
        folder : Path
            Result folder.

        Returns
        -------
        list of Path
            ``index.html``.
        """
        from jinja2 import Environment

        folder = Path(folder)
        here = Path(__file__).parent
        template = Environment(autoescape=True, trim_blocks=True).from_string(
            (here / "index.html.jinja").read_text(encoding="utf-8")
        )
        offered = [o for o in _OFFERED if o[0] == "run.json" or (folder / o[0]).is_file()]
        figures = sorted(p.name for p in (folder / "figures").glob("*.png"))
        page = template.render(
            info=bundle.info,
            headline=headline(bundle),
            progress=progress_rows(bundle.progress),
            verdicts=_verdicts(bundle),
            look=_look(bundle),
            offered=offered,
            figures=figures,
            picture=next((f for f in ("targets.png", "samples.png") if f in figures), None),
            short=cautions.SHORT,
            cautions=cautions.RESULTS,
            field=cautions.FIELD,
        )
        path = folder / "index.html"
        path.write_text(page, encoding="utf-8")
        return [path]


def _verdicts(bundle: Bundle) -> list[tuple[str, str, str, str, str]]:
    return batch_rows(bundle.quality.batches)[:12]


def _look(bundle: Bundle) -> list[str]:
    """Say what deserves attention first."""
    lines = []
    if len(bundle.quality.reread):
        n = bundle.quality.reread["sample_id"].nunique()
        lines.append(f"{n} samples should be read or analysed again (quality.csv).")
    seen: dict[str, Any] = {}
    for finding in bundle.findings:
        if finding.severity != "note":
            seen.setdefault(finding.code, finding)
    lines += [f.message for f in list(seen.values())[:6]]
    return lines
