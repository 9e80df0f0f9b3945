"""Experimental variograms: half the mean squared difference of pairs, by distance and direction.

What lives here: pairs, bins, the classical and two robust estimators, directions. Coordinates are
shifted to their corner first, so that large projected coordinates lose no digits. What does not:
records and shapes (`variogram_model`), fits (`variogram_fit`), kriging, simulation
(`random_fields`).
Test to copy: `tests/stats/test_variogram.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from geochem.errors import WrongCall, unknown
from geochem.optional import available
from geochem.stats.variogram_fit import fit_anisotropy, fit_variogram
from geochem.stats.variogram_model import (
    ExperimentalVariogram,
    Structure,
    Variogram,
    model_value,
)

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

__all__ = [
    "ExperimentalVariogram", "Structure", "Variogram", "directional_variograms",
    "experimental_variogram", "fit_anisotropy", "fit_variogram", "model_value",
]  # fmt: skip

Estimator = Literal["matheron", "cressie_hawkins", "dowd"]
ESTIMATORS = ("matheron", "cressie_hawkins", "dowd")
Tier = Literal["auto", "numpy", "numba"]
#: pairs from which compiling pays
_WORTH_COMPILING = 2.0e8
_ROWS = 128


def experimental_variogram(
    xy: npt.ArrayLike,
    values: npt.ArrayLike,
    *,
    cutoff: float | None = None,
    n_bins: int = 15,
    estimator: Estimator = "matheron",
    azimuth: float | None = None,
    tolerance: float = 22.5,
    bandwidth: float | None = None,
    max_points: int = 12_000,
    seed: int = 1,
    tier: Tier = "auto",
) -> ExperimentalVariogram:
    """Compute an experimental variogram, of all directions or of one.

    Parameters
    ----------
    xy : array_like, shape (n, 2)
        Easting and northing. [m]
    values : array_like, shape (n,)
        One variable; rows with NaN are left out.
    cutoff : float, optional
        Largest distance; default a third of the diagonal of the samples' box. [m]
    n_bins : int, default 15
        Bins of equal width up to `cutoff`.
    estimator : {"matheron", "cressie_hawkins", "dowd"}, default "matheron"
        Classical mean of squares, the robust fourth power of mean root differences, or the
        median of differences.
    azimuth : float, optional
        Only pairs along this direction, clockwise from grid north; default all. [degree]
    tolerance : float, default 22.5
        Largest deviation of a pair from `azimuth`, either side. [degree]
    bandwidth : float, optional
        Largest distance of a pair's end from the line along `azimuth`. [m]
    max_points : int, default 12000
        Of more samples that many are drawn at random, without replacement.
    seed : int, default 1
        Of that draw; the samples are put in order of position first, so that row order does not
        matter.
    tier : {"auto", "numpy", "numba"}, default "auto"
        ``numba`` needs the extra 'fast'; ``auto`` takes it for large work. Sums differ only by
        rounding. The median of differences and directions are always computed by numpy.

    Returns
    -------
    ExperimentalVariogram
        Bins without pairs are left out; pairs at one place count in none.

    Raises
    ------
    WrongCall
        If shapes do not fit or an option is not known.

    References
    ----------
    Matheron, G. 1963. Principles of geostatistics. Economic Geology 58:1246-1266.
    Cressie, N. and Hawkins, D. M. 1980. Robust estimation of the variogram: I. Mathematical
    Geology 12:115-125.
    Dowd, P. A. 1984. The variogram and kriging: robust and resistant estimators. In Geostatistics
    for natural resources characterization, Reidel, 91-106.
    """
    direction = None if azimuth is None else (float(azimuth), float(tolerance), bandwidth)
    points, z, reach = _prepared(xy, values, cutoff, n_bins, estimator, max_points, seed)
    pairs = 0.5 * len(z) ** 2
    if tier not in ("auto", "numpy", "numba"):
        raise unknown("tier", str(tier), ["auto", "numpy", "numba"])
    compiled = tier == "numba" or (
        tier == "auto" and pairs > _WORTH_COMPILING and available("numba")
    )
    if compiled and direction is None and estimator != "dowd" and len(z) > 1 and reach > 0:
        from geochem.stats.variogram_compiled import pair_sums

        count, total_h, total_d = pair_sums(
            points, z, reach, n_bins, squares=estimator == "matheron"
        )
    else:
        count, total_h, total_d = _pair_sums(points, z, reach, n_bins, estimator, direction)
    return _binned(count, total_h, total_d, z, reach, n_bins, estimator, direction)


def directional_variograms(
    xy: npt.ArrayLike,
    values: npt.ArrayLike,
    *,
    n_directions: int = 6,
    cutoff: float | None = None,
    n_bins: int = 12,
    estimator: Estimator = "matheron",
    max_points: int = 4000,
    seed: int = 1,
) -> tuple[ExperimentalVariogram, ...]:
    """Compute variograms in directions that share the half circle evenly.

    Parameters
    ----------
    xy, values
        As in `experimental_variogram`.
    n_directions : int, default 6
        Azimuths 0, 180 / n, ...; every pair falls in one of them.
    cutoff, n_bins, estimator, max_points, seed
        As in `experimental_variogram`.

    Returns
    -------
    tuple of ExperimentalVariogram
        By azimuth.
    """
    if n_directions < 2:
        raise WrongCall(f"n_directions is {n_directions}; at least two are needed.")
    points, z, reach = _prepared(xy, values, cutoff, n_bins, estimator, max_points, seed)
    half = 90.0 / n_directions
    found = []
    for azimuth in np.arange(n_directions) * 2.0 * half:
        direction = (float(azimuth), half, None)
        sums = _pair_sums(points, z, reach, n_bins, estimator, direction)
        found.append(_binned(*sums, z, reach, n_bins, estimator, direction))
    return tuple(found)


def _prepared(
    xy: npt.ArrayLike,
    values: npt.ArrayLike,
    cutoff: float | None,
    n_bins: int,
    estimator: str,
    max_points: int,
    seed: int,
) -> tuple[FloatArray, FloatArray, float]:
    """Check, leave out gaps, sort by position, thin, shift to the corner."""
    points, z = np.asarray(xy, dtype=float), np.asarray(values, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2 or z.shape != (len(points),):
        raise WrongCall(
            f"coordinates have shape {points.shape} and values {z.shape}; (n, 2) and (n,) are "
            "needed."
        )
    if estimator not in ESTIMATORS:
        raise unknown("variogram estimator", str(estimator), ESTIMATORS)
    if n_bins < 1:
        raise WrongCall(f"n_bins is {n_bins}; at least one bin is needed.")
    keep = np.isfinite(z) & np.isfinite(points).all(axis=1)
    points, z = points[keep], z[keep]
    order = np.lexsort([z, points[:, 1], points[:, 0]])
    points, z = points[order], z[order]
    if len(z) > max_points:
        drawn = np.sort(np.random.default_rng(seed).choice(len(z), max_points, replace=False))
        points, z = points[drawn], z[drawn]
    if not len(z):
        return points, z, 0.0 if cutoff is None else float(cutoff)
    box = points.max(axis=0) - points.min(axis=0)
    reach = float(np.hypot(*box)) / 3.0 if cutoff is None else float(cutoff)
    return points - points.min(axis=0), z, reach


def _binned(
    count: FloatArray,
    total_h: FloatArray,
    total_d: FloatArray,
    z: FloatArray,
    reach: float,
    n_bins: int,
    estimator: str,
    direction: tuple[float, float, float | None] | None,
) -> ExperimentalVariogram:
    used = count > 0
    n = count[used]
    if estimator == "dowd":
        gamma = 0.5 * 2.198 * total_d[used] ** 2  # here the medians themselves
    elif estimator == "cressie_hawkins":
        gamma = 0.5 * (total_d[used] / n) ** 4 / (0.457 + 0.494 / n)
    else:
        gamma = 0.5 * total_d[used] / n
    return ExperimentalVariogram(
        distance=total_h[used] / n,
        gamma=gamma,
        pairs=n.astype(np.int64),
        edges=np.linspace(0.0, reach, n_bins + 1),
        estimator=estimator,
        n=len(z),
        variance=float(z.var()) if len(z) else float("nan"),
        azimuth=float("nan") if direction is None else direction[0],
        tolerance=90.0 if direction is None else direction[1],
    )


def _pair_sums(
    points: FloatArray,
    z: FloatArray,
    cutoff: float,
    n_bins: int,
    estimator: str,
    direction: tuple[float, float, float | None] | None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sum count, distance and difference per bin (Dowd: median of differences).

    Rows come sorted by easting, so that a block of rows meets only a window of partners.
    """
    count, total_h, total_d = np.zeros(n_bins), np.zeros(n_bins), np.zeros(n_bins)
    n = len(z)
    if n < 2 or not cutoff > 0:
        return count, total_h, total_d
    kept: list[list[FloatArray]] = [[] for _ in range(n_bins)]
    x, y = points[:, 0], points[:, 1]
    last = np.searchsorted(x, x + cutoff, side="right")
    width = cutoff / n_bins
    for first in range(0, n - 1, _ROWS):
        rows = slice(first, min(first + _ROWS, n))
        columns = slice(first + 1, int(last[rows.stop - 1]))
        dx = x[None, columns] - x[rows, None]
        dy = y[None, columns] - y[rows, None]
        square = dx * dx
        square += dy * dy
        near = (square > 0) & (square <= cutoff**2)
        # each pair once: only partners that stand later in the order
        block = rows.stop - first
        near[:, : block - 1] &= np.arange(1, block)[None, :] > np.arange(block)[:, None]
        if direction is not None:
            near &= _along(dx, dy, square, direction)
        at = np.flatnonzero(near)
        h = np.sqrt(square.ravel()[at])
        d = (z[rows, None] - z[None, columns]).ravel()[at]
        d = d * d if estimator == "matheron" else np.abs(d)
        if estimator == "cressie_hawkins":
            d = np.sqrt(d)
        which = np.minimum(np.ceil(h / width).astype(np.intp) - 1, n_bins - 1)
        count += np.bincount(which, minlength=n_bins)
        total_h += np.bincount(which, weights=h, minlength=n_bins)
        if estimator == "dowd":
            for b in np.unique(which).tolist():
                kept[b].append(d[which == b])
        else:
            total_d += np.bincount(which, weights=d, minlength=n_bins)
    if estimator == "dowd":
        for b in np.flatnonzero(count).tolist():
            total_d[b] = np.median(np.concatenate(kept[b]))
    return count, total_h, total_d


def _along(
    dx: FloatArray,
    dy: FloatArray,
    square: FloatArray,
    direction: tuple[float, float, float | None],
) -> npt.NDArray[np.bool_]:
    """Say which pairs lie along a direction, lower edge of the sector included, upper not."""
    azimuth, tolerance, bandwidth = direction
    angle = np.deg2rad(azimuth)
    across = dx * np.cos(angle) - dy * np.sin(angle)
    along = dx * np.sin(angle) + dy * np.cos(angle)
    if tolerance >= 90:
        inside = np.ones(dx.shape, dtype=bool)
    else:
        # the deviation is measured clockwise; a pair is the same seen from either end
        clockwise = np.where(along >= 0, across, -across)
        edge = np.tan(np.deg2rad(tolerance)) * np.abs(along)
        slack = 1e-9 * np.sqrt(square)
        inside = (clockwise >= -edge - slack) & (clockwise < edge - slack)
    return inside if bandwidth is None else inside & (np.abs(across) <= bandwidth)
