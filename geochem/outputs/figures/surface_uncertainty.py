"""Maps of how sure a surface is: the interval around the estimate, the chance of exceeding."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from geochem.outputs.figures.layout import Caption
from geochem.outputs.figures.panel import Block
from geochem.outputs.figures.style import colour_map, styled
from geochem.outputs.figures.surface_map import hatch_cover, sample_dots, show_grid, surface_sheet
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

Aspect = Literal["interval", "chance"]


@styled
def draw_uncertainty(
    surface: Surface,
    what: Aspect = "interval",
    *,
    samples: gpd.GeoDataFrame | None = None,
    layers: Layers | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Show how far off a surface may be, or how likely it exceeds its threshold.

    Parameters
    ----------
    surface : Surface
        With a deviation, or with a chance.
    what : {"interval", "chance"}, default "interval"
        Half width of the interval that holds the true value in four cases of five (of
        concentrations a factor), or chance of exceeding the threshold.
    samples : geopandas.GeoDataFrame, optional
        Drawn as points: near them the surface is surest.
    layers, info, caption, ax
        As in `draw_samples`.

    Returns
    -------
    Axes
        The map.

    Raises
    ------
    WrongCall
        If the surface has no such numbers.
    """
    from geochem.errors import WrongCall

    values, norm, ticks, labels, title, note = _scale(surface, what)
    if values is None:
        raise WrongCall(f"the surface of {surface.title} has no {what}.")
    sheet = surface_sheet(ax, surface, layers)
    ax = sheet.ax
    show_grid(ax, surface, values, norm, what)
    blocks = [Block(title, bar=(colour_map(), norm, ticks, labels), note=note)]
    covered = hatch_cover(ax, surface)
    if covered is not None:
        blocks.append(covered)
    blocks += sample_dots(ax, samples, 0.6)
    blocks.append(Block("How honest it is", note=_honest(surface)))
    default = Caption(f"{surface.title}: {title}", f"n = {surface.n_used} samples.")
    return sheet.finish(blocks, default, info=info, caption=caption)


def is_log(surface: Surface) -> bool:
    """Say whether the deviation of a surface is one of log10 values."""
    scale = str(surface.details.get("scale", ""))
    return "log10" in scale or "log-ratio" in scale


def _scale(
    surface: Surface, what: str
) -> tuple[npt.NDArray[np.float64] | None, Any, Any, Any, str, str]:
    from matplotlib.colors import LogNorm, Normalize

    if what == "chance":
        if surface.chance is None:
            return None, None, None, None, "", ""
        element = surface.name.split("_ppm")[0]
        unit, divisor = shown_unit(element, surface.threshold)
        ticks = [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]
        words = f"Chance of more than {figure(surface.threshold / divisor)} {unit} {element} [%]"
        note = "Of the local value at a cell, as far as the variogram holds; not of a deposit."
        return (
            surface.chance,
            Normalize(0, 1),
            ticks,
            [f"{100 * t:.0f}" for t in ticks],
            words,
            note,
        )
    if surface.deviation is None:
        return None, None, None, None, "", ""
    reach = 1.2815515655446004 * surface.deviation  # four cases of five of a normal distribution
    known = reach[np.isfinite(reach)]
    if is_log(surface):
        values = np.power(10.0, reach)
        top = float(np.power(10.0, np.quantile(known, 0.995))) if len(known) else 2.0
        bottom = float(np.power(10.0, np.quantile(known, 0.005))) if len(known) else 1.0
        bottom, top = min(bottom, 0.95 * top), max(top, 1.05)
        steps = (1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.7, 2.0, 2.5, 3.0, 4.0, 5.0, 7.0, 10.0, 20.0, 50.0)
        ticks = [t for t in steps if bottom <= t <= top]
        if not ticks:
            ticks = log_steps(bottom, top)
        note = "Four true values in five lie between the estimate divided and multiplied by this."
        return (
            values, LogNorm(bottom, top), ticks, [f"\u00d7{t:g}" for t in ticks],
            "Factor of the 80 % interval", note,
        )  # fmt: skip
    low, high = (float(known.min()), float(known.max())) if len(known) else (0.0, 1.0)
    high = high if high > low else low + 1.0
    ticks = round_steps(low, high, 5)
    unit = (
        "" if surface.unit == "standard deviations" else f" [{surface.details.get('scale', '')}]"
    )
    return (
        reach, Normalize(low, high), ticks, [tick_text(t) for t in ticks],
        f"Half width of the 80 % interval{unit}", "Four true values in five lie within this.",
    )  # fmt: skip


def _honest(surface: Surface) -> str:
    checks = surface.cross_validation
    share, ratio = checks.get("coverage_80", np.nan), checks.get("standardised_variance", np.nan)
    if share != share:
        return "Not checked: no left-out sample had an interval."
    words = f"Of left-out samples {100 * share:.0f} % fell inside their 80 % interval"
    if ratio == ratio:
        words += f"; mean squared error over predicted variance {figure(ratio, 2)} (honest: 1)"
    return words + "."
