"""Weights of the associations found in the data, one row each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import element_rank
from geochem.outputs.figures.layout import (
    WIDE_BOX,
    Caption,
    head_and_foot,
    new_page,
    page_of,
    place,
)
from geochem.outputs.figures.style import INK, MUTED, OUTLINE, PAPER, styled

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from geochem.model.bundle import CampaignInfo
    from geochem.model.evidence import FoundAssociation

#: rows drawn
MOST = 12


@styled
def draw_found_associations(
    found: Sequence[FoundAssociation],
    *,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Show which elements each association holds, and with which sign.

    Parameters
    ----------
    found : sequence of FoundAssociation
        The first twelve are drawn.
    info, caption, ax
        As in `draw_samples`.

    Returns
    -------
    Axes
        The chart.

    Raises
    ------
    WrongCall
        If there is none.
    """
    from geochem.errors import WrongCall

    if not found:
        raise WrongCall("no associations were found; there is nothing to draw.")
    shown = list(found[:MOST])
    elements = sorted({e for f in shown for e in f.association.weights}, key=element_rank)
    own = ax is None
    left, bottom, wide, high = WIDE_BOX
    height = min(high - 0.55, 0.75 * len(shown))
    if ax is None:
        ax = place(
            new_page(),
            (left + 1.75, bottom + high - 0.35 - height, wide - 1.75 - 0.2, height),
        )
    inch = min((wide - 1.95) / max(len(elements), 1), height / len(shown), 0.5)
    largest = (0.82 * 72 * inch) ** 2
    media = {f.medium for f in shown}
    for i, f in enumerate(shown):
        ax.axhline(i, color="#e4e0d8", lw=0.7, zorder=1)
        for sign, face, edge in ((1, OUTLINE, OUTLINE), (-1, PAPER, INK)):
            mine = {e: w for e, w in f.association.weights.items() if w * sign > 0}
            ax.scatter(
                [elements.index(e) for e in mine], [i] * len(mine),
                s=[largest * abs(w) for w in mine.values()], c=face, edgecolors=edge,
                linewidths=1.0, zorder=2, gid=f"association {i + 1} {'up' if sign > 0 else 'down'}",
            )  # fmt: skip
    ax.set_xlim(-0.7, len(elements) - 0.3)
    ax.set_ylim(len(shown) - 0.4, -0.6)
    ax.set_xticks(range(len(elements)), elements)
    ax.xaxis.tick_top()
    ax.tick_params(length=0)
    ax.set_yticks(
        range(len(shown)),
        [
            f"{f.medium + ', ' if len(media) > 1 else ''}{100 * f.share:.0f} % of the variance"
            for f in shown
        ],
    )
    for side in ax.spines.values():
        side.set_visible(False)
    ax.text(
        0.0, -0.02, "Filled: goes up with the association. Hollow: goes down. Area: weight.",
        transform=ax.transAxes, va="top", ha="left", color=MUTED, fontsize=8,
    )  # fmt: skip
    if own:
        n = max(f.n for f in shown)
        stable = float(np.min([f.stability for f in shown]))
        default = Caption(
            "Elements that go together in these data",
            f"n = {n} samples at most, log-ratios standardised by domain; components above those "
            f"of shuffled data, rotated; found again in resampled data (congruence at least "
            f"{np.floor(100 * min(stable, 0.99)) / 100:.2f}). Rock types, cover and "
            "grain size make associations too; no target comes from these.",
        )
        head_and_foot(page_of(ax), caption or default, info)
    return ax
