"""Graded map of one element: classes by size and shade, own shapes for limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.model.tables import values_of
from geochem.outputs.classes import class_levels, class_limits
from geochem.outputs.figures.layout import Caption
from geochem.outputs.figures.map_sheet import start_map
from geochem.outputs.figures.panel import Block, Entry
from geochem.outputs.figures.style import (
    ABOVE,
    ACCENT,
    BELOW,
    INK,
    MUTED,
    NO_DATA,
    PAPER,
    RAMP,
    shape_of,
    styled,
    undecided_marker,
)  # fmt: skip
from geochem.outputs.figures.symbols import graded_style, media_of, positions, put, symbol_size
from geochem.outputs.figures.text_fit import share_text
from geochem.outputs.wording import figure
from geochem.units import shown_unit

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    from matplotlib.axes import Axes

    from geochem.model.bundle import CampaignInfo
    from geochem.model.layers import Layers


@styled
def draw_element(
    samples: gpd.GeoDataFrame,
    element: str,
    *,
    thresholds: npt.NDArray[np.float64] | None = None,
    threshold_words: str = "",
    layers: Layers | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Show the accepted values of one element.

    Class limits are 1-2-5 numbers from the medium with most values; other media use the same
    classes in shapes of their own. Values beyond their threshold carry a dark ring. A value below
    detection is a cross, unless its limit lies beyond the threshold: then it is undecided.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        Samples with ``<El>_ppm`` and flags; mg/kg.
    element : str
        Symbol.
    thresholds : ndarray, shape (n_samples,), optional
        Threshold of each sample's own background, NaN where there is none. [mg/kg]
    threshold_words : str
        How the threshold was found.
    layers, info, caption, ax
        As in `draw_samples`.

    Returns
    -------
    Axes
        The map.

    Raises
    ------
    WrongCall
        If there is no such element.
    """
    values = values_of(samples, element)
    x, y = positions(samples)
    sheet = start_map(ax, layers, (x, y))
    ax, window = sheet.ax, sheet.window
    known = np.isfinite(values.value)
    measured = known & ~values.below
    medium, media = media_of(samples)
    media = sorted(media, key=lambda m: -int((measured & (medium == m)).sum()))
    limit = np.full(len(x), np.nan) if thresholds is None else thresholds
    size = symbol_size(ax, x, y, window)

    main = measured & (medium == media[0]) if media else measured
    typical = values.value[main & ~values.above]
    unit, divisor = shown_unit(element, float(np.median(typical)) if len(typical) else 1.0)
    shown = values.value / divisor
    limits, note = class_limits(shown[main])
    levels = class_levels(shown[main], limits)
    place_of = np.searchsorted(limits, shown, side="right")

    hidden = known & values.below
    undecided = hidden & (values.value > limit)
    over = measured & values.above
    graded = measured & ~values.above
    entries: list[Entry] = []
    style: dict[str, Any] = {"marker": "o", "ms": min(2.4, 0.42 * size), "mfc": "none",
                             "mec": NO_DATA, "mew": 0.5}  # fmt: skip
    n_none = put(ax, x[~known], y[~known], style, zorder=2.8, label="no result")
    if n_none:
        entries.append(Entry("no result", f"{n_none}", marker=style))
    plain = hidden & ~undecided
    style = {"marker": BELOW, "ms": min(0.42 * size, 3.2), "mec": MUTED, "mew": 0.6}
    n_below = put(ax, x[plain], y[plain], style, zorder=2.9, label="below detection")
    if n_below:
        entries.append(
            Entry(f"below detection ({_range(shown[plain], unit)})", f"{n_below}",
                  marker={**style, "ms": 3.6})
        )  # fmt: skip
    rings = graded & (values.value > limit)
    for k, level in enumerate(levels):
        low = -np.inf if k == 0 else limits[k - 1]
        high = np.inf if k == len(limits) else limits[k]
        here = graded & (place_of == k)
        for name in media:
            at = here & (medium == name)
            put(ax, x[at], y[at], graded_style(level, size, shape_of(name)), zorder=3 + 0.1 * k,
                label=f"class {k + 1} {name}")  # fmt: skip
        at = here & rings
        put(ax, x[at], y[at], _ring(level, size), zorder=3.05 + 0.1 * k, label="beyond threshold")
        entries.append(Entry(_class_text(low, high, shown[here], unit), f"{int(here.sum())}",
                             marker=graded_style(level, size)))  # fmt: skip
    if over.any():
        style = {"marker": ABOVE, "ms": size, "mfc": RAMP[5], "mec": PAPER, "mew": 0.5}
        put(ax, x[over], y[over], style, zorder=4.0, label="above range")
        entries.append(
            Entry(
                f"above range (over {_range(shown[over], unit)})",
                f"{int(over.sum())}",
                marker=style,
            )
        )
    if undecided.any():
        style = {"marker": undecided_marker(), "ms": max(0.6 * size, 2.8), "mfc": PAPER,
                 "mec": INK, "mew": 0.6}  # fmt: skip
        put(ax, x[undecided], y[undecided], style, zorder=3.55, label="undecided")
        entries.append(
            Entry("undecided: limit beyond threshold", f"{int(undecided.sum())}", marker=style)
        )
    entries.reverse()
    blocks = [Block(f"{element} [{unit}], number of samples", tuple(entries), note=note)]
    if np.isfinite(limit).any():
        beyond = int((rings | (over & (values.value > limit))).sum())
        ringed = Entry("beyond its threshold", f"{beyond}", marker=_ring(4, min(size, 7.5)))
        blocks.append(Block("Threshold", (ringed,), note=threshold_words))
    if len(media) > 1:
        entries = [
            Entry(m, f"{int((known & (medium == m)).sum())}",
                  marker={**graded_style(2, 7.0, shape_of(m)), "ms": 5.0})
            for m in media
        ]  # fmt: skip
        blocks.append(Block("Shape of the symbols", tuple(entries)))
    if not measured.any():
        words = "No value is above detection." if known.any() else "There are no results."
        blocks.insert(0, Block(f"{element}: {words}"))
    share = share_text(int(hidden.sum()), int(known.sum()))
    default = Caption(
        f"{element} in {_listed(media)}",
        f"n = {int(known.sum())} results, {share} below detection.",
    )
    return sheet.finish(blocks, default, info=info, caption=caption)


def _ring(level: int, size: float) -> dict[str, Any]:
    dense = size < 6.0  # rings of neighbours would run into one another
    return {
        "marker": "o", "ms": graded_style(level, size)["ms"] + (1.5 if dense else 2.6),
        "mfc": "none", "mec": ACCENT, "mew": 0.65 if dense else 0.9,
    }  # fmt: skip


def _class_text(low: float, high: float, shown: npt.NDArray[np.float64], unit: str) -> str:
    """Name a class by its limits; the outer ones by the smallest and largest value in them."""
    if not np.isfinite(low) and not np.isfinite(high):
        return f"{_range(shown, unit)}" if len(shown) else "no value"
    if not np.isfinite(low):
        start = f"{figure(shown.min())} to " if len(shown) else ""
        return f"{start}< {figure(high)} {unit}"
    if not np.isfinite(high):
        return (
            f"{figure(low)} to {figure(shown.max())} {unit}"
            if len(shown)
            else f">= {figure(low)} {unit}"
        )
    return f"{figure(low)} to < {figure(high)} {unit}"


def _range(shown: npt.NDArray[np.float64], unit: str) -> str:
    low, high = figure(shown.min()), figure(shown.max())
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def _listed(names: list[str]) -> str:
    return (
        names[0]
        if len(names) == 1
        else f"{', '.join(names[:-1])} and {names[-1]}"
        if names
        else "-"
    )
