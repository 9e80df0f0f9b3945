"""How far each element can be believed, and what pellets do to its line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.elements import element_rank
from geochem.outputs.figures.layout import Caption, finished, new_page, place
from geochem.outputs.figures.style import ACCENT, INK, MUTED, PAPER, RAMP, literal, styled
from geochem.outputs.figures.text_fit import one_line

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from geochem.model.bundle import CampaignInfo

#: class -> letter and fill; the letter says it without colour
_CLASSES = {
    "definitive": ("D", RAMP[4]), "quantitative screening": ("S", RAMP[2]),
    "qualitative": ("Q", RAMP[0]), "unusable": ("x", PAPER),
}  # fmt: skip


@styled
def draw_reliability(
    reliability: pd.DataFrame, *, info: CampaignInfo | None = None, caption: Caption | None = None
) -> Figure:
    """Draw the trust class of every element and assay.

    Parameters
    ----------
    reliability : pandas.DataFrame
        `model.quality.RELIABILITY`.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        A page: a square per assay and element with the letter of its class.
    """
    from matplotlib.patches import Rectangle

    page = new_page()
    assays = sorted(set(reliability["assay"]))
    elements = sorted(set(reliability["element"]), key=element_rank)
    blocks = max(1, -(-len(elements) // 30))
    across = max(24, -(-len(elements) // blocks))
    ax = place(page, (1.0, 0.75, 8.25, 4.3))
    ax.set_axis_off()
    ax.set_xlim(-0.6, across + 0.1)
    rows = blocks * (len(assays) + 1.4)
    ax.set_ylim(max(rows, 9), -0.8)
    known = reliability.set_index(["assay", "element"])
    for k, element in enumerate(elements):
        block, column = divmod(k, across)
        top = block * (len(assays) + 1.4)
        ax.text(column + 0.5, top - 0.1, element, ha="center", va="bottom", size=8)
        for i, assay in enumerate(assays):
            if (assay, element) not in known.index:
                continue
            row = known.loc[(assay, element)]
            letter, fill = _CLASSES.get(row["trust"], ("?", PAPER))
            hand = row["by"] == "hand"
            ax.add_patch(
                Rectangle((column + 0.06, top + i + 0.06), 0.88, 0.88, fc=fill,
                          ec=ACCENT if hand else MUTED, lw=1.6 if hand else 0.5)
            )  # fmt: skip
            dark = fill in (RAMP[4],)
            ax.text(column + 0.5, top + i + 0.5, letter, ha="center", va="center", size=8,
                    color=PAPER if dark else INK)  # fmt: skip
    for block in range(blocks):
        for i, assay in enumerate(assays):
            y = block * (len(assays) + 1.4) + i + 0.5
            ax.text(-0.15, y, literal(assay, 12), ha="right", va="center", size=8)
    last = (blocks - 1) * (len(assays) + 1.4) + len(assays) + 0.7
    weak = reliability[reliability["trust"].isin(["unusable", "qualitative"])]
    # Where the grid leaves room, the reasons of what is believed least.
    free = int((max(rows, 9) - last) / 0.36)
    said: list[Any] = list(weak.sort_values(["trust", "assay"], ascending=False,
                                            kind="stable").head(free).itertuples())  # fmt: skip
    for k, r in enumerate(said):
        line = literal(f"{r.element} ({r.assay}): {r.trust}; {r.reason}", 400)
        ax.text(0, last + 0.36 * k, one_line(line, 7.5, 7), size=7, va="top", color=INK)
    words = (
        "D definitive, S quantitative screening, Q qualitative, x unusable; framed: set by hand. "
        "All reasons stand in the table of reliability."
    )
    return finished(
        page, "How far each element can be believed", words, info=info, caption=caption
    )


@styled
def draw_pellets(
    pellets: pd.DataFrame, *, info: CampaignInfo | None = None, caption: Caption | None = None
) -> Figure:
    """Draw the share of the full signal that pellets give, per element in order of line energy.

    Parameters
    ----------
    pellets : pandas.DataFrame
        `model.quality.PELLETS`.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        A page.
    """
    page = new_page()
    rows = pellets[pellets["n_known"].fillna(0) > 0].sort_values("energy_kev")
    ax = place(page, (0.75, 1.0, 8.5, 4.05))
    x = np.arange(len(rows))
    usual = 100 * rows["median_signal"].to_numpy(dtype=float)
    least = 100 * rows["least_signal"].to_numpy(dtype=float)
    ax.vlines(x, least, usual, color=RAMP[2], lw=2)
    ax.plot(x, usual, "o", ms=5, mfc=RAMP[4], mec=PAPER, mew=0.4, gid="median pellet")
    ax.plot(x, least, "v", ms=5, mfc="none", mec=ACCENT, gid="thinnest pellet")
    ax.axhline(95, color=ACCENT, lw=1.0, ls="--")
    names = [
        f"{e}\n{k:.1f}\n{d:.2g}"
        for e, k, d in zip(rows["element"], rows["energy_kev"], rows["depth_99_mm"], strict=True)
    ]
    ax.set_xticks(x, names)
    ax.tick_params(axis="x", labelsize=6.5)
    ax.set_ylabel("share of the full signal [%]", labelpad=1)
    ax.grid(visible=True, axis="y")
    words = (
        "Dot: usual pellet, triangle: thinnest. Under each element its line [keV] and the depth "
        "that 99 % of it come from in pressed soil [mm]."
    )
    return finished(page, "Are the pellets thick enough?", words, info=info, caption=caption)
