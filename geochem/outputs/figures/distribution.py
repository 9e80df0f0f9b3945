"""Distribution of one element in one panel: histogram, density, box and every single value."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.figures.layout import (
    CHART_BOX,
    Caption,
    head_and_foot,
    new_page,
    page_of,
    place,
)
from geochem.outputs.figures.panel import Block, Entry, draw_panel
from geochem.outputs.figures.style import ACCENT, FAINT, INK, MUTED, PAPER, RAMP, styled
from geochem.outputs.figures.symbols import RASTER_ABOVE
from geochem.outputs.figures.text_fit import fitting_log_steps, share_text, tick_text
from geochem.outputs.figures.threshold_words import method_words
from geochem.outputs.wording import figure
from geochem.units import shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from geochem.model.bundle import CampaignInfo
    from geochem.model.threshold import Comparison, Threshold


@styled
def draw_distribution(
    made: Comparison,
    *,
    used: Threshold | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
) -> Axes:
    """Show the values of an element four ways on one axis of concentration.

    Parameters
    ----------
    made : Comparison
        Its values, limits and declustering weights are drawn.
    used : Threshold, optional
        The threshold that the campaign uses; drawn through all.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Axes
        The histogram; box and single values stand below on the same axis.
    """
    left, bottom, wide, high = CHART_BOX
    left, wide = left + 0.4, wide - 0.4
    page = new_page()
    top = place(page, (left, bottom + 1.75, wide, high - 1.75))
    box = place(page, (left, bottom + 1.15, wide, 0.55))
    dots = place(page, (left, bottom + 0.42, wide, 0.68))
    known = np.isfinite(made.values) & (made.values > 0)
    x, below, w = made.values[known], made.below[known], made.weights[known]
    unit, divisor = shown_unit(made.element, float(np.median(x)) if len(x) else 1.0)
    x = x / divisor
    value = np.nan if used is None else used.value / divisor
    span = (float(x.min()) / 1.15, float(x.max()) * 1.15) if len(x) else (1.0, 10.0)
    for ax in (top, box, dots):
        ax.set_xscale("log")
        ax.set_xlim(*span)
        steps = fitting_log_steps(*span, wide)
        ax.set_xticks(steps, [tick_text(v) for v in steps])
        ax.set_xticks([], minor=True)
        ax.grid(visible=True, axis="x")
        if np.isfinite(value):
            ax.axvline(value, color=ACCENT, lw=1.2, ls=(0, (5, 2)), zorder=4)
    for ax in (top, box):
        ax.tick_params(axis="x", labelbottom=False)
    dots.set_xlabel(f"{made.element} [{unit}], log scale")
    entries = _histogram(top, x, below, w, span) if len(x) else []
    for ax in (box, dots):
        ax.set_yticks([])
        ax.set_ylim(0, 1)
    if len(x) >= 5:
        _box(box, x, below, w)
    _every_value(dots, x, below)
    n, hidden = len(x), int(below.sum())
    blocks = [
        Block(
            f"{made.element} [{unit}]", tuple(entries),
            note=f"n = {n}; {hidden} ({share_text(hidden, n)}) below detection, drawn at their "
            "limits. Shares and box are declustered.",
        ),
        Block("Box", note="Quartiles and median; whiskers: 5th to 95th percentile. Dotted on the "
                          "left: known only to be lower."),
    ]  # fmt: skip
    if used is not None and np.isfinite(value):
        line = {"color": ACCENT, "lw": 1.2, "ls": (0, (5, 2))}
        over = int((x[~below] >= value).sum())
        blocks.append(
            Block("Threshold", (Entry(f"{method_words(used)}: {figure(value)} {unit}",
                                      f"{over} above", line=line),))
        )  # fmt: skip
    draw_panel(top, blocks)
    where = f" in {made.medium}" if made.medium else ""
    default = Caption(f"{made.element}{where}: how the values spread", "Log scale, in real units.")
    head_and_foot(page_of(top), caption or default, info)
    return top


def _histogram(ax: Axes, x: Any, below: Any, w: Any, span: tuple[float, float]) -> list[Entry]:
    """Draw shares per class and a smooth density of the same area."""
    log = np.log10(x)
    low, high = np.log10(span[0]), np.log10(span[1])
    bins = int(np.clip(round(2.2 * len(x) ** (1 / 3)), 12, 48))
    edges = np.linspace(low, high, bins + 1)
    seen = 100 * np.histogram(log[~below], edges, weights=w[~below])[0] / w.sum()
    hidden = 100 * np.histogram(log[below], edges, weights=w[below])[0] / w.sum()
    at, wide = 10 ** edges[:-1], np.diff(10**edges)
    ax.bar(
        at, hidden, wide, align="edge", facecolor="#dcd8d0", edgecolor=FAINT, hatch="////", lw=0.4
    )
    ax.bar(at, seen, wide, bottom=hidden, align="edge", facecolor=RAMP[1], edgecolor=PAPER, lw=0.4)
    entries = [Entry("detected", patch={"facecolor": RAMP[1], "edgecolor": PAPER})]
    if below.any():
        entries.append(Entry("below detection", patch={"facecolor": "#dcd8d0", "hatch": "////",
                                                       "edgecolor": FAINT}))  # fmt: skip
    d, u = log[~below], w[~below]
    most = float((seen + hidden).max())
    if len(d) >= 10 and np.ptp(d) > 0:
        grid = np.linspace(low, high, 256)
        counts = np.histogram(d, np.append(grid, grid[-1] + grid[1] - grid[0]), weights=u)[0]
        q1, q3 = np.quantile(d, [0.25, 0.75])
        spread = min(float(d.std()), float(q3 - q1) / 1.349) or float(d.std())
        width = 0.9 * spread * len(d) ** -0.2  # Silverman 1986, equation 3.31
        kernel = np.exp(-0.5 * ((grid - grid[128]) / width) ** 2)
        smooth = np.convolve(counts, kernel / kernel.sum(), mode="same")
        smooth *= 100 / w.sum() * (edges[1] - edges[0]) / (grid[1] - grid[0])
        line: dict[str, Any] = {"color": RAMP[4], "lw": 1.5}
        inside = (grid >= d.min()) & (grid <= d.max())
        ax.plot(10 ** grid[inside], smooth[inside], gid="density", **line)
        entries.append(Entry("density of the detected", line=line))
        most = max(most, float(smooth.max()))
    ax.set_ylim(0, most * 1.08)
    ax.set_ylabel("samples per class [%]")
    return entries


def _box(ax: Axes, x: Any, below: Any, w: Any) -> None:
    from matplotlib.patches import Rectangle

    order = np.argsort(x, kind="stable")
    share = (np.cumsum(w[order]) - w[order] / 2) / w.sum()
    low, q1, median, q3, high = np.interp([0.05, 0.25, 0.5, 0.75, 0.95], share, x[order])
    hidden = float(w[below].sum() / w.sum())
    ax.plot([q3, high], [0.5, 0.5], color=INK, lw=0.9)
    ax.plot([low, q1], [0.5, 0.5], color=INK, lw=0.9, ls=":" if hidden > 0.05 else "-")
    ax.add_patch(Rectangle((q1, 0.22), q3 - q1, 0.56, facecolor=RAMP[1], edgecolor=INK, lw=0.9,
                           ls=":" if hidden > 0.25 else "-", zorder=2.5))  # fmt: skip
    if hidden <= 0.5:
        ax.plot([median, median], [0.22, 0.78], color=INK, lw=2, zorder=3, gid="median")


def _every_value(ax: Axes, x: Any, below: Any) -> None:
    """One mark per sample, spread upwards by a fixed sequence so that equal values part."""
    y = 0.08 + 0.84 * np.modf(np.arange(len(x)) * 0.6180339887498949)[0]
    style: dict[str, Any] = {"ls": "none", "rasterized": len(x) > RASTER_ABOVE}
    size = 2.4 if len(x) < 1500 else 1.5
    ax.plot(x[~below], y[~below], marker="o", ms=size, mfc=RAMP[3], mec="none", alpha=0.6,
            gid="values", **style)  # fmt: skip
    ax.plot(x[below], y[below], marker="x", ms=size + 0.6, mec=MUTED, mew=0.5, alpha=0.6,
            gid="limits", **style)  # fmt: skip
