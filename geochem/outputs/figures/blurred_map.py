"""Map for people who may not know the positions: cells instead of places, no coordinates."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall
from geochem.model.tables import values_of
from geochem.outputs.classes import class_levels, class_limits
from geochem.outputs.figures.layout import (
    MAP_BOX,
    Caption,
    furnish,
    head_and_foot,
    map_window,
    new_page,
    page_of,
    place,
)  # fmt: skip
from geochem.outputs.figures.panel import Block, Entry, draw_panel
from geochem.outputs.figures.style import INK, MUTED, PAPER, RAMP, styled
from geochem.outputs.figures.symbols import positions
from geochem.outputs.wording import distance, figure
from geochem.units import shown_unit

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    from matplotlib.axes import Axes

    from geochem.model.bundle import CampaignInfo


@styled
def draw_blurred(
    samples: gpd.GeoDataFrame,
    cell_m: float,
    *,
    element: str | None = None,
    thresholds: npt.NDArray[np.float64] | None = None,
    targets: gpd.GeoDataFrame | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
    seed: int = 1,
) -> Axes:
    """Show cells of a coarse grid instead of places.

    The cells start at a place drawn at random, so that their edges tell nothing; what lies around
    the samples (geology, boundary, streams) is left out, since its shape would give the place away.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        Samples of one medium.
    cell_m : float
        Side of a cell. [m]
    element : str, optional
        Cells show the median of its accepted values (a limit counts as its limit); without it they
        show the number of samples.
    thresholds : ndarray, shape (n_samples,), optional
        A cell that holds a sample beyond its threshold has a dark frame. [mg/kg]
    targets : geopandas.GeoDataFrame, optional
        Their ranks are written into the cell that holds their middle.
    info, caption
        As in `draw_samples`; no coordinates are taken from `info`.
    seed : int
        Of the random start.

    Returns
    -------
    Axes
        The map.

    Raises
    ------
    WrongCall
        If the cell is not a positive length.
    """
    if not cell_m > 0:
        raise WrongCall(f"positions are blurred to a positive length in metres, got {cell_m!r}.")
    ax = place(new_page(), MAP_BOX)
    x, y = positions(samples)
    start = np.random.default_rng(seed).uniform(0, cell_m, 2)
    column = np.floor((x - start[0]) / cell_m).astype(np.int64)
    row = np.floor((y - start[1]) / cell_m).astype(np.int64)
    cells, of = np.unique(np.column_stack([column, row]), axis=0, return_inverse=True)
    of = of.ravel()
    corners = cells * cell_m + start
    window = map_window(
        np.r_[corners[:, 0], corners[:, 0] + cell_m], np.r_[corners[:, 1], corners[:, 1] + cell_m]
    )
    beyond = np.zeros(len(cells), dtype=bool)
    if element is None:
        amount, title = np.bincount(of, minlength=len(cells)).astype(float), "Samples in a cell"
    else:
        values = values_of(samples, element)
        known = np.isfinite(values.value)
        middle = [values.value[(of == k) & known] for k in range(len(cells))]
        amount = np.array([np.median(v) if len(v) else np.nan for v in middle])
        if thresholds is not None:
            over = known & ~values.below & (values.value > thresholds)
            beyond = np.bincount(of[over], minlength=len(cells)) > 0
        found = amount[np.isfinite(amount)]
        unit, divisor = shown_unit(element, float(np.median(found)) if len(found) else 1.0)
        amount, title = (
            amount / divisor,
            f"Median of {element} in a cell [{unit}], number of cells",
        )
    entries = _draw_cells(ax, corners, cell_m, amount, beyond)
    if targets is not None and len(targets):
        entries.append(_write_ranks(ax, targets, start, cell_m))
    furnish(ax, window, None, located=False)
    draw_panel(ax, [
        Block(title, tuple(entries)),
        Block("", note=f"Positions are blurred to cells of {distance(cell_m)}; coordinates and "
              "surroundings are left out on purpose."),
    ])  # fmt: skip
    default = Caption(f"{element} in cells" if element else "Samples in cells", f"n = {len(x)}.")
    head_and_foot(page_of(ax), caption or default, info)
    return ax


def _draw_cells(
    ax: Axes,
    corners: npt.NDArray[np.float64],
    side: float,
    amount: npt.NDArray[np.float64],
    beyond: npt.NDArray[np.bool_],
) -> list[Entry]:
    """Fill the cells by class; give the legend, highest class first."""
    from matplotlib.patches import Rectangle

    limits, _ = class_limits(amount)
    levels = class_levels(amount[np.isfinite(amount)], limits)
    inside = np.searchsorted(limits, amount, side="right")
    edge: dict[str, Any] = {"ec": PAPER, "lw": 0.8}
    frame: dict[str, Any] = {"fc": "none", "ec": INK, "lw": 1.4}
    empty: dict[str, Any] = {"fc": "none", "ec": MUTED, "lw": 0.5}
    for k, (west, south) in enumerate(corners):
        style = {"fc": RAMP[levels[inside[k]]], **edge} if np.isfinite(amount[k]) else empty
        ax.add_patch(Rectangle((west, south), side, side, zorder=2, **style))
        if beyond[k]:
            inset = 0.06 * side
            ax.add_patch(
                Rectangle((west + inset, south + inset), side - 2 * inset, side - 2 * inset,
                          zorder=2.2, **frame)
            )  # fmt: skip
    entries = []
    for k in range(len(limits), -1, -1):
        mine = amount[np.isfinite(amount) & (inside == k)]
        if k == len(limits):
            text = f"{figure(limits[-1])} and more" if limits else "all cells"
        else:
            low = f"{figure(limits[k - 1])} to " if k else ""
            text = f"{low}< {figure(limits[k])}"
        entries.append(
            Entry(text, f"{len(mine)}", patch={"facecolor": RAMP[levels[k]], "edgecolor": PAPER})
        )
    if beyond.any():
        entries.append(
            Entry("holds a sample beyond threshold", f"{int(beyond.sum())}",
                  patch={"facecolor": "none", "edgecolor": INK, "lw": 1.4})
        )  # fmt: skip
    return entries


def _write_ranks(
    ax: Axes, targets: gpd.GeoDataFrame, start: npt.NDArray[np.float64], side: float
) -> Entry:
    """Write the ranks of targets into their cells."""
    from matplotlib.patheffects import withStroke

    ranks: dict[tuple[float, float], list[int]] = {}
    for target in targets.sort_values("rank").itertuples():
        west = np.floor((target.easting - start[0]) / side) * side + start[0]
        south = np.floor((target.northing - start[1]) / side) * side + start[1]
        ranks.setdefault((float(west), float(south)), []).append(int(target.rank))
    for (west, south), here in ranks.items():
        ax.text(west + side / 2, south + side / 2, ", ".join(map(str, here)), size=9, weight="bold",
                color=INK, ha="center", va="center", zorder=4,
                path_effects=[withStroke(linewidth=2.5, foreground=PAPER)])  # fmt: skip
    return Entry("rank of a target in its cell", f"{len(targets)}", badge="1")
