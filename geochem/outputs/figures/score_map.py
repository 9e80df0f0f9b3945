"""Map of the score of an association of elements."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.outputs.figures.layout import Caption
from geochem.outputs.figures.map_sheet import start_map
from geochem.outputs.figures.panel import Block, Entry
from geochem.outputs.figures.style import NO_DATA, shape_of, styled
from geochem.outputs.figures.symbols import graded_style, media_of, positions, put, symbol_size
from geochem.outputs.wording import figure

if TYPE_CHECKING:
    import numpy.typing as npt
    from matplotlib.axes import Axes

    from geochem.model.bundle import CampaignInfo
    from geochem.model.evidence import Association, Evidence
    from geochem.model.layers import Layers

#: limits between classes of a score that is about N(0, 1) in background
SCORE_LIMITS = (0.0, 1.0, 2.0, 3.0, 5.0)


@styled
def draw_score(
    evidence: Evidence,
    association: Association,
    *,
    layers: Layers | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Show the calibrated score of one association.

    Parameters
    ----------
    evidence : Evidence
        With a column of `scores` for the association.
    association : Association
        Which one.
    layers, info, caption, ax
        As in `draw_samples`.

    Returns
    -------
    Axes
        The map.
    """
    points = evidence.anomalies
    x, y = positions(points)
    score = evidence.scores[association.name].to_numpy(dtype=float)
    sheet = start_map(ax, layers, (x, y))
    ax, window = sheet.ax, sheet.window
    medium, media = media_of(points)
    size = symbol_size(ax, x, y, window)
    draw_scores(ax, x, y, score, medium, size)
    entries = score_entries(score, size)
    weights = ", ".join(f"{e} {association.weights.get(e, 0.0):+.2g}" for e in association.used)
    missing = (
        f" Not used (not measured or not fit): {', '.join(association.missing)}."
        if association.missing
        else ""
    )
    blocks = [
        Block("Score [standard deviations of background], number of samples", tuple(entries)),
        Block("Weights", note=f"{weights}.{missing}"),
    ]
    if len(media) > 1:
        shapes = tuple(
            Entry(m, f"{int((medium == m).sum())}",
                  marker={**graded_style(2, 7.0, shape_of(m)), "ms": 5.0})
            for m in media
        )  # fmt: skip
        blocks.append(Block("Shape of the symbols", shapes))
    default = Caption(
        f"{association.title}: score of {', '.join(association.used)}",
        f"n = {int(np.isfinite(score).sum())} scored samples.",
    )
    return sheet.finish(blocks, default, info=info, caption=caption)


def draw_scores(
    ax: Axes,
    x: npt.NDArray[np.float64],
    y: npt.NDArray[np.float64],
    score: npt.NDArray[np.float64],
    medium: npt.NDArray[np.object_],
    size: float,
) -> None:
    """Put graded symbols of a score on a map.

    Parameters
    ----------
    ax : Axes
        The map.
    x, y, score, medium : ndarray, shape (n,)
        Positions [m], score, medium.
    size : float
        Largest diameter. [pt]
    """
    missing = ~np.isfinite(score)
    style = {"marker": "o", "ms": 2.4, "mfc": "none", "mec": NO_DATA, "mew": 0.6}
    put(ax, x[missing], y[missing], style, zorder=2.8, label="no score")
    place_of = np.searchsorted(SCORE_LIMITS, score, side="right")
    for k in range(len(SCORE_LIMITS) + 1):
        for name in sorted(set(medium.astype(str))):
            at = ~missing & (place_of == k) & (medium == name)
            put(ax, x[at], y[at], graded_style(k, size, shape_of(name)), zorder=3 + 0.1 * k,
                label=f"score class {k + 1}")  # fmt: skip


def score_entries(score: npt.NDArray[np.float64], size: float) -> list[Entry]:
    """Give the legend of the score classes, highest first."""
    known = score[np.isfinite(score)]
    place_of = np.searchsorted(SCORE_LIMITS, known, side="right")
    entries = []
    for k in range(len(SCORE_LIMITS), -1, -1):
        inside = known[place_of == k]
        if k == 0:
            text = f"{figure(inside.min()) if len(inside) else ''} to < 0".strip()
            text = text if len(inside) else "< 0"
        elif k == len(SCORE_LIMITS):
            text = f"5 to {figure(inside.max())}" if len(inside) else ">= 5"
        else:
            text = f"{SCORE_LIMITS[k - 1]:g} to < {SCORE_LIMITS[k]:g}"
        entries.append(Entry(text, f"{len(inside)}", marker=graded_style(k, size)))
    missing = len(score) - len(known)
    if missing:
        style = {"marker": "o", "ms": 2.4, "mfc": "none", "mec": NO_DATA, "mew": 0.6}
        entries.append(Entry("no score", f"{missing}", marker=style))
    return entries
