"""Control chart of standards: bias in per cent, in the order of reading."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.figures.layout import (
    CHART_BOX,
    Caption,
    chart_boxes,
    head_and_foot,
    new_page,
    place,
)  # fmt: skip
from geochem.outputs.figures.panel import Block, Entry, draw_panel
from geochem.outputs.figures.style import (
    ACCENT,
    INK,
    PAPER,
    SERIES,
    SERIES_COLOURS,
    literal,
    styled,
)

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from geochem.model.bundle import CampaignInfo

_FAIL: dict[str, Any] = {"marker": "o", "mfc": "none", "mec": ACCENT, "mew": 1.2}


def standards_series(standards: pd.DataFrame) -> list[tuple[str, str]]:
    """List the (assay, element) pairs that have a bias, most results first."""
    if not len(standards):
        return []
    known = standards.loc[standards["used"].astype(bool) & standards["bias_pct"].notna()]
    counts = known.groupby(["assay", "element"], sort=True).size()
    pairs = [(-int(n), str(a), str(e)) for (a, e), n in zip(counts.index, counts, strict=True)]
    return [(assay, element) for _, assay, element in sorted(pairs)]


@styled
def draw_standard(
    standards: pd.DataFrame,
    element: str,
    *,
    assay: str | None = None,
    limit_pct: float | None = None,
    names: Sequence[str] | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw the bias of all standards of one element against the order of reading.

    Parameters
    ----------
    standards : pandas.DataFrame
        `model.quality.STANDARD_CHECKS`.
    element, assay : str
        Which rows; None takes all assays.
    limit_pct : float, optional
        Bias at which a standard fails, drawn dashed. [%]
    names : sequence of str, optional
        All standards of the page, so that shapes mean the same on every chart.
    ax : Axes, optional
        Where to draw; a new page when None.

    Returns
    -------
    Axes
        The chart.
    """
    ax = place(new_page(), (0.9, 1.1, 7.9, 3.9)) if ax is None else ax
    rows = standards.loc[(standards["element"] == element) & standards["bias_pct"].notna()]
    rows = rows.loc[rows["used"].astype(bool)]
    if assay is not None:
        rows = rows.loc[rows["assay"] == assay]
    rows = rows.sort_values(["date_read", "order", "sample_id"], kind="stable")
    known = list(names) if names is not None else sorted(set(rows["standard"].dropna()))
    at = np.arange(1, len(rows) + 1, dtype=float)
    bias = rows["bias_pct"].to_numpy(dtype=float)
    standard = rows["standard"].to_numpy(dtype=object)
    size = 4.2 if len(rows) <= 60 else 3.0 if len(rows) <= 200 else 2.2
    edge = limit_pct or 0.0
    size_of = np.abs(bias) if len(bias) else np.zeros(1)
    usual = max(2.5 * edge, 1.25 * float(np.quantile(size_of, 0.98)))
    reach = max(1.25 * edge, min(1.2 * float(size_of.max()), usual, 150.0), 5.0)
    out = np.abs(bias) > reach
    drawn = np.clip(bias, -reach * 0.965, reach * 0.965)
    ax.axhline(0, color=INK, lw=0.8, zorder=1.5)
    if limit_pct:
        ax.axhspan(-limit_pct, limit_pct, color="#edeae3", alpha=0.6, lw=0, zorder=0.5)
        for side in (-limit_pct, limit_pct):
            ax.axhline(side, color=ACCENT, lw=1.0, ls="--", zorder=1.6, gid="limit")
    for k, name in enumerate(known):
        here = standard == name
        ax.plot(at[here], drawn[here], color=SERIES_COLOURS[k % 8], lw=0.5, alpha=0.45, zorder=2)
        ax.plot(at[here & ~out], drawn[here & ~out], ls="none", zorder=3, gid=f"standard {k + 1}",
                **series_style(k, size))  # fmt: skip
        for mark, side in (("^", 1), ("v", -1)):
            gone = here & out & (np.sign(bias) == side)
            ax.plot(at[gone], drawn[gone], ls="none", zorder=3,
                    **{**series_style(k, 5.0), "marker": mark})  # fmt: skip
    failed = (rows["verdict"] == "fail").to_numpy()
    ax.plot(at[failed], drawn[failed], ls="none", ms=size + 3.8, zorder=3.5, gid="fail", **_FAIL)
    ax.set_xlim(0.2, max(len(rows), 1) + 0.8)
    ax.set_ylim(-reach, reach)
    _day_ticks(ax, rows)
    ax.grid(visible=True, axis="y")
    ax.set_ylabel("bias [%]", labelpad=1)
    where = f" ({assay})" if assay else ""
    words = f"{len(rows)} results" + (f", {int(failed.sum())} fail" if failed.any() else "")
    ax.set_title(literal(f"{element}{where}: {words}", 60), pad=3)
    return ax


def series_style(k: int, size: float) -> dict[str, Any]:
    """Give the look of the k-th series of a chart."""
    return {
        "marker": SERIES[k % len(SERIES)], "ms": size, "mfc": SERIES_COLOURS[k % 8], "mec": PAPER,
        "mew": 0.4,
    }  # fmt: skip


def _day_ticks(ax: Axes, rows: pd.DataFrame) -> None:
    """Name the day where it begins; where dates are missing, count results."""
    days = rows["date_read"]
    if not len(rows) or days.isna().all():
        ax.set_xlabel("order of reading", labelpad=1)
        return
    text = days.dt.strftime("%d %b").fillna("?").to_numpy(dtype=object)
    starts = [i for i in range(len(text)) if i == 0 or text[i] != text[i - 1]]
    step = max(1, int(np.ceil(len(starts) / 7)))
    ax.set_xticks([i + 1 for i in starts[::step]], [str(text[i]) for i in starts[::step]])
    for i in starts[1:]:
        ax.axvline(i + 0.5, color="#dedad2", lw=0.5, zorder=1)
    ax.tick_params(axis="x", length=2, labelsize=7)


@styled
def draw_standards(
    standards: pd.DataFrame,
    series: Sequence[tuple[str, str]],
    *,
    limits: dict[str, float] | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
) -> Figure:
    """Draw the first six (assay, element) pairs on one page.

    Parameters
    ----------
    standards : pandas.DataFrame
        `model.quality.STANDARD_CHECKS`.
    series : sequence of (str, str)
        Assay and element.
    limits : dict of str to float, optional
        Bias limit per assay. [%]
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        A page.
    """
    page = new_page()
    chosen = list(series)[:6]
    mine = standards.loc[
        [p in set(chosen) for p in zip(standards["assay"], standards["element"], strict=True)]
    ]
    names = sorted({str(s) for s in mine["standard"].dropna()})
    columns = 1 if len(chosen) == 1 else 2
    boxes = chart_boxes(len(chosen), columns, CHART_BOX, left=0.42, inner=(0.5, 0.5), bottom=0.25)
    assays = {a for a, _ in chosen}
    for k, ((assay, element), box) in enumerate(zip(chosen, boxes, strict=True)):
        ax = draw_standard(
            standards, element, assay=assay, limit_pct=(limits or {}).get(assay), names=names,
            ax=place(page, box),
        )  # fmt: skip
        if k % columns:
            ax.set_ylabel("")
    entries = []
    for k, name in enumerate(names):
        n = int((mine["standard"] == name).sum())
        entries.append(Entry(name, f"{n}", marker=series_style(k, 5.0)))
    blocks = [Block("Standard, number of results drawn", tuple(entries), keep=8)]
    marks = [Entry("standard fails", marker={**_FAIL, "ms": 8.0})]
    for assay in sorted(assays & set(limits or {})):
        words = f"limit of bias, {assay}: {(limits or {})[assay]:g} %"
        marks.append(Entry(words, line={"color": ACCENT, "lw": 1.0, "ls": "--"}))
    note = (
        "Triangles at an edge lie outside the chart. Each result stands at its place in the order "
        "of reading; days begin at the thin lines."
    )
    blocks.append(Block("Marks", tuple(marks), note=note))
    draw_panel(page, blocks)
    default = Caption(
        "Standards in the order of reading",
        "Bias: how much a standard reads above or below its certified value.",
    )
    head_and_foot(page, caption or default, info)
    return page
