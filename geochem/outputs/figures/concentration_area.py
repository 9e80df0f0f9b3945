"""Concentration against the area (or number of samples) above it, on log-log axes, with bends."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall
from geochem.outputs.figures.layout import (
    CHART_BOX,
    Caption,
    head_and_foot,
    new_page,
    page_of,
    place,
)
from geochem.outputs.figures.panel import Block, Entry, draw_panel
from geochem.outputs.figures.style import ACCENT, OUTLINE, PAPER, RAMP, styled
from geochem.outputs.figures.text_fit import fitting_log_steps, tick_text
from geochem.outputs.wording import figure
from geochem.units import shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from geochem.model.bundle import CampaignInfo
    from geochem.model.threshold import Threshold


def can_draw(fit: Threshold | None) -> bool:
    """Say whether a fit carries a curve."""
    return fit is not None and "curve" in fit.details and np.isfinite(fit.value)


@styled
def draw_concentration_area(
    fit: Threshold,
    element: str,
    *,
    medium: str = "",
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
) -> Axes:
    """Show the share of ground or samples with at least a concentration, and its power laws.

    Parameters
    ----------
    fit : Threshold
        Of `ConcentrationArea` or `ConcentrationNumber`.
    element, medium : str
        What was fitted.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Axes
        Both axes are logarithmic; pieces are labelled with their slope.

    Raises
    ------
    WrongCall
        If the fit has no curve.
    """
    if not can_draw(fit):
        raise WrongCall(
            f"the fit of {element} carries no curve; give one of concentration_area or "
            "concentration_number."
        )
    left, bottom, wide, high = CHART_BOX
    ax = place(new_page(), (left + 0.45, bottom + 0.42, wide - 0.45, high - 0.42))
    level, amount = (np.asarray(a, dtype=float) for a in fit.details["curve"])
    of = str(fit.details.get("of", "area"))
    unit, divisor = shown_unit(element, float(10 ** np.median(level)))
    x, y = 10**level / divisor, 100 * 10 ** (amount - amount.max())
    style: dict[str, Any] = {"marker": "o", "ms": 3, "mfc": RAMP[3], "mec": PAPER, "mew": 0.3}
    ax.plot(x, y, ls="none", zorder=3, gid="curve", **style)
    ax.set_xscale("log")
    ax.set_yscale("log")
    breaks = np.asarray(fit.details["breaks"], dtype=float)
    slopes, intercepts = fit.details["slopes"], fit.details["intercepts"]
    ends = np.concatenate([[level[0]], np.log10(breaks), [level[-1]]])
    line: dict[str, Any] = {"color": OUTLINE, "lw": 1.5}
    for k, (a, b) in enumerate(zip(slopes, intercepts, strict=True)):
        at = np.array([ends[k], ends[k + 1]])
        ax.plot(10**at / divisor, 100 * 10 ** (a * at + b - amount.max()), zorder=4,
                gid=f"piece {k + 1}", **line)  # fmt: skip
    value = fit.value / divisor
    cut: dict[str, Any] = {"color": ACCENT, "lw": 1.2, "ls": (0, (5, 2))}
    ax.axvline(value, zorder=2.5, gid="threshold", **cut)
    words = f"{figure(value)} {unit}"
    if np.isfinite(fit.low) and np.isfinite(fit.high):
        ax.axvspan(
            fit.low / divisor, fit.high / divisor, color=ACCENT, alpha=0.09, lw=0, zorder=0.5
        )
        words += f" ({figure(fit.low / divisor)} to {figure(fit.high / divisor)})"
    low, top = max(float(y.min()) / 1.4, 1e-4), 130.0
    ax.set_ylim(low, top)
    span = (float(x.min()) / 1.1, float(x.max()) * 1.1)
    ax.set_xlim(*span)
    steps = fitting_log_steps(*span, wide - 0.45)
    ax.set_xticks(steps, [tick_text(v) for v in steps])
    ax.set_xticks([], minor=True)
    shown = [v for v in (0.001, 0.01, 0.1, 1.0, 10.0, 100.0) if low <= v <= top]
    ax.set_yticks(shown, [tick_text(v) for v in shown])
    ax.set_yticks([], minor=True)
    ax.grid(visible=True)
    ax.set_xlabel(f"{element} [{unit}], log scale")
    what = "Ground" if of == "area" else "Samples"
    ax.set_ylabel(f"{what} with at least so much [%], log scale")
    pieces = tuple(Entry(f"piece {k + 1}: slope {s:.2f}", line=line) for k, s in enumerate(slopes))
    blocks = [
        Block(f"{element} [{unit}]", (Entry("levels of the curve", f"{len(x)}", marker=style),),
              note=f"n = {fit.n_used}, {fit.n_below} below detection."),
        Block("Power laws", pieces),
        Block("Threshold and 90 % interval", (Entry(f"highest bend: {words}", line=cut),)),
        Block("", note=" ".join(fit.warnings)),
    ]  # fmt: skip
    draw_panel(ax, blocks)
    where = f" in {medium}" if medium else ""
    kind = "concentration-area" if of == "area" else "concentration-number"
    default = Caption(
        f"{element}{where}: {kind}",
        "Straight runs are power laws; where the curve turns steeper another population takes over. "
        f"{fit.reference}.",
    )
    head_and_foot(page_of(ax), caption or default, info)
    return ax
