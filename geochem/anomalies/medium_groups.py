"""Groups of alike anomalous samples, medium by medium.

What lives here: which view of the samples is grouped, and the numbering over the media. What does
not: the ways of grouping (`clusters`). Test to copy: `tests/anomalies/test_search.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from geochem.anomalies import clusters
from geochem.model.evidence import Composition

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    import pandas as pd

    FloatArray = npt.NDArray[np.float64]

#: media that are grouped
GROUPED = ("soil", "till", "stream sediment")


def groups_of(
    rows: gpd.GeoDataFrame,
    compositions: Sequence[Composition],
    media: npt.NDArray[np.object_],
    domains: npt.NDArray[np.object_],
    z: Mapping[str, FloatArray],
    scores: Mapping[str, FloatArray],
    coherent: Mapping[str, FloatArray],
    seed: int,
    way: clusters.Way,
    xy: FloatArray,
) -> tuple[npt.NDArray[np.float64], pd.DataFrame]:
    """Group the samples of each medium; numbers go on from one medium to the next."""
    import pandas as pd

    label = np.full(len(rows), np.nan)
    best = _best(scores, len(rows))
    raised = clusters.raised(best, _best(coherent, len(rows)))
    tables: list[pd.DataFrame] = []
    first = 1
    ids = rows["sample_id"].to_numpy(dtype=object)
    by_medium = {c.medium: c for c in compositions}
    for medium in GROUPED:
        at = np.flatnonzero(media == medium)
        composition = by_medium.get(medium)
        if len(at) < clusters.FEWEST:
            continue
        if composition is not None and sum(e in z for e in composition.parts) >= 3:
            position = pd.Index(composition.sample_id).get_indexer(ids[at])
            at = at[position >= 0]
            position = position[position >= 0]
            columns = [i for i, e in enumerate(composition.parts) if e in z]
            view = composition.clr[position][:, columns]
        else:
            dense = [e for e in z if np.isfinite(z[e][at]).mean() >= 0.6]
            view = np.column_stack([z[e][at] for e in dense]) if dense else np.empty((0, 0))
        if len(at) < clusters.FEWEST or view.shape[1] < 2:
            continue
        found = clusters.group(
            clusters.standardise(view, domains[at]), raised[at], best[at], seed=seed, way=way,
            xy=xy[at],
        )  # fmt: skip
        label[at] = np.where(found.label >= 0, found.label + first, np.nan)
        mine = {e: v[at] for e, v in z.items()}
        tables.append(clusters.describe(medium, found, mine, best[at], first))
        first += found.n_groups
    if not tables:
        return label, clusters.no_groups()
    return label, pd.concat(tables, ignore_index=True)


def _best(scores: Mapping[str, FloatArray], n: int) -> FloatArray:
    if not scores:
        return np.zeros(n)
    stacked = np.column_stack(list(scores.values()))
    return np.where(np.isfinite(stacked), stacked, -np.inf).max(axis=1, initial=-9.0)
