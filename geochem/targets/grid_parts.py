"""One grid made ready to be judged: winsorised scores at its places, with the filters for halos.

What lives here: the dense scores, and beside them what only a part of the samples tells (a
laboratory's values). What does not: barren surveys (`barren`), outlines (`outlines`), the order of
the search (`standing_out`). Test to copy: `tests/targets/test_second_layer.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.stats.halo_filter import halo_filters
from geochem.targets.ground import Ground, Sites
from geochem.targets.null import (
    LOWEST,
    SECOND_HIGHEST,
    Background,
    Part,
    SecondLayer,
    describe_background,
    places_beside,
    standardised,
    without_spikes,
)

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

#: fewer samples of a second layer are not filtered; neighbours that take part in each value
FEWEST_SECOND, SECOND_NEIGHBOURS = 30, 16


def grid_part(
    sites: Sites,
    ground: Ground,
    exclude: npt.NDArray[np.bool_],
    before: Part | None = None,
) -> Part:
    """Make a grid ready to be judged.

    Parameters
    ----------
    sites : Sites
        All samples.
    ground : Ground
        One grid.
    exclude : ndarray of bool, shape (n_sites,)
        Samples that are no background.
    before : Part, optional
        Of an earlier round: its filters serve when the continuity is nearly the same.

    Returns
    -------
    Part
        Winsorised scores at its places, with the filters.
    """
    metres = ground.places * np.asarray(ground.size)
    # samples are winsorised before they are averaged: infill on a spike must not make a halo
    scores = sites.scores if sites.dense is None else sites.dense
    raw = np.nan_to_num(scores[ground.sites])
    out = np.zeros(len(ground.places), dtype=bool)
    np.logical_or.at(out, ground.place_of, exclude[ground.sites])
    mean = float(np.sqrt(ground.cell_area))
    background = describe_background(metres, ground.at_places(raw), mean, out)
    beside = places_beside(len(ground.places), ground.edges)
    values = without_spikes(ground.at_places(standardised(raw, background)), beside)
    nugget, reach = _pooled(background)
    filters: Sequence[Any]
    second = None
    if before is not None and _alike((nugget, reach), _pooled(before.background)):
        filters, gain = before.operators, before.gain
    else:
        filters, gain = halo_filters(
            ground.places, ground.size, nugget=nugget, range_m=reach, count=ground.count
        )
    if sites.sparse is not None and sites.ratio is not None:
        second = _second_layer(
            sites.sparse[ground.sites], sites.ratio[ground.sites], ground, gain, exclude
        )
    across = ground.places[:, 0]
    line = np.floor(across - across.min() + 0.5).astype(np.intp)
    label = f"{ground.medium} {ground.grid}".strip()
    return Part(
        label, metres, ground.count, values, background, filters, ground.edges, line, beside,
        second=second, gain=gain,
    )  # fmt: skip


def _second_layer(
    scores: FloatArray,
    ratio: FloatArray,
    ground: Ground,
    gain: FloatArray,
    exclude: npt.NDArray[np.bool_],
) -> SecondLayer | None:
    """Make what some samples tell beyond the dense scores ready to be filtered beside them."""
    known = np.isfinite(scores).any(axis=1)
    own = np.flatnonzero(known)
    if len(own) < FEWEST_SECOND:
        return None
    scaled = ground.scaled[own]
    metres = scaled * np.asarray(ground.size)
    raw = np.nan_to_num(scores[own])
    # these samples lie farther apart than the others
    mean = float(np.sqrt(ground.cell_area * len(ground.sites) / len(own)))
    background = describe_background(metres, raw, mean, exclude[ground.sites[own]])
    values = np.clip((raw - background.centre) / background.spread, LOWEST, SECOND_HIGHEST)
    nugget, reach = _pooled(background)
    operators, own_gain = halo_filters(
        scaled, ground.size, nugget=nugget, range_m=reach, neighbours=SECOND_NEIGHBOURS,
        at=ground.places,
    )  # fmt: skip
    tells = np.array([np.median(r[r > 0]) if (r > 0).any() else 0.0 for r in ratio[own].T])
    more = tells[None, None, :] * (own_gain**2)[:, :, None]
    every = more + (gain**2)[:, :, None]
    share = np.sqrt(more / np.maximum(every, 1e-12))
    return SecondLayer(metres, values, background, operators, share)


def _pooled(background: Background) -> tuple[float, float]:
    """Give the nugget share and range that serve all scores."""
    return float(background.nugget.mean()), float(np.exp(np.log(background.range_m).mean()))


def _alike(one: tuple[float, float], two: tuple[float, float]) -> bool:
    return abs(one[0] - two[0]) < 0.07 and abs(np.log(one[1] / two[1])) < 0.2
