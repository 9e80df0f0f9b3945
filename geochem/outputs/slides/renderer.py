"""Writes `slides.pptx`."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from geochem.errors import WrongCall
from geochem.outputs import cautions
from geochem.outputs.leading import leading_elements
from geochem.outputs.report.content import headline
from geochem.outputs.slides.layout import Deck
from geochem.outputs.text_cells import printable
from geochem.outputs.wording import batch_rows, concentration, count, figure, progress_rows

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle


class SlidesRenderer:
    """Presentation for companies and investors."""

    name = "slides"
    summary = "presentation with editable text and tables, all results and the cautions"
    formats = ("pptx",)
    #: needs the pictures and no other file that another renderer writes
    reads_folder = "figures"

    def render(
        self, bundle: Bundle, folder: Path, *, template_file: str = "", blur_m: float = 0.0
    ) -> list[Path]:
        """Write the presentation from records and the figures that were drawn before.

        Parameters
        ----------
        bundle : Bundle
            Records of a run.
        folder : Path
            Result folder.
        template_file : str
            Presentation (.pptx) whose size, layouts, fonts and colours are taken.
        blur_m : float, default 0
            Positive: maps show cells of this side instead of places, without coordinates, CRS or
            surroundings. [m]

        Returns
        -------
        list of Path
            ``slides.pptx``.

        Raises
        ------
        WrongCall
            If the template is no presentation, or the blur is negative.
        """
        if blur_m < 0 or blur_m != blur_m:
            raise WrongCall(f"blur_m must be 0 (off) or a length in metres, got {blur_m:g}.")
        folder = Path(folder)
        info = bundle.info
        day = f"{info.clock:%Y-%m-%d}"
        foot = f"{printable(info.title)}, {day}. {cautions.SHORT}"
        deck = Deck(foot, Path(template_file) if template_file else None)
        known = f", as known on {info.until}" if info.until else ""
        deck.title_slide(
            printable(info.title),
            [
                f"Exploration geochemistry, {day}{known}",
                info.prepared_by or "",
                "For discussion. Not for public release without a competent / qualified person.",
            ],
        )
        with TemporaryDirectory() as made:
            maps = Path(made) if blur_m else folder / "figures"
            if blur_m:
                _blur(bundle, maps, blur_m)
            _slides(deck, bundle, maps, blur_m)
        path = folder / "slides.pptx"
        deck.save(path, title=printable(info.title), clock=info.clock)
        return [path]


def _slides(deck: Deck, bundle: Bundle, maps: Path, blur_m: float) -> None:
    _setting(deck, bundle, maps, blur_m)
    deck.table_slide(
        "What was done", ("samples", "number"), progress_rows(bundle.progress), (3, 1)
    )
    _quality(deck, bundle)
    _maps(deck, bundle, maps)
    _targets(deck, bundle, maps)
    deck.two_columns(
        "What we know, and what we do not",
        ("We know", _known(bundle)),
        ("We do not know", _unknown(bundle)),
    )
    deck.text_slide("Next steps", _next(bundle))
    deck.text_slide("Cautionary statement", cautions.RESULTS, size=17)


def _blur(bundle: Bundle, folder: Path, blur_m: float) -> None:
    """Draw the maps of the slides without positions, under the names of the usual ones."""
    from geochem.outputs.figures.blurred_map import draw_blurred
    from geochem.outputs.figures.captions import main_medium, threshold_per_sample
    from geochem.outputs.figures.layout import Caption, page_of

    medium = main_medium(bundle)
    chosen = (bundle.survey.samples["medium"] == medium).to_numpy()
    samples: Any = bundle.survey.samples.loc[chosen].reset_index(drop=True)
    seed = bundle.info.seed
    n = f"n = {len(samples)} samples of {medium}. Portable XRF values are screening."

    def keep(name: str, title: str, **shown: Any) -> None:
        ax = draw_blurred(
            samples, blur_m, info=bundle.info, seed=seed, caption=Caption(title, n), **shown
        )
        page_of(ax).savefig(folder / f"{name}.png", dpi=150)

    keep("samples", "Where samples were taken")
    keep("targets", "Targets, ranked", targets=bundle.targets.targets)
    for element in leading_elements(bundle)[:4]:
        limits, _ = threshold_per_sample(bundle, element)
        keep(f"element_{element}", f"{element} in {medium}", element=element,
             thresholds=limits[chosen])  # fmt: skip


def _setting(deck: Deck, bundle: Bundle, figures: Path, blur_m: float) -> None:
    facts = [f"{bundle.info.crs_name} ({bundle.info.crs})"]
    if blur_m:
        facts = [f"Positions are blurred to cells of {blur_m:g} m on every map of these slides."]
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
    rows = batch_rows(bundle.quality.batches)
    if not rows:
        return
    note = "Verdict of each batch, judged on its key elements. A failed batch is used and marked."
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
    failed = [r for r in batch_rows(bundle.quality.batches) if r[3] != "pass"]
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
