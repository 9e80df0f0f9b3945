"""Map of the probability, place by place, that an association exceeds its local background."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.figures.layout import Caption
from geochem.outputs.figures.map_sheet import start_map
from geochem.outputs.figures.panel import Block, Entry
from geochem.outputs.figures.style import ACCENT, NO_DATA, shape_of, styled
from geochem.outputs.figures.symbols import graded_style, positions, put, symbol_size
from geochem.outputs.figures.targets_map import LEAD_STYLE, OUTLINE_STYLE, draw_outlines

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.axes import Axes

    from geochem.model.bundle import CampaignInfo
    from geochem.model.layers import Layers
    from geochem.model.targets import TargetReport

#: limits between classes of probability [-]
LIMITS = (0.02, 0.1, 0.3, 0.5, 0.8)
_RING: dict[str, Any] = {"marker": "o", "mfc": "none", "mec": ACCENT, "mew": 0.9}
_NONE: dict[str, Any] = {"marker": "o", "ms": 2.4, "mfc": "none", "mec": NO_DATA, "mew": 0.6}


@styled
def draw_places(
    report: TargetReport,
    samples: gpd.GeoDataFrame,
    *,
    layers: Layers | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Show how probable it is that an association exceeds its local background.

    Parameters
    ----------
    report : TargetReport
        With `places`; targets are drawn as lines.
    samples : geopandas.GeoDataFrame
        All located samples.
    layers, info, caption, ax
        As in `draw_samples`.

    Returns
    -------
    Axes
        The map.
    """
    import pandas as pd

    places = report.places
    assert places is not None
    ids = pd.Index(samples["sample_id"].astype(str))
    at = pd.Index(places["sample_id"].astype(str)).get_indexer(ids)
    p = np.where(at >= 0, places["probability"].to_numpy(dtype=float)[at], np.nan)
    ringed = (at >= 0) & places["stands_out"].to_numpy(dtype=bool)[at]
    x, y = positions(samples)
    sheet = start_map(ax, layers, (x, y))
    ax, window = sheet.ax, sheet.window
    size = symbol_size(ax, x, y, window)
    medium = samples["medium"].astype(str).to_numpy(dtype=object)
    known = np.isfinite(p)
    put(ax, x[~known], y[~known], _NONE, zorder=2.8, label="not judged")
    level = np.searchsorted(LIMITS, p, side="right")
    entries = []
    for k in range(len(LIMITS), -1, -1):
        own = known & (level == k)
        for name in sorted(set(medium[own])):
            put(ax, x[own & (medium == name)], y[own & (medium == name)],
                graded_style(k, size, shape_of(name)), zorder=3 + 0.1 * k,
                label=f"probability class {k + 1}")  # fmt: skip
        low = LIMITS[k - 1] if k else 0.0
        text = f"{low:g} and more" if k == len(LIMITS) else f"{low:g} to < {LIMITS[k]:g}"
        entries.append(Entry(text, f"{int(own.sum())}", marker=graded_style(k, size)))
    if (~known).any():
        entries.append(Entry("not judged", f"{int((~known).sum())}", marker=_NONE))
    # as wide as the symbol: rings of close samples would hide them
    put(ax, x[ringed], y[ringed], {**_RING, "ms": size}, zorder=3.9, label="stands out")
    blocks = [
        Block("Probability, number of samples", tuple(entries)),
        Block(
            "Stands out",
            (Entry("of these a tenth may be background", f"{int(ringed.sum())}",
                   marker={**_RING, "ms": 7.0}),),
        ),
    ]  # fmt: skip
    draw_outlines(ax, report, x, y, window)
    outlines = [
        Entry(word, f"{len(frame)}", patch=style)
        for word, frame, style in (
            ("target", report.targets, OUTLINE_STYLE), ("lead", report.leads, LEAD_STYLE),
        )
        if len(frame)
    ]  # fmt: skip
    if outlines:
        blocks.append(Block("Outlines", tuple(outlines)))
    default = Caption(
        "Where an association exceeds its local background",
        f"n = {int(known.sum())} judged samples. The probability counts measurement, limits, "
        "weights, batches, chance and other explanations.",
    )
    return sheet.finish(blocks, default, info=info, caption=caption)
