"""The further part of the report's quality section: what stands behind the verdicts."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.model.finding import name_some
from geochem.outputs.figures.quality_figures import TITLES
from geochem.outputs.report.blocks import Block, Heading, Paragraph, Picture, Table, rows_of
from geochem.outputs.wording import figure

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle

#: rows of a table at most; everything stands in the tables of the result folder
MOST = 20


def quality_blocks(bundle: Bundle, figures: Path) -> list[Block]:
    """Give tables and figures of drift, detection, variances, reliability, pellets, laboratory.

    Parameters
    ----------
    bundle : Bundle
        Records of a run.
    figures : Path
        Folder with the figures that were drawn before.

    Returns
    -------
    list of Block
        To follow the verdicts; empty records give nothing.
    """
    q = bundle.quality
    out: list[Block] = []
    if q.failed_batches != "use":
        out.append(Paragraph(f"Values of batches that failed: {q.failed_batches}."))
    drift = [
        (
            str(r.assay), str(r.batch or r.scope), str(r.element), _number(r.change_pct, 2),
            f"{_number(r.change_low, 2)} to {_number(r.change_high, 2)}", str(r.reason),
        )
        for r in rows_of(q.drift[q.drift["verdict"] == "warn"])
    ]  # fmt: skip
    out += _section(
        "Drift", drift, ("assay", "batch", "element", "change [%]", "90 % interval", ""),
        "Standards that change within a batch or over the campaign.",
        (0.12, 0.18, 0.1, 0.12, 0.16, 0.32), figures, ("quality_drift",),
    )  # fmt: skip
    done = q.drift_correction[q.drift_correction["corrected"]]
    if len(done):
        rows = [
            (str(r.batch), str(r.element), str(r.method), _number(r.before_pct, 2),
             _number(r.after_pct, 2))
            for r in rows_of(done.sort_values("before_pct", ascending=False, kind="stable"))
        ]  # fmt: skip
        out.append(
            Table(
                ("batch", "element", "method", "before [%]", "after [%]"), rows[:MOST],
                "Drift correction: departure of the standards from their usual value before and "
                f"after, each predicted from the others; {len(rows)} batches and elements.",
            )
        )  # fmt: skip
        out += _pictures(figures, ("quality_drift_correction",))
    shown = (
        "quality_blanks", "quality_duplicates", "quality_duplicate_scatter", "quality_variances"
    )  # fmt: skip
    out += _pictures(figures, shown)
    limits = [
        (str(r.assay), str(r.element), _number(r.stated, 2), _number(r.reported, 2),
         _number(r.from_counting, 2), _number(r.blank_mdl, 2), _number(r.low_mdl, 2))
        for r in rows_of(q.detection[q.detection["verdict"] == "warn"])
    ]  # fmt: skip
    out += _section(
        "Detection", limits,
        ("assay", "element", "stated", "reported", "counting", "blanks", "low standard"),
        "Elements whose stated detection limit is better than controls support [ppm]; "
        "blanks and low standards after 40 CFR Part 136, Appendix B.",
        (), figures, ("quality_detection",),
    )  # fmt: skip
    believed = [
        (str(r.assay), str(r.element), str(r.trust), str(r.by), str(r.reason))
        for r in rows_of(q.reliability)
        if r.trust in ("qualitative", "unusable") or r.by == "hand"
    ]
    out += _section(
        "How far each element can be believed", believed,
        ("assay", "element", "class", "by", "reason"),
        "Elements that are qualitative or unusable, or whose class was set by hand; classes in the "
        "manner of the verification reports to EPA Method 6200.",
        (0.1, 0.09, 0.2, 0.07, 0.54), figures, ("quality_reliability",),
    )  # fmt: skip
    thin = [
        (str(r.element), f"{r.line} {_number(r.energy_kev)}", _number(r.depth_99_mm, 2),
         f"{r.n_thin} of {r.n_known}", _number(100 * r.least_signal))
        for r in rows_of(q.pellets[q.pellets["n_thin"].fillna(0) > 0])
    ]  # fmt: skip
    out += _section(
        "Pellets", thin, ("element", "line [keV]", "depth [mm]", "thin", "least signal [%]"),
        "Elements whose line comes from deeper than some pellets are thick.",
        (), figures, ("quality_pellets",),
    )  # fmt: skip
    jobs = [
        (str(r.job or ""), _day(r.sent), _day(r.returned), _number(r.n_sent), _number(r.n_returned),
         _number(r.n_outstanding), _number(r.turnaround_days, 2), _number(r.waiting_days, 2))
        for r in rows_of(q.jobs)
    ]  # fmt: skip
    out += _section(
        "Laboratory", jobs,
        ("job", "sent", "back", "samples", "returned", "out", "turnaround [d]", "waiting [d]"),
        "Samples sent to the laboratory, by job.", (), figures, (),
    )  # fmt: skip
    hits = [
        (str(r.medium or ""), str(r.element), f"{r.n_confirmed} of {r.n_high}",
         f"{_number(r.hit_low_pct, 2)} to {_number(r.hit_high_pct, 2)}", _number(r.n_missed),
         _some(r.high_came_low), _some(r.low_came_high))
        for r in rows_of(q.hits)
        if r.high_came_low or r.low_came_high
    ]  # fmt: skip
    if hits:
        out.append(
            Table(
                ("medium", "element", "high, confirmed", "interval [%]", "missed",
                 "high came low", "low came high"),
                hits[:MOST], "What read high and came back low, and the reverse.",
            )
        )  # fmt: skip
    return out + _pictures(figures, ("quality_laboratory",))


def _section(
    title: str, rows: Sequence[tuple[str, ...]], header: tuple[str, ...], caption: str,
    widths: tuple[float, ...], figures: Path, names: tuple[str, ...],
) -> list[Block]:  # fmt: skip
    pictures = _pictures(figures, names)
    if not rows and not pictures:
        return []
    out: list[Block] = [Heading(title, 2)]
    if rows:
        more = f" {len(rows) - MOST} more in the tables." if len(rows) > MOST else ""
        out.append(Table(header, rows[:MOST], caption + more, widths))
    return out + pictures


def _pictures(figures: Path, names: tuple[str, ...]) -> list[Block]:
    return [
        Picture(figures / f"{n}.png", f"{TITLES[n]}.")
        for n in names
        if (figures / f"{n}.png").is_file()
    ]


def _number(value: Any, digits: int = 3) -> str:
    import pandas as pd

    return "-" if pd.isna(value) else figure(float(value), digits)


def _day(value: Any) -> str:
    return "-" if value is None or value != value else f"{value:%Y-%m-%d}"


def _some(text: Any) -> str:
    return name_some(str(text).split(", ") if text else [], 4)
