"""Legends stay in their room, whatever they hold."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.colors import Normalize

from geochem.outputs.figures.layout import PANEL_BOX, new_page
from geochem.outputs.figures.panel import Block, Entry, draw_panel


def words_and_bottom(blocks):
    sheet = draw_panel(new_page(), blocks)
    texts = [t for t in sheet.texts if t.get_text()]
    return [t.get_text() for t in texts], min(t.get_position()[1] for t in texts)


@pytest.mark.parametrize("units", [0, 1, 8, 40])
def test_a_colour_bar_gives_way_to_the_legend_of_layers(units):
    bar = ("Purples", Normalize(0, 3), np.array([0.0, 1.0, 3.0]), ["0", "1", "3"])
    blocks = [
        Block("Score of an association, standard deviations of background", bar=bar,
              note="Colours end at the lowest and highest 0.5 % of the cells."),
        Block("", (Entry("samples", "1735", marker={"marker": "."}),)),
        Block("", (Entry("transported cover", patch={"hatch": "//"}),),
              note="Low values there do not mean barren."),
        Block("How it was made", note="Ordinary kriging from 1735 soil samples, cells of 50 m, "
              "spherical variogram, range 757 m. Left-out samples are missed by 0.88 (score "
              "units); the plain median misses them by 1.1."),
        Block("", (Entry("borders of rock units", line={"color": "k"}),), keep=0),
        Block("Geology" if units else "", tuple(Entry(f"Unit {k}", patch={}) for k in range(units)),
              keep=1),
        Block("", tuple(Entry(w, line={"color": "k"})
                        for w in ("streams", "structures", "keep out", "boundary"))),
    ]  # fmt: skip
    words, bottom = words_and_bottom(blocks)
    assert bottom > PANEL_BOX[1]
    assert {"streams", "structures", "keep out", "boundary"} <= set(words)
    assert "and 1 more" not in words or units  # never of a block without title


def test_what_is_dropped_is_counted():
    blocks = [Block("Rank", tuple(Entry(f"T{k:02d}") for k in range(90)), keep=5)]
    words, bottom = words_and_bottom(blocks)
    assert bottom > PANEL_BOX[1]
    shown = sum(w.startswith("T") for w in words)
    assert f"and {90 - shown} more" in words
