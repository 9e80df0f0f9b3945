"""Map of a grid of estimates with its samples and a colour bar in real units."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.figures.layout import Caption
from geochem.outputs.figures.map_sheet import MapSheet, start_map
from geochem.outputs.figures.panel import Block, Entry
from geochem.outputs.figures.style import INK, MUTED, colour_map, styled
from geochem.outputs.figures.symbols import positions, put
from geochem.outputs.figures.text_fit import log_steps, round_steps, tick_text
from geochem.outputs.wording import figure
from geochem.units import shown_unit

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    from matplotlib.axes import Axes

    from geochem.model.bundle import CampaignInfo
    from geochem.model.layers import Layers
    from geochem.model.surface import Surface


@styled
def draw_surface(
    surface: Surface,
    *,
    samples: gpd.GeoDataFrame | None = None,
    layers: Layers | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Show a surface; concentrations on a log scale, scores on a plain one.

    Parameters
    ----------
    surface : Surface
        Estimates.
    samples : geopandas.GeoDataFrame, optional
        Drawn faintly: between them the surface is a guess.
    layers, info, caption, ax
        As in `draw_samples`.

    Returns
    -------
    Axes
        The map.
    """
    from matplotlib.colors import LogNorm, Normalize

    sheet = surface_sheet(ax, surface, layers)
    ax = sheet.ax
    values, unit, words = _shown(surface)
    log = unit in ("ppm", "ppb", "%", "g/t")
    known = values[np.isfinite(values) & ((values > 0) | (not log))]
    blocks = []
    if len(known):
        low, high = (float(v) for v in np.quantile(known, [0.005, 0.995]))
        if not high > low:
            low, high = (low * 0.9, low * 1.1) if log and low > 0 else (low - 0.5, low + 0.5)
        norm: Any = LogNorm(low, high) if log else Normalize(low, high)
        ticks = log_steps(low, high) if log else round_steps(low, high, 6)
        colours = colour_map()
        show_grid(ax, surface, values, norm, "surface")
        blocks.append(
            Block(
                f"{words} [{unit}]" if unit else words,
                bar=(colours, norm, ticks, [tick_text(t) for t in ticks]),
                note="Colours end at the lowest and highest 0.5 % of the cells.",
            )
        )
    else:
        blocks.append(Block(f"{words}: no cell could be estimated."))
    blocks += sample_dots(ax, samples, 0.45)
    covered = hatch_cover(ax, surface)
    if covered is not None:
        blocks.append(covered)
    blocks.append(Block("How it was made", note=_how(surface)))
    default = Caption(f"{surface.title}, surface", f"n = {surface.n_used} samples.")
    return sheet.finish(blocks, default, info=info, caption=caption)


def surface_sheet(ax: Axes | None, surface: Surface, layers: Layers | None) -> MapSheet:
    """Begin a map whose window is a grid.

    Parameters
    ----------
    ax : Axes or None
        Where to draw; a new page when None.
    surface : Surface
        The grid.
    layers : Layers, optional
        Drawn beneath, without fillings.

    Returns
    -------
    MapSheet
        The map.
    """
    west, east, south, north = _extent(surface)
    return start_map(ax, layers, also=[(west, south, east, north)], fill=False)


def _extent(surface: Surface) -> tuple[float, float, float, float]:
    rows, columns = surface.values.shape
    east = surface.west + columns * surface.cell
    return surface.west, east, surface.north - rows * surface.cell, surface.north


def show_grid(
    ax: Axes, surface: Surface, values: npt.NDArray[np.float64], norm: Any, name: str
) -> None:
    """Colour the cells of a grid.

    Parameters
    ----------
    ax : Axes
        The map.
    surface : Surface
        Where the cells lie.
    values : ndarray, shape as the grid
        What is shown.
    norm : matplotlib.colors.Normalize
        Scale.
    name : str
        What the picture is called inside the figure.
    """
    ax.imshow(
        values, extent=_extent(surface), origin="upper", cmap=colour_map(), norm=norm,
        interpolation="nearest", aspect="auto", zorder=1.2, gid=name,
    )  # fmt: skip


def sample_dots(ax: Axes, samples: gpd.GeoDataFrame | None, alpha: float) -> list[Block]:
    """Draw samples faintly over a grid; give what the legend says.

    Parameters
    ----------
    ax : Axes
        The map.
    samples : geopandas.GeoDataFrame, optional
        Located samples.
    alpha : float
        How faintly.

    Returns
    -------
    list of Block
        One, or none.
    """
    if samples is None or not len(samples):
        return []
    x, y = positions(samples)
    style: dict[str, Any] = {
        "marker": "o", "ms": 1.5 if len(x) < 2000 else 0.8, "mfc": INK, "mec": "none",
    }  # fmt: skip
    put(ax, x, y, {**style, "alpha": alpha}, zorder=3, label="samples")
    return [Block("", (Entry("samples", f"{len(x)}", marker=style),))]


def hatch_cover(ax: Axes, surface: Surface) -> Block | None:
    """Hatch transported cover: low values there do not mean barren ground.

    Parameters
    ----------
    ax : Axes
        The map.
    surface : Surface
        With cells marked as covered.

    Returns
    -------
    Block or None
        What the legend says; None when nothing is covered.
    """
    if surface.covered is None or not surface.covered.any():
        return None
    from matplotlib.collections import PolyCollection

    rows, columns = np.nonzero(surface.covered & np.isfinite(surface.values))
    if not len(rows):
        return None
    # runs of cells along a row as one box each: few boxes, one hatch
    starts = np.flatnonzero(np.r_[True, (np.diff(rows) != 0) | (np.diff(columns) != 1)])
    ends = np.r_[starts[1:] - 1, len(rows) - 1]
    west = surface.west + columns[starts] * surface.cell
    east = surface.west + (columns[ends] + 1) * surface.cell
    north = surface.north - rows[starts] * surface.cell
    south = north - surface.cell
    boxes = np.stack(
        [np.column_stack(c) for c in ((west, south), (east, south), (east, north), (west, north))],
        axis=1,
    )
    ax.add_collection(
        PolyCollection(
            list(boxes), facecolor="none", edgecolor=MUTED, linewidth=0, hatch="////", zorder=1.6,
            gid="transported cover",
        ),
        autolim=False,
    )  # fmt: skip
    patch = {"fc": "none", "ec": MUTED, "hatch": "////", "lw": 0.4}
    return Block(
        "", (Entry("transported cover", patch=patch),), note="Low values there do not mean barren."
    )


def _shown(surface: Surface) -> tuple[npt.NDArray[np.float64], str, str]:
    """Give values in the unit that is shown, that unit, and what they are."""
    element = surface.name.split("_ppm")[0] if "_ppm" in surface.name else ""
    if element and surface.unit in ("mg/kg", "ppm", ""):
        known = surface.values[np.isfinite(surface.values)]
        unit, divisor = shown_unit(element, float(np.median(known)) if len(known) else 1.0)
        return surface.values / divisor, unit, element
    unit = "" if surface.unit == "standard deviations" else surface.unit
    words = surface.title + (", standard deviations of background" if not unit else "")
    return surface.values, unit, words


def _how(surface: Surface) -> str:
    method = surface.method.replace("_", " ")
    words = [f"{method[:1].upper()}{method[1:]} from {surface.n_used} {surface.medium} samples"]
    words.append(f"cells of {surface.cell:g} m")
    model = surface.details.get("variogram")
    if model is not None and model.sill > 0:
        words.append(f"{model.model} variogram, range {figure(model.practical_range)} m")
    rmse = surface.cross_validation.get("rmse", np.nan)
    plain = surface.cross_validation.get("rmse_of_median", np.nan)
    end = ""
    if rmse == rmse and plain == plain:
        scale = "log10" if "_ppm" in surface.name else "score"
        end = (
            f" Left-out samples are missed by {figure(rmse, 2)} ({scale} units); the plain median "
            f"misses them by {figure(plain, 2)}."
        )
    return ", ".join(words) + "." + end
