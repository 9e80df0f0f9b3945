"""Probability plot of one element: normal scores against concentration on a log scale."""

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
from geochem.outputs.figures.style import ACCENT, INK, MUTED, OUTLINE, PAPER, RAMP, styled
from geochem.outputs.figures.symbols import RASTER_ABOVE
from geochem.outputs.figures.text_fit import log_steps, share_text, tick_text
from geochem.outputs.figures.threshold_words import method_words
from geochem.outputs.wording import figure
from geochem.units import shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from geochem.model.bundle import CampaignInfo
    from geochem.model.threshold import Threshold

#: ticks of the normal-score axis. [%]
PERCENT = (0.01, 0.1, 1, 5, 10, 25, 50, 75, 90, 95, 99, 99.9, 99.99)


def can_draw(fit: Threshold | None) -> bool:
    """Say whether a fit carries at least two plotting positions."""
    if fit is None:
        return False
    log, score = fit.details.get("log10"), fit.details.get("normal_score")
    return log is not None and score is not None and len(log) >= 2 and len(log) == len(score)


@styled
def draw_probability(
    fit: Threshold,
    element: str,
    *,
    medium: str = "",
    used: Threshold | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Show how the values of an element spread, and where thresholds cut them.

    A single lognormal population plots as a straight line; bends part populations.

    Parameters
    ----------
    fit : Threshold
        Of `ProbabilityPlot`, with plotting positions in `details`.
    element, medium : str
        What was fitted.
    used : Threshold, optional
        The threshold that the campaign uses, when it is another one.
    info, caption, ax
        As in `draw_samples`.

    Returns
    -------
    Axes
        The chart; percent below on the horizontal, concentration on the vertical axis.

    Raises
    ------
    WrongCall
        If the fit has no plotting positions.
    """
    from scipy.special import ndtri

    from geochem.errors import WrongCall

    if not can_draw(fit):
        raise WrongCall(
            f"the fit of {element} carries no plotting positions (details: "
            f"{', '.join(sorted(fit.details)) or 'none'}); give one of the probability_plot method"
        )
    own = ax is None
    left, bottom, wide, high = CHART_BOX
    ax = (
        place(new_page(), (left + 0.5, bottom + 0.42, wide - 0.5, high - 0.42))
        if ax is None
        else ax
    )
    log = np.asarray(fit.details["log10"], dtype=float)
    score = np.asarray(fit.details["normal_score"], dtype=float)
    hidden = np.asarray(fit.details.get("below", np.zeros(len(log))), dtype=bool)
    ok = np.isfinite(log) & np.isfinite(score)
    points = ok & ~hidden if (ok & ~hidden).sum() >= 2 else ok
    log, score = log[points], score[points]
    unit, divisor = shown_unit(element, float(10 ** np.median(log)))
    y = 10**log / divisor
    blocks = []
    style: dict[str, Any] = {"marker": "o", "ms": 3.4 if len(y) < 1000 else 2.6, "mfc": RAMP[3],
                             "mec": PAPER, "mew": 0.3}  # fmt: skip
    ax.plot(score, y, ls="none", zorder=3, gid="values", rasterized=len(y) > RASTER_ABOVE, **style)
    entries = [Entry("values above detection", f"{fit.n_used - fit.n_below}", marker=style)]
    blocks.append(Block(f"{element} [{unit}]", tuple(entries), note=_below_words(fit)))
    span = (y.min(), y.max())
    thresholds = [t for t in (fit, used) if t is not None and np.isfinite(t.value)]
    low = min(span[0], *[t.value / divisor for t in thresholds]) / 1.15
    high_ = max(span[1], *[t.value / divisor for t in thresholds]) * 1.15
    lowest, highest = min(-2.33, score.min() - 0.25), max(2.6, score.max() + 0.25)
    ax.set_yscale("log")
    ax.set_ylim(low, high_)
    ax.set_xlim(lowest, highest)
    blocks += _draw_populations(ax, fit, divisor, unit, (low, high_), (lowest, highest))
    blocks += _draw_thresholds(ax, fit, used, divisor, unit)
    shown = [p for p in PERCENT if lowest <= ndtri(p / 100) <= highest]
    ax.set_xticks([float(ndtri(p / 100)) for p in shown], [f"{p:g}" for p in shown])
    steps = log_steps(low, high_, 10)
    ax.set_yticks(steps, [tick_text(v) for v in steps])
    ax.set_yticks([], minor=True)
    ax.grid(visible=True)
    ax.set_xlabel("Samples with less [%], normal-score scale")
    ax.set_ylabel(f"{element} [{unit}], log scale")
    draw_panel(ax, blocks)
    if own:
        where = f" in {medium}" if medium else ""
        default = Caption(
            f"{element}{where}: probability plot",
            "A straight run of points is one lognormal population; a bend parts two.",
        )
        head_and_foot(page_of(ax), caption or default, info)
    return ax


def _below_words(fit: Threshold) -> str:
    if not fit.n_below:
        return f"n = {fit.n_used}, none below detection."
    return (
        f"n = {fit.n_used}; {fit.n_below} ({share_text(fit.n_below, fit.n_used)}) below detection: "
        "not drawn, they shift the others to the right."
    )


def _draw_populations(
    ax: Axes,
    fit: Threshold,
    divisor: float,
    unit: str,
    span: tuple[float, float],
    scores: tuple[float, float],
) -> list[Block]:
    from scipy.special import ndtr, ndtri

    populations = list(fit.details.get("populations") or [])
    if not populations:
        return []
    place_of = int(fit.details.get("background", 0))
    grid = np.linspace(np.log10(span[0] * divisor), np.log10(span[1] * divisor), 240)
    total = np.zeros(len(grid))
    entries = []
    for k, p in enumerate(populations):
        total += p["weight"] * ndtr((grid - p["mean"]) / p["sd"])
        ends = np.array(scores)
        line: dict[str, Any] = {
            "color": OUTLINE if k == place_of else MUTED, "lw": 1.0,
            "ls": "--" if k == place_of else (0, (1, 1.6)),
        }  # fmt: skip
        ax.plot(ends, 10 ** (p["mean"] + p["sd"] * ends) / divisor, zorder=2,
                gid=f"population {k + 1}", **line)  # fmt: skip
        name = "background" if k == place_of else f"population {k + 1}"
        middle = figure(10 ** p["mean"] / divisor)
        entries.append(
            Entry(f"{name}: {100 * p['weight']:.0f} %, median {middle} {unit}", line=line)
        )
    if len(populations) == 1:
        return [Block("Fitted lognormal population", tuple(entries))]
    inside = np.clip(total, 1e-12, 1 - 1e-12)
    x = ndtri(inside)
    seen = (x >= scores[0]) & (x <= scores[1])
    curve: dict[str, Any] = {"color": INK, "lw": 1.2}
    ax.plot(x[seen], 10 ** grid[seen] / divisor, zorder=2.5, gid="mixture", **curve)
    entries.append(Entry("all together", line=curve))
    return [Block("Fitted lognormal populations", tuple(entries))]


def _draw_thresholds(
    ax: Axes, fit: Threshold, used: Threshold | None, divisor: float, unit: str
) -> list[Block]:
    entries = []
    kinds = [(used, "-", ACCENT), (fit, (0, (5, 2)), ACCENT)]
    for record, dash, colour in kinds:
        if record is None or not np.isfinite(record.value) or (record is used and used is fit):
            continue
        value = record.value / divisor
        line: dict[str, Any] = {"color": colour, "lw": 1.3, "ls": dash}
        ax.axhline(value, zorder=2.8, gid=f"threshold {record.method}", **line)
        words = f"{_method(record)}: {figure(value)} {unit}"
        if np.isfinite(record.low) and np.isfinite(record.high):
            ax.axhspan(record.low / divisor, record.high / divisor, color=colour, alpha=0.09, lw=0,
                       zorder=0.5)  # fmt: skip
            words += f" ({figure(record.low / divisor)} to {figure(record.high / divisor)})"
        entries.append(Entry(words, line=line))
    if not entries:
        return [Block("Thresholds", note="No threshold could be found.")]
    notes = " ".join(fit.warnings)
    return [Block("Thresholds and 90 % interval", tuple(entries)), Block("", note=notes)]


def _method(record: Threshold) -> str:
    q = record.parameters.get("q")
    if record.method == "probability_plot" and q is not None:
        return f"{figure(q)}th percentile of the background"
    return method_words(record)
