"""Chance against cost: what a wider or narrower grid would give."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd


def draw_trade_off(table: pd.DataFrame, *, ax: Any, words: str = "") -> Any:
    """Draw chance of a hit, and of being seen, against cost (or points where nothing costs).

    Parameters
    ----------
    table : pandas.DataFrame
        ``line_spacing, station_spacing, points, cost, hit, seen, chosen``.
    ax : matplotlib.axes.Axes
        To draw on.
    words : str
        The body in words, for the title.

    Returns
    -------
    matplotlib.axes.Axes
        The same.
    """
    costs = bool((table["cost"] > 0).any())
    x = table["cost"] if costs else table["points"]
    ax.plot(x, 100 * table["hit"], "-o", color="black", markersize=4, label="a point lies inside")
    if table["seen"].notna().any():
        ax.plot(
            x, 100 * table["seen"], "--s", color="black", markersize=4, markerfacecolor="white",
            label="and it stands out",
        )  # fmt: skip
    chosen = table.loc[table["chosen"]]
    ax.plot(
        chosen["cost"] if costs else chosen["points"], 100 * chosen["hit"], "D", color="black",
        markersize=9, markerfacecolor="none", label="this plan",
    )  # fmt: skip
    for place, hit, line, station in zip(
        x, table["hit"], table["line_spacing"], table["station_spacing"], strict=True
    ):
        ax.annotate(
            f"{line:.0f} x {station:.0f} m", (place, 100 * hit), textcoords="offset points",
            xytext=(3, -10), fontsize=6,
        )  # fmt: skip
    ax.set_xscale("log")
    ax.margins(x=0.09)
    ax.set_ylim(-7, 106)
    ax.set_xlabel(
        "Cost, in the campaign's currency (log scale)" if costs else "Points (log scale)"
    )
    ax.set_ylabel("Chance [%]")
    ax.xaxis.set_major_formatter(lambda value, _: f"{value:,.0f}".replace(",", " "))
    ax.xaxis.set_minor_formatter(lambda value, _: _some(value))
    ax.tick_params(labelsize=7.5, which="both")
    ax.grid(visible=True, which="both", linewidth=0.4, color="#cccccc")
    ax.legend(
        loc="upper left", bbox_to_anchor=(0, -0.16), fontsize=7, frameon=False, ncols=3,
        borderaxespad=0,
    )  # fmt: skip
    ax.set_title(words.replace("; ", "\n", 1), fontsize=8, loc="left")
    return ax


def _some(value: float) -> str:
    """Label the twos and fives between the powers of ten."""
    first = f"{value:.0e}"[0]
    return f"{value:,.0f}".replace(",", " ") if first in "25" else ""


def write_trade_off(table: pd.DataFrame, path: Path, words: str = "") -> Path:
    """Write the figure as PNG.

    Parameters
    ----------
    table : pandas.DataFrame
        As in `draw_trade_off`.
    path : Path
        File.
    words : str
        The body in words.

    Returns
    -------
    Path
        The file.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6.6, 3.9), dpi=200, layout="constrained")
    FigureCanvasAgg(figure)
    draw_trade_off(table, ax=figure.add_subplot(), words=words)
    figure.savefig(path, metadata={"Software": None})
    return path
