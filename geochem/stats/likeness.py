"""How alike neighbours are, and how much wider that makes an interval.

Values of neighbouring samples repeat one another, so an interval that takes them as independent is
too narrow. How the likeness falls with distance is fitted to the normal scores of the values; how
much of it an estimate feels follows from what each value adds to it: a median feels the likeness
itself, a count in the tail only part of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Places = npt.NDArray[np.intp]

#: fewer samples say nothing of likeness
FEW = 30
#: distances looked at for one set of places, and pairs kept per class of distance
_DISTANCES, _PAIRS = 600_000, 2_500
#: samples whose nearest neighbours are looked up
_ASKED = 4_000
#: growth of the classes of distance: coarse ones for fitting, fine ones for summing
_COARSE, _FINE = 1.35, 1.12
#: terms of the Hermite series
_TERMS = 8
#: longest range, in half diagonals of the ground: what reaches further is its regional pattern
_LONGEST = 0.25
#: fewest independent samples that a survey is taken for
_INDEPENDENT = 12.0
#: gain in chi-square that likeness must bring to be believed: three parameters, one in a hundred
_GAIN = 11.3
#: the inflation scatters as if from so many independent samples per degree of freedom (our
#: simulations of grids and scattered samples, ranges of one to six spacings)
_PER_FREEDOM = 7.0


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """Distances between the samples of one set of places; all elements share it.

    Parameters
    ----------
    first, second, lag : ndarray of int, shape (n_pairs,)
        Pairs of places, and the class of their distance.
    weight : ndarray, shape (n_lags,)
        Of each class in the fit.
    near, far : ndarray, shape (n_models, n_lags), (n_models, n_bins)
        Likeness that each model gives to the classes of the pairs, and to finer ones that hold all
        pairs.
    total : ndarray, shape (n_bins,)
        Weighted number of neighbours per sample in the finer classes.
    """

    first: Places
    second: Places
    lag: Places
    weight: Array
    near: Array
    far: Array
    total: Array


def surroundings(coordinates: Array, weights: Array | None = None) -> Surroundings | None:
    """Gather pairs of places by distance.

    Parameters
    ----------
    coordinates : ndarray, shape (n, 2)
        Easting, northing, finite, in an order of their own: pairs are taken evenly along it. [m]
    weights : ndarray, shape (n,), optional
        Declustering weights.

    Returns
    -------
    Surroundings or None
        None with fewer than 30 samples or all at one place.
    """
    from scipy.spatial import cKDTree

    n = len(coordinates)
    if n < FEW:
        return None
    w = np.ones(n) if weights is None else weights
    xy = coordinates - coordinates.min(axis=0)
    east, north = xy.max(axis=0)
    reach = float(np.hypot(east, north)) / 2
    if not reach > 0:
        return None
    spacing = float(np.sqrt(max(east * north, 1e-4 * reach**2) / n))
    some = _evenly(n, max(_DISTANCES // n, 24))
    first, second = np.repeat(some, n), np.tile(np.arange(n), some.size)
    apart = np.hypot(
        (xy[some, 0][:, None] - xy[:, 0]).ravel(), (xy[some, 1][:, None] - xy[:, 1]).ravel()
    )
    other = first != second
    first, second, apart = first[other], second[other], apart[other]
    least = 0.6 * spacing
    total, at = _classes(apart, w[first] * w[second], least, _FINE)
    total = total / float((w[some] ** 2).sum())
    # many more near pairs than those few samples have
    asked = _evenly(n, _ASKED)
    away, near = cKDTree(xy).query(xy[asked], k=9)
    closer = np.repeat(asked, 8), near[:, 1:].ravel(), away[:, 1:].ravel()
    inside = apart <= reach
    first, second, apart = (
        np.concatenate([a[inside], b]) for a, b in zip((first, second, apart), closer, strict=True)
    )
    chosen, lag, mean = _pairs(apart, 1.2 * spacing, reach)
    ranges = spacing * np.geomspace(0.7, max(_LONGEST * reach / spacing, 2.0), 20)
    pairs = np.bincount(lag, minlength=len(mean))
    models = [np.vstack([_exponential(h, ranges), _spherical(h, ranges)]) for h in (mean, at)]
    return Surroundings(
        first[chosen], second[chosen], lag, pairs * mean[0] / mean, models[0], models[1], total
    )


def _evenly(n: int, most: int) -> Places:
    return np.unique(np.linspace(0, n - 1, min(n, most)).astype(np.intp))


def _classes(apart: Array, share: Array, least: float, growth: float) -> tuple[Array, Array]:
    """Weight and mean distance of classes of distance that grow by a factor."""
    number = np.log(np.maximum(apart, least) / least) / np.log(growth)
    k = number.astype(np.int64)
    total = np.bincount(k, weights=share)
    mean = np.bincount(k, weights=share * apart)
    full = total > 0
    return np.asarray(total[full], dtype=float), np.asarray(mean[full] / total[full])


def _pairs(apart: Array, least: float, reach: float) -> tuple[Places, Places, Array]:
    """Choose pairs of each class of distance; give them, their class, and its mean distance."""
    number = np.log(np.maximum(apart, least) / least) / np.log(_COARSE)
    k = np.where(apart <= least, 0, number.astype(np.int64) + 1)
    order = np.argsort(k, kind="stable")
    edges = np.searchsorted(k[order], np.arange(int(k.max()) + 2))
    chosen, lag = [], []
    mean: list[float] = []
    for a, b in pairwise(edges.tolist()):
        if b - a < FEW:
            continue
        take = order[np.linspace(a, b - 1, min(b - a, _PAIRS)).astype(np.intp)]
        chosen.append(take)
        lag.append(np.full(take.size, len(mean), dtype=np.intp))
        mean.append(max(float(apart[take].mean()), 1e-9 * reach))
    return np.concatenate(chosen), np.concatenate(lag), np.array(mean)


def _exponential(h: Array, ranges: Array) -> Array:
    return np.asarray(np.exp(-h / ranges[:, None]))


def _spherical(h: Array, ranges: Array) -> Array:
    t = np.minimum(h / ranges[:, None], 1.0)
    return np.asarray(1 - 1.5 * t + 0.5 * t**3)


def summed_likeness(scores: Array, around: Surroundings) -> Array:
    """Fit how alike neighbours are and sum it up over all neighbours of a sample.

    Parameters
    ----------
    scores : ndarray, shape (n,)
        Normal scores of the values at the places.
    around : Surroundings
        Of the places.

    Returns
    -------
    ndarray, shape (8,)
        Sum over the sample itself and all others of the first to eighth power of the correlation.

    Notes
    -----
    Exponential and spherical models with a nugget; scores have the mean of the survey taken off,
    which lowers every correlation by that of the mean, so the fit puts it back.
    """
    spread = float(scores @ scores)
    if not spread > 0:  # all values are equal
        return np.ones(_TERMS)
    n_lags = len(around.weight)
    product = np.bincount(
        around.lag, weights=scores[around.first] * scores[around.second], minlength=n_lags
    )
    pairs = np.bincount(around.lag, minlength=n_lags)
    seen = product / pairs / spread * scores.size
    share = around.total / around.total.sum()
    u = around.near - (around.far @ share)[:, None] * (1 - seen)
    w = around.weight
    sill = np.clip((u @ (w * seen)) / np.maximum((u * u) @ w, 1e-12), 0.0, 1.0)
    miss = ((seen - sill[:, None] * u) ** 2) @ w
    best = int(np.argmin(miss))
    # of independent values the correlation of so many pairs scatters by one over their root
    gain = float(pairs @ (seen**2 - (seen - sill[best] * u[best]) ** 2))
    alike = sill[best] * around.far[best] * (gain > _GAIN)
    return 1 + np.array([float(around.total @ alike**k) for k in range(1, _TERMS + 1)])


def inflation(
    influence: Array, scores: Array, summed: Array, weights: Array | None = None
) -> float:
    """Say how much wider an interval is because neighbours are alike.

    Parameters
    ----------
    influence : ndarray, shape (n,)
        What each value adds to the estimate, up to a factor; it is centred here.
    scores : ndarray, shape (n,)
        Normal scores of the values.
    summed : ndarray, shape (8,)
        From `summed_likeness`.
    weights : ndarray, shape (n,), optional
        Of the values.

    Returns
    -------
    float
        Root of the design effect, times the ratio of Student's to the normal 95 % quantile, because
        the design effect is itself an estimate; at least one. [-]

    References
    ----------
    .. [1] Kish 1965, Survey Sampling, Wiley (design effect); Cressie 1993, Statistics for Spatial
       Data, Wiley, section 1.3 (effective number of alike samples); Chiles & Delfiner 2012,
       Geostatistics, Wiley, section 6.4 (Hermite polynomials: the covariance of a function of
       normal scores).
    """
    w = np.ones(influence.size) if weights is None else weights
    w = w / w.sum()
    d = influence - float(w @ influence)
    whole = float(w @ (d * d))
    if not whole > 0:
        return 1.0
    part = np.array([float(w @ (d * h)) ** 2 for h in _hermite(scores)]) / whole
    part *= 1 / max(float(part.sum()), 1.0)
    summed = np.minimum(summed, max(influence.size / _INDEPENDENT, 1.0))
    effect = max(float(part @ summed) + 1 - float(part.sum()), 1.0)
    freedom = max(influence.size / float(summed[0]) / _PER_FREEDOM, 2.0)
    # the last digits depend on the order of rows: they are cut
    return round(float(np.sqrt(effect)) * (_student(freedom) if effect > 1 else 1.0), 9)


def _hermite(z: Array) -> list[Array]:
    """Hermite polynomials of order 1 to 8, of unit variance under the normal distribution."""
    out = [np.ones_like(z), z]
    for k in range(1, _TERMS):
        out.append((z * out[k] - np.sqrt(k) * out[k - 1]) / np.sqrt(k + 1))
    return out[1:]


def _student(freedom: float) -> float:
    """Ratio of Student's 95 % quantile to the normal one (Cornish and Fisher's first terms)."""
    z = 1.6448536
    return 1 + (z * z + 1) / (4 * freedom) + (5 * z**4 + 16 * z * z + 3) / (96 * freedom**2)
