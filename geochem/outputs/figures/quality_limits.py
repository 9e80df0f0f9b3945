"""Blanks and detection limits, element by element."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import element_rank
from geochem.outputs.figures.layout import Caption, finished, new_page, place
from geochem.outputs.figures.quality_pairs import log_axis
from geochem.outputs.figures.style import ACCENT, INK, PAPER, SERIES, SERIES_COLOURS, styled

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from geochem.model.bundle import CampaignInfo

#: columns of `DETECTION`, as words
_KINDS = {
    "stated": "stated", "reported": "reported with <", "from_counting": "counting error x 3",
    "blank_mdl": "from blanks", "low_mdl": "from a low standard",
}  # fmt: skip


@styled
def draw_blanks(
    blanks: pd.DataFrame, *, info: CampaignInfo | None = None, caption: Caption | None = None
) -> Figure:
    """Draw every blank against its reference.

    Parameters
    ----------
    blanks : pandas.DataFrame
        `model.quality.BLANK_CHECKS` with ``reference``.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        A page; blanks below detection stand at the left edge of their element.
    """
    page = new_page()
    rows = blanks[blanks["reference"].notna() & (blanks["reference"] > 0)]
    shown = rows[rows["source"] == "pxrf"] if (rows["source"] == "pxrf").any() else rows
    elements = sorted(set(shown["element"]), key=element_rank)[:40]
    ax = place(page, (0.75, 1.0, 8.5, 4.05))
    place_of = {e: k for k, e in enumerate(elements)}
    shown = shown[shown["element"].isin(elements)]
    x = np.array([place_of[e] for e in shown["element"]], dtype=float)
    order = shown.groupby("element").cumcount().to_numpy(dtype=float)
    count = shown.groupby("element")["value"].transform("size").to_numpy(dtype=float)
    x += 0.7 * ((order + 0.5) / np.maximum(count, 1) - 0.5)
    times = (shown["value"] / shown["reference"]).to_numpy(dtype=float)
    below = shown["below"].to_numpy(dtype=bool)
    failed = (shown["verdict"] == "fail").to_numpy()
    warned = (shown["verdict"] == "warn").to_numpy()
    floor = 0.3
    y = np.clip(np.where(below, floor, times), floor, None)
    ax.plot(x[below], y[below], "x", ms=2.5, color=SERIES_COLOURS[3], gid="below detection")
    good = ~below & ~failed & ~warned
    ax.plot(x[good], y[good], "o", ms=3, mfc=SERIES_COLOURS[0], mec=PAPER, mew=0.3, gid="pass")
    ax.plot(x[warned], y[warned], "^", ms=4, mfc="none", mec=ACCENT, gid="warn")
    ax.plot(x[failed], y[failed], "s", ms=4.5, mfc=ACCENT, mec=PAPER, mew=0.3, gid="fail")
    ax.axhline(1, color=INK, lw=0.8)
    log_axis(ax, "y", np.append(y, 6.0))
    ax.set_xticks(range(len(elements)), elements)
    ax.set_xlim(-0.6, len(elements) - 0.4)
    ax.set_ylabel("times the reference", labelpad=1)
    ax.grid(visible=True, axis="y")
    words = (
        f"{len(shown)} results; reference: detection limit, certified or usual value of the blank. "
        "Cross: below detection; triangle: warns; square: fails."
    )
    return finished(page, "Blanks in the order of reading", words, info=info, caption=caption)


@styled
def draw_detection(
    detection: pd.DataFrame,
    *,
    assay: str | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
) -> Figure:
    """Draw the detection limits of one assay: stated, reported, and what controls support.

    Parameters
    ----------
    detection : pandas.DataFrame
        `model.quality.DETECTION`.
    assay : str, optional
        Which; the one with most rows when None.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        A page.
    """
    page = new_page()
    if assay is None and len(detection):
        counts = detection["assay"].value_counts()
        assay = sorted(counts.index, key=lambda a: (-int(counts[a]), str(a)))[0]
    rows = detection[detection["assay"] == assay]
    elements = sorted(set(rows["element"]), key=element_rank)[:40]
    ax: Axes = place(page, (0.75, 1.0, 8.5, 3.75))
    for k, (column, words) in enumerate(_KINDS.items()):
        value = rows.groupby("element")[column].median().reindex(elements).to_numpy(dtype=float)
        at = np.arange(len(elements)) + 0.14 * (k - 2)
        ax.plot(at, value, ls="none", marker=SERIES[k], ms=4.5, mfc=SERIES_COLOURS[k], mec=PAPER,
                mew=0.3, label=words, gid=column)  # fmt: skip
    warned = set(rows.loc[rows["verdict"] == "warn", "element"])
    log_axis(ax, "y", rows[list(_KINDS)].to_numpy(dtype=float).ravel())
    ax.set_xticks(range(len(elements)), [f"{e}*" if e in warned else e for e in elements])
    ax.set_xlim(-0.6, len(elements) - 0.4)
    ax.set_ylabel("detection limit [ppm]", labelpad=1)
    ax.grid(visible=True, axis="y")
    ax.legend(ncols=5, loc="lower left", bbox_to_anchor=(0, 1.01), frameon=False, fontsize=7.5)
    words = f"{assay}. A star marks elements whose stated limit is better than controls support."
    return finished(page, "Detection limits", words, info=info, caption=caption)
