"""What else explains an outline: other chemistry, or a line, a strip, a slope that it follows.

What lives here: for every outline the best of the explanations that are no mineralisation, and by
how much it beats the association. What does not: the chemistry itself (`geochem.anomalies`), the
shapes (`along_lines`, `down_slope`), whether the outline stays (`standing_out`).
Test to copy: `tests/targets/test_lookalikes.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from geochem.targets.along_lines import (
    ALONG_A_STRIP,
    LONG,
    REACHES,
    follows,
    sampling_line,
    strip_margin,
)
from geochem.targets.down_slope import DOWN_THE_SLOPE, washed_margins
from geochem.targets.ground import Ground, Sites

if TYPE_CHECKING:
    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    from geochem.targets.outlines import Outline

    FloatArray = npt.NDArray[np.float64]

#: an outline that a rival explains better by this much (odds of 4.5 to 1) is no target
RIVAL_WINS = 1.5


def with_lookalikes(
    sites: Sites,
    grounds: Sequence[Ground],
    outlines: Sequence[Outline],
    lines: Mapping[str, BaseGeometry],
) -> list[Outline]:
    """Look up what else explains the summit of every outline.

    Parameters
    ----------
    sites : Sites
        All samples.
    grounds : sequence of Ground
        Grids; outlines of catchments are left alone.
    outlines : sequence of Outline
        As found.
    lines : mapping of str to shapely geometry
        Streams and roads, by what may follow them, in words.

    Returns
    -------
    list of Outline
        In the same order, with `margin` and `rival`.
    """
    out = list(outlines)
    for number, ground in enumerate(grounds):
        mine = [
            k for k, o in enumerate(out)
            if o.part == number and not o.catchment and len(o.sites)
        ]  # fmt: skip
        if mine:
            made = _on_ground(sites, ground, [out[k] for k in mine], lines)
            for k, outline in zip(mine, made, strict=True):
                out[k] = outline
    return out


def _on_ground(
    sites: Sites, ground: Ground, outlines: list[Outline], lines: Mapping[str, BaseGeometry]
) -> list[Outline]:
    from scipy.spatial import cKDTree

    every = sites.frame[["easting", "northing"]].to_numpy(dtype=float)
    xy = every[ground.sites]
    spacing = float(np.sqrt(ground.cell_area))
    reach = max(max(REACHES), 2.0 * max(LONG) * spacing) * (1.0 + 1e-9)
    peaks = np.array([o.peak for o in outlines])
    around = cKDTree(xy).query_ball_point(peaks, reach)
    washed = washed_margins(
        xy, sites.frame["elevation"].to_numpy(dtype=float)[ground.sites],
        sites.scores[ground.sites], np.array([o.association for o in outlines]), peaks, spacing,
    )  # fmt: skip
    made = []
    for outline, near, slope in zip(outlines, around, washed, strict=True):
        rows = np.sort(near)
        margin, rival = _by_chemistry(sites, every, outline)
        here = (
            xy[rows], sites.scores[ground.sites[rows], outline.association], outline.peak, spacing
        )  # fmt: skip
        along, what = follows(*here, {**lines, **sampling_line(ground, xy, outline.peak)})
        # a vein is a strip too: that may make an outline doubtful, never strike it out
        narrow = min(strip_margin(*here), RIVAL_WINS)
        for other, words in ((along, what), (slope, DOWN_THE_SLOPE), (narrow, ALONG_A_STRIP)):
            if np.isfinite(other) and not other <= margin:
                margin, rival = float(other), words
        made.append(replace(outline, margin=margin, rival=rival))
    return made


def _by_chemistry(sites: Sites, xy: FloatArray, outline: Outline) -> tuple[float, str]:
    """Look up what oxides, rocks and organic soil explain at the sample nearest to the summit."""
    if sites.margin is None or sites.rival is None:
        return float("nan"), ""
    apart = ((xy[outline.sites] - outline.peak) ** 2).sum(axis=1)
    near = outline.sites[int(apart.argmin())]
    name = sites.rival[near]
    return float(sites.margin[near]), name if isinstance(name, str) else ""
