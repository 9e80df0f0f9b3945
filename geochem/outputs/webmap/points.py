"""`Points`: what is drawn as symbols, one row per sample, or per cell when there are too many."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.model.tables import Values, elements_of, values_of

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from geochem.model.bundle import Bundle

#: kinds of columns beside the elements: ``index_CIA``, ``ratio_Rb_Sr``, ...
FURTHER = ("index", "ratio", "balance", "enrichment")
#: cells that an aggregated map aims at
_CELLS = 60_000


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """Arrays of equal length, one entry per symbol.

    Parameters
    ----------
    ids : ndarray of str
        Sample ids, or what a cell is called.
    easting, northing : ndarray of float
        Position in the campaign CRS. [m]
    medium, domain : ndarray of str
        Domain is None where the medium has no background.
    values : dict of str to Values
        Accepted values per element, mg/kg; of a cell the largest.
    z, p : dict of str to ndarray
        Scores and probabilities per counted element.
    scores, coherence : dict of str to ndarray
        Per association.
    probability : ndarray of float
        That an association exceeds its local background; NaN where it was not judged.
    exceeding : ndarray of int
        Which association, by its number among those of the evidence; -1 where none, and for cells.
    group : ndarray of float
        Number of the group, NaN where none.
    count : ndarray of int
        Samples behind a symbol.
    weight : ndarray of float
        Declustering weight, 1 where none is known; of a cell the sum.
    further : dict of str to ndarray
        Indices, ratios, balances and enrichment factors, by the name of their column.
    drift : dict of str to ndarray
        What the thresholds of each sample are times, for elements whose background drifts.
    frame : pandas.DataFrame, optional
        The samples table, row by row; None when aggregated.
    total : int
        Samples in all.
    cell : float
        Side of the cells, 0 when every sample has its own symbol. [m]
    """

    ids: npt.NDArray[np.object_]
    easting: npt.NDArray[np.float64]
    northing: npt.NDArray[np.float64]
    medium: npt.NDArray[np.object_]
    domain: npt.NDArray[np.object_]
    values: dict[str, Values]
    z: dict[str, npt.NDArray[np.float64]]
    p: dict[str, npt.NDArray[np.float64]]
    scores: dict[str, npt.NDArray[np.float64]]
    coherence: dict[str, npt.NDArray[np.float64]]
    probability: npt.NDArray[np.float64]
    exceeding: npt.NDArray[np.int64]
    group: npt.NDArray[np.float64]
    count: npt.NDArray[np.int64]
    weight: npt.NDArray[np.float64]
    further: dict[str, npt.NDArray[np.float64]]
    drift: dict[str, npt.NDArray[np.float64]]
    frame: pd.DataFrame | None
    total: int
    cell: float

    def __len__(self) -> int:
        return len(self.ids)


def points_of(bundle: Bundle, aggregate_above: int) -> Points:
    """Collect the symbols of a bundle.

    Parameters
    ----------
    bundle : Bundle
        All records.
    aggregate_above : int
        With more samples than this, one symbol per square cell and medium stands for all in it.

    Returns
    -------
    Points
        In the order of the samples table, or of cells from south-west to north-east.
    """
    import pandas as pd

    samples = bundle.survey.samples
    n = len(samples)
    anomalies = bundle.evidence.anomalies
    at = pd.Index(anomalies["sample_id"]).get_indexer(pd.Index(samples["sample_id"]))

    def spread(column: pd.Series) -> npt.NDArray[np.float64]:
        given = column.to_numpy(dtype=float, na_value=np.nan)
        return np.where(at >= 0, given[at], np.nan) if len(given) else np.full(n, np.nan)

    domain = np.full(n, None, dtype=object)
    if len(anomalies):
        domain[at >= 0] = anomalies["domain"].to_numpy(dtype=object)[at[at >= 0]]
    elements = elements_of(samples)
    counted = [e for e in bundle.evidence.elements if f"{e}_z" in anomalies.columns]
    evidence = bundle.evidence
    probability, exceeding = _places(bundle, samples["sample_id"])
    points = Points(
        ids=samples["sample_id"].to_numpy(dtype=object),
        easting=samples.geometry.x.to_numpy(dtype=float),
        northing=samples.geometry.y.to_numpy(dtype=float),
        medium=samples["medium"].fillna("other").to_numpy(dtype=object),
        domain=domain,
        values={e: values_of(samples, e) for e in elements},
        z={e: spread(anomalies[f"{e}_z"]) for e in counted},
        p={e: spread(anomalies[f"{e}_p"]) for e in counted if f"{e}_p" in anomalies.columns},
        scores={str(c): spread(evidence.scores[c]) for c in evidence.scores.columns},
        coherence={str(c): spread(evidence.coherence[c]) for c in evidence.coherence.columns},
        probability=probability,
        exceeding=exceeding,
        group=spread(anomalies["group"]) if "group" in anomalies.columns else np.full(n, np.nan),
        count=np.ones(n, dtype=np.int64),
        weight=_weights(bundle, samples["sample_id"]),
        further={
            c: samples[c].to_numpy(dtype=float)
            for c in samples.columns
            if c.partition("_")[0] in FURTHER and "_" in c
        },
        drift={
            e: 10.0 ** np.array([by_id.get(i, 0.0) for i in samples["sample_id"].tolist()])
            for e, by_id in bundle.shifts.items()
        },
        frame=samples,
        total=n,
        cell=0.0,
    )
    return _aggregate(points) if n > aggregate_above else points


def _places(
    bundle: Bundle, ids: pd.Series
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]:
    """Give the probability of every sample's place, and the number of its association."""
    import pandas as pd

    n = len(ids)
    places = bundle.targets.places
    if places is None or not len(places):
        return np.full(n, np.nan), np.full(n, -1, dtype=np.int64)
    at = pd.Index(places["sample_id"]).get_indexer(pd.Index(ids))
    names = pd.Index([a.name for a in bundle.evidence.associations])
    number = names.get_indexer(pd.Index(places["association"]))
    p = places["probability"].to_numpy(dtype=float)
    return np.where(at >= 0, p[at], np.nan), np.where(at >= 0, number[at], -1).astype(np.int64)


def _weights(bundle: Bundle, ids: pd.Series) -> npt.NDArray[np.float64]:
    """Give the weights that thresholds were made with; samples outside any background count 1."""
    import pandas as pd

    domains = bundle.domains
    if domains is None or not len(domains):
        return np.ones(len(ids))
    at = pd.Index(domains["sample_id"]).get_indexer(pd.Index(ids))
    given = domains["weight"].to_numpy(dtype=float)
    return np.where(at >= 0, given[at], 1.0)


def _aggregate(points: Points) -> Points:
    """Put samples of one medium and square cell together; the largest value stands for all."""
    media = np.unique(points.medium.astype(str))
    code = np.searchsorted(media, points.medium.astype(str))
    west, south = points.easting.min(), points.northing.min()
    width = max(np.ptp(points.easting), np.ptp(points.northing), 1.0)
    cell = _round_up(width / 2000)
    while True:  # the smallest round cell that is not too many
        columns = int(width // cell) + 2
        ix = ((points.easting - west) // cell).astype(np.int64)
        iy = ((points.northing - south) // cell).astype(np.int64)
        key = (iy * columns + ix) * len(media) + code
        if len(np.unique(key)) <= _CELLS:
            break
        cell = _round_up(cell * 1.01)
    order = np.argsort(key, kind="stable")
    ordered = key[order]
    start = np.flatnonzero(np.r_[True, ordered[1:] != ordered[:-1]])
    count = np.diff(np.r_[start, len(key)])
    first = order[start]

    def largest(array: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        low = np.where(np.isfinite(array), array, -np.inf)[order]
        top = np.maximum.reduceat(low, start)
        return np.where(np.isfinite(top), top, np.nan)

    values = {}
    for element, v in points.values.items():
        detected = largest(np.where(v.below, np.nan, v.value))
        limit = largest(np.where(v.below, v.value, np.nan))
        below = np.isnan(detected) & np.isfinite(limit)
        above = np.logical_or.reduceat(v.above[order], start) & ~below
        none = np.full(len(start), np.nan)
        values[element] = Values(np.where(below, limit, detected), below, above, none)
    x = west + (ix[first] + 0.5) * cell
    y = south + (iy[first] + 0.5) * cell
    ids = np.array(
        [f"{c} of {m} at {a:.0f} E {b:.0f} N" for c, m, a, b in
         zip(count, points.medium[first], x, y, strict=True)],
        dtype=object,
    )  # fmt: skip
    return Points(
        ids=ids,
        easting=x,
        northing=y,
        medium=points.medium[first],
        domain=points.domain[first],
        values=values,
        z={e: largest(a) for e, a in points.z.items()},
        p={e: largest(a) for e, a in points.p.items()},
        scores={e: largest(a) for e, a in points.scores.items()},
        coherence={e: largest(a) for e, a in points.coherence.items()},
        probability=largest(points.probability),
        exceeding=np.full(len(start), -1, dtype=np.int64),
        group=points.group[first],
        count=count,
        weight=np.add.reduceat(points.weight[order], start),
        further={c: largest(a) for c, a in points.further.items()},
        drift={},  # samples of a cell differ: its symbol is judged by the usual background
        frame=None,
        total=points.total,
        cell=cell,
    )


def _round_up(length: float) -> float:
    power = 10.0 ** np.floor(np.log10(length))
    return float(next(m for m in (1, 2, 5, 10) if m * power >= length) * power)
