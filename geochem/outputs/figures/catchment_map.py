"""Map of catchments: how many times each sediment exceeds what its rocks let expect."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.figures.base_map import area_path
from geochem.outputs.figures.layout import Caption
from geochem.outputs.figures.map_sheet import start_map
from geochem.outputs.figures.panel import Block, Entry
from geochem.outputs.figures.style import FAINT, MUTED, PAPER, RAMP, literal, styled
from geochem.outputs.figures.symbols import medium_style, positions, put
from geochem.outputs.wording import figure
from geochem.outputs.yield_classes import LIMITS, times_expected
from geochem.units import shown_unit

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.axes import Axes

    from geochem.model.bundle import CampaignInfo
    from geochem.model.catchments import SedimentCatchments
    from geochem.model.layers import Layers

_LISTED = 6


@styled
def draw_catchments(
    found: SedimentCatchments,
    element: str,
    *,
    samples: gpd.GeoDataFrame | None = None,
    layers: Layers | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Shade catchments by measured over expected; the smaller lie on the larger ones.

    Parameters
    ----------
    found : SedimentCatchments
        Worked-out catchments.
    element : str
        One of its elements.
    samples : geopandas.GeoDataFrame, optional
        Stream sediments, drawn as points.
    layers, info, caption, ax
        As in `draw_samples`.

    Returns
    -------
    Axes
        The map.
    """
    from matplotlib.patches import PathPatch

    frame, times = found.frame, times_expected(found, element)
    west, south, east, north = (float(v) for v in frame.total_bounds)
    sheet = start_map(ax, layers, also=[(west, south, east, north)], fill=False)
    ax = sheet.ax
    level = np.searchsorted(LIMITS, times, side="left")
    shapes = frame.geometry.to_numpy()
    for i in np.argsort(-frame["area_km2"].to_numpy(), kind="stable"):
        known = np.isfinite(times[i])
        ax.add_patch(
            PathPatch(
                area_path(shapes[i]), fc=RAMP[int(level[i])] if known else PAPER, ec=MUTED, lw=0.6,
                hatch=None if known else "....", zorder=1.1, gid="catchment",
            )
        )  # fmt: skip
    names = ["up to 1", *(f"{a:g} to {b:g}" for a, b in pairwise(LIMITS)),
             f"over {LIMITS[-1]:g}"]  # fmt: skip
    count = np.bincount(level[np.isfinite(times)], minlength=len(names))
    entries = [
        Entry(name, f"{n}", patch={"fc": RAMP[k], "ec": MUTED, "lw": 0.5})
        for k, (name, n) in enumerate(zip(names, count.tolist(), strict=True))
        if n
    ]
    if not np.isfinite(times).all():
        lost = int((~np.isfinite(times)).sum())
        entries.append(Entry("not known", f"{lost}", patch={"fc": PAPER, "ec": FAINT, "lw": 0.5}))
    blocks = [Block(f"{element}: times what the rocks let expect", tuple(entries))]
    if samples is not None and len(samples):
        x, y = positions(samples)
        style = medium_style("stream sediment", 3.5)
        put(ax, x, y, style, zorder=3, label="stream sediments")
        blocks.append(Block("", (Entry("stream sediments", f"{len(x)}", marker=style),)))
    blocks.append(Block("Most productive", note=_best(found, element)))
    blocks.append(Block("Rocks upstream", note=_rocks(found, element)))
    default = Caption(
        f"{element} in stream sediments: catchments",
        "A sediment speaks for the ground upstream of it; the points are not interpolated.",
    )
    return sheet.finish(blocks, default, info=info, caption=caption)


def _best(found: SedimentCatchments, element: str) -> str:
    """Name the catchments that yield most beyond their rocks."""
    frame = found.frame
    yielded = frame[f"{element}_productivity"].to_numpy(dtype=float)
    order = [int(i) for i in np.argsort(-np.nan_to_num(yielded, nan=-np.inf), kind="stable")]
    words = [
        f"{literal(frame['catchment'].iloc[i], 24)} {figure(yielded[i], 2)}"
        for i in order[:_LISTED]
        if yielded[i] > 0
    ]
    if not words:
        return "No catchment exceeds what its rocks let expect."
    return f"{'; '.join(words)} ppm km\u00b2 (excess times area)."


def _rocks(found: SedimentCatchments, element: str) -> str:
    rocks = found.rocks.loc[found.rocks["element"] == element]
    if not len(rocks):
        return "Not known."
    typical = float(np.nanmedian(rocks["background"].to_numpy(dtype=float)))
    unit, divisor = shown_unit(element, typical)
    ordered: Any = rocks.dropna(subset=["background"]).sort_values(
        "background", ascending=False, kind="stable"
    )
    words = [
        f"{literal(row.unit, 22)} {figure(row.background / divisor, 2)}"
        for row in ordered.head(5).itertuples()
    ]
    method, share = rocks["method"].iloc[0], float(rocks["explained"].iloc[0])
    return f"{'; '.join(words)} {unit} ({method}; {100 * share:.0f} % of the variance explained)."
