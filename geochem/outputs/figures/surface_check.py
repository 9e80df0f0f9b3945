"""The page behind a surface: variogram, left-out samples, intervals that should hold."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.figures.layout import Caption, finished, new_page, place
from geochem.outputs.figures.style import ACCENT, INK, MUTED, PAPER, RAMP, styled
from geochem.outputs.figures.text_fit import round_steps, tick_text
from geochem.outputs.wording import figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from geochem.model.bundle import CampaignInfo
    from geochem.model.surface import Surface

#: left, bottom, width, height of the three charts. [inch]
_BOXES = ((0.95, 1.85, 3.3, 3.2), (4.95, 1.85, 2.0, 3.2), (7.55, 1.85, 1.75, 3.2))
_MOST_POINTS = 1000


@styled
def draw_surface_check(
    surface: Surface, *, info: CampaignInfo | None = None, caption: Caption | None = None
) -> Figure:
    """Draw variogram, left-out samples and coverage of one surface.

    Parameters
    ----------
    surface : Surface
        With cross-validation; without a variogram that chart says so.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        A page.
    """
    page = new_page()
    draw_variogram(surface, ax=place(page, _BOXES[0]))
    _left_out(place(page, _BOXES[1]), surface)
    _coverage(place(page, _BOXES[2]), surface)
    sheet_words(page, surface)
    note = f"n = {surface.n_used} samples. Scale: {surface.details.get('scale', 'as measured')}."
    title = f"{surface.title}: how good the surface is"
    return finished(page, title, note, info=info, caption=caption)


@styled
def draw_variogram(surface: Surface, *, ax: Axes | None = None) -> Axes:
    """Draw the experimental variogram and the model of a surface.

    Parameters
    ----------
    surface : Surface
        With a variogram in its details.
    ax : Axes, optional
        Where to draw; a new page when None.

    Returns
    -------
    Axes
        Distance on the horizontal, semivariance on the vertical axis.
    """
    ax = place(new_page(), _BOXES[0]) if ax is None else ax
    ax.set_title("Variogram", pad=4)
    model = surface.details.get("variogram")
    bins = getattr(model, "experimental", None)
    if model is None or bins is None or not len(bins.distance):
        ax.text(0.5, 0.5, "no variogram", transform=ax.transAxes, ha="center", color=MUTED)
        return ax
    far = float(bins.edges[-1])
    metres = far < 3000
    unit, per = ("m", 1.0) if metres else ("km", 1000.0)
    rose = model.details.get("directions", ())
    for k, one in enumerate(rose):
        colour = RAMP[1 + k % 4]
        ax.plot(one.distance / per, one.gamma, color=colour, lw=0.7, zorder=1.5)
        if len(one.distance):
            ax.annotate(
                f"{one.azimuth:.0f}\u00b0", (one.distance[-1] / per, one.gamma[-1]), size=6,
                color=MUTED, xytext=(2, 0), textcoords="offset points", va="center",
                annotation_clip=False,
            )  # fmt: skip
    size = 3.0 + 6.0 * np.sqrt(bins.pairs / bins.pairs.max())
    for x, y, s in zip(bins.distance / per, bins.gamma, size, strict=True):
        ax.plot([x], [y], "o", ms=float(s), mfc=RAMP[3], mec=PAPER, mew=0.4, zorder=3, gid="bin")
    h = np.linspace(far / 400, far, 200)
    if model.sill > 0:
        along: dict[str, Any] = {"color": ACCENT, "lw": 1.5, "zorder": 2.5}
        ax.plot(np.r_[0, h] / per, np.r_[model.nugget, model.gamma(h)], gid="model", **along)
        if not model.isotropic:
            ax.plot(
                np.r_[0, h] / per, np.r_[model.nugget, model.gamma(h / model.ratio)],
                gid="model across", **{**along, "ls": "--", "lw": 1.0},
            )  # fmt: skip
    ax.axhline(bins.variance, color=MUTED, lw=0.7, ls=(0, (1, 1.6)), zorder=1, gid="variance")
    ax.text(
        0.985, 0.03, "dotted: variance of the samples", transform=ax.transAxes,
        ha="right", va="bottom", size=6.5, color=MUTED,
    )  # fmt: skip
    ax.set_xlim(0, far / per)
    ax.set_ylim(0, 1.12 * float(max(bins.gamma.max(), bins.variance, model.sill or 0.0)))
    ax.grid(visible=True)
    ax.set_xlabel(f"Distance [{unit}]")
    ax.set_ylabel("Semivariance")
    return ax


def _left_out(ax: Axes, surface: Surface) -> None:
    ax.set_title("Left-out samples", pad=4)
    found = surface.left_out
    if not len(found.get("true", ())):
        ax.text(0.5, 0.5, "none", transform=ax.transAxes, ha="center", color=MUTED)
        return
    true, predicted = found["true"], found["predicted"]
    ok = np.isfinite(true) & np.isfinite(predicted)
    true, predicted = true[ok][:_MOST_POINTS], predicted[ok][:_MOST_POINTS]
    both = np.concatenate([true, predicted])
    low, high = float(both.min()), float(both.max())
    free = 0.05 * (high - low or 1.0)
    low, high = low - free, high + free
    style: dict[str, Any] = {"mfc": RAMP[3], "mec": "none", "alpha": 0.5, "ls": "none"}
    ax.plot(predicted, true, "o", ms=2.2, zorder=3, gid="left out", rasterized=True, **style)
    ax.plot([low, high], [low, high], color=MUTED, lw=0.8, ls=(0, (4, 2)), gid="1:1")
    for axis in (ax.set_xticks, ax.set_yticks):
        steps = round_steps(low, high, 3)
        axis(steps, [tick_text(v) for v in steps])
    ax.set_xlim(low, high)
    ax.set_ylim(low, high)
    ax.grid(visible=True)
    ax.set_xlabel("Predicted without it")
    ax.set_ylabel("Measured", labelpad=1)


def _coverage(ax: Axes, surface: Surface) -> None:
    """Show which share of true values the intervals of each width held."""
    ax.set_title("Intervals", pad=4)
    shares = np.array([50, 80, 90, 95])
    held = np.array([surface.cross_validation.get(f"coverage_{s}", np.nan) for s in shares])
    if not np.isfinite(held).any():
        ax.text(0.5, 0.5, "no variance", transform=ax.transAxes, ha="center", color=MUTED)
        return
    ax.plot([40, 100], [40, 100], color=MUTED, lw=0.8, ls=(0, (4, 2)), gid="honest")
    ax.plot(shares, 100 * held, "o-", color=INK, ms=4, lw=1.0, mfc=RAMP[3], gid="held", zorder=3)
    ax.set_xticks(shares, ["50", "80", "90", ""])
    ax.set_xlim(42, 100)
    ax.set_ylim(min(42.0, float(100 * np.nanmin(held)) - 4), 101)
    ax.grid(visible=True)
    ax.set_xlabel("Wanted [%]")
    ax.set_ylabel("Held the true value [%]", labelpad=1)


def sheet_words(page: Figure, surface: Surface) -> None:
    """Write the fitted parameters and the comparison of methods under the charts."""
    from geochem.outputs.figures.layout import EDGE, PAGE, sheet_of
    from geochem.outputs.figures.text_fit import wrap

    checks = surface.cross_validation
    sheet = sheet_of(page)
    model = surface.details.get("variogram")
    lines = []
    if model is not None and hasattr(model, "words"):
        bins = model.experimental
        kind = "" if bins is None else f" ({bins.estimator.replace('_', '-')}, {bins.n} samples)"
        lines.append(f"Model{kind}: {model.words()}.")

    def number(name: str) -> str:
        value = checks.get(name, np.nan)
        return figure(value, 3) if value == value else "-"

    lines.append(
        f"Root mean square error of left-out samples: {number('rmse')}; inverse distance "
        f"{number('rmse_inverse_distance')}, nearest sample {number('rmse_nearest')}, median of all "
        f"{number('rmse_of_median')}. Whole squares of {number('block_side_m')} m left out: "
        f"{number('rmse_blocked')}."
    )
    lines.append(
        f"Mean error {number('mean_error')}; squared error over predicted variance "
        f"{number('standardised_variance')} (left-out squares {number('standardised_variance_blocked')}); "
        "1 is honest, more means that the map is too sure."
    )
    y = 1.28
    for line in lines:
        for row in wrap(line, PAGE[0] - 2 * EDGE, 8.0, most=2):
            sheet.text(EDGE, y, row, size=8.0, va="top", color=INK)
            y -= 0.145
