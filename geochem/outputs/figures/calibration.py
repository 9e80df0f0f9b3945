"""Portable XRF against laboratory: pairs, line, one-to-one and valid range."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.figures.layout import (
    WIDE_BOX,
    Caption,
    box_of,
    chart_boxes,
    finished,
    new_page,
    place,
)  # fmt: skip
from geochem.outputs.figures.style import ACCENT, INK, MUTED, PAPER, RAMP, literal, styled
from geochem.outputs.figures.text_fit import fitting_log_steps, round_steps, tick_text
from geochem.outputs.wording import figure
from geochem.units import shown_unit

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from geochem.model.bundle import CampaignInfo
    from geochem.model.quality import Calibration


@styled
def draw_calibration(
    calibration: Calibration, pairs: pd.DataFrame, *, ax: Axes | None = None
) -> Axes:
    """Draw the pairs of one element and the line through them.

    Parameters
    ----------
    calibration : Calibration
        The line; drawn only within its valid range.
    pairs : pandas.DataFrame
        ``element, assay, reference_assay, x, y, used``; mg/kg. A column ``group``, when there, is
        matched too.
    ax : Axes, optional
        Where to draw; a new page when None.

    Returns
    -------
    Axes
        The chart: XRF on the horizontal, laboratory on the vertical axis.
    """
    ax = place(new_page(), (1.0, 1.1, 5.0, 3.9)) if ax is None else ax
    mine = pairs.loc[
        (pairs["element"] == calibration.element)
        & (pairs["assay"] == calibration.assay)
        & (pairs["reference_assay"] == calibration.reference_assay)
    ]
    if calibration.group and "group" in mine.columns:
        mine = mine.loc[mine["group"] == calibration.group]
    x, y = mine["x"].to_numpy(dtype=float), mine["y"].to_numpy(dtype=float)
    used = mine["used"].to_numpy(dtype=bool)
    ok = np.isfinite(x) & np.isfinite(y) & ((x > 0) & (y > 0) | (not calibration.log))
    x, y, used = x[ok], y[ok], used[ok]
    typical = float(np.median(y)) if len(y) else 1.0
    unit, divisor = shown_unit(calibration.element, typical)
    x, y = x / divisor, y / divisor
    style: dict[str, Any] = {
        "marker": "o",
        "ms": 3.6 if len(x) < 400 else 2.6,
        "zorder": 3,
        "ls": "none",
    }
    ax.plot(x[used], y[used], mfc=RAMP[3], mec=PAPER, mew=0.3, gid="pairs used", **style)
    ax.plot(x[~used], y[~used], mfc="none", mec=MUTED, mew=0.7, gid="pairs left out", **style)
    scale = _scale(ax, x, y, calibration, divisor)
    if scale is not None:
        low, high = scale
        ax.plot(
            [low, high], [low, high], color=MUTED, lw=0.8, ls=(0, (4, 2)), zorder=1.5, gid="1:1"
        )
    start, end = calibration.low, calibration.high
    if np.isfinite(start) and np.isfinite(end) and end > start:
        ax.axvspan(start / divisor, end / divisor, color="#efebe2", lw=0, zorder=0.5)
        if np.isfinite(calibration.slope) and np.isfinite(calibration.intercept):
            grid = np.geomspace(max(start, 1e-9), end, 60)
            line = _line(calibration, grid)
            ax.plot(grid / divisor, line / divisor, color=ACCENT, lw=1.4, zorder=2.5, gid="line")
    ax.grid(visible=True)
    ax.set_xlabel(f"{calibration.assay} [{unit}]", labelpad=1)
    ax.set_ylabel(f"{calibration.reference_assay} [{unit}]", labelpad=1)
    where = f", {calibration.group}" if calibration.group else ""
    ax.set_title(literal(f"{calibration.element}{where}: {calibration.verdict}", 44), pad=3)
    left_out = f" ({calibration.n_left_out} left out)" if calibration.n_left_out else ""
    words = [f"n {calibration.n}{left_out}"]
    if calibration.slope == calibration.slope:
        words.append(f"slope {figure(calibration.slope)} \u00b1 {figure(calibration.slope_se, 2)}")
    if calibration.rmse_pct == calibration.rmse_pct:
        words.append(f"error {figure(calibration.rmse_pct, 2)} %")
    ax.text(
        0.03, 0.97, "\n".join(words), transform=ax.transAxes, size=7, va="top", color=INK,
        linespacing=1.25, bbox={"boxstyle": "square,pad=0.2", "fc": "#ffffffb0", "ec": "none"},
        zorder=4,
    )  # fmt: skip
    return ax


def _residuals(ax: Axes, above: Axes, calibration: Calibration, pairs: pd.DataFrame) -> None:
    """Draw below a calibration what the line leaves over, per cent of the laboratory value."""
    mine = pairs.loc[
        (pairs["element"] == calibration.element)
        & (pairs["assay"] == calibration.assay)
        & (pairs["reference_assay"] == calibration.reference_assay)
        & pairs["used"].astype(bool)
    ]
    if calibration.group and "group" in mine.columns:
        mine = mine.loc[mine["group"] == calibration.group]
    x, y = mine["x"].to_numpy(dtype=float), mine["y"].to_numpy(dtype=float)
    ok = (x > 0) & (y > 0)
    x, y = x[ok], y[ok]
    _, divisor = shown_unit(calibration.element, float(np.median(y)) if len(y) else 1.0)
    with np.errstate(over="ignore", invalid="ignore"):
        left = 100 * (_line(calibration, x) / y - 1)
    good = np.isfinite(left)
    reach = float(np.quantile(np.abs(left[good]), 0.95)) * 1.4 if good.any() else 10.0
    step = next((s for s in (5, 10, 20, 25, 50) if reach <= 2 * s), 100)
    reach = min(max(reach, step), 100.0)
    ax.axhline(0, color=ACCENT, lw=0.9, zorder=1.5)
    ax.plot(x[good] / divisor, np.clip(left[good], -reach, reach), "o", ms=2.2, mfc=RAMP[3],
            mec=PAPER, mew=0.2, zorder=3, gid="residuals")  # fmt: skip
    ax.set_xscale(above.get_xscale())
    steps = above.get_xticks()
    ax.set_xticks(steps, [tick_text(v) for v in steps])
    ax.set_xticks([], minor=True)
    ax.set_xlim(above.get_xlim())
    ax.set_ylim(-1.15 * reach, 1.15 * reach)
    ax.set_yticks([-step, 0, step], [f"\u2212{step}", "0", f"+{step}"])
    ax.set_ylabel("left [%]", labelpad=1)
    ax.grid(visible=True)
    ax.set_xlabel(above.get_xlabel(), labelpad=1)
    above.set_xlabel("")
    above.set_xticklabels([])


def _line(calibration: Calibration, x: np.ndarray) -> np.ndarray:
    """Give the laboratory value that the line says for a reading. [mg/kg]."""
    if calibration.log:
        return np.asarray(10 ** (calibration.intercept + calibration.slope * np.log10(x)))
    return np.asarray(calibration.intercept + calibration.slope * x)


def _scale(
    ax: Axes, x: np.ndarray, y: np.ndarray, calibration: Calibration, divisor: float
) -> tuple[float, float] | None:
    both = np.concatenate([x, y])
    if not len(both):
        ax.text(0.5, 0.5, "no pairs", transform=ax.transAxes, ha="center", color=MUTED)
        return None
    both = np.concatenate([both, _line_ends(calibration) / divisor])
    if calibration.log:
        both = both[both > 0]
    low, high = float(both.min()), float(both.max())
    if calibration.log:
        if not high > low:
            low, high = low / 1.5, high * 1.5
        low, high = low / 1.15, high * 1.15
        ax.set_xscale("log")
        ax.set_yscale("log")
        steps = fitting_log_steps(low, high, box_of(ax)[2])
    else:
        free = 0.06 * (high - low or abs(high) or divisor)
        low, high = low - free, high + free
        steps = round_steps(low, high, 4)
    for axis in (ax.set_xticks, ax.set_yticks):
        axis(steps, [tick_text(v) for v in steps])
        axis([], minor=True)
    ax.set_xlim(low, high)
    ax.set_ylim(low, high)
    return low, high


def _line_ends(calibration: Calibration) -> np.ndarray:
    """Give the laboratory values in mg/kg at both ends of the valid range."""
    ends = np.array([calibration.low, calibration.high])
    if not np.isfinite([*ends, calibration.slope, calibration.intercept]).all():
        return np.empty(0)
    return _line(calibration, ends[ends > 0] if calibration.log else ends)


@styled
def draw_calibrations(
    calibrations: Sequence[Calibration],
    pairs: pd.DataFrame,
    *,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
) -> Figure:
    """Draw up to six calibrations on one page.

    Parameters
    ----------
    calibrations : sequence of Calibration
        The first six are drawn.
    pairs : pandas.DataFrame
        As in `draw_calibration`.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        A page.
    """
    page = new_page()
    chosen = list(calibrations)[:6]
    columns = min(3, len(chosen))
    boxes = chart_boxes(len(chosen), columns, WIDE_BOX, left=0.5, inner=(0.72, 0.62))
    for calibration, box in zip(chosen, boxes, strict=True):
        left, bottom, wide, high = box
        strip = 0.27 * high
        chart = place(page, (left, bottom + strip + 0.07, wide, high - strip - 0.07))
        draw_calibration(calibration, pairs, ax=chart)
        if calibration.slope == calibration.slope:
            _residuals(place(page, (left, bottom, wide, strip)), chart, calibration, pairs)
    words = "Line: fit with errors on both sides, in its valid range (shaded); dashed: one to one."
    words += " Below each chart what the line leaves over."
    return finished(page, "Portable XRF against laboratory", words, info=info, caption=caption)
