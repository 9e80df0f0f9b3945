"""Log-ratio biplot: samples and elements on the first two robust components."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.figures.boxplots import grouping
from geochem.outputs.figures.layout import (
    CHART_BOX,
    Caption,
    box_of,
    head_and_foot,
    new_page,
    page_of,
    place,
)  # fmt: skip
from geochem.outputs.figures.panel import Block, Entry, draw_panel
from geochem.outputs.figures.style import (
    INK,
    OUTLINE,
    PAPER,
    SERIES,
    SERIES_COLOURS,
    styled,
)  # fmt: skip
from geochem.outputs.figures.symbols import RASTER_ABOVE
from geochem.outputs.figures.text_fit import text_width

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd
    from matplotlib.axes import Axes

    from geochem.model.bundle import CampaignInfo
    from geochem.model.evidence import Composition


@styled
def draw_biplot(
    composition: Composition,
    *,
    samples: pd.DataFrame | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Show which elements go together, and which samples they mark.

    Rays point to samples rich in an element relative to all others; elements whose ray ends lie
    close go together; the line between two ray ends is their log-ratio.

    Parameters
    ----------
    composition : Composition
        With two components at least.
    samples : pandas.DataFrame, optional
        For shapes by rock unit.
    info, caption, ax
        As in `draw_samples`.

    Returns
    -------
    Axes
        The chart.

    Raises
    ------
    WrongCall
        If there is only one component.
    """
    from geochem.errors import WrongCall

    if composition.loadings.shape[1] < 2:
        raise WrongCall(
            f"a biplot needs two components, the composition of {composition.medium} has "
            f"{composition.loadings.shape[1]}; it has too few parts"
        )
    own = ax is None
    left, bottom, wide, high = CHART_BOX
    ax = (
        place(new_page(), (left + 0.45, bottom + 0.42, wide - 0.45, high - 0.42))
        if ax is None
        else ax
    )
    score = composition.scores[:, :2]
    rays = composition.loadings[:, :2]
    far = float(np.nanquantile(np.abs(score), 0.995)) if len(score) else 1.0
    stretch = 0.85 * far / max(float(np.hypot(*rays.T).max()), 1e-9)
    ends = rays * stretch
    entries = _draw_scores(ax, composition, score, samples)
    x_span, y_span = _window(score, ends, box_of(ax))
    ax.set_xlim(*x_span)
    ax.set_ylim(*y_span)
    for j in range(len(ends)):
        ax.annotate(
            "", xy=(ends[j, 0], ends[j, 1]), xytext=(0, 0), zorder=4,
            arrowprops={"arrowstyle": "-|>", "color": INK, "lw": 0.9, "shrinkA": 0, "shrinkB": 0,
                        "mutation_scale": 7},
        )  # fmt: skip
    faint = _draw_names(ax, composition.parts, ends, (y_span[1] - y_span[0]) / box_of(ax)[3])
    ax.axhline(0, color="#cfcac1", lw=0.7, zorder=1)
    ax.axvline(0, color="#cfcac1", lw=0.7, zorder=1)
    share = 100 * composition.explained
    ax.set_xlabel(f"Component 1 ({share[0]:.0f} % of the robust variance) [natural log-ratio]")
    ax.set_ylabel(f"Component 2 ({share[1]:.0f} %) [natural log-ratio]")
    ax.grid(visible=True)
    inside = (score[:, 0] >= x_span[0]) & (score[:, 0] <= x_span[1])
    inside &= (score[:, 1] >= y_span[0]) & (score[:, 1] <= y_span[1])
    outside = int((~inside).sum())
    parts = [composition.replaced]
    if composition.dropped:
        parts.append(f"Not in the composition: {', '.join(composition.dropped)}.")
    view = [f"Rays are stretched {stretch:.2g} times."]
    if faint:
        view.append(f"Close to the centre, without a name: {', '.join(faint)}.")
    if outside:
        view.append(f"{outside} samples lie outside the window.")
    draw_panel(
        ax,
        [
            Block(f"{composition.medium}, number of samples", tuple(entries)),
            Block(
                "How to read it",
                note="Rays point to samples rich in an element relative to all others. Ray ends "
                "that lie close go together.",
            ),
            Block("", note=" ".join(parts)),
            Block("", note=" ".join(view)),
        ],
    )
    if own:
        default = Caption(
            f"Log-ratio biplot, {composition.medium}",
            f"n = {len(score)} samples, {len(composition.parts)} elements, centred log-ratios.",
        )
        head_and_foot(page_of(ax), caption or default, info)
    return ax


def _window(
    score: npt.NDArray[np.float64],
    ends: npt.NDArray[np.float64],
    box: tuple[float, float, float, float],
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Choose limits around nearly all samples and all rays, one unit equally long on both axes."""
    known = score[np.isfinite(score).all(axis=1)]
    low, high = ends.min(axis=0), ends.max(axis=0)
    if len(known):
        q = np.quantile(known, [0.002, 0.998], axis=0)
        low, high = np.minimum(low, q[0]), np.maximum(high, q[1])
    low, high = np.minimum(low, 0.0), np.maximum(high, 0.0)
    unit = 1.16 * max((high[0] - low[0]) / box[2], (high[1] - low[1]) / box[3], 1e-9)
    middle = (low + high) / 2
    half = unit * np.array(box[2:]) / 2
    return (
        (float(middle[0] - half[0]), float(middle[0] + half[0])),
        (float(middle[1] - half[1]), float(middle[1] + half[1])),
    )


def _draw_scores(
    ax: Axes,
    composition: Composition,
    score: npt.NDArray[np.float64],
    samples: pd.DataFrame | None,
) -> list[Entry]:
    n = len(score)
    groups = np.full(n, "samples", dtype=object)
    if samples is not None:
        import pandas as pd

        at = pd.Index(samples["sample_id"]).get_indexer(pd.Index(composition.sample_id))
        named = grouping(samples.iloc[at[at >= 0]])[0]
        groups[at >= 0] = named
    names, counts = np.unique(groups.astype(str), return_counts=True)
    entries = []
    size = 4.2 if n < 1500 else 2.8
    for k, (name, count) in enumerate(zip(names, counts, strict=True)):
        here = groups == name
        style: dict[str, Any] = {
            "marker": SERIES[k % len(SERIES)], "ms": size,
            "mfc": SERIES_COLOURS[k % len(SERIES_COLOURS)], "mec": PAPER, "mew": 0.25,
        }  # fmt: skip
        ax.plot(
            score[here, 0], score[here, 1], ls="none", zorder=2.5, alpha=0.6,
            rasterized=n > RASTER_ABOVE, gid=f"samples {k + 1}", **style,
        )  # fmt: skip
        entries.append(Entry(str(name), f"{count}", marker={**style, "ms": 5.0}))
    return entries


def _draw_names(
    ax: Axes, parts: tuple[str, ...], ends: npt.NDArray[np.float64], per_inch: float
) -> list[str]:
    """Write the elements at the ends of their rays; move them apart; leave out those at the centre."""
    length = np.hypot(*ends.T)
    longest = float(length.max()) or 1.0
    order = np.argsort(-length, kind="stable")
    taken: list[tuple[float, float, float, float]] = []
    faint = []
    high = 0.15 * per_inch
    for j in order:
        if length[j] < 0.12 * longest:
            faint.append(parts[j])
            continue
        wide = (text_width(parts[j], 8.5, "bold") + 0.04) * per_inch
        angle = np.arctan2(ends[j, 1], ends[j, 0])
        best = None
        for push in (0.11, 0.17, 0.23, 0.3, 0.38):
            for turn in (0.0, 0.3, -0.3, 0.6, -0.6):
                cx = ends[j, 0] + (push * per_inch + wide / 4) * np.cos(angle + turn)
                cy = ends[j, 1] + push * per_inch * np.sin(angle + turn)
                box = (cx - wide / 2, cy - high / 2, cx + wide / 2, cy + high / 2)
                free = all(
                    box[2] < t[0] or box[0] > t[2] or box[3] < t[1] or box[1] > t[3] for t in taken
                )
                if free:
                    best = (cx, cy, box)
                    break
            if best is not None:
                break
        if best is None:
            faint.append(parts[j])
            continue
        taken.append(best[2])
        ax.text(
            best[0], best[1], parts[j], size=8.5, weight="bold", color=OUTLINE, ha="center",
            va="center", zorder=5,
            bbox={"boxstyle": "square,pad=0.08", "fc": "#ffffffd0", "ec": "none"},
        )  # fmt: skip
    return faint
