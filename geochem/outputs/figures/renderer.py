"""Writes all figures of a run: the only place where figures become files."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from geochem.model.catchments import STREAM
from geochem.outputs.figures import captions
from geochem.outputs.figures.layout import page_of
from geochem.outputs.figures.style import styled
from geochem.outputs.leading import leading_association, leading_elements

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.transforms import Bbox

    from geochem.model.bundle import Bundle
    from geochem.model.surface import Surface

DPI = 150
#: PNG holds no date and no program, so that equal input gives equal bytes
_PNG = {"Software": None}
#: the highest compression takes longer than drawing and saves 5 %
_QUICK = {"compress_level": 3}
_PDF = {"Creator": None, "Producer": None, "CreationDate": None}


class FiguresRenderer:
    """Static figures as PNG, the main ones as PDF too."""

    name = "figures"
    summary = "maps and charts as PNG; the main ones as PDF for print"
    formats = ("png", "pdf")
    #: needs no file that another renderer writes
    reads_folder = False
    #: others read them
    draws_figures = True

    def render(
        self, bundle: Bundle, folder: Path, *, pdf: bool = True, max_elements: int = 6,
        page: Literal["as drawn", "16:9", "A4"] = "as drawn",
    ) -> list[Path]:  # fmt: skip
        """Draw everything that the records allow.

        Parameters
        ----------
        bundle : Bundle
            Records of a run.
        folder : Path
            Result folder; files go to ``figures/`` in it.
        pdf : bool, default True
            Write the main figures (samples, targets, the first element map, box plots, biplots)
            as PDF beside the PNG.
        max_elements : int, default 6
            Elements that get a map and a probability plot, most important first.
        page : {"as drawn", "16:9", "A4"}
            Proportions of every page: as drawn (16 by 10), or with white edges so that it fills
            a screen of 16 by 9 or a sheet of A4 landscape.

        Returns
        -------
        list of Path
            What was written; a figure whose records are missing is left out.
        """
        written: list[Path] = []
        with _collector_at_rest():
            for piece in self.pieces(
                bundle, folder, pdf=pdf, max_elements=max_elements, page=page
            ):
                written += piece()
        return written

    def pieces(
        self, bundle: Bundle, folder: Path, *, pdf: bool = True, max_elements: int = 6,
        page: Literal["as drawn", "16:9", "A4"] = "as drawn",
    ) -> Iterator[Callable[[], list[Path]]]:  # fmt: skip
        """Give `render` in pieces, one per figure, that several processes can share.

        Parameters
        ----------
        bundle, folder, pdf, max_elements, page
            As in `render`.

        Yields
        ------
        callable
            Draws and writes one figure; gives the files.
        """
        target = Path(folder) / "figures"
        target.mkdir(parents=True, exist_ok=True)
        for name, in_pdf, draw in figure_jobs(bundle, max_elements):
            yield partial(_draw_and_write, draw, target / name, pdf=pdf and in_pdf, page=page)


def _draw_and_write(
    draw: Callable[[], Axes | Figure], stem: Path, *, pdf: bool, page: str
) -> list[Path]:
    return write_figure(draw(), stem, pdf=pdf, page=page)


@contextmanager
def _collector_at_rest() -> Iterator[None]:
    """Leave garbage alone while figures are drawn.

    Figures are full of reference cycles, so the collector would search the whole memory again and
    again: a sixth of the time. What they leave behind (some MB each) is collected at the end.
    """
    running = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if running:
            gc.enable()
            gc.collect()


@styled
def write_figure(
    drawn: Axes | Figure, stem: Path, *, pdf: bool = False, page: str = "as drawn"
) -> list[Path]:
    """Write one figure.

    Parameters
    ----------
    drawn : Axes or Figure
        What a drawing function gave; the whole page is written.
    stem : Path
        File without ending.
    pdf : bool
        Write the PDF too.
    page : str
        As in `FiguresRenderer.render`.

    Returns
    -------
    list of Path
        PNG, then PDF.
    """
    from matplotlib.figure import Figure

    whole = drawn if isinstance(drawn, Figure) else page_of(drawn)
    width, height = (float(v) for v in whole.get_size_inches())
    box = _page_box(width, height, page)
    png = stem.with_name(f"{stem.name}.png")
    whole.savefig(png, format="png", dpi=DPI, metadata=_PNG, pil_kwargs=_QUICK, bbox_inches=box)
    if not pdf:
        return [png]
    path = stem.with_name(f"{stem.name}.pdf")
    whole.savefig(path, format="pdf", dpi=DPI, metadata=_PDF, bbox_inches=box)
    return [png, path]


#: width over height; A4 landscape is 297 mm by 210 mm (ISO 216)
_PROPORTIONS = {"16:9": 16 / 9, "A4": 297 / 210}


def _page_box(width: float, height: float, page: str) -> Bbox | None:
    """Give the rectangle that is written, wider or higher than the drawing; None for as drawn."""
    from matplotlib.transforms import Bbox

    wanted = _PROPORTIONS.get(page)
    if wanted is None:
        return None
    wide, high = max(width, height * wanted), max(height, width / wanted)
    left, low = (wide - width) / 2, (high - height) / 2
    return Bbox([[-left, -low], [width + left, height + low]])


Job = tuple[str, bool, "Callable[[], Axes | Figure]"]


def figure_jobs(bundle: Bundle, max_elements: int = 6) -> Iterator[Job]:
    """List the figures of a run: file name, whether the PDF is worth its time, how to draw it.

    Parameters
    ----------
    bundle : Bundle
        Records of a run.
    max_elements : int
        Elements that get figures of their own.

    Yields
    ------
    tuple
        Name without ending, whether the PDF is written, a function without arguments.
    """
    if len(bundle.survey.samples):
        yield from _map_jobs(bundle, max_elements)
        yield from _background_jobs(bundle, max_elements)
    yield from _quality_jobs(bundle)


def _map_jobs(bundle: Bundle, most: int) -> Iterator[Job]:
    from geochem.outputs.figures.element_map import draw_element
    from geochem.outputs.figures.place_map import draw_places
    from geochem.outputs.figures.samples_map import draw_samples
    from geochem.outputs.figures.score_map import draw_score
    from geochem.outputs.figures.surface_map import draw_surface
    from geochem.outputs.figures.targets_map import draw_targets

    samples, layers, info = bundle.survey.samples, bundle.layers, bundle.info
    evidence = bundle.evidence
    yield "samples", True, partial(
        draw_samples, samples, spacings=bundle.spacings, caption=captions.samples(bundle),
        layers=layers, info=info,
    )  # fmt: skip
    for k, element in enumerate(leading_elements(bundle)[: max(0, most)]):
        limits, words = captions.threshold_per_sample(bundle, element)
        yield f"element_{element}", k < 1, partial(
            draw_element, samples, element, thresholds=limits, threshold_words=words,
            caption=captions.element(bundle, element), layers=layers, info=info,
        )  # fmt: skip
    lead = leading_association(evidence, bundle.targets.targets)
    yield "targets", True, partial(
        draw_targets, bundle.targets, samples, evidence=evidence, association=lead,
        caption=captions.targets(bundle), layers=layers, info=info,
    )  # fmt: skip
    if lead is not None and lead.name in evidence.scores.columns and len(evidence.anomalies):
        yield "associations", False, partial(
            draw_score, evidence, lead, caption=captions.association(bundle, lead),
            layers=layers, info=info,
        )  # fmt: skip
    if bundle.targets.places is not None and len(bundle.targets.places):
        yield "place_probability", False, partial(
            draw_places, bundle.targets, samples, caption=captions.places(bundle),
            layers=layers, info=info,
        )  # fmt: skip
    yield from _small_map_jobs(bundle)
    for surface in bundle.surfaces:
        yield f"surface_{surface.name}", False, partial(
            draw_surface, surface, samples=_samples_behind(bundle, surface),
            caption=captions.surface(bundle, surface), layers=layers, info=info,
        )  # fmt: skip
    yield from _surface_check_jobs(bundle)
    found = bundle.catchments
    if found is not None and found.elements:
        from geochem.outputs.figures.catchment_map import draw_catchments

        streams = samples.loc[(samples["medium"] == STREAM).to_numpy()]
        yield f"catchments_{found.elements[0]}", False, partial(
            draw_catchments, found, found.elements[0], samples=streams,
            caption=captions.catchments(bundle, found.elements[0]), layers=layers, info=info,
        )  # fmt: skip


def _surface_check_jobs(bundle: Bundle) -> Iterator[Job]:
    """Show of the leading surface alone how sure and how good it is; files hold the others."""
    from geochem.outputs.figures.surface_check import draw_surface_check
    from geochem.outputs.figures.surface_uncertainty import draw_uncertainty

    for surface in [s for s in bundle.surfaces if s.deviation is not None][:1]:
        common: dict[str, Any] = {
            "samples": _samples_behind(bundle, surface), "layers": bundle.layers,
            "info": bundle.info,
        }  # fmt: skip
        yield f"uncertainty_{surface.name}", False, partial(
            draw_uncertainty, surface, "interval",
            caption=captions.surface_uncertainty(bundle, surface, "interval"), **common,
        )  # fmt: skip
        asked = bundle.settings.get("surfaces", {}).get("above", {})
        if surface.chance is not None and surface.name.split("_ppm")[0] in asked:
            yield f"chance_{surface.name}", False, partial(
                draw_uncertainty, surface, "chance",
                caption=captions.surface_uncertainty(bundle, surface, "chance"), **common,
            )  # fmt: skip
        if surface.left_out:
            yield f"check_{surface.name}", False, partial(
                draw_surface_check, surface, info=bundle.info,
                caption=captions.surface_check(bundle, surface),
            )  # fmt: skip


def _small_map_jobs(bundle: Bundle) -> Iterator[Job]:
    from geochem.outputs.figures.overview import class_maps, index_maps, overview_maps
    from geochem.outputs.figures.small_maps import draw_small_maps

    boundary, info = bundle.layers.get("boundary"), bundle.info
    yield "overview", False, lambda: draw_small_maps(
        overview_maps(bundle), columns=2, boundary=boundary, info=info,
        caption=captions.overview(bundle),
    )  # fmt: skip
    indices = index_maps(bundle)
    if indices:
        yield "indices", False, lambda: draw_small_maps(
            indices, columns=min(3, len(indices)), boundary=boundary, info=info,
            caption=captions.indices(bundle), legend=0,
        )  # fmt: skip
    elements = leading_elements(bundle)[:6]
    elements = [e for e in elements if captions.threshold_per_sample(bundle, e)[1]]
    if elements:
        yield "threshold_classes", False, lambda: draw_small_maps(
            class_maps(bundle, elements), columns=min(3, len(elements)), boundary=boundary,
            info=info, caption=captions.threshold_classes(bundle, elements), legend=0,
        )  # fmt: skip


def _samples_behind(bundle: Bundle, surface: Surface) -> gpd.GeoDataFrame:
    """Give the samples that a surface was made from, as far as names tell."""
    samples = bundle.survey.samples
    keep = (samples["medium"] == surface.medium).to_numpy()
    element = surface.name.split("_ppm")[0]
    if "_ppm" in surface.name and f"{element}_ppm" in samples.columns:
        keep = keep & np.isfinite(samples[f"{element}_ppm"].to_numpy(dtype=float))
    return samples.loc[keep]


def _background_jobs(bundle: Bundle, most: int) -> Iterator[Job]:
    from geochem.outputs.figures import concentration_area
    from geochem.outputs.figures.biplot import draw_biplot
    from geochem.outputs.figures.boxplots import draw_boxplots
    from geochem.outputs.figures.comparison import draw_comparison
    from geochem.outputs.figures.distribution import draw_distribution
    from geochem.outputs.figures.found_associations import draw_found_associations
    from geochem.outputs.figures.probability import can_draw, draw_probability

    samples, info, records = bundle.survey.samples, bundle.info, bundle.threshold_records
    elements = leading_elements(bundle)[: max(0, most)]
    for element in elements:
        fits = [
            (-fit.n_used, medium, fit)
            for (medium, e), fit in bundle.probability_plots.items()
            if e == element and can_draw(fit)
        ]
        if fits:
            _, medium, fit = min(fits, key=lambda f: f[:2])
            yield f"probability_{element}", False, partial(
                draw_probability, fit, element, medium=medium, info=info,
                used=records.get((medium, "all", element)),
                caption=captions.probability(bundle, element, medium),
            )  # fmt: skip
    for (medium, element), made in bundle.comparisons.items():
        used = records.get((medium, "all", element))
        yield f"thresholds_{element}", False, partial(
            draw_comparison, made, used=used, info=info,
            caption=captions.comparison(bundle, made),
        )  # fmt: skip
        yield f"distribution_{element}", False, partial(
            draw_distribution, made, used=used, info=info,
            caption=captions.distribution(bundle, made),
        )  # fmt: skip
        curve = made.records.get("concentration-area")
        if curve is not None and concentration_area.can_draw(curve):
            yield f"concentration_area_{element}", False, partial(
                concentration_area.draw_concentration_area, curve, element, medium=medium, info=info,
            )  # fmt: skip
    for gold in captions.gold_shown(bundle):
        from geochem.outputs.figures.gold import draw_gold

        yield f"gold_{gold.element}", False, partial(
            draw_gold, gold, samples, pairs=bundle.quality.pairs, info=info
        )  # fmt: skip
    medium = captions.main_medium(bundle)
    mine = samples.loc[(samples["medium"].fillna("") == medium).to_numpy()]
    boxed = [e for e in elements if np.isfinite(mine[f"{e}_ppm"].to_numpy(dtype=float)).any()]
    if boxed and len(mine) >= 2:
        found = {e: records.get((medium, "all", e)) for e in boxed}
        yield "boxplots", True, partial(
            draw_boxplots, mine, boxed, info=info,
            thresholds={e: record.value for e, record in found.items() if record is not None},
            caption=captions.boxplots(bundle, mine, medium, boxed[:6]),
        )  # fmt: skip
    if bundle.evidence.found:
        yield (
            "found_associations",
            False,
            partial(draw_found_associations, bundle.evidence.found, info=info),
        )
    for composition in bundle.compositions:
        if composition.loadings.shape[1] >= 2 and len(composition.scores) >= 3:
            yield f"biplot_{composition.medium.replace(' ', '_')}", True, partial(
                draw_biplot, composition, samples=samples, info=info,
                caption=captions.biplot(bundle, composition),
            )  # fmt: skip


def _quality_jobs(bundle: Bundle) -> Iterator[Job]:
    from geochem.outputs.figures.calibration import draw_calibrations
    from geochem.outputs.figures.quality_figures import quality_jobs
    from geochem.outputs.figures.standards import draw_standards

    info = bundle.info
    series = captions.standard_series(bundle)
    if series:
        yield "standards", False, partial(
            draw_standards, bundle.quality.standards, series, info=info,
            limits=captions.bias_limits(bundle), caption=captions.standards(bundle),
        )  # fmt: skip
    tried = captions.calibrations_shown(bundle)
    if tried:
        yield "xrf_laboratory", False, partial(
            draw_calibrations, tried, bundle.quality.calibration_pairs, info=info,
            caption=captions.calibrations(bundle),
        )  # fmt: skip
    yield from quality_jobs(bundle, leading_elements(bundle))
    if bundle.levelling is not None and bundle.levelling.done:
        from geochem.outputs.figures.levelling import draw_levelling

        yield "levelling", False, partial(draw_levelling, bundle.levelling, info=info)
