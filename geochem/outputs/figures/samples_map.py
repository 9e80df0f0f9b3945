"""Map of where samples were taken, by medium."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.outputs.figures.layout import Caption
from geochem.outputs.figures.map_sheet import start_map
from geochem.outputs.figures.panel import Block, Entry
from geochem.outputs.figures.style import MUTED, styled
from geochem.outputs.figures.symbols import media_of, medium_style, positions, put, symbol_size

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd
    from matplotlib.axes import Axes

    from geochem.model.bundle import CampaignInfo
    from geochem.model.layers import Layers, Spacing


@styled
def draw_samples(
    samples: gpd.GeoDataFrame,
    *,
    layers: Layers | None = None,
    spacings: Sequence[Spacing] = (),
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Show every located sample with the shape of its medium.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        ``sample_id, medium`` and perhaps ``use``; points. [m]
    layers : Layers, optional
        Drawn beneath.
    spacings : sequence of Spacing
        As measured; said in the legend.
    info : CampaignInfo, optional
        CRS, date.
    caption : Caption, optional
        Title and footer, when the page is made here.
    ax : Axes, optional
        Where to draw; a new page when None.

    Returns
    -------
    Axes
        The map.
    """
    x, y = positions(samples)
    sheet = start_map(ax, layers, (x, y))
    ax, window = sheet.ax, sheet.window
    medium, media = media_of(samples)
    context = np.zeros(len(samples), dtype=bool)
    if "use" in samples.columns:
        context = (samples["use"] == "context").to_numpy()
    size = symbol_size(ax, x, y, window, least=2.2, most=4.6)
    entries = []
    for k, name in enumerate(media):
        here = (medium == name) & ~context
        style = medium_style(name, size)
        n = put(ax, x[here], y[here], style, zorder=3 + 0.1 * k, label=name)
        if n:
            entries.append(Entry(name, f"{n}", marker={**style, "ms": max(style["ms"], 4.5)}))
    if context.any():
        style = {"marker": "o", "ms": size, "mfc": "none", "mec": MUTED, "mew": 0.6}
        n = put(ax, x[context], y[context], style, zorder=2.9, label="context")
        entries.append(Entry("historical, shown only", f"{n}", marker=style))
    lines = [
        f"{s.medium}{f' {s.grid}' if s.grid else ''}: "
        + (
            f"{s.line_spacing:.0f} m x {s.station_spacing:.0f} m, lines {s.azimuth:.0f}\u00b0"
            if s.regular
            else f"irregular, nearest {s.nearest:.0f} m"
        )
        for s in spacings
    ]
    blocks = [
        Block("Samples, number of each medium", tuple(entries)),
        *([Block("Spacing as measured", note="; ".join(lines) + ".")] if lines else []),
    ]
    default = Caption("Where samples were taken", f"n = {len(samples)} located samples.")
    return sheet.finish(blocks, default, info=info, caption=caption)
