"""Writes `slides.pptx`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.outputs import cautions
from geochem.outputs.leading import leading_elements
from geochem.outputs.report.content import headline
from geochem.outputs.slides.layout import Deck
from geochem.outputs.text_cells import printable
from geochem.outputs.wording import concentration, count, figure, progress_rows, verdict_summary

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle


class SlidesRenderer:
    """Presentation for companies and investors."""

    name = "slides"
    summary = "presentation with editable text and tables, all results and the cautions"
    formats = ("pptx",)

    def render(self, bundle: Bundle, folder: Path) -> list[Path]:
        """Write the presentation from records and the figures that were drawn before.

        Parameters
        ----------
        bundle : Bundle
            Records of a run.
        folder : Path
            Result folder.

        Returns
        -------
        list of Path
            ``slides.pptx``.
        """
        folder = Path(folder)
        info = bundle.info
        day = f"{info.clock:%Y-%m-%d}"
        deck = Deck(f"{printable(info.title)}, {day}. {cautions.SHORT}")
        known = f", as known on {info.until}" if info.until else ""
        deck.title_slide(
            printable(info.title),
            [
                f"Exploration geochemistry, {day}{known}",
                info.prepared_by or "",
                "For discussion. Not for public release without a competent / qualified person.",
            ],
        )
        _setting(deck, bundle, folder / "figures")
        deck.table_slide(
            "What was done", ("samples", "number"), progress_rows(bundle.progress), (3, 1)
        )
        _quality(deck, bundle)
        _maps(deck, bundle, folder / "figures")
        _targets(deck, bundle, folder / "figures")
        deck.two_columns(
            "What we know, and what we do not",
            ("We know", _known(bundle)),
            ("We do not know", _unknown(bundle)),
        )
        deck.text_slide("Next steps", _next(bundle))
        deck.text_slide("Cautionary statement", cautions.RESULTS, size=17)
        path = folder / "slides.pptx"
        deck.save(path, title=printable(info.title), clock=info.clock)
        return [path]


def _setting(deck: Deck, bundle: Bundle, figures: Path) -> None:
    facts = [f"{bundle.info.crs_name} ({bundle.info.crs})"]
    for spacing in bundle.spacings:
        grid = (
            f"lines {spacing.line_spacing:.0f} m apart, samples every {spacing.station_spacing:.0f} m"
            if spacing.regular
            else f"about {spacing.nearest:.0f} m apart"
        )
        facts.append(f"{count(spacing.n, 'place')} of {spacing.medium}: {grid}")
    samples = figures / "samples.png"
    if samples.is_file():
        deck.picture_slide("Setting", samples, "Map of the samples by medium", facts)
    else:
        deck.text_slide("Setting", facts)


def _quality(deck: Deck, bundle: Bundle) -> None:
    rows = sorted(
        verdict_summary(bundle.quality.verdicts),
        key=lambda r: {"fail": 0, "warn": 1}.get(r[3], 2),
    )
    if not rows:
        return
    note = "Worst verdict of the key elements per batch. A failed batch is used and marked."
    if len(rows) > 10:
        passed = sum(r[3] == "pass" for r in rows)
        note = f"{note} Of {len(rows)} batches {passed} passed; the first ten are shown."
    shown = [tuple(printable(c)[:90] for c in row) for row in rows[:10]]
    deck.table_slide(
        "Can the numbers be trusted?",
        ("assay", "instrument", "batch", "verdict", "reason"),
        shown, (1.1, 1.3, 2.0, 0.8, 5), note,
    )  # fmt: skip


def _maps(deck: Deck, bundle: Bundle, figures: Path) -> None:
    accepted: Any = bundle.survey.analytes
    for element in leading_elements(bundle)[:4]:
        path = figures / f"element_{element}.png"
        if not path.is_file():
            continue
        mine = accepted.loc[(accepted["element"] == element) & accepted["accepted"].astype(bool)]
        sources = set(mine["source"].dropna())
        words = []
        if "pxrf" in sources:
            words.append("Portable XRF: screening, not a laboratory assay.")
        if "laboratory" in sources:
            words.append("Laboratory results.")
        table = bundle.thresholds
        whole = table.loc[(table["element"] == element) & (table["domain"] == "all")]
        rows: list[Any] = list(whole.itertuples())
        for row in rows[:4]:
            k = f" (k = {figure(row.k)})" if row.k == row.k else ""
            words.append(
                f"{row.medium}: {row.n_beyond} of {row.n} samples beyond "
                f"{concentration(element, row.value)}{k}"
            )
        words.append("All results are shown, low ones too.")
        deck.picture_slide(f"{element} in the samples", path, f"Map of {element}", words)


def _targets(deck: Deck, bundle: Bundle, figures: Path) -> None:
    targets = bundle.targets.targets
    if not len(targets):
        deck.text_slide("Targets", [printable(bundle.targets.why_none)])
        return
    picture = figures / "targets.png"
    if picture.is_file():
        deck.picture_slide("Targets", picture, "Map of the targets, ranked", headline(bundle)[-1:])
    rows = [
        (
            str(t.rank), t.target, printable(t.elements), str(t.samples), figure(t.area_ha, 2),
            "yes" if t.lab_confirmed else "no", str(t.data_confidence), printable(t.next_step or "-"),
        )
        for t in targets.itertuples()
    ]  # fmt: skip
    deck.table_slide(
        "Targets for follow-up",
        ("rank", "", "elements", "samples", "ha", "laboratory", "data", "next step"),
        rows, (0.7, 0.6, 1.9, 1.1, 0.7, 1.3, 1.1, 4.2),
        "Order of follow-up, not of value. Outlines are surface anomalies.",
    )  # fmt: skip


def _known(bundle: Bundle) -> list[str]:
    targets = bundle.targets.targets
    beyond = set(bundle.targets.members["sample_id"]) if len(bundle.targets.members) else set()
    located = len(bundle.survey.samples)
    known = [f"{located - len(beyond)} of {located} samples lie outside any target."]
    confirmed = int(targets["lab_confirmed"].sum()) if len(targets) else 0
    if len(targets):
        known.append(f"{confirmed} of {count(len(targets), 'target')} hold laboratory values.")
    passed = list(
        dict.fromkeys(c.element for c in bundle.quality.calibrations if c.verdict == "pass")
    )
    if passed:
        known.append(f"Portable XRF agrees with the laboratory for {', '.join(passed[:10])}.")
    return known


def _unknown(bundle: Bundle) -> list[str]:
    unknown = ["What lies below the surface: no depth information comes from these samples."]
    excluded = sorted(bundle.evidence.excluded)
    if excluded:
        unknown.append(f"Elements that could not be judged: {', '.join(excluded[:12])}.")
    if bundle.progress.get("outstanding"):
        unknown.append(
            f"{count(bundle.progress['outstanding'], 'sample')} at a laboratory and not back."
        )
    failed = [r for r in verdict_summary(bundle.quality.verdicts) if r[3] != "pass"]
    if failed:
        unknown.append(
            f"{count(len(failed), 'batch', 'batches')} without a clean quality verdict."
        )
    return unknown


def _next(bundle: Bundle) -> list[str]:
    steps = [
        f"{t.target}: {printable(t.next_step)}"
        for t in bundle.targets.targets.itertuples()
        if t.next_step
    ][:8]
    if len(bundle.targets.follow_up):
        steps.append(f"{count(len(bundle.targets.follow_up), 'follow-up sample')} are planned.")
    return steps or ["Complete the sampling and the quality checks before the next decision."]
