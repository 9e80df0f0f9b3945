"""Coherence over several scales: is a score high together with its neighbours.

The sum of the scores in a neighbourhood is compared with what a barren field of the same
continuity gives. For a Gaussian field with a known variogram that null needs no simulation: the
variance of the sum follows from the covariance of all pairs in the neighbourhood, and the
largest of several scales follows from the correlation of the sums. Tests hold it against simulated
fields. Neighbourhoods are taken in spacing-scaled coordinates, distances for the covariance in
metres; dense infill, gaps and repeated positions therefore get the variance they deserve.

What lives here: arrays in, z-scores out. What does not: scoring, fitting of variograms
(`variogram`), drawing of fields (`random_fields`).
To add another shape of neighbourhood: `neighbourhoods`. Test to copy:
`tests/stats/test_scale_scan.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.stats.variogram import Variogram

    FloatArray = npt.NDArray[np.float64]

#: bins of pair distance; the first one is distance 0 (a sample with itself, or at one place)
_BINS = 40
#: pairs are measured in portions of about this many
_PORTION = 4_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Neighbourhoods:
    """Nested neighbourhoods of all samples, and how far apart their members stand.

    Parameters
    ----------
    index : ndarray of int, shape (n, k)
        Members, nearest first, the sample itself included; n where there is none.
    size : ndarray of int, shape (n_scales, n)
        How many of them belong to each scale.
    radii : tuple of float
        Radii in scaled units, ascending.
    pairs : ndarray, shape (n_scales, n_scales, n, n_bins)
        Number of pairs (member of one scale, member of another) per distance bin.
    centres : ndarray, shape (n_bins,)
        Middle of the bins; the first is 0. [m]
    """

    index: npt.NDArray[np.intp]
    size: npt.NDArray[np.intp]
    radii: tuple[float, ...]
    pairs: npt.NDArray[np.float32]
    centres: FloatArray


def neighbourhoods(
    scaled: npt.ArrayLike,
    metres: npt.ArrayLike,
    radii: Sequence[float] = (1.5, 2.5, 4.0),
    *,
    max_members: int = 64,
) -> Neighbourhoods:
    """Find the members of nested neighbourhoods and count their pairs by distance.

    Parameters
    ----------
    scaled : array_like, shape (n, 2)
        Spacing-scaled coordinates: decide who belongs.
    metres : array_like, shape (n, 2)
        Easting and northing: decide the covariance. [m]
    radii : sequence of float, default (1.5, 2.5, 4.0)
        In scaled units; on a regular grid 9, 21 and 49 samples.
    max_members : int, default 64
        In dense infill only that many nearest samples belong, so the neighbourhood is narrower.

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
            np.empty((0, 0), np.intp), np.empty((r.size, 0), np.intp), tuple(r.tolist()),
            np.empty((r.size, r.size, 0, _BINS), np.float32), np.zeros(_BINS),
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
    return Neighbourhoods(index, size, tuple(r.tolist()), pairs, centres)


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
    for first in range(0, n, step):
        rows = slice(first, min(first + step, n))
        m = rows.stop - first
        member = (padded[index[rows]] - padded[rows][:, None]).astype(np.float32)
        square = (member[:, first_of, 0] - member[:, second_of, 0]) ** 2
        square += (member[:, first_of, 1] - member[:, second_of, 1]) ** 2
        known = np.isfinite(square)
        h = np.sqrt(np.where(known, square, 0.0), dtype=np.float32)
        bins = np.minimum((h * np.float32(1.0 / width)).astype(np.int32) + 1, _BINS - 1)
        bins[h <= 1e-3] = 0  # one place
        # the ring of a member is the smallest scale it belongs to; cumulating rings gives scales
        position = np.arange(k)[None, :, None]
        ring = (position >= size[:, rows].T[:, None, :]).sum(axis=2).astype(np.int32)
        ring = np.minimum(ring, n_scales - 1)
        flat = (ring[:, first_of] * n_scales + ring[:, second_of]) * _BINS + bins
        flat += (np.arange(m, dtype=np.int32) * cells)[:, None]
        count = np.bincount(flat[known], minlength=m * cells).reshape(m, n_scales, n_scales, _BINS)
        count = count + count.transpose(0, 2, 1, 3)
        count[:, own, own, 0] += np.diff(size[:, rows], axis=0, prepend=0).T
        out[:, :, rows, :] = count.cumsum(axis=1).cumsum(axis=2).transpose(1, 2, 0, 3)
    return out


def coherence(
    scores: npt.ArrayLike,
    places: Neighbourhoods,
    variogram: Variogram,
    *,
    n_draws: int = 50_000,
    seed: int = 1,
) -> FloatArray:
    """Score how high a neighbourhood stands above a barren field, over all scales at once.

    Parameters
    ----------
    scores : array_like, shape (n,)
        About N(0, 1) in background; NaN is missing and counts for no neighbour.
    places : Neighbourhoods
        Of the same samples.
    variogram : Variogram
        Of the scores in background, in metres; only its shape counts, the variance is taken as
        one.
    n_draws : int, default 50000
        Draws for the distribution of the largest of the scales.
    seed : int, default 1
        Of these draws.

    Returns
    -------
    ndarray, shape (n,)
        About N(0, 1) on barren ground (each sample on its own); NaN where fewer than three
        scores stand in the widest neighbourhood.

    Raises
    ------
    WrongCall
        If the shapes do not fit.
    """
    by_scale, correlation = scale_scores(scores, places, variogram)
    enough = np.isfinite(by_scale).any(axis=0)
    top = np.where(enough, np.nanmax(np.where(enough, by_scale, 0.0), axis=0), np.nan)
    return _of_the_largest(top, correlation, n_draws, seed)


def scale_scores(
    scores: npt.ArrayLike, places: Neighbourhoods, variogram: Variogram
) -> tuple[FloatArray, FloatArray]:
    """Standardise the neighbourhood sums of each scale by the null of the variogram.

    Parameters
    ----------
    scores, places, variogram
        As for `coherence`.

    Returns
    -------
    by_scale : ndarray, shape (n_scales, n)
        z-score per scale; NaN where fewer than three scores stand in the widest neighbourhood.
    correlation : ndarray, shape (n_scales, n_scales)
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
    known = np.isfinite(s)
    padded = np.append(np.where(known, s, 0.0), 0.0)
    running = np.cumsum(padded[places.index], axis=1)
    if known.all():
        counts = places.size
    else:
        running_n = np.cumsum(np.append(known, False)[places.index], axis=1, dtype=np.int32)
        counts = np.array([running_n[np.arange(n), m - 1] for m in places.size])
    if variogram.sill > 0 and np.isfinite(variogram.sill):
        c = 1.0 - variogram.gamma(places.centres) / variogram.sill
        own_nugget = variogram.nugget / variogram.sill
    else:
        c = np.where(places.centres > 0, 0.0, 1.0)
        own_nugget = 1.0
    # bin 0 holds a sample with itself (all of the variance) and others at its place (not the
    # nugget); of a neighbourhood of m members m pairs are with themselves
    shared = 1.0 - own_nugget
    n_scales = len(places.radii)
    covariance = np.zeros((n_scales, n_scales, n))
    for a in range(n_scales):
        for b in range(a, n_scales):
            hist = places.pairs[a, b]
            inner = np.minimum(places.size[a], places.size[b])
            covariance[a, b] = hist[:, 1:] @ c[1:].astype(np.float32)
            covariance[a, b] += hist[:, 0] * shared + inner * own_nugget
            covariance[b, a] = covariance[a, b]
    by_scale = np.full((n_scales, n), np.nan)
    enough = counts[-1] >= 3
    for a in range(n_scales):
        total = running[np.arange(n), places.size[a] - 1]
        count = counts[a]
        # a missing member takes its share of the variance with it (exact without correlation)
        share = np.maximum(count, 1) / np.maximum(places.size[a], 1)
        spread = np.sqrt(np.maximum(covariance[a, a], 1e-12) * share ** np.where(share < 1, 2, 1))
        spread = np.where(share < 1, np.maximum(spread, np.sqrt(np.maximum(count, 1))), spread)
        by_scale[a] = np.where(enough & (count > 0), total / spread, np.nan)
    correlation = np.eye(n_scales)
    for a in range(n_scales):
        for b in range(a + 1, n_scales):
            with np.errstate(invalid="ignore", divide="ignore"):
                r = covariance[a, b] / np.sqrt(covariance[a, a] * covariance[b, b])
            use = enough & np.isfinite(r)
            correlation[a, b] = correlation[b, a] = np.median(r[use]) if use.any() else 1.0
    return by_scale, np.clip(correlation, -1.0, 1.0)


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
