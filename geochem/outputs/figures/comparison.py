"""All thresholds of one element on one page: the values above, every method with interval below."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.figures.layout import (
    EDGE,
    PAGE,
    Caption,
    head_and_foot,
    new_page,
    page_of,
    place,
    sheet_of,
)
from geochem.outputs.figures.style import ACCENT, FAINT, INK, MUTED, OUTLINE, PAPER, RAMP, styled
from geochem.outputs.figures.text_fit import fitting_log_steps, one_line, share_text, tick_text
from geochem.outputs.wording import figure
from geochem.units import shown_unit

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from geochem.model.bundle import CampaignInfo
    from geochem.model.threshold import Comparison, Threshold

#: left edge and width of the charts; height and foot of the upper and of the lower one. [inch]
_LEFT, _WIDE = 2.62, 4.1
_TOP, _TOP_HIGH = 3.78, 1.4
_FOOT = 0.86


@styled
def draw_comparison(
    made: Comparison,
    *,
    used: Threshold | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
) -> Axes:
    """Show where every method puts the threshold of one element.

    Parameters
    ----------
    made : Comparison
        From `geochem.background.compare`.
    used : Threshold, optional
        What the campaign uses for the whole medium.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Axes
        The upper chart; both share the axis of concentration.
    """
    page = new_page()
    upper = place(page, (_LEFT, _TOP, _WIDE, _TOP_HIGH))
    table = made.table.loc[np.isfinite(made.table["value"].to_numpy(dtype=float))]
    table = table.sort_values(["value", "label"], ignore_index=True)
    lower = place(page, (_LEFT, _FOOT, _WIDE, _TOP - _FOOT - 0.08))
    known = np.isfinite(made.values) & (made.values > 0)
    typical = float(np.median(made.values[known])) if known.any() else 1.0
    unit, divisor = shown_unit(made.element, typical)
    span = _span(made.values[known], table) if known.any() else (1.0, 10.0)
    for ax in (upper, lower):
        ax.set_xscale("log")
        ax.set_xlim(span[0] / divisor, span[1] / divisor)
        steps = fitting_log_steps(span[0] / divisor, span[1] / divisor, _WIDE)
        ax.set_xticks(steps, [tick_text(v) for v in steps])
        ax.set_xticks([], minor=True)
        ax.grid(visible=True, axis="x")
    upper.tick_params(axis="x", labelbottom=False)
    lower.set_xlabel(f"{made.element} [{unit}], log scale", labelpad=2)
    _histogram(upper, made, known, divisor, span)
    _rows(lower, made, table, divisor, unit)
    _decided(upper, lower, made, used, divisor)
    _words(upper, made, used, divisor, unit)
    where = f" in {made.medium}" if made.medium else ""
    default = Caption(
        f"{made.element}{where}: the threshold by every method",
        f"n = {len(made.values)}. Bars: 90 % intervals. Filled: the method's assumptions hold; hollow: "
        "another rule stood in, or shown only to be compared.",
    )
    head_and_foot(page_of(upper), caption or default, info)
    return upper


def _span(values: Any, table: pd.DataFrame) -> tuple[float, float]:
    thresholds = table["value"].to_numpy(dtype=float)
    low = min(float(np.quantile(values, 0.005)), float(np.min(thresholds, initial=np.inf)))
    high = max(float(values.max()), float(np.max(thresholds, initial=0.0)))
    return low / 1.12, high * 1.12


def _histogram(
    ax: Axes, made: Comparison, known: Any, divisor: float, span: tuple[float, float]
) -> None:
    """Draw declustered shares per class, limits apart, and the share below each value."""
    if not known.any():
        ax.text(0.5, 0.5, "no value", transform=ax.transAxes, ha="center", color=MUTED)
        return
    x, below, w = made.values[known], made.below[known], made.weights[known]
    log = np.log10(x)
    bins = int(np.clip(round(2.2 * len(x) ** (1 / 3)), 12, 48))
    edges = np.linspace(np.log10(span[0]), np.log10(span[1]), bins + 1)
    seen = np.histogram(log[~below], edges, weights=w[~below])[0] / w.sum()
    hidden = np.histogram(log[below], edges, weights=w[below])[0] / w.sum()
    at, wide = 10 ** edges[:-1] / divisor, np.diff(10**edges) / divisor
    line: dict[str, Any] = {"align": "edge", "lw": 0.4, "edgecolor": PAPER}
    ax.bar(at, 100 * hidden, wide, facecolor="#dcd8d0", hatch="////", **{**line, "edgecolor": FAINT},
           gid="below detection")  # fmt: skip
    ax.bar(at, 100 * seen, wide, bottom=100 * hidden, facecolor=RAMP[1], gid="values", **line)
    ax.set_ylim(0, 100 * float((seen + hidden).max()) * 1.08)
    ax.set_ylabel("samples per class [%]", size=7.5)
    beside = ax.twinx()
    order = np.argsort(log, kind="stable")
    share = 100 * np.cumsum(w[order]) / w.sum()
    shown = np.unique(np.linspace(0, len(share) - 1, 400).astype(int))
    beside.plot(x[order][shown] / divisor, share[shown], color=INK, lw=1.0, gid="share below")
    beside.set_ylim(0, 100)
    beside.set_ylabel("samples with less [%]", size=7.5)
    beside.set_yticks([0, 25, 50, 75, 100])


def _rows(ax: Axes, made: Comparison, table: pd.DataFrame, divisor: float, unit: str) -> None:
    """One line per method: name, interval, value, and how many samples lie above."""
    n = max(len(table), 1)
    ax.set_ylim(n - 0.4, -0.6)
    ax.set_yticks([])
    sheet = sheet_of(page_of(ax))
    pitch = (_TOP - _FOOT - 0.08) / n
    size = float(np.clip(pitch * 72 * 0.72, 5.2, 7.5))
    top = _TOP - 0.08
    x_value, x_above, x_share = 8.13, 8.72, PAGE[0] - EDGE
    for x, words in ((x_value, f"{unit} (90 %)"), (x_above, "n above"), (x_share, "share")):
        sheet.text(x, _TOP + 0.03, words, size=7, color=MUTED, ha="right", va="bottom")
    rows: list[Any] = list(table.itertuples(index=False))
    for k, row in enumerate(rows):
        colour, face, mark, weight = RAMP[4], RAMP[4], "o", "normal"
        if not row.valid:
            colour, face = MUTED, PAPER
        if row.label == made.recommended:
            colour = face = ACCENT
            mark, weight = "D", "bold"
        if row.label == made.chosen:
            colour, face, mark, weight = OUTLINE, OUTLINE, "s", "bold"
        low, high = float(row.low), float(row.high)
        if np.isfinite(low) and np.isfinite(high):
            ax.plot([max(low, 1e-12) / divisor, high / divisor], [k, k], color=colour, lw=1.6,
                    alpha=0.75, solid_capstyle="butt", zorder=2.5)  # fmt: skip
        ax.plot([row.value / divisor], [k], ls="none", marker=mark, ms=4.6, mfc=face, mec=colour,
                mew=1.0, zorder=3, gid=f"method {row.label}")  # fmt: skip
        if k % 2:
            ax.axhspan(k - 0.5, k + 0.5, color="#f6f4ef", lw=0, zorder=0.3)
        y = top - (k + 0.5) * pitch + 0.0
        name = one_line(str(row.label), _LEFT - EDGE - 0.12, size, weight)
        sheet.text(_LEFT - 0.09, y, name, size=size, weight=weight, ha="right", va="center",
                   color=INK if row.valid or weight == "bold" else MUTED)  # fmt: skip
        words = figure(row.value / divisor)
        if np.isfinite(low) and np.isfinite(high):
            words += f" ({figure(max(low, 0.0) / divisor)} to {figure(high / divisor)})"
        sheet.text(x_value, y, words, size=size, ha="right", va="center", weight=weight)
        sheet.text(x_above, y, f"{row.n_above}", size=size, ha="right", va="center", color=MUTED)
        sheet.text(x_share, y, share_text(int(row.n_above), int(row.n)), size=size, ha="right",
                   va="center", color=MUTED)  # fmt: skip


def _decided(
    upper: Axes, lower: Axes, made: Comparison, used: Threshold | None, divisor: float
) -> None:
    """Draw the recommended value and the one in use through both charts."""
    lines: list[tuple[float, str, Any]] = []
    if made.recommended:
        at = made.table.loc[made.table["label"] == made.recommended, "value"]
        lines.append((float(at.iloc[0]), ACCENT, (0, (4, 2))))
    value = _in_use(made, used)
    if np.isfinite(value):
        lines.append((value, OUTLINE, "-"))
    for value, colour, dash in lines:
        for ax in (upper, lower):
            ax.axvline(value / divisor, color=colour, lw=1.1, ls=dash, zorder=2.2)


def _in_use(made: Comparison, used: Threshold | None) -> float:
    if made.chosen:
        return float(made.table.loc[made.table["label"] == made.chosen, "value"].iloc[0])
    return used.value if used is not None else float("nan")


def _words(ax: Axes, made: Comparison, used: Threshold | None, divisor: float, unit: str) -> None:
    """Write recommendation, choice and agreement to the left of the upper chart."""
    from geochem.outputs.figures.text_fit import wrap

    sheet = sheet_of(page_of(ax))
    wide = _LEFT - EDGE - 0.62
    y = _TOP + _TOP_HIGH
    parts: list[tuple[str, str, str]] = []
    if made.recommended:
        parts.append((ACCENT, f"Recommended: {made.recommended}", made.reason))
    else:
        parts.append((ACCENT, "No recommendation", made.reason))
    value = _in_use(made, used)
    if made.chosen:
        words = made.chosen_reason
        parts.append((OUTLINE, f"Chosen: {figure(value / divisor)} {unit}", words))
    elif np.isfinite(value):
        parts.append((OUTLINE, f"In use: {figure(value / divisor)} {unit}", ""))
    for colour, head, text in parts:
        for row in wrap(head, wide, 7, "bold", most=2):
            sheet.text(EDGE, y, row, size=7, weight="bold", color=colour, va="top")
            y -= 0.125
        for row in wrap(text, wide, 6.2, most=8) if text else []:
            sheet.text(EDGE, y, row, size=6.2, color=MUTED, va="top")
            y -= 0.108
        y -= 0.04
    if np.isfinite(made.agreement):
        x, y = _LEFT + _WIDE + 0.62, _TOP + _TOP_HIGH
        for line in wrap(
            f"Two methods agree on {100 * made.agreement:.0f} % of the samples that either flags. "
            f"Highest by lowest value: {figure(made.spread, 2)}.",
            PAGE[0] - EDGE - x, 7, most=8,
        ):  # fmt: skip
            sheet.text(x, y, line, size=7, color=MUTED, va="top")
            y -= 0.125
