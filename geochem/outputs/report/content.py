"""What the report says, as blocks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from geochem.outputs import cautions
from geochem.outputs.leading import leading_elements
from geochem.outputs.report.appendix import appendix
from geochem.outputs.report.blocks import (
    Block,
    Bullets,
    Caution,
    Heading,
    Paragraph,
    Table,
    picture,
    rows_of,
)
from geochem.outputs.report.decision_blocks import decision_blocks
from geochem.outputs.report.sensitivity_blocks import sensitivity_blocks
from geochem.outputs.report.week import week_blocks
from geochem.outputs.wording import (
    batch_rows,
    concentration,
    count,
    figure,
    progress_rows,
)

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle


def report_blocks(bundle: Bundle, figures: Path) -> list[Block]:
    """Tell a run.

    Parameters
    ----------
    bundle : Bundle
        Records.
    figures : Path
        Folder of the figures that were drawn; those missing are left out.

    Returns
    -------
    list of Block
        In reading order.
    """
    blocks: list[Block] = []
    for section in (
        _in_short, _progress, _week, _quality, _targets, _decisions, _work, _cautions, appendix,
    ):  # fmt: skip
        blocks += section(bundle, figures)
    return blocks


def headline(bundle: Bundle) -> list[str]:
    """Say in a few sentences what the run found.

    Parameters
    ----------
    bundle : Bundle
        Records.

    Returns
    -------
    list of str
        Sentences.
    """
    survey, report = bundle.survey, bundle.targets
    if bundle.progress.get("cells"):
        return [
            f"{bundle.progress['collected']} samples, {bundle.progress['located']} with a position, in "
            f"{count(bundle.progress['cells'], 'cell')} of {bundle.progress['cell_m']:g} m.",
            report.why_none,
        ]
    media = survey.samples["medium"].value_counts()
    parts = ", ".join(f"{n} {medium}" for medium, n in media.items())
    lines = [f"{count(len(survey.samples), 'sample')} with a position ({parts or 'none'})."]
    verdicts = [row[3] for row in batch_rows(bundle.quality.batches)]
    if verdicts:
        lines.append(
            f"Of {count(len(verdicts), 'batch', 'batches')} {verdicts.count('pass')} passed, "
            f"{verdicts.count('warn')} carry a warning and {verdicts.count('fail')} failed."
        )
    good = list(
        dict.fromkeys(c.element for c in bundle.quality.calibrations if c.verdict == "pass")
    )
    if bundle.quality.calibrations:
        lines.append(
            f"Portable XRF was calibrated to the laboratory for {count(len(good), 'element')}"
            + (f" ({', '.join(good[:12])})." if good else ".")
        )
    if len(report.targets):
        first = report.targets.iloc[0]
        lines.append(
            f"{count(len(report.targets), 'target')}; the first, {first['target']}, shows "
            f"{first['elements']} over {figure(first['area_ha'], 2)} ha: {first['next_step']}."
        )
    else:
        lines.append(report.why_none)
    return lines


def _in_short(bundle: Bundle, figures: Path) -> list[Block]:
    return [Heading("In short"), Bullets(headline(bundle)), *picture(figures, "targets", _MAP)]


_MAP = "Targets (outlines, ranked), leads and samples."


def _progress(bundle: Bundle, figures: Path) -> list[Block]:
    blocks: list[Block] = [
        Heading("Progress"),
        Table(("samples", "number"), progress_rows(bundle.progress), widths=(0.6, 0.4)),
    ]
    grids = [
        (
            s.medium,
            s.grid or "-",
            str(s.n),
            f"{s.line_spacing:.0f} x {s.station_spacing:.0f}" if s.regular else f"{s.nearest:.0f}",
            f"{s.azimuth:.0f}" if s.regular else "irregular",
            f"{s.area_km2:.2f}",
        )
        for s in bundle.spacings
    ]
    if grids:
        blocks.append(
            Table(
                (
                    "medium",
                    "grid",
                    "places",
                    "spacing [m]",
                    "line azimuth [deg, grid]",
                    "area [km2]",
                ),
                grids,
                "Sampling as measured from the positions.",
            )
        )
    return blocks + picture(figures, "samples", "Samples by medium.")


def _week(bundle: Bundle, figures: Path) -> list[Block]:  # noqa: ARG001
    return week_blocks(bundle.progress, leading_elements(bundle)[:8])


def _quality(bundle: Bundle, figures: Path) -> list[Block]:
    quality = bundle.quality
    blocks: list[Block] = [Heading("Can the numbers be trusted?")]
    rows = batch_rows(quality.batches)
    if rows:
        shown = rows[:30]
        blocks.append(
            Table(
                ("assay", "instrument", "batch", "verdict", "reason"),
                shown,
                "Verdict of each batch, judged on its key elements"
                + (f"; {len(rows) - 30} more in quality.csv." if len(rows) > 30 else "."),
                (0.1, 0.13, 0.2, 0.09, 0.48),
            )
        )
    else:
        blocks.append(Paragraph("There were no results to judge."))
    if len(quality.reread):
        ids = quality.reread["sample_id"].drop_duplicates().tolist()
        more = f" and {len(ids) - 20} more" if len(ids) > 20 else ""
        blocks.append(Paragraph(f"Read or analyse again: {', '.join(map(str, ids[:20]))}{more}."))
    blocks += picture(figures, "standards", "Standards in time order.")
    return blocks


def _targets(bundle: Bundle, figures: Path) -> list[Block]:
    report = bundle.targets
    blocks: list[Block] = [Heading("Targets")]
    if not len(report.targets):
        blocks.append(Paragraph(report.why_none))
    else:
        rows = [
            (
                str(t.rank), str(t.target), f"{t.rank_low} to {t.rank_high}", figure(t.score, 2),
                _chance(t.probability), str(t.elements), str(t.samples), figure(t.area_ha, 2),
                f"{t.easting:.0f} {t.northing:.0f}", str(t.status or "new"),
            )
            for t in rows_of(report.targets)
        ]  # fmt: skip
        blocks.append(
            Table(
                (
                    "rank",
                    "",
                    "90 % ranks",
                    "score",
                    "prob.",
                    "elements",
                    "n",
                    "ha",
                    "E N",
                    "status",
                ),
                rows,
                "Probability: share of draws in which the outline exceeds the strongest outline of "
                "one simulated barren survey, times the chance that it is the association and not "
                "another rock, a coating or a line. It is no chance of a deposit.",
                (0.06, 0.06, 0.1, 0.07, 0.07, 0.2, 0.06, 0.07, 0.2, 0.11),
            )
        )
        for t in rows_of(report.targets):
            peak = concentration(t.peak_element, t.peak) if t.peak_element else "-"
            blocks += [
                Heading(f"{t.target}: {t.elements}", 2),
                Bullets(
                    [
                        f"Association: {t.association or '-'}; peak {t.peak_element or ''} {peak}, "
                        f"{figure(t.contrast, 2)} times background; data confidence "
                        f"{t.data_confidence}; "
                        + (
                            "confirmed by a laboratory."
                            if t.lab_confirmed
                            else "not confirmed by a laboratory."
                        ),
                        f"For: {t.evidence_for or '-'}",
                        f"Against: {t.evidence_against or '-'}",
                        f"Next: {t.next_step or '-'}",
                    ]
                ),
            ]
    blocks += sensitivity_blocks(bundle)
    if len(report.leads):
        blocks.append(
            Paragraph(
                f"{count(len(report.leads), 'lead')} (too few samples or lines for a target) "
                "are drawn on the map."
            )
        )
    return [*blocks, *_place_blocks(bundle, figures)]


def _chance(probability: float) -> str:
    """Write a probability; none is certain."""
    if probability != probability:  # not known
        return "-"
    if probability >= 0.99:
        return "> 0.99"
    return "< 0.01" if probability < 0.01 else f"{probability:.2f}"


def _place_blocks(bundle: Bundle, figures: Path) -> list[Block]:
    """Show the probability of every place, and count what stands out."""
    places = bundle.targets.places
    if places is None or not len(places):
        return []
    out = set(places.loc[places["stands_out"].to_numpy(dtype=bool), "sample_id"])
    inside = len(out & set(bundle.targets.members["sample_id"]))
    said = (
        f"{count(len(out), 'sample')} stand out of their local background so clearly that of these "
        f"a tenth may be background; {inside} of them lie in targets."
        if out
        else "No single place stands out of its local background so clearly that no more than a "
        "tenth of such places may be background."
    )
    words = "Probability, place by place, that an association exceeds its local background."
    return [
        Heading("Every place", 2), Paragraph(said), *picture(figures, "place_probability", words),
    ]  # fmt: skip


def _decisions(bundle: Bundle, figures: Path) -> list[Block]:  # noqa: ARG001
    return decision_blocks(bundle)


def _work(bundle: Bundle, figures: Path) -> list[Block]:  # noqa: ARG001
    report = bundle.targets
    blocks: list[Block] = [Heading("What to do next")]
    steps = [f"{t.target}: {t.next_step}" for t in rows_of(report.targets) if t.next_step]
    if len(bundle.quality.reread):
        steps.insert(
            0, f"Read again {count(bundle.quality.reread['sample_id'].nunique(), 'sample')}."
        )
    if bundle.progress.get("outstanding"):
        steps.append(f"Ask the laboratory for {count(bundle.progress['outstanding'], 'sample')}.")
    blocks.append(Bullets(steps) if steps else Paragraph("Nothing follows from this run alone."))
    if len(report.follow_up):
        by_target = report.follow_up.groupby("target", sort=True).size()
        rows = [(str(t), str(n)) for t, n in by_target.items()]
        blocks.append(
            Table(("target", "follow-up samples"), rows, "Positions are in follow_up.gpx.")
        )
    if len(report.holes):
        lines = [
            (
                str(h.hole), str(h.target), f"{h.easting:.0f} {h.northing:.0f}", figure(h.azimuth),
                figure(h.dip, 2), figure(h.length), str(h.status), str(h.reason or h.purpose or ""),
            )
            for h in rows_of(report.holes)
        ]  # fmt: skip
        blocks.append(
            Table(
                ("hole", "target", "E N", "azimuth", "dip", "m", "status", "reason"),
                lines,
                "Azimuth from grid north. A concept is an idea for discussion, not a proposal to drill.",
                (0.07, 0.08, 0.17, 0.1, 0.06, 0.06, 0.1, 0.36),
            )
        )
    return blocks


def _cautions(bundle: Bundle, figures: Path) -> list[Block]:  # noqa: ARG001
    return [Heading("Cautions"), Caution(cautions.RESULTS), Caution(cautions.FIELD)]
