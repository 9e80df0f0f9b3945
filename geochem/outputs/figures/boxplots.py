"""Values of elements by rock unit as boxes on a log scale."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.model.tables import values_of
from geochem.outputs.figures.layout import (
    WIDE_BOX,
    Caption,
    box_of,
    chart_boxes,
    head_and_foot,
    new_page,
    place,
)  # fmt: skip
from geochem.outputs.figures.style import ACCENT, INK, MUTED, RAMP, literal, styled
from geochem.outputs.figures.text_fit import (
    fitting_log_steps,
    share_text,
    text_width,
    tick_text,
    wrap,
)
from geochem.units import shown_unit

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from geochem.model.bundle import CampaignInfo

_MOST_GROUPS = 8


def grouping(samples: pd.DataFrame) -> tuple[np.ndarray, str]:
    """Choose what the boxes stand for.

    Returns
    -------
    groups : ndarray of str, shape (n_samples,)
        Name of the group of each sample; small ones beyond the eighth are put together.
    words : str
        What a group is: rock unit, lithology or medium.
    """
    import pandas as pd

    for column, words in (
        ("geology", "rock unit"), ("lithology", "lithology as logged"), ("medium", "medium"),
    ):  # fmt: skip
        if column in samples.columns:
            given = samples[column]
            code, distinct = pd.factorize(given.astype(object))
            words_of = [literal(v, 60) if isinstance(v, str) else "not stated" for v in distinct]
            names = np.array([*words_of, "not stated"], dtype=object)[code]
            found, counts = np.unique(names.astype(str), return_counts=True)
            if len(found) >= 2 or column == "medium":
                order = sorted(zip(-counts, found, strict=True))
                kept = {n for _, n in order[: _MOST_GROUPS - (len(order) > _MOST_GROUPS)]}
                other = f"{len(found) - len(kept)} other units"
                return np.array([n if n in kept else other for n in names], dtype=object), words
    return np.full(len(samples), "all samples", dtype=object), "sample"


@styled
def draw_boxplot(
    samples: pd.DataFrame,
    element: str,
    *,
    groups: Sequence[str] | np.ndarray | None = None,
    threshold: float = np.nan,
    names: bool = True,
    room: float = 1.6,
    ax: Axes | None = None,
) -> Axes:
    """Draw one box per group: quartiles, 5th and 95th percentile, single values beyond.

    Values below detection count as their limit; where that hides a quartile or the median, the box
    is open on that side.

    Parameters
    ----------
    samples : pandas.DataFrame
        With ``<El>_ppm`` and flags; mg/kg.
    element : str
        Symbol.
    groups : sequence of str, shape (n_samples,), optional
        Default: `grouping`.
    threshold : float
        Of the whole medium; drawn dashed. [mg/kg]
    names : bool, default True
        Write the names of the groups.
    room : float
        For the names; longer ones are cut. [inch]
    ax : Axes, optional
        Where to draw; a new page when None.

    Returns
    -------
    Axes
        The chart.
    """
    ax = place(new_page(), (1.8, 1.0, 5.5, 4.0)) if ax is None else ax
    given = grouping(samples)[0] if groups is None else np.asarray(groups, dtype=object)
    values = values_of(samples, element)
    known = np.isfinite(values.value) & (values.value > 0)
    order = sorted(set(given.astype(str)), key=lambda g: (" other units" in g, g))
    typical = values.value[known]
    unit, divisor = shown_unit(element, float(np.median(typical)) if len(typical) else 1.0)
    labels = []
    for k, name in enumerate(reversed(order)):
        here = known & (given == name)
        shown, hidden = values.value[here] / divisor, values.below[here]
        n = len(shown)
        words = f"n {n}" + (f", {share_text(int(hidden.sum()), n)} below" if hidden.any() else "")
        labels.append((name, words))
        if n:
            _box(ax, k, shown, hidden)
    ax.set_ylim(-0.6, len(order) - 0.4)
    if len(typical):
        low, high = float(typical.min() / divisor), float(typical.max() / divisor)
        if np.isfinite(threshold):
            low, high = min(low, threshold / divisor), max(high, threshold / divisor)
        low, high = low / 1.12, high * 1.12
        widest = max(text_width(w, 6.5) for _, w in labels) + 0.1
        wide = box_of(ax)[2]
        part = min(widest / wide, 0.5)  # of the chart, kept free of data for the numbers
        ax.set_xscale("log")
        ax.set_xlim(low, high * (high / low) ** (part / (1 - part)))
        ax.axvspan(high, ax.get_xlim()[1], color="#f6f4ef", lw=0, zorder=0.4)
        steps = fitting_log_steps(low, high, wide * (1 - part))
        ax.set_xticks(steps, [tick_text(v) for v in steps])
        ax.set_xticks([], minor=True)
        if np.isfinite(threshold):
            ax.axvline(
                threshold / divisor, color=ACCENT, lw=1.0, ls="--", zorder=2, gid="threshold"
            )
    ax.grid(visible=True, axis="x")
    ax.set_xlabel(f"{element} [{unit}]", labelpad=1)
    ax.tick_params(axis="y", length=0)
    written = ["\n".join(wrap(n, room, 7.5, most=2)) if names else "" for n, _ in labels]
    ax.set_yticks(range(len(order)), written)
    ax.set_gid(f"boxes {element}")
    for k, (_, words) in enumerate(labels):
        ax.text(
            0.99, k, words, transform=ax.get_yaxis_transform(), size=6.5, color=MUTED,
            ha="right", va="center",
        )  # fmt: skip
    if not (known & ~values.below).any():
        ax.text(0.5, 0.5, "no value above detection", transform=ax.transAxes, ha="center",
                va="center", color=MUTED)  # fmt: skip
    return ax


def _box(ax: Axes, k: int, shown: np.ndarray, hidden: np.ndarray) -> None:
    """Draw one box; what lies among the limits is dashed, because it is only known to be lower."""
    from matplotlib.patches import Rectangle

    order = np.sort(shown)
    low, q1, median, q3, high = np.quantile(order, [0.05, 0.25, 0.5, 0.75, 0.95])
    share = hidden.mean()
    limit = float(np.quantile(shown[hidden], 0.95)) if hidden.any() else -np.inf
    open_low = share > 0.05
    if share > 0.5:
        median = np.nan
    if len(order) >= 5:
        line: dict[str, Any] = {"color": INK, "lw": 0.8, "zorder": 2.5}
        ax.plot([q3, high], [k, k], **line)
        ax.plot([low, q1], [k, k], **{**line, "ls": ":" if open_low else "-"})
        ax.add_patch(
            Rectangle(
                (q1, k - 0.24), q3 - q1, 0.48, facecolor=RAMP[1], edgecolor=INK, lw=0.8, zorder=2.6,
                ls=":" if share > 0.25 else "-",
            )
        )  # fmt: skip
        if median == median:
            ax.plot([median, median], [k - 0.24, k + 0.24], color=INK, lw=1.8, zorder=2.7)
        beyond = order[order > high]
        under = np.sort(shown[~hidden & (shown < max(low, limit))]) if not open_low else order[:0]
    else:
        beyond, under = np.sort(shown[~hidden]), order[:0]
    dots: dict[str, Any] = {"ls": "none", "marker": "o", "ms": 2.2, "mfc": RAMP[4], "mec": "none",
                            "alpha": 0.75, "zorder": 2.4}  # fmt: skip
    some = np.concatenate([under, beyond])
    ax.plot(some, np.full(len(some), float(k)), rasterized=len(some) > 1000, **dots)


@styled
def draw_boxplots(
    samples: pd.DataFrame,
    elements: Sequence[str],
    *,
    thresholds: dict[str, float] | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
) -> Figure:
    """Draw up to six elements side by side.

    Parameters
    ----------
    samples : pandas.DataFrame
        Of one medium.
    elements : sequence of str
        The first six are drawn.
    thresholds : dict of str to float, optional
        Of the whole medium. [mg/kg]
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        A page.
    """
    page = new_page()
    groups, words = grouping(samples)
    chosen = list(elements)[:6]
    names = sorted({str(g) for g in groups})
    room = min(max((text_width(n, 7.5) for n in names), default=0.5) + 0.12, 1.5)
    columns = {1: 1, 2: 2, 4: 2}.get(len(chosen), 3)
    boxes = chart_boxes(len(chosen), columns, WIDE_BOX, left=room, inner=(0.2, 0.62), top=0.1)
    for k, (element, box) in enumerate(zip(chosen, boxes, strict=True)):
        draw_boxplot(
            samples, element, groups=groups, threshold=(thresholds or {}).get(element, np.nan),
            names=k % columns == 0, room=room - 0.1, ax=place(page, box),
        )  # fmt: skip
    default = Caption(
        f"Values by {words}",
        "Box: quartiles; bar: median; whiskers: 5th to 95th percentile; dots: values beyond. "
        "Dotted: known only to be lower. Dashed line: threshold of the whole medium.",
    )
    head_and_foot(page, caption or default, info)
    return page
