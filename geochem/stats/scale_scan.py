"""Coherence over several scales: is a score high together with its neighbours.

A halo of a given size is looked for in three rings around each sample: the sums of the scores in
the rings are weighed so that such a halo stands out most above a barren field with the continuity
of the background (a matched filter). On rough ground that is a smoothed sum, on smooth ground a
contrast with the surroundings. For a Gaussian field with a known variogram the null needs no
simulation: the covariance of the ring sums follows from all pairs of members, and the largest of
several sizes from the correlation of the filters. Tests hold it against simulated fields. Rings
are taken in spacing-scaled coordinates, distances for the covariance in metres; dense infill, gaps
and repeated positions therefore get the variance they deserve.

What lives here: arrays in, z-scores out. What does not: scoring, fitting of variograms
(`variogram`), drawing of fields (`random_fields`).
To add another shape of neighbourhood: `neighbourhoods`. Test to copy:
`tests/stats/test_scale_scan.py`.

Reference: North, D. O. 1963 (1943). An analysis of the factors which determine signal/noise
discrimination in pulsed-carrier systems. Proceedings of the IEEE 51:1016-1027 (matched filter; from
memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall
from geochem.stats.threads import in_threads

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.stats.variogram import Variogram

    FloatArray = npt.NDArray[np.float64]

#: outer radii of the rings, in spacings; on a square grid 9, 21 and 57 samples
RINGS = (1.5, 2.6, 4.2)
#: sizes of halo that are looked for: distance at which one has fallen to 1 / e, in spacings
SIZES = (1.5, 2.2, 4.0)
#: the filters are designed for at least this share of nugget, so that no single sample decides
_LEAST_NUGGET = 0.3
#: bins of pair distance; the first one is distance 0 (a sample with itself, or at one place)
_BINS = 40
#: pairs are measured in portions of about this many
_PORTION = 4_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Neighbourhoods:
    """Rings around all samples, and how far apart their members stand.

    Parameters
    ----------
    index : ndarray of int, shape (n, k)
        Members, nearest first, the sample itself included; n where there is none.
    size : ndarray of int, shape (n_rings, n)
        How many of them lie within each radius.
    distance : ndarray, shape (n, k)
        Of the members from the sample, in scaled units; inf where there is none.
    pairs : ndarray, shape (n_rings, n_rings, n, n_bins)
        Number of pairs (member of one ring, member of another) per distance bin.
    centres : ndarray, shape (n_bins,)
        Middle of the bins; the first is 0. [m]
    halos : ndarray, shape (n_sizes, n_rings, n)
        Ring sums of a halo of height one, per entry of `SIZES`.
    """

    index: npt.NDArray[np.intp]
    size: npt.NDArray[np.intp]
    distance: npt.NDArray[np.float32]
    pairs: npt.NDArray[np.float32]
    centres: FloatArray
    halos: FloatArray


def neighbourhoods(
    scaled: npt.ArrayLike,
    metres: npt.ArrayLike,
    radii: Sequence[float] = RINGS,
    *,
    max_members: int = 64,
) -> Neighbourhoods:
    """Find the members of the rings and count their pairs by distance.

    Parameters
    ----------
    scaled : array_like, shape (n, 2)
        Spacing-scaled coordinates: decide who belongs.
    metres : array_like, shape (n, 2)
        Easting and northing: decide the covariance. [m]
    radii : sequence of float, default RINGS
        Outer radii of the rings, in scaled units.
    max_members : int, default 64
        In dense infill only that many nearest samples belong, so the rings are narrower.

    Returns
    -------
    Neighbourhoods
        For `coherence`; it depends on positions only and serves any number of scores.

    Raises
    ------
    WrongCall
        If shapes do not fit or the radii are not positive and ascending.
    """
    from scipy.spatial import cKDTree

    points, xy = np.asarray(scaled, dtype=float), np.asarray(metres, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2 or points.shape != xy.shape:
        raise WrongCall(
            f"scaled coordinates have shape {points.shape} and those in metres {xy.shape}; "
            "both must be (n, 2)."
        )
    r = np.asarray(radii, dtype=float)
    if not r.size or (r <= 0).any() or (np.diff(r) <= 0).any():
        raise WrongCall(f"radii are {tuple(radii)}; give positive numbers in ascending order.")
    n = len(points)
    k = min(n, max_members)
    if not n:
        return Neighbourhoods(
            np.empty((0, 0), np.intp), np.empty((r.size, 0), np.intp), np.empty((0, 0), np.float32),
            np.empty((r.size, r.size, 0, _BINS), np.float32), np.zeros(_BINS),
            np.empty((len(SIZES), r.size, 0)),
        )  # fmt: skip
    distance, index = cKDTree(points).query(points, k=k, distance_upper_bound=r[-1] * (1 + 1e-9))
    distance, index = distance.reshape(n, k), index.reshape(n, k)
    size = np.array([(distance <= v * (1 + 1e-9)).sum(axis=1) for v in r])
    widest = int(size[-1].max())
    index = np.ascontiguousarray(index[:, :widest])
    local = xy - (xy.min(axis=0) + xy.max(axis=0)) / 2
    padded = np.vstack([local, [[np.nan, np.nan]]])
    reach = _reach(padded, index)
    width = reach / (_BINS - 1) if reach > 0 else 1.0
    pairs = _pair_histograms(padded, index, size, width)
    centres = np.r_[0.0, (np.arange(_BINS - 1) + 0.5) * width]
    near = np.ascontiguousarray(distance[:, :widest], dtype=np.float32)
    halos = np.array([_halo_sums(near, size, s) for s in SIZES])
    return Neighbourhoods(index, size, near, pairs, centres, halos)


def _reach(padded: FloatArray, index: npt.NDArray[np.intp]) -> float:
    """Give a distance, in metres, that no pair inside a neighbourhood exceeds."""
    own = padded[np.arange(len(index))]
    far = 0.0
    for column in index.T:
        d = np.hypot(*(padded[column] - own).T)
        far = max(far, float(np.nanmax(d, initial=0.0)))
    return 2.0 * far * (1 + 1e-9)


def _pair_histograms(
    padded: FloatArray, index: npt.NDArray[np.intp], size: npt.NDArray[np.intp], width: float
) -> npt.NDArray[np.float32]:
    n, k = index.shape
    n_scales = len(size)
    cells = n_scales**2 * _BINS
    out = np.zeros((n_scales, n_scales, n, _BINS), dtype=np.float32)
    first_of, second_of = np.triu_indices(k, 1)
    own = np.arange(n_scales)
    step = max(1, _PORTION // max(k * k, 1))

    def count_from(first: int) -> None:
        rows = slice(first, min(first + step, n))
        m = rows.stop - first
        member = (padded[index[rows]] - padded[rows][:, None]).astype(np.float32)
        square = (member[:, first_of, 0] - member[:, second_of, 0]) ** 2
        square += (member[:, first_of, 1] - member[:, second_of, 1]) ** 2
        known = np.isfinite(square)
        h = np.sqrt(np.where(known, square, 0.0), dtype=np.float32)
        bins = np.minimum((h * np.float32(1.0 / width)).astype(np.int32) + 1, _BINS - 1)
        bins[h <= 1e-3] = 0  # one place
        position = np.arange(k)[None, :, None]
        ring = (position >= size[:, rows].T[:, None, :]).sum(axis=2).astype(np.int32)
        ring = np.minimum(ring, n_scales - 1)
        flat = (ring[:, first_of] * n_scales + ring[:, second_of]) * _BINS + bins
        flat += (np.arange(m, dtype=np.int32) * cells)[:, None]
        count = np.bincount(flat[known], minlength=m * cells).reshape(m, n_scales, n_scales, _BINS)
        count = count + count.transpose(0, 2, 1, 3)
        count[:, own, own, 0] += np.diff(size[:, rows], axis=0, prepend=0).T
        out[:, :, rows, :] = count.transpose(1, 2, 0, 3)

    in_threads(count_from, range(0, n, step))
    return out


def coherence(
    scores: npt.ArrayLike,
    places: Neighbourhoods,
    variogram: Variogram,
    *,
    sizes: Sequence[float] = SIZES,
    n_draws: int = 50_000,
    seed: int = 1,
) -> FloatArray:
    """Score how high a neighbourhood stands above a barren field, over all sizes at once.

    Parameters
    ----------
    scores : array_like, shape (n,)
        About N(0, 1) in background; NaN is missing and counts for no neighbour.
    places : Neighbourhoods
        Of the same samples.
    variogram : Variogram
        Of the scores in background, in metres; only its shape counts, the variance is taken as
        one.
    sizes : sequence of float, default SIZES
        Sizes of halo, in scaled units.
    n_draws : int, default 50000
        Draws for the distribution of the largest of the sizes.
    seed : int, default 1
        Of these draws.

    Returns
    -------
    ndarray, shape (n,)
        About N(0, 1) on barren ground (each sample on its own); NaN where fewer than three
        scores stand in the neighbourhood.

    Raises
    ------
    WrongCall
        If the shapes do not fit.
    """
    by_size, correlation = size_scores(scores, places, variogram, sizes)
    enough = np.isfinite(by_size).all(axis=0)
    top = np.where(enough, np.where(enough, by_size, 0.0).max(axis=0), np.nan)
    return _of_the_largest(top, correlation, n_draws, seed)


def size_scores(
    scores: npt.ArrayLike,
    places: Neighbourhoods,
    variogram: Variogram,
    sizes: Sequence[float] = SIZES,
) -> tuple[FloatArray, FloatArray]:
    """Filter the ring sums for each size of halo and standardise by the null of the variogram.

    Parameters
    ----------
    scores, places, variogram, sizes
        As for `coherence`.

    Returns
    -------
    by_size : ndarray, shape (n_sizes, n)
        z-score per size; NaN where fewer than three scores stand in the neighbourhood.
    correlation : ndarray, shape (n_sizes, n_sizes)
        Of the z-scores of a typical sample.

    Raises
    ------
    WrongCall
        If the shapes do not fit.
    """
    s = np.asarray(scores, dtype=float)
    n = places.index.shape[0]
    if s.shape != (n,):
        raise WrongCall(f"scores have shape {s.shape} for {n} samples; ({n},) is needed.")
    n_sizes = len(sizes)
    known = np.isfinite(s)
    sums = _ring_sums(np.append(np.where(known, s, 0.0), 0.0)[places.index], places.size)
    if known.all():
        members = None
        counts = np.diff(places.size, axis=0, prepend=0).astype(float)
    else:
        members = np.append(known, False)[places.index]
        counts = _ring_sums(members, places.size)
    null = _ring_covariance(places, variogram, counts, 0.0)
    design = _ring_covariance(places, variogram, counts, _LEAST_NUGGET)
    filters = np.empty((n_sizes, n, len(places.size)))
    for i, size in enumerate(sizes):
        if members is None and size in SIZES:
            expected = places.halos[SIZES.index(size)]
        else:
            expected = _halo_sums(places.distance, places.size, size, members)
        filters[i] = np.linalg.solve(design, expected.T[:, :, None])[:, :, 0]
    across = np.einsum("anr,nrs,bns->abn", filters, null, filters)
    spread = np.sqrt(np.maximum(np.einsum("aan->an", across), 1e-12))
    enough = counts.sum(axis=0) >= 3
    by_size = np.where(enough, np.einsum("anr,rn->an", filters, sums) / spread, np.nan)
    correlation = np.eye(n_sizes)
    if enough.any():
        r = across / (spread[:, None] * spread[None])
        correlation = np.median(r[:, :, enough], axis=2)
        np.fill_diagonal(correlation, 1.0)
    return by_size, correlation


def _halo_sums(
    distance: npt.NDArray[np.float32],
    inside: npt.NDArray[np.intp],
    size: float,
    members: npt.NDArray[np.bool_] | None = None,
) -> FloatArray:
    """Add up by ring what a halo of height one gives the members; shape (n_rings, n)."""
    shape = np.exp(-np.square(distance / np.float32(size)))
    return _ring_sums(shape if members is None else shape * members, inside)


def _ring_sums(members: npt.NDArray[Any], size: npt.NDArray[np.intp]) -> FloatArray:
    """Add up member values by ring; shape (n_rings, n)."""
    n = len(members)
    if not n:
        return np.zeros(size.shape)
    running = np.cumsum(members, axis=1, dtype=float)
    within = np.array([running[np.arange(n), m - 1] for m in size])
    return np.diff(within, axis=0, prepend=0.0)


def _ring_covariance(
    places: Neighbourhoods, variogram: Variogram, counts: FloatArray, least_nugget: float
) -> FloatArray:
    """Give the covariance of the ring sums of a field of variance one; (n, n_rings, n_rings)."""
    nugget = 1.0
    c = np.zeros(len(places.centres))
    if np.isfinite(variogram.sill) and variogram.partial_sill > 0:
        nugget = max(variogram.nugget / variogram.sill, least_nugget)
        rise = (variogram.gamma(places.centres) - variogram.nugget) / variogram.partial_sill
        c = (1.0 - nugget) * (1.0 - np.where(places.centres > 0, rise, 0.0))
    # bin 0 holds a sample with itself and others at its place: they share all but the nugget,
    # which each sample has on its own
    out = np.moveaxis(places.pairs @ c.astype(np.float32), 2, 0).astype(float)
    total = np.diff(places.size, axis=0, prepend=0)
    share = counts / np.maximum(total, 1)  # missing members take their pairs with them
    out *= share.T[:, :, None] * share.T[:, None, :]
    ring = np.arange(len(total))
    own = counts * (nugget + (1.0 - nugget) * (1.0 - share))
    out[:, ring, ring] += own.T + 1e-6
    return out


def _of_the_largest(
    top: FloatArray, correlation: FloatArray, n_draws: int, seed: int
) -> FloatArray:
    """Turn the largest of correlated z-scores into one z-score of its own."""
    from scipy.special import ndtr

    m = len(correlation)
    if m == 1 or not np.isfinite(top).any():
        return top
    rng = np.random.default_rng(seed)
    value, vector = np.linalg.eigh(correlation)
    root = vector * np.sqrt(np.maximum(value, 0.0))
    largest = np.sort((rng.standard_normal((n_draws, m)) @ root.T).max(axis=1))
    probability = (np.arange(n_draws) + 0.5) / n_draws
    grid = np.linspace(-3.0, 3.0, 121)
    knot = np.interp(ndtr(grid), probability, largest)
    # beyond the knots the shift between the two scales is kept
    out = np.interp(top, knot, grid)
    out = np.where(top > knot[-1], grid[-1] + (top - knot[-1]), out)
    out = np.where(top < knot[0], grid[0] + (top - knot[0]), out)
    return np.where(np.isfinite(top), out, np.nan)
