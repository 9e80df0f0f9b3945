"""Duplicates: second against first with the reduced major axis, and ranked relative differences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from geochem.outputs.figures.layout import (
    WIDE_BOX,
    Caption,
    chart_boxes,
    finished,
    new_page,
    place,
)  # fmt: skip
from geochem.outputs.figures.quality_pairs import duplicate_series, log_axis
from geochem.outputs.figures.style import ACCENT, INK, MUTED, PAPER, RAMP, literal, styled

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from geochem.model.bundle import CampaignInfo

#: half the relative difference that 90 % of pairs stay under, in units of the CV: 1.645 / sqrt(2)
_NINETY = 1.1631


@styled
def draw_duplicate_scatter(
    pairs: pd.DataFrame,
    duplicates: pd.DataFrame,
    *,
    leading: Sequence[str] = (),
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
) -> Figure:
    """Draw the three kinds of duplicates that matter most, each as scatter and as ranking.

    Parameters
    ----------
    pairs, duplicates : pandas.DataFrame
        `model.quality.DUPLICATE_PAIRS` with ``hard_pct`` and `DUPLICATE_SUMMARY` with
        ``rma_slope, rma_intercept``.
    leading : sequence of str
        Elements that come first.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        A page; above second against first, below half the relative difference against the share of
        pairs that have less.
    """
    page = new_page()
    chosen = duplicate_series(duplicates, leading)[:3]
    boxes = chart_boxes(2 * len(chosen), len(chosen), WIDE_BOX, left=0.5, inner=(0.72, 0.62))
    for k, series in enumerate(chosen):
        assay, role, element = series
        mine = pairs[
            (pairs["assay"] == assay) & (pairs["role"] == role) & (pairs["element"] == element)
            & pairs["used"].astype(bool)
        ]  # fmt: skip
        row = duplicates[
            (duplicates["assay"] == assay) & (duplicates["role"] == role)
            & (duplicates["element"] == element)
        ].iloc[0]  # fmt: skip
        title = literal(f"{element}, {role.replace('_', ' ')} ({assay})", 44)
        _scatter(place(page, boxes[k]), mine, row, title)
        _ranked(place(page, boxes[len(chosen) + k]), mine, row)
    words = (
        "Above: line: reduced major axis, dashed: one to one. Below: half the relative difference "
        "of the pairs in order; where the CV is just acceptable 90 % of pairs lie under the dashed "
        "line. Pairs near detection are left out."
    )
    return finished(page, "Duplicates: second against first", words, info=info, caption=caption)


def _scatter(ax: Axes, mine: pd.DataFrame, row: pd.Series, title: str) -> None:
    a, b = mine["first"].to_numpy(dtype=float), mine["second"].to_numpy(dtype=float)
    both = np.concatenate([a, b])
    ends = np.geomspace(both.min(), both.max(), 30)
    ax.plot(ends, ends, "--", color=MUTED, lw=0.8, gid="1:1")
    slope, start = float(row["rma_slope"]), float(row["rma_intercept"])
    words = f"n {len(mine)}"
    if np.isfinite(slope):
        line = start + slope * ends
        inside = (line >= 0.7 * both.min()) & (line <= 1.4 * both.max())
        ax.plot(ends[inside], line[inside], color=ACCENT, lw=1.2, gid="reduced major axis")
        words += f"\nslope {slope:.2f} \u00b1 {float(row['rma_slope_se']):.2f}"
    ax.plot(a, b, "o", ms=3.2, mfc=RAMP[3], mec=PAPER, mew=0.3, gid="pairs")
    log_axis(ax, "x", both)
    log_axis(ax, "y", both)
    ax.set_xlabel("first [ppm]", labelpad=1)
    ax.set_ylabel("second [ppm]", labelpad=1)
    ax.set_title(title, pad=3)
    ax.text(0.03, 0.97, words, transform=ax.transAxes, size=7, va="top", linespacing=1.25)


def _ranked(ax: Axes, mine: pd.DataFrame, row: pd.Series) -> None:
    hard = np.sort(mine["hard_pct"].to_numpy(dtype=float))
    share = 100 * (np.arange(len(hard)) + 0.5) / max(len(hard), 1)
    ax.plot(share, hard, "-o", ms=2.4, lw=0.9, color=RAMP[4], mec=PAPER, mew=0.2, gid="ranked")
    ax.axvline(90, color=INK, lw=0.6, ls=":")
    allowed = _NINETY * float(row["acceptable_cv_pct"])
    top = float(hard.max()) if len(hard) else 1.0
    if np.isfinite(allowed):
        ax.axhline(allowed, color=ACCENT, lw=1.0, ls="--", gid="limit")
        top = max(top, allowed)
    ax.set_xlim(0, 100)
    ax.set_ylim(0, 1.15 * top)
    ax.grid(visible=True, axis="y")
    ax.set_xlabel("share of pairs [%]", labelpad=1)
    ax.set_ylabel("half rel. difference [%]", labelpad=1)


@styled
def draw_correction(
    correction: pd.DataFrame, *, info: CampaignInfo | None = None, caption: Caption | None = None
) -> Figure:
    """Draw how far standards depart before and after a drift correction.

    Parameters
    ----------
    correction : pandas.DataFrame
        `model.quality.DRIFT_CORRECTION`.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        A page; corrected batches and elements first, the most departed first, thirty at most.
    """
    page = new_page()
    known = correction[correction["before_pct"].notna() & correction["after_pct"].notna()]
    order = known.sort_values(
        ["corrected", "before_pct", "batch", "element"], ascending=[False, False, True, True],
        kind="stable",
    )  # fmt: skip
    shown = order.head(30)
    ax = place(page, (0.75, 1.55, 8.5, 3.45))
    x = np.arange(len(shown), dtype=float)
    before = shown["before_pct"].to_numpy(dtype=float)
    after = shown["after_pct"].to_numpy(dtype=float)
    done = shown["corrected"].to_numpy(dtype=bool)
    ax.vlines(x[done], after[done], before[done], color=RAMP[2], lw=2)
    ax.plot(x, before, "o", ms=5, mfc=PAPER, mec=ACCENT, gid="before", label="as read")
    ax.plot(x[done], after[done], "o", ms=5, mfc=RAMP[4], mec=PAPER, mew=0.4, gid="after",
            label="corrected")  # fmt: skip
    ax.plot(x[~done], after[~done], "x", ms=4, color=MUTED, gid="not corrected",
            label="would be, left as read")  # fmt: skip
    names = [
        literal(f"{e} {b or ''}", 18)
        for e, b in zip(shown["element"], shown["batch"].fillna(""), strict=True)
    ]
    ax.set_xticks(x, names, rotation=90)
    ax.tick_params(axis="x", labelsize=7)
    ax.set_xlim(-0.6, max(len(shown), 1) - 0.4)
    ax.set_ylim(0, None)
    ax.set_ylabel("departure of standards [%]", labelpad=1)
    ax.grid(visible=True, axis="y")
    ax.legend(ncols=3, loc="lower left", bbox_to_anchor=(0, 1.01), frameon=False, fontsize=7.5)
    n = int(known["corrected"].sum())
    words = (
        f"{n} of {len(correction)} batches and elements were corrected. Root-mean-square departure "
        "from the usual value; after: each standard predicted from the others."
    )
    return finished(page, "Drift correction, before and after", words, info=info, caption=caption)
