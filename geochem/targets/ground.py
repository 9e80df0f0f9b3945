"""Sampling grounds: grids whose spacing can carry an outline, with their places and neighbours.

What lives here: `Sites` (all scored samples, in order of their ids) and `Ground` (one grid of one
medium in spacing-scaled coordinates). What does not: filters and judgement.
Infill must not narrow the view: samples closer than 0.6 spacings are averaged into one place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from geochem.model.layers import Spacing
from geochem.model.tables import value_column, values_of
from geochem.stats import neighbours

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    import pandas as pd

    from geochem.model.evidence import Association, Detectors, Evidence

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

#: media whose samples may be outlined on a map
OUTLINED = ("soil", "till")
#: two places joined when they stand within this many spacings
JOIN = 1.6
#: fewer samples than this are no grid
FEWEST = 9
#: samples closer than this many spacings are one place
ONE_PLACE = 0.6


@dataclass(frozen=True, slots=True, eq=False)
class Sites:
    """All scored samples, sorted by id.

    Parameters
    ----------
    frame : pandas.DataFrame
        ``sample_id, medium, domain, grid, easting, northing, elevation``.
    row : ndarray of int, shape (n,)
        Row of each in the samples table.
    z : pandas.DataFrame, shape (n, n_elements)
        Robust scores, columns are elements.
    z_all : pandas.DataFrame
        The same against the whole survey of the medium.
    scores : ndarray, shape (n, n_associations)
        Calibrated scores of the competing associations; NaN where unknown.
    noise : ndarray, shape (n, n_associations)
        Standard deviation of `scores` that comes from measurement.
    associations : tuple of Association
        Columns of `scores`.
    margin : ndarray, shape (n,), optional
        How much better the best rival explanation fits the ground around each sample than the
        best association, as a logarithm of a likelihood ratio; NaN where nothing can be said.
    rival : ndarray of str, shape (n,), optional
        That rival, in words.
    alone : mapping of str to ndarray of bool, shape (n,)
        High values of a coarse-grained metal without another high one beside them, by element.
    dense, sparse, ratio : ndarray, shape (n, n_associations), optional
        What `scores` are made of: scores of the densely measured elements, of those that only a
        part of the samples has (NaN where not), and how much more the latter tell.
    detectors : mapping of str to Detectors
        By medium: what the dense scores are made of.
    detected : ndarray of int, shape (n,)
        Row of each sample in the detectors of its medium; -1 where it has none.
    """

    frame: pd.DataFrame
    row: IntArray
    z: pd.DataFrame
    z_all: pd.DataFrame
    scores: FloatArray
    noise: FloatArray
    associations: tuple[Association, ...]
    margin: FloatArray | None = None
    rival: npt.NDArray[np.object_] | None = None
    alone: Mapping[str, npt.NDArray[np.bool_]] = field(default_factory=dict)
    dense: FloatArray | None = None
    sparse: FloatArray | None = None
    ratio: FloatArray | None = None
    detectors: Mapping[str, Detectors] = field(default_factory=dict)
    detected: IntArray = field(default_factory=lambda: np.empty(0, dtype=np.intp))


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """One grid of one medium.

    Parameters
    ----------
    medium, grid : str
        What it is.
    spacing : Spacing
        As measured.
    sites : ndarray of int, shape (n,)
        Its rows in `Sites`.
    scaled : ndarray, shape (n, 2)
        Position of the samples in spacings across and along the lines. [-]
    origin : ndarray, shape (2,)
        Easting and northing where `scaled` is zero. [m]
    place_of : ndarray of int, shape (n,)
        Place each sample belongs to.
    places : ndarray, shape (m, 2)
        Mean position of the samples of a place. [-]
    count : ndarray, shape (m,)
        Samples at a place.
    edges : ndarray of int, shape (e, 2)
        Places that are neighbours.
    """

    medium: str
    grid: str
    spacing: Spacing
    sites: IntArray
    scaled: FloatArray
    origin: FloatArray
    place_of: IntArray
    places: FloatArray
    count: FloatArray
    edges: IntArray

    @property
    def size(self) -> tuple[float, float]:
        """Line and station spacing, in metres."""
        return self.spacing.line_spacing, self.spacing.station_spacing

    @property
    def cell_area(self) -> float:
        """Ground that one sample stands for, in square metres."""
        return self.spacing.line_spacing * self.spacing.station_spacing

    def axes(self) -> FloatArray:
        """Give the map vectors of one spacing across and one along the lines, as rows; metres."""
        angle = np.deg2rad(self.spacing.azimuth if np.isfinite(self.spacing.azimuth) else 0.0)
        across = np.array([np.cos(angle), -np.sin(angle)]) * self.spacing.line_spacing
        along = np.array([np.sin(angle), np.cos(angle)]) * self.spacing.station_spacing
        return np.vstack([across, along])

    def to_map(self, scaled: FloatArray) -> FloatArray:
        """Turn scaled positions, shape (n, 2), into easting and northing."""
        return np.asarray(scaled, dtype=float) @ self.axes() + self.origin

    def to_scaled(self, xy: FloatArray) -> FloatArray:
        """Turn easting and northing, shape (n, 2), into scaled positions."""
        return (np.asarray(xy, dtype=float) - self.origin) @ np.linalg.inv(self.axes())

    def at_places(self, values: FloatArray) -> FloatArray:
        """Average values of the samples, shape (n, ...), at the places; NaN counts as zero."""
        filled = np.nan_to_num(values)
        total = np.zeros((len(self.places), *filled.shape[1:]))
        np.add.at(total, self.place_of, filled)
        return total / self.count.reshape(-1, *[1] * (filled.ndim - 1))


def gather_sites(
    samples: gpd.GeoDataFrame, evidence: Evidence, backgrounds: pd.DataFrame, seek: Sequence[str]
) -> Sites:
    """Put scored samples in order of their ids.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        Samples table, any order.
    evidence : Evidence
        What is anomalous.
    backgrounds : pandas.DataFrame
        Contract `tables.BACKGROUNDS`; scales turn errors into errors of z.
    seek : sequence of str
        Sought elements; associations without any of them do not compete (all do when none has
        one).

    Returns
    -------
    Sites
        Samples of the evidence that stand in the samples table.
    """
    import pandas as pd

    anomalies = evidence.anomalies
    ids = samples["sample_id"].astype(str).to_numpy()
    where = pd.Series(np.arange(len(ids)), index=ids)
    where = where[~where.index.duplicated()]
    scored = anomalies["sample_id"].astype(str).to_numpy()
    found = where.reindex(scored).to_numpy(dtype=float)
    order = np.argsort(scored, kind="stable")
    order = order[np.isfinite(found[order])]
    row = found[order].astype(np.intp)
    chosen = competing(evidence.associations, seek)
    scores = (
        np.column_stack([evidence.scores[a.name].to_numpy(dtype=float)[order] for a in chosen])
        if chosen
        else np.empty((len(order), 0))
    )
    grid = (
        samples["grid"].to_numpy(dtype=object)[row]
        if "grid" in samples.columns
        else np.full(len(row), None, dtype=object)
    )
    frame = pd.DataFrame(
        {
            "sample_id": scored[order],
            "medium": anomalies["medium"].to_numpy(dtype=object)[order],
            "domain": anomalies["domain"].to_numpy(dtype=object)[order],
            "grid": np.where(pd.isna(grid), "", grid).astype(object),
            "easting": anomalies["easting"].to_numpy(dtype=float)[order],
            "northing": anomalies["northing"].to_numpy(dtype=float)[order],
            "elevation": samples["elevation"].to_numpy(dtype=float)[row]
            if "elevation" in samples.columns
            else np.full(len(row), np.nan),
        }
    )
    z = pd.DataFrame(
        {
            e: anomalies[f"{e}_z"].to_numpy(dtype=float)[order]
            for e in evidence.elements
            if f"{e}_z" in anomalies.columns
        },
        index=frame.index,
    )
    noise = _score_noise(samples, row, frame, z, backgrounds, chosen)
    if evidence.noise is not None and chosen:
        own = evidence.noise[[a.name for a in chosen]].to_numpy(dtype=float)[order]
        noise = np.where(np.isfinite(own), own, noise)
    z_all = evidence.z_all.reindex(columns=[f"{e}_z" for e in z.columns]).to_numpy(float)[order]
    whole = pd.DataFrame(z_all, columns=list(z.columns), index=frame.index)
    margin = rival = None
    if evidence.explained is not None:
        told = evidence.explained
        margin = (told["rival_gain"] - told["association_gain"]).to_numpy(dtype=float)[order]
        rival = told["rival"].to_numpy(dtype=object)[order]
    made_of = [
        None if part is None else part[[a.name for a in chosen]].to_numpy(dtype=float)[order]
        for part in (evidence.dense, evidence.sparse, evidence.ratio)
    ]
    return Sites(
        frame, row, z, whole, scores, noise, chosen, margin, rival,
        dense=made_of[0], sparse=made_of[1], ratio=made_of[2],
        detectors={d.medium: d for d in evidence.detectors},
        detected=_detected(evidence.detectors, frame),
    )  # fmt: skip


def _detected(detectors: Sequence[Detectors], frame: pd.DataFrame) -> IntArray:
    import pandas as pd

    out = np.full(len(frame), -1, dtype=np.intp)
    for d in detectors:
        mine = (frame["medium"] == d.medium).to_numpy()
        out[mine] = pd.Index(d.sample_id).get_indexer(pd.Index(frame["sample_id"][mine]))
    return out


def competing(associations: Sequence[Association], seek: Sequence[str]) -> tuple[Association, ...]:
    """Choose the associations that compete: those that hold a sought element."""
    if not seek:
        return tuple(associations)
    wanted = set(seek)
    held = tuple(a for a in associations if wanted & {e for e, w in a.weights.items() if w != 0})
    return held or tuple(associations)


def _score_noise(
    samples: gpd.GeoDataFrame,
    row: IntArray,
    frame: pd.DataFrame,
    z: pd.DataFrame,
    backgrounds: pd.DataFrame,
    associations: Sequence[Association],
) -> FloatArray:
    """Give the measurement part of the scores: errors of log10 over scale, combined by weight."""
    import pandas as pd

    scale = backgrounds.drop_duplicates(["medium", "domain", "element"]).set_index(
        ["medium", "domain", "element"]
    )["scale"]
    error = {}
    for element in z.columns:
        if value_column(element) not in samples.columns:
            continue
        share = values_of(samples, element).relative_error[row]
        at = pd.MultiIndex.from_arrays(
            [frame["medium"], frame["domain"], np.full(len(frame), element, dtype=object)]
        )
        s = scale.reindex(at).to_numpy(dtype=float)
        with np.errstate(divide="ignore", invalid="ignore"):
            e = share / np.log(10.0) / s
        error[element] = np.where(np.isfinite(e) & np.isfinite(z[element].to_numpy()), e, 0.0)
    noise = np.zeros((len(frame), len(associations)))
    for j, association in enumerate(associations):
        weight = {e: w for e, w in association.weights.items() if e in error}
        total = sum(w * w for w in weight.values())
        if total > 0:
            square = np.zeros(len(frame))
            for e, w in weight.items():
                square += (w * error[e]) ** 2
            noise[:, j] = np.sqrt(square / total)
    return np.minimum(noise, 1.0)


def median_spacing(spacing: Spacing) -> float:
    """Give the spacing that decides whether ground is too coarse: the larger of the two."""
    known = [s for s in (spacing.line_spacing, spacing.station_spacing) if np.isfinite(s)]
    return max(known) if known else float(spacing.nearest)


def make_ground(sites: Sites, spacing: Spacing) -> Ground | None:
    """Lay one grid out in spacings.

    Parameters
    ----------
    sites : Sites
        All samples.
    spacing : Spacing
        Of one medium and grid.

    Returns
    -------
    Ground or None
        None when it has fewer than `FEWEST` places or no measurable spacing.
    """
    here = (
        (sites.frame["medium"] == spacing.medium) & (sites.frame["grid"] == spacing.grid)
    ).to_numpy()
    east, north = sites.frame["easting"].to_numpy(), sites.frame["northing"].to_numpy()
    here = here & np.isfinite(east) & np.isfinite(north)
    index = np.flatnonzero(here)
    if len(index) < FEWEST or not (spacing.line_spacing > 0 and spacing.station_spacing > 0):
        return None
    x, y = east[index], north[index]
    scaled = neighbours.scaled_coordinates(
        x, y, spacing.azimuth, spacing.line_spacing, spacing.station_spacing
    )
    place_of, places, count = _places(scaled)
    if len(places) < FEWEST:
        return None
    graph = neighbours.within(places, JOIN).tocoo()
    i, j = graph.coords
    keep = i < j
    edges = np.column_stack([i[keep], j[keep]]).astype(np.intp)
    edges = edges[np.lexsort([edges[:, 1], edges[:, 0]])]
    origin = np.array([(x.min() + x.max()) / 2, (y.min() + y.max()) / 2])
    return Ground(
        spacing.medium, spacing.grid, spacing, index, scaled, origin, place_of, places, count,
        edges,
    )  # fmt: skip


def _places(scaled: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Average samples that crowd; the first in order of position is the middle of its place."""
    from scipy.spatial import cKDTree

    n = len(scaled)
    tree = cKDTree(scaled)
    lonely = tree.query(scaled, k=2)[0][:, 1] > ONE_PLACE
    place_of = np.full(n, -1, dtype=np.intp)
    order = np.lexsort([np.round(scaled[:, 1], 6), np.round(scaled[:, 0], 6)])
    m = 0
    for i in order:
        if place_of[i] >= 0:
            continue
        place_of[i] = m
        if not lonely[i]:
            near = tree.query_ball_point(scaled[i], ONE_PLACE, return_sorted=True)
            near = [j for j in near if place_of[j] < 0]
            place_of[near] = m
        m += 1
    count = np.bincount(place_of, minlength=m).astype(float)
    places = np.column_stack(
        [np.bincount(place_of, weights=scaled[:, c], minlength=m) / count for c in (0, 1)]
    )
    return place_of, places, count


def line_numbers(across: npt.ArrayLike, gap: float = 0.35) -> IntArray:
    """Give each position across the lines the number of its line.

    Parameters
    ----------
    across : array_like, shape (n,)
        Position across the lines, in line spacings. [-]
    gap : float
        A larger gap between neighbouring positions starts another line. [-]

    Returns
    -------
    ndarray of int, shape (n,)
        From 0, in order of position.

    Examples
    --------
    >>> line_numbers([0.02, 1.01, 0.0, 2.1]).tolist()
    [0, 1, 0, 2]
    """
    x = np.asarray(across, dtype=float)
    order = np.argsort(x, kind="stable")
    number = np.empty(len(x), dtype=np.intp)
    number[order] = np.r_[0, np.cumsum(np.diff(x[order]) > gap)] if len(x) else []
    return number


def rows_of(scaled: FloatArray, *, regular: bool) -> int:
    """Count the lines that samples stand on; of irregular sampling, the rows across their trend.

    Parameters
    ----------
    scaled : ndarray, shape (n, 2)
        Positions of the samples. [-]
    regular : bool
        Whether the ground has lines.

    Returns
    -------
    int
        1 means: all in one row.
    """
    if len(scaled) < 2:
        return len(scaled)
    if regular:
        return int(line_numbers(scaled[:, 0]).max()) + 1
    centred = scaled - scaled.mean(axis=0)
    _, spread, directions = np.linalg.svd(centred, full_matrices=False)
    if len(spread) < 2 or spread[0] == 0:
        return 1
    return int(line_numbers(centred @ directions[1], gap=0.25).max()) + 1
