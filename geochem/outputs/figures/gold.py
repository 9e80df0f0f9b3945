"""Gold: what was detected, which highs stand alone, and how far duplicates differ."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.model.tables import values_of
from geochem.outputs.figures.layout import (
    CHART_BOX,
    Caption,
    head_and_foot,
    new_page,
    page_of,
    place,
)  # fmt: skip
from geochem.outputs.figures.panel import Block, Entry, draw_panel
from geochem.outputs.figures.quality_pairs import log_axis
from geochem.outputs.figures.style import ACCENT, MUTED, PAPER, RAMP, literal, styled
from geochem.outputs.wording import figure
from geochem.units import shown_unit

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from geochem.model.background import Gold
    from geochem.model.bundle import CampaignInfo

#: singles that are named beside their mark
_NAMED = 8
#: pairs from which on a scatter says something
_LEAST_PAIRS = 3
#: role of a duplicate: its mark
_MARKS = {"field_duplicate": "o", "coarse_duplicate": "s", "pulp_duplicate": "^"}


@styled
def draw_gold(
    gold: Gold,
    samples: pd.DataFrame,
    *,
    pairs: pd.DataFrame | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
) -> Axes:
    """Draw the detected values in order and, where there are any, the duplicates.

    Parameters
    ----------
    gold : Gold
        Of one metal and medium.
    samples : pandas.DataFrame
        Samples table.
    pairs : pandas.DataFrame, optional
        `model.quality.DUPLICATE_PAIRS`.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Axes
        Of the detected values; unit as geologists read it.
    """
    left, bottom, wide, high = CHART_BOX
    own = _pairs_of(gold.element, pairs)
    page = new_page()
    left, wide, bottom, high = left + 0.5, wide - 0.5, bottom + 0.42, high - 0.42
    half = 0.45 * wide if len(own) >= _LEAST_PAIRS else 0.0
    ax = place(page, (left, bottom, wide - half, high))
    mine = samples.loc[(samples["medium"].fillna("") == gold.medium).to_numpy()]
    v = values_of(mine, gold.element)
    seen = np.isfinite(v.value) & ~v.below & (v.value > 0)
    ids = mine["sample_id"].to_numpy(dtype=object)[seen]
    order = np.lexsort((ids.astype(str), v.value[seen]))
    unit, divisor = shown_unit(gold.element, gold.median)
    x, ids = v.value[seen][order] / divisor, ids[order]
    # shares of all samples: those below detection fill the axis from the bottom
    share = 100 * (gold.n - len(x) + np.arange(len(x)) + 0.5) / max(gold.n, 1)
    high_one, lone = np.isin(ids, gold.high), np.isin(ids, gold.single)
    usual = ~high_one
    dot: dict[str, Any] = {"ls": "none", "mec": PAPER, "mew": 0.3}
    ax.plot(x[usual], share[usual], "o", ms=3.4, mfc=RAMP[2], gid="detected", **dot)
    beside = high_one & ~lone
    ax.plot(x[beside], share[beside], "o", ms=5, mfc=ACCENT, gid="high", **dot)
    ax.plot(
        x[lone], share[lone], "D", ms=6, mfc="none", mec=ACCENT, mew=1.3, ls="none", gid="single"
    )
    if len(x):
        log_axis(ax, "x", x)
    if np.isfinite(gold.cut):
        ax.axvline(gold.cut / divisor, color=ACCENT, lw=1.0, ls=(0, (5, 2)))
    hidden = 100 * (1 - gold.n_detected / max(gold.n, 1))
    ax.axhspan(0, hidden, facecolor="#dcd8d0", hatch="////", edgecolor=PAPER, lw=0, alpha=0.6)
    ax.set_ylim(0, 101)
    ax.grid(visible=True)
    ax.set_xlabel(f"{gold.element} [{unit}], detected values, log scale")
    ax.set_ylabel(f"share of {gold.medium} samples that hold no more [%]")
    entries = [
        Entry("detected", marker={"marker": "o", "mfc": RAMP[2], "mec": PAPER}),
        Entry(f"over {figure(gold.cut / divisor)} {unit}, others beside it",
              str(len(gold.high) - len(gold.single)), marker={"marker": "o", "mfc": ACCENT, "mec": PAPER}),
        Entry("single high: no other beside it", str(len(gold.single)),
              marker={"marker": "D", "mfc": "none", "mec": ACCENT}),
        Entry("below detection", str(gold.n - gold.n_detected),
              patch={"facecolor": "#dcd8d0", "hatch": "////", "edgecolor": MUTED}),
    ]  # fmt: skip
    blocks = [
        Block(f"{gold.element} [{unit}]", tuple(entries),
              note=_singles(ids[lone][::-1], x[lone][::-1])),
    ]  # fmt: skip
    if half:
        side = half - 0.75  # a square, so that one to one is the diagonal
        right = place(page, (left + wide - side, bottom + high - side, side, side))
        blocks.append(_draw_pairs(right, own, unit, divisor, gold))
    draw_panel(page, blocks)
    words = (
        f"{gold.n_detected} of {gold.n} samples detected, median of these "
        f"{figure(gold.median / divisor)} {unit}, highest {figure(gold.peak / divisor)} {unit}. Below "
        "the limit nothing is known."
    )
    default = Caption(f"{gold.element} in {gold.medium}: detected values and single highs", words)
    head_and_foot(page_of(ax), caption or default, info)
    return ax


def _singles(ids: Any, x: Any) -> str:
    if not len(ids):
        return ""
    named = [f"{literal(str(i), 14)} ({figure(v)})" for i, v in zip(ids, x, strict=True)]
    more = f" and {len(named) - _NAMED} more" if len(named) > _NAMED else ""
    return (
        f"Single: {', '.join(named[:_NAMED])}{more}. They are kept as they are and make no outline: "
        "sample those places again."
    )


def _pairs_of(element: str, pairs: pd.DataFrame | None) -> pd.DataFrame:
    import pandas as pd

    if pairs is None or not len(pairs):
        return pd.DataFrame({"role": [], "first": [], "second": []})
    keep = (pairs["element"] == element) & pairs["used"].astype(bool)
    keep &= (pairs["first"] > 0) & (pairs["second"] > 0) & pairs["role"].isin(list(_MARKS))
    return pairs.loc[keep.to_numpy(dtype=bool)]


def _draw_pairs(ax: Axes, pairs: pd.DataFrame, unit: str, divisor: float, gold: Gold) -> Block:
    both = np.concatenate([pairs["first"], pairs["second"]]) / divisor
    ends = np.array([both.min() / 3, both.max() * 3])
    entries = []
    ax.fill_between(ends, ends / 2, ends * 2, color="#eee9df", lw=0, zorder=0)
    ax.plot(ends, ends, "--", color=MUTED, lw=0.9, gid="1:1")
    for k, (role, marker) in enumerate(_MARKS.items()):
        mine = pairs.loc[(pairs["role"] == role).to_numpy()]
        if len(mine):
            style: dict[str, Any] = {"marker": marker, "mfc": RAMP[(4, 2, 3)[k]], "mec": PAPER}
            ax.plot(mine["first"] / divisor, mine["second"] / divisor, ls="none", ms=4.5, mew=0.4,
                    gid=f"pairs {role}", **style)  # fmt: skip
            entries.append(Entry(role.replace("_", " "), str(len(mine)), marker=style))
    log_axis(ax, "x", both)
    log_axis(ax, "y", both)
    ax.set_xlim(both.min() / 1.3, both.max() * 1.3)
    ax.set_ylim(ax.get_xlim())
    ax.set_title("Duplicates", fontsize=9, loc="left")
    ax.set_xlabel(f"first [{unit}]", labelpad=1)
    ax.set_ylabel(f"second [{unit}]", labelpad=1)
    note = "Shaded: within a factor of two."
    if gold.coarse:
        note += (
            f" They differ by {gold.duplicate_cv_pct:.0f} % (CV): grains are coarse, one value may be "
            "far from what the place holds."
        )
    return Block("Duplicates", tuple(entries), note=note)
