"""The sheet of a map: where it is drawn, what lies beneath, and what stands around it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.outputs.figures.base_map import draw_base, layer_window
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
from geochem.outputs.figures.panel import Block, draw_panel

if TYPE_CHECKING:
    import numpy.typing as npt
    from matplotlib.axes import Axes

    from geochem.model.bundle import CampaignInfo
    from geochem.model.layers import Layers
    from geochem.outputs.figures.layout import Window

_NOWHERE = (np.empty(0), np.empty(0))


@dataclass(frozen=True, slots=True, eq=False)
class MapSheet:
    """A map that has been begun.

    Parameters
    ----------
    ax : Axes
        Where to draw.
    own : bool
        The page was made for it.
    window : (west, east, south, north)
        What is shown. [m]
    ground : list of Block
        Legend of what lies beneath.
    """

    ax: Axes
    own: bool
    window: Window
    ground: list[Block]

    def finish(
        self,
        blocks: Sequence[Block],
        default: Caption,
        *,
        info: CampaignInfo | None,
        caption: Caption | None,
    ) -> Axes:
        """Put frame, legend, and on a page of its own head and foot around the map.

        Parameters
        ----------
        blocks : sequence of Block
            Legend of what was drawn.
        default : Caption
            When none is given.
        info, caption
            As in `draw_samples`.

        Returns
        -------
        Axes
            The map.
        """
        furnish(self.ax, self.window, info)
        draw_panel(self.ax, [*blocks, *self.ground])
        if self.own:
            head_and_foot(page_of(self.ax), caption or default, info)
        return self.ax


def start_map(
    ax: Axes | None,
    layers: Layers | None,
    points: tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]] = _NOWHERE,
    *,
    also: Sequence[Window] = (),
    fill: bool = True,
) -> MapSheet:
    """Begin a map: make room for it, choose its window, draw what lies beneath.

    Parameters
    ----------
    ax : Axes or None
        Where to draw; a new page when None.
    layers : Layers, optional
        Drawn beneath.
    points : (x, y)
        What must be in sight. [m]
    also : sequence of (west, south, east, north)
        Boxes that must be, too. [m]
    fill : bool, default True
        As in `draw_base`.

    Returns
    -------
    MapSheet
        The map.
    """
    own = ax is None
    ax = place(new_page(), MAP_BOX) if ax is None else ax
    window = map_window(*points, also=[*layer_window(layers, *points), *also])
    return MapSheet(ax, own, window, draw_base(ax, layers, window, fill=fill))
