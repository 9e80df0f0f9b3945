"""Levelling: medians of groups before and after, and the factors with their intervals."""

from __future__ import annotations

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
from geochem.outputs.figures.style import ACCENT, INK, MUTED, PAPER, styled
from geochem.units import shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from geochem.model.background import Levelling
    from geochem.model.bundle import CampaignInfo

#: charts on the page, and names below one that still can be read
_MOST, _NAMES = 6, 8


def levelled_series(levelling: Levelling) -> list[tuple[str, str, str]]:
    """List (column, assay, element) that were levelled: where most variance was moved first."""
    rows = levelling.elements
    rows = rows[rows["levelled"].to_numpy(dtype=bool)]
    rows = rows.assign(size=rows["between_pct"].fillna(0.0)).sort_values(
        ["size", "column", "assay", "element"], ascending=[False, True, True, True]
    )
    return list(rows[["column", "assay", "element"]].itertuples(index=False, name=None))


@styled
def draw_levelled(
    levelling: Levelling, series: tuple[str, str, str], *, ax: Axes | None = None
) -> Axes:
    """Draw the median of every group of one element before and after levelling.

    Parameters
    ----------
    levelling : Levelling
        What was done.
    series : (column, assay, element)
        Which.
    ax : Axes, optional
        Where to draw; a new page when None.

    Returns
    -------
    Axes
        Bars are the 90 % interval of the factor.
    """
    ax = place(new_page(), (0.9, 1.1, 8.0, 3.6)) if ax is None else ax
    column, assay, element = series
    groups = levelling.groups
    mine = groups[
        (groups["column"] == column) & (groups["assay"] == assay) & (groups["element"] == element)
    ]
    mine = mine[mine["median_before"].notna()]
    before = mine["median_before"].to_numpy(dtype=float)
    after = mine["median_after"].to_numpy(dtype=float)
    unit, divisor = shown_unit(element, float(np.median(before)) if len(before) else 1.0)
    before, after = before / divisor, after / divisor
    factor = mine["factor"].to_numpy(dtype=float)
    low = after * mine["factor_low"].to_numpy(dtype=float) / factor
    high = after * mine["factor_high"].to_numpy(dtype=float) / factor
    at = np.arange(len(mine))
    ax.vlines(at, low, high, color=INK, lw=1.0, gid="interval")
    ax.plot(at, before, "o", ms=4.5, mfc="none", mec=MUTED, mew=1.0, gid="before")
    ax.plot(at, after, "o", ms=4, mfc=ACCENT, mec=PAPER, mew=0.4, gid="after")
    both = np.concatenate([before, after, low, high])
    if len(both):
        # groups differ by per cents: the axis keeps close to them
        ax.set_ylim(both.min() / 1.04, both.max() * 1.04)
        ax.locator_params(axis="y", nbins=5)
    names = mine["group"].tolist()
    if len(names) <= _NAMES:
        ax.set_xticks(at, names)
    else:
        ax.set_xticks([])
        ax.set_xlabel(f"{len(names)} groups of {column}, by name", fontsize=7.5, labelpad=2)
    ax.set_xlim(-0.6, len(names) - 0.4)
    table = levelling.elements
    row = table[
        (table["column"] == column) & (table["assay"] == assay) & (table["element"] == element)
    ]
    removed = float(row["removed_pct"].to_numpy(dtype=float)[0])
    ax.set_title(f"{element} by {column}: variance {-removed:+.1f} %", fontsize=8.5, loc="left")
    ax.set_ylabel(f"median [{unit}]", labelpad=1, fontsize=8)
    return ax


@styled
def draw_levelling(
    levelling: Levelling, *, info: CampaignInfo | None = None, caption: Caption | None = None
) -> Figure:
    """Draw the elements whose groups differed most.

    Parameters
    ----------
    levelling : Levelling
        With at least one levelled element.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        A page of up to six charts.
    """
    page = new_page()
    chosen = levelled_series(levelling)
    shown = chosen[:_MOST]
    boxes = chart_boxes(len(shown), min(3, len(shown)), WIDE_BOX, left=0.55, inner=(0.72, 0.72))
    for series, box in zip(shown, boxes, strict=True):
        draw_levelled(levelling, series, ax=place(page, box))
    more = f" {len(chosen) - len(shown)} more were levelled." if len(chosen) > len(shown) else ""
    words = (
        "Medians of detected values per group: hollow before, filled after, bar: 90 % interval of "
        "the factor. Groups on different ground differ truly; only what their common "
        f"{' and '.join(levelling.evidence)} show was taken out.{more}"
    )
    return finished(page, "Levelling: before and after", words, info=info, caption=caption)
