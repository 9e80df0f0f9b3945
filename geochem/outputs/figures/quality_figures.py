"""The list of the further figures of quality control, for the renderer."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from geochem.model.bundle import Bundle

#: file name -> what it shows, for the report
TITLES: dict[str, str] = {
    "quality_drift": "Drift of standards",
    "quality_drift_correction": "Drift correction, before and after",
    "quality_blanks": "Blanks",
    "quality_duplicates": "Duplicates: error against concentration",
    "quality_duplicate_scatter": "Duplicates: second against first",
    "quality_variances": "Where the variance comes from",
    "quality_detection": "Detection limits",
    "quality_reliability": "How far each element can be believed",
    "quality_pellets": "Are the pellets thick enough?",
    "quality_laboratory": "Laboratory: jobs and hit rate",
}


def quality_jobs(
    bundle: Bundle, leading: Sequence[str] = ()
) -> Iterator[tuple[str, bool, Callable[[], Figure]]]:
    """List the figures that the records allow: file name, PDF or not, how to draw it.

    Parameters
    ----------
    bundle : Bundle
        Records of a run.
    leading : sequence of str
        Elements that come first where not all are drawn.

    Yields
    ------
    tuple
        As `renderer.figure_jobs` yields them.
    """
    from geochem.outputs.figures.quality_elements import draw_pellets, draw_reliability
    from geochem.outputs.figures.quality_laboratory import draw_laboratory
    from geochem.outputs.figures.quality_limits import draw_blanks, draw_detection
    from geochem.outputs.figures.quality_over_time import draw_drift
    from geochem.outputs.figures.quality_pairs import (
        draw_duplicates,
        draw_variances,
        duplicate_series,
    )
    from geochem.outputs.figures.quality_scatter import draw_correction, draw_duplicate_scatter

    q, info = bundle.quality, bundle.info
    if len(q.drift) and len(q.standards):
        yield "quality_drift", False, partial(draw_drift, q.standards, q.drift, info=info)
    if q.drift_correction["after_pct"].notna().any():
        yield "quality_drift_correction", False, partial(
            draw_correction, q.drift_correction, info=info
        )  # fmt: skip
    if len(q.blanks) and "reference" in q.blanks and q.blanks["reference"].gt(0).any():
        yield "quality_blanks", False, partial(draw_blanks, q.blanks, info=info)
    if "th_s0" in q.duplicates and duplicate_series(q.duplicates):
        yield "quality_duplicates", False, partial(
            draw_duplicates, q.pairs, q.duplicates, leading=leading, info=info
        )  # fmt: skip
        yield "quality_duplicate_scatter", False, partial(
            draw_duplicate_scatter, q.pairs, q.duplicates, leading=leading, info=info
        )  # fmt: skip
    if (q.variances["part"] == "ground").any():
        yield "quality_variances", False, partial(draw_variances, q.variances, info=info)
    if len(q.detection):
        yield "quality_detection", False, partial(draw_detection, q.detection, info=info)
    if len(q.reliability):
        yield "quality_reliability", False, partial(draw_reliability, q.reliability, info=info)
    if q.pellets["n_known"].fillna(0).gt(0).any():
        yield "quality_pellets", False, partial(draw_pellets, q.pellets, info=info)
    if len(q.jobs) or q.hits["n_high"].fillna(0).gt(0).any():
        yield "quality_laboratory", False, partial(draw_laboratory, q.jobs, q.hits, info=info)
