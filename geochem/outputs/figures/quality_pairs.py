"""Duplicates: error against concentration, and where the variance comes from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.elements import element_rank
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
from geochem.outputs.figures.text_fit import fitting_log_steps, tick_text

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from geochem.model.bundle import CampaignInfo

_PARTS = ("ground", "sampling", "preparation", "analysis")
_COLOURS = {"ground": RAMP[1], "sampling": RAMP[3], "preparation": "#8a5a00", "analysis": RAMP[5]}


def duplicate_series(
    duplicates: pd.DataFrame, leading: Sequence[str] = ()
) -> list[tuple[str, str, str]]:
    """List (assay, role, element): out of their limit, then leading elements, then most pairs."""
    rows = duplicates[duplicates["n_used"].fillna(0) >= 5]
    grade, lead = {"fail": 0, "warn": 1}, {e: k for k, e in enumerate(leading[:6])}
    each: list[Any] = list(rows.itertuples())
    ranked = sorted(
        each,
        key=lambda r: (grade.get(r.verdict, 2), lead.get(r.element, 99), -int(r.n_used), r.assay, r.role,
                       element_rank(r.element)),
    )  # fmt: skip
    # Not six times the same element: two kinds of duplicates of each come before the third.
    seen: dict[str, int] = {}
    turns = []
    for r in ranked:
        turns.append(0 if r.verdict in grade else 1 + seen.get(r.element, 0) // 2)
        seen[r.element] = seen.get(r.element, 0) + 1
    order = np.argsort(turns, kind="stable")
    return [(str(ranked[k].assay), str(ranked[k].role), str(ranked[k].element)) for k in order]


def log_axis(ax: Axes, which: str, values: np.ndarray) -> None:
    """Make an axis logarithmic with plain numbers as tick labels.

    Parameters
    ----------
    ax : Axes
        Placed on its page already: its size decides how many labels fit.
    which : {"x", "y"}
        Axis.
    values : ndarray
        What is drawn; those not above zero are ignored.
    """
    good = values[np.isfinite(values) & (values > 0)]
    low, high = (float(good.min()), float(good.max())) if len(good) else (1.0, 10.0)
    low, high = low / 1.3, high * 1.3
    length = box_of(ax)[2 if which == "x" else 3]
    steps = fitting_log_steps(low, high, length if which == "x" else 1.3 * length)
    (ax.set_xscale if which == "x" else ax.set_yscale)("log")
    (ax.set_xlim if which == "x" else ax.set_ylim)(low, high)
    ticks = ax.set_xticks if which == "x" else ax.set_yticks
    ticks(steps, [tick_text(v) for v in steps])
    ticks([], minor=True)


@styled
def draw_pairs(
    pairs: pd.DataFrame,
    duplicates: pd.DataFrame,
    series: tuple[str, str, str],
    *,
    ax: Axes | None = None,
) -> Axes:
    """Draw difference against mean of the pairs of one role and element.

    Parameters
    ----------
    pairs, duplicates : pandas.DataFrame
        `model.quality.DUPLICATE_PAIRS` and `DUPLICATE_SUMMARY`.
    series : (assay, role, element)
        Which.
    ax : Axes, optional
        Where to draw; a new page when None.

    Returns
    -------
    Axes
        Logarithmic; the dashed line holds 95 % of pairs when the CV is just acceptable.
    """
    ax = place(new_page(), (0.9, 1.1, 5.0, 3.9)) if ax is None else ax
    assay, role, element = series
    mine = pairs[
        (pairs["assay"] == assay) & (pairs["role"] == role) & (pairs["element"] == element)
    ]
    row = duplicates[
        (duplicates["assay"] == assay) & (duplicates["role"] == role)
        & (duplicates["element"] == element)
    ].iloc[0]  # fmt: skip
    a, b = mine["first"].to_numpy(dtype=float), mine["second"].to_numpy(dtype=float)
    used = mine["used"].to_numpy(dtype=bool)
    mean, gap = (a + b) / 2, np.abs(a - b)
    gap = np.maximum(gap, 1e-3 * mean)
    ax.plot(mean[used], gap[used], "o", ms=3.2, mfc=RAMP[3], mec=PAPER, mew=0.3, gid="pairs used")
    ax.plot(mean[~used], gap[~used], "o", ms=3, mfc="none", mec=MUTED, mew=0.6,
            gid="pairs left out")  # fmt: skip
    top = gap
    if used.any():
        ends = np.geomspace(mean[used].min(), mean[used].max() * 1.001, 30)
        allowed = float(row["acceptable_cv_pct"])
        if np.isfinite(allowed):
            limit = 1.96 * np.sqrt(2) * allowed / 100 * ends
            ax.plot(ends, limit, "--", color=ACCENT, lw=1, gid="limit")
            top = np.append(gap, 3 * limit.max())  # room for the words above the line
        if np.isfinite(float(row["th_s0"])):
            s = float(row["th_s0"]) + float(row["th_k"]) * ends
            ax.plot(ends, 0.954 * np.clip(s, 1e-9, None), color=INK, lw=1.2, gid="median error")
    log_axis(ax, "x", mean)
    log_axis(ax, "y", top)
    ax.set_xlabel("mean of pair [ppm]", labelpad=1)
    ax.set_ylabel("difference [ppm]", labelpad=1)
    ax.set_title(literal(f"{element}, {role.replace('_', ' ')} ({assay})", 44), pad=3)
    words = f"n {int(row['n_used'])} of {int(row['n_pairs'])}\nRMS CV {row['cv_pct']:.1f} %"
    ax.text(0.03, 0.97, words, transform=ax.transAxes, size=7, va="top")
    return ax


@styled
def draw_duplicates(
    pairs: pd.DataFrame,
    duplicates: pd.DataFrame,
    *,
    leading: Sequence[str] = (),
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
) -> Figure:
    """Draw the six kinds of duplicates that matter most.

    Parameters
    ----------
    pairs, duplicates : pandas.DataFrame
        As in `draw_pairs`.
    leading : sequence of str
        Elements that come first.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        A page.
    """
    page = new_page()
    chosen = duplicate_series(duplicates, leading)[:6]
    boxes = chart_boxes(len(chosen), min(3, len(chosen) or 1), WIDE_BOX, left=0.5,
                        inner=(0.72, 0.62))  # fmt: skip
    for series, box in zip(chosen, boxes, strict=True):
        draw_pairs(pairs, duplicates, series, ax=place(page, box))
    words = (
        "Dashed: 95 % of pairs lie below it when the CV is just acceptable; line: median difference "
        "by regression (from 50 pairs); hollow: near or below detection, left out."
    )
    return finished(page, "Duplicates", words, info=info, caption=caption)


@styled
def draw_variances(
    variances: pd.DataFrame, *, info: CampaignInfo | None = None, caption: Caption | None = None
) -> Figure:
    """Draw the robust shares of ground, sampling, preparation and analysis per element.

    Parameters
    ----------
    variances : pandas.DataFrame
        `model.quality.VARIANCES`.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        A page, for the assay and medium with most samples.
    """
    page = new_page()
    rows = variances[variances["medium"].notna()]
    rows = rows if len(rows) else variances.fillna({"medium": ""})
    whole = rows[rows["part"] == "ground"]
    ax = place(page, (0.75, 1.0, 8.5, 3.75))
    words = "No duplicates tell where the variance comes from."
    if len(whole):
        # The assay with most samples decides what the maps show.
        counts = whole.groupby(["assay", "medium"])["n"].max()
        assay, medium = sorted(counts.index, key=lambda k: (-int(counts[k]), k))[0]
        mine = rows[(rows["assay"] == assay) & (rows["medium"] == medium)]
        elements = sorted(set(mine.loc[mine["part"] == "ground", "element"]), key=element_rank)
        bottom = np.zeros(len(elements))
        for part in reversed(_PARTS):
            share = mine[mine["part"] == part].set_index("element")["robust_share_pct"]
            high = share.reindex(elements).fillna(0.0).to_numpy(dtype=float)
            ax.bar(range(len(elements)), high, 0.75, bottom=bottom, color=_COLOURS[part],
                   label=part, gid=part)  # fmt: skip
            bottom += high
        for level in (4.0, 20.0):
            ax.axhline(level, color=ACCENT, lw=1.0, ls="--")
        ax.set_xticks(range(len(elements)), elements)
        ax.legend(ncols=4, loc="lower left", bbox_to_anchor=(0, 1.01), frameon=False, fontsize=7.5)
        words = (
            f"{assay}, {medium or 'all media'}: shares of the variance of log10 values, wild values "
            "held back. Dashed: 20 % for all but ground and 4 % for analysis are fair."
        )
    ax.set_ylim(0, 105)
    ax.set_ylabel("share of variance [%]", labelpad=1)
    return finished(page, "Where the variance comes from", words, info=info, caption=caption)
