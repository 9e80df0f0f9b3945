"""The legend beside a map or chart: blocks of entries with counts, stacked and made to fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from geochem.outputs.figures.layout import PANEL_BOX, box_of, page_of, place, sheet_of
from geochem.outputs.figures.style import INK, MUTED, OUTLINE, PAPER, literal
from geochem.outputs.figures.text_fit import text_width, wrap

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a legend.

    Parameters
    ----------
    text : str
        What it means, limits and unit included.
    count : str
        Number of samples, set to the right; may be empty.
    badge : str
        A few characters in a dark field instead of a symbol.
    marker, line, patch : mapping, optional
        How it looks: keywords of a line with markers, of a line, of a rectangle.
    """

    text: str
    count: str = ""
    badge: str = ""
    marker: dict[str, Any] | None = None
    line: dict[str, Any] | None = None
    patch: dict[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Block:
    """A titled group of entries.

    Parameters
    ----------
    title : str
        With the unit; may be empty.
    entries : tuple of Entry
        From top to bottom.
    note : str
        A sentence below.
    keep : int
        Entries that must stay when room is short; the rest is counted in words.
    bar : tuple, optional
        ``(colour map, norm, ticks, labels)``: a colour bar instead of symbols.
    """

    title: str
    entries: tuple[Entry, ...] = ()
    note: str = ""
    keep: int = 99
    bar: tuple[Any, Any, Sequence[float], Sequence[str]] | None = field(default=None)


def draw_panel(beside: Axes | Figure, blocks: Sequence[Block]) -> Axes:
    """Write legend blocks to the right of axes.

    Parameters
    ----------
    beside : Axes or Figure
        What the legend belongs to; on a whole page it stands in the usual place.
    blocks : sequence of Block
        From top to bottom; those without content are passed over.

    Returns
    -------
    Axes
        The sheet that the legend is written on; its texts can be read back.
    """
    from matplotlib.figure import Figure

    if isinstance(beside, Figure):
        page, room = beside, PANEL_BOX
    else:
        page = page_of(beside)
        left, bottom, wide, high = box_of(beside)
        x = left + wide + 0.18
        room = PANEL_BOX
        if abs(x - PANEL_BOX[0]) > 0.3:  # not one of our own pages
            end = float(page.get_size_inches()[0]) - 0.05
            room = (x, bottom, max(0.6, min(PANEL_BOX[2], end - x)), high)
    sheet = sheet_of(page)
    shown = [b for b in blocks if b.title or b.entries or b.note or b.bar]
    for size, bar in _SIZES:
        laid = [_lay(b, room[2], size, bar) for b in shown]
        if sum(h for _, h in laid) <= room[3]:
            break
    while sum(h for _, h in laid) > room[3]:
        longest = max(
            range(len(shown)), key=lambda i: len(shown[i].entries) - shown[i].keep, default=-1
        )
        if longest < 0 or len(shown[longest].entries) <= shown[longest].keep:
            break
        shown[longest] = _shorter(shown[longest])
        if not shown[longest].entries and not shown[longest].title:
            del shown[longest]  # "and 1 more" of nothing says nothing
        laid = [_lay(b, room[2], size, bar) for b in shown]
    y = room[1] + room[3]
    for block, (rows, tall) in zip(shown, laid, strict=True):
        _write(sheet, block, rows, y, room, size, bar)
        y -= tall
    return sheet


def _shorter(block: Block) -> Block:
    """Drop the last entry and say so in the note."""
    gone = 1
    words = block.note
    if words.startswith("and ") and words.endswith(" more"):
        gone += int(words.split()[1])
    return replace(block, entries=block.entries[:-1], note=f"and {gone} more")


_SYMBOL = 0.27  # room of a symbol [inch]
#: size of the writing and height of a colour bar with its margins, largest first [pt] and [inch]
_SIZES = ((8.0, 1.9), (7.5, 1.9), (7.0, 1.9), (7.0, 1.4), (6.5, 1.1))


def _lay(
    block: Block, wide: float, size: float, bar: float
) -> tuple[list[tuple[str, list[str]]], float]:
    """Wrap the texts of a block and measure its height."""
    pitch = size * 1.34 / 72
    rows: list[tuple[str, list[str]]] = []
    if block.title:
        rows.append(("title", wrap(literal(block.title, 240), wide, size, "bold", most=3)))
    if block.bar is not None:
        rows.append(("bar", [""]))
    for entry in block.entries:
        room = wide - _SYMBOL - (text_width(entry.count, size) + 0.08 if entry.count else 0)
        rows.append(("entry", wrap(literal(entry.text, 200), room, size, most=3)))
    if block.note:
        rows.append(("note", wrap(literal(block.note, 400), wide, size - 0.5, most=6)))
    height = sum(bar if kind == "bar" else len(lines) * pitch + 0.025 for kind, lines in rows)
    return rows, height + 0.11


def _write(
    sheet: Axes,
    block: Block,
    rows: list[tuple[str, list[str]]],
    top: float,
    room: Sequence[float],
    size: float,
    bar: float,
) -> None:
    pitch = size * 1.34 / 72
    y = top
    entries = iter(block.entries)
    for kind, lines in rows:
        if kind == "bar":
            _colour_bar(sheet, block, (room[0], y - bar), size, bar)
            y -= bar
            continue
        first = y - pitch / 2
        x, colour, weight, height = room[0], INK, "normal", size
        if kind == "title":
            weight = "bold"
        elif kind == "note":
            colour, height = MUTED, size - 0.5
        else:
            entry = next(entries)
            _symbol(sheet, entry, x, first, pitch)
            x += _SYMBOL
            if entry.count:
                sheet.text(
                    room[0] + room[2], first, entry.count, size=size, ha="right", va="center",
                    color=MUTED,
                )  # fmt: skip
        for k, line in enumerate(lines):
            sheet.text(
                x, first - k * pitch, line, size=height, weight=weight, color=colour, va="center"
            )
        y -= len(lines) * pitch + 0.025


def _symbol(sheet: Axes, entry: Entry, x: float, y: float, pitch: float) -> None:
    from matplotlib.patches import Rectangle

    if entry.patch is not None:
        style = {"facecolor": "none", "edgecolor": INK, "lw": 0.6, **entry.patch}
        sheet.add_patch(Rectangle((x + 0.01, y - pitch * 0.33), 0.19, pitch * 0.66, **style))
    if entry.line is not None:
        sheet.plot([x + 0.01, x + 0.20], [y, y], **entry.line)
    if entry.badge:
        sheet.text(
            x + 0.105, y, entry.badge, size=7, weight="bold", color=PAPER, ha="center", va="center",
            bbox={"boxstyle": "round,pad=0.12", "fc": OUTLINE, "ec": "none"},
        )  # fmt: skip
    if entry.marker is not None:
        sheet.plot([x + 0.105], [y], ls="none", **entry.marker)


def _colour_bar(
    sheet: Axes, block: Block, corner: tuple[float, float], size: float, tall: float
) -> None:
    import numpy as np

    assert block.bar is not None
    colours, norm, ticks, labels = block.bar
    bar = place(page_of(sheet), (corner[0] + 0.02, corner[1] + 0.08, 0.2, tall - 0.16))
    bar.set_gid("colour bar")
    low, high = float(norm.vmin), float(norm.vmax)
    edges = norm.inverse(np.linspace(0, 1, 129))
    middle = norm.inverse((np.arange(128) + 0.5) / 128)
    bar.pcolormesh(
        [0, 1], np.asarray(edges), np.asarray(middle)[:, None], cmap=colours, norm=norm,
        rasterized=True,
    )  # fmt: skip
    from matplotlib.colors import LogNorm

    if isinstance(norm, LogNorm):
        bar.set_yscale("log")
    bar.set_ylim(low, high)
    bar.set_xticks([])
    bar.set_yticks(list(ticks), list(labels))
    bar.set_yticks([], minor=True)
    bar.yaxis.tick_right()
    bar.tick_params(labelsize=size, length=3, colors=INK)
