"""Experimental variograms and their models.

What lives here: pairs, bins, the classical and a robust estimator, weighted least-squares fits of
nugget + spherical / exponential / gaussian, and the record `Variogram`. What does not: kriging,
simulation (`random_fields`).
A sill is the *total* sill, nugget included; `Variogram.partial_sill` is the difference.
To add a model: one entry in `_SHAPES`. Test to copy: `tests/stats/test_variogram.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from geochem.errors import WrongCall, unknown

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

Estimator = Literal["matheron", "cressie_hawkins"]
Weighting = Literal["n/h2", "n", "n/gamma2"]


def _spherical(r: FloatArray) -> FloatArray:
    r = np.minimum(r, 1.0)
    return 1.5 * r - 0.5 * r**3


def _exponential(r: FloatArray) -> FloatArray:
    return -np.expm1(-r)


def _gaussian(r: FloatArray) -> FloatArray:
    return -np.expm1(-(r**2))


#: model -> rise from 0 to 1 as a function of distance / range parameter
_SHAPES: dict[str, Callable[[FloatArray], FloatArray]] = {
    "spherical": _spherical,
    "exponential": _exponential,
    "gaussian": _gaussian,
}

#: distance at which 95 % of the rise is reached, in range parameters (spherical: all of it)
_PRACTICAL = {"spherical": 1.0, "exponential": 3.0, "gaussian": float(np.sqrt(3.0))}


@dataclass(frozen=True, slots=True, eq=False)
class ExperimentalVariogram:
    """Half the mean squared difference of pairs, by distance.

    Parameters
    ----------
    distance, gamma : ndarray, shape (n_bins,)
        Mean distance of the pairs of a bin [m] and semivariance; empty bins are left out.
    pairs : ndarray of int, shape (n_bins,)
        Pairs per bin.
    edges : ndarray
        Edges of all bins, lower excluded and upper included. [m]
    estimator : str
        How `gamma` was computed.
    n : int
        Samples used.
    variance : float
        Of the samples used.
    """

    distance: FloatArray
    gamma: FloatArray
    pairs: npt.NDArray[np.int64]
    edges: FloatArray
    estimator: str
    n: int
    variance: float


@dataclass(frozen=True, slots=True, eq=False)
class Variogram:
    """Nugget and one structure.

    Parameters
    ----------
    model : str
        ``spherical``, ``exponential`` or ``gaussian``.
    nugget, sill : float
        Nugget and total sill (nugget included), in squared units of the values.
    range_m : float
        Range parameter: exponential ``1 - exp(-h / range_m)``, gaussian
        ``1 - exp(-(h / range_m) ** 2)``, spherical reached at `range_m`. [m]
    error : float
        Root weighted mean square of what the fit leaves, as a share of the sill. [-]
    experimental : ExperimentalVariogram, optional
        What it was fitted to.
    details : mapping
        Weighting, bounds, reference.
    """

    model: str
    nugget: float
    sill: float
    range_m: float
    error: float = float("nan")
    experimental: ExperimentalVariogram | None = None
    details: Mapping[str, Any] = field(default_factory=dict)

    @property
    def partial_sill(self) -> float:
        """Sill without the nugget."""
        return self.sill - self.nugget

    @property
    def practical_range(self) -> float:
        """Distance at which 95 % (spherical: all) of the structure is reached, in metres."""
        return self.range_m * _PRACTICAL[self.model]

    def gamma(self, h: npt.ArrayLike) -> FloatArray:
        """Give the semivariance at distances `h` [m]; 0 at distance 0."""
        return model_value(self.model, h, self.nugget, self.sill, self.range_m)

    def covariance(self, h: npt.ArrayLike) -> FloatArray:
        """Give the covariance at distances `h` [m]; the sill at distance 0."""
        return self.sill - self.gamma(h)


def model_value(
    model: str, h: npt.ArrayLike, nugget: float, sill: float, range_m: float
) -> FloatArray:
    """Evaluate a variogram model.

    Parameters
    ----------
    model : {"spherical", "exponential", "gaussian"}
        Name of the model.
    h : array_like
        Distances. [m]
    nugget, sill : float
        Nugget and total sill.
    range_m : float
        Range parameter. [m]

    Returns
    -------
    ndarray, shape as `h`
        Semivariance; 0 at distance 0.

    Raises
    ------
    WrongCall
        If the model is not known.

    Examples
    --------
    >>> model_value("spherical", [0, 2.5, 5, 12], 0.1, 1.0, 10.0).round(6).tolist()
    [0.0, 0.430469, 0.71875, 1.0]
    """
    if model not in _SHAPES:
        raise unknown("variogram model", model, _SHAPES)
    distance = np.asarray(h, dtype=float)
    rise = _SHAPES[model](distance / range_m) if range_m > 0 else np.ones_like(distance)
    return np.where(distance > 0, nugget + (sill - nugget) * rise, 0.0)


def experimental_variogram(
    xy: npt.ArrayLike,
    values: npt.ArrayLike,
    *,
    cutoff: float | None = None,
    n_bins: int = 15,
    estimator: Estimator = "matheron",
    max_points: int = 12_000,
    seed: int = 1,
) -> ExperimentalVariogram:
    """Compute an omnidirectional experimental variogram.

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
    estimator : {"matheron", "cressie_hawkins"}, default "matheron"
        Classical mean of squares, or the robust one of fourth powers of mean root differences.
    max_points : int, default 12000
        Of more samples that many are drawn at random, without replacement.
    seed : int, default 1
        Of that draw; the samples are put in order of position first, so that row order does not
        matter.

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
    """
    points, z = np.asarray(xy, dtype=float), np.asarray(values, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2 or z.shape != (len(points),):
        raise WrongCall(
            f"coordinates have shape {points.shape} and values {z.shape}; (n, 2) and (n,) are "
            "needed."
        )
    if estimator not in ("matheron", "cressie_hawkins"):
        raise unknown("variogram estimator", str(estimator), ["matheron", "cressie_hawkins"])
    if n_bins < 1:
        raise WrongCall(f"n_bins is {n_bins}; at least one bin is needed.")
    keep = np.isfinite(z) & np.isfinite(points).all(axis=1)
    points, z = points[keep], z[keep]
    order = np.lexsort([z, points[:, 1], points[:, 0]])
    points, z = points[order], z[order]
    if len(z) > max_points:
        drawn = np.sort(np.random.default_rng(seed).choice(len(z), max_points, replace=False))
        points, z = points[drawn], z[drawn]
    if len(z):
        box = points.max(axis=0) - points.min(axis=0)
        points = points - points.min(axis=0)
        reach = float(np.hypot(*box)) / 3.0 if cutoff is None else float(cutoff)
    else:
        reach = 0.0 if cutoff is None else float(cutoff)
    edges = np.linspace(0.0, reach, n_bins + 1)
    count, total_h, total_d = _pair_sums(points, z, reach, n_bins, estimator)
    used = count > 0
    mean = total_d[used] / count[used]
    robust = estimator == "cressie_hawkins"
    gamma = 0.5 * mean**4 / (0.457 + 0.494 / count[used]) if robust else 0.5 * mean
    return ExperimentalVariogram(
        distance=total_h[used] / count[used],
        gamma=gamma,
        pairs=count[used].astype(np.int64),
        edges=edges,
        estimator=estimator,
        n=len(z),
        variance=float(z.var()) if len(z) else float("nan"),
    )


def _pair_sums(
    points: FloatArray, z: FloatArray, cutoff: float, n_bins: int, estimator: str
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sum count, distance and difference per bin; rows come sorted by easting."""
    count, total_h, total_d = np.zeros(n_bins), np.zeros(n_bins), np.zeros(n_bins)
    n = len(z)
    if n < 2 or not cutoff > 0:
        return count, total_h, total_d
    x = points[:, 0]
    y = points[:, 1]
    last = np.searchsorted(x, x + cutoff, side="right")
    width = cutoff / n_bins
    step = 128
    for first in range(0, n - 1, step):
        rows = slice(first, min(first + step, n))
        columns = slice(first + 1, int(last[rows.stop - 1]))
        square = (x[rows, None] - x[None, columns]) ** 2
        square += (y[rows, None] - y[None, columns]) ** 2
        near = (square > 0) & (square <= cutoff**2)
        # each pair once: only partners that stand later in the order
        block = rows.stop - first
        near[:, : block - 1] &= np.arange(1, block)[None, :] > np.arange(block)[:, None]
        h = np.sqrt(square[near])
        d = (z[rows, None] - z[None, columns])[near]
        d = d * d if estimator == "matheron" else np.sqrt(np.abs(d))
        which = np.minimum(np.ceil(h / width).astype(np.intp) - 1, n_bins - 1)
        count += np.bincount(which, minlength=n_bins)
        total_h += np.bincount(which, weights=h, minlength=n_bins)
        total_d += np.bincount(which, weights=d, minlength=n_bins)
    return count, total_h, total_d


def fit_variogram(
    experimental: ExperimentalVariogram,
    model: str | Sequence[str] = ("spherical", "exponential"),
    *,
    weighting: Weighting = "n/h2",
    max_range: float | None = None,
) -> Variogram:
    """Fit nugget and one structure by weighted least squares.

    For a given range, nugget and partial sill are linear and non-negative and have a closed
    solution; the range is searched on a grid and refined. There is no starting value and so no
    dependence on one.

    Parameters
    ----------
    experimental : ExperimentalVariogram
        Bins.
    model : str or sequence of str
        Model, or several of which the one that fits best is taken.
    weighting : {"n/h2", "n", "n/gamma2"}, default "n/h2"
        Weight of a bin: pairs over squared distance, pairs, or pairs over squared semivariance.
    max_range : float, optional
        Largest range parameter; default twice the largest distance. [m]

    Returns
    -------
    Variogram
        Pure nugget (sill = nugget) when no structure fits better; NaN everywhere when there are
        fewer than three bins.

    Raises
    ------
    WrongCall
        If a model or weighting is not known.

    References
    ----------
    Cressie, N. 1985. Fitting variogram models by weighted least squares. Mathematical Geology
    17:563-586 (weights); the weight pairs / distance^2 is common practice, no source.
    """
    names = [model] if isinstance(model, str) else list(model)
    for name in names:
        if name not in _SHAPES:
            raise unknown("variogram model", name, _SHAPES)
    h, g, n = experimental.distance, experimental.gamma, experimental.pairs.astype(float)
    if weighting == "n/h2":
        w = n / h**2
    elif weighting == "n":
        w = n
    elif weighting == "n/gamma2":
        w = n / np.maximum(g, 1e-12 * max(float(g.max(initial=0.0)), 1e-300)) ** 2
    else:
        raise unknown("weighting", str(weighting), ["n/h2", "n", "n/gamma2"])
    details: dict[str, Any] = {"weighting": weighting, "models_tried": tuple(names)}
    nan = float("nan")
    if len(h) < 3:
        details["reason"] = f"{len(h)} bins with pairs; at least three are needed"
        return Variogram(names[0], nan, nan, nan, nan, experimental, details)
    w = w / w.sum()
    top = 2.0 * float(h.max()) if max_range is None else float(max_range)
    low = min(0.5 * float(h.min()), 0.5 * top)
    best: tuple[float, str, float, float, float] | None = None
    for name in names:
        found = _fit_one(h, g, w, _SHAPES[name], low, top)
        if best is None or found[0] < best[0] * (1 - 1e-9):
            best = (found[0], name, *found[1:])
    assert best is not None
    loss, name, nugget, partial, reach = best
    sill = nugget + partial
    error = float(np.sqrt(loss) / sill) if sill > 0 else nan
    return Variogram(name, nugget, sill, reach, error, experimental, details)


def _fit_one(
    h: FloatArray,
    g: FloatArray,
    w: FloatArray,
    shape: Callable[[FloatArray], FloatArray],
    low: float,
    top: float,
) -> tuple[float, float, float, float]:
    """Give loss, nugget, partial sill and range of the best fit of one shape."""
    from scipy.optimize import minimize_scalar

    def at(log_range: float) -> tuple[float, float, float]:
        return _linear_part(shape(h / np.exp(log_range)), g, w)

    grid = np.linspace(np.log(low), np.log(top), 60)
    losses = np.array([at(v)[0] for v in grid])
    i = int(losses.argmin())
    found = minimize_scalar(
        lambda v: at(v)[0],
        bounds=(grid[max(i - 1, 0)], grid[min(i + 1, len(grid) - 1)]),
        method="bounded",
        options={"xatol": 1e-7},
    )
    log_range = float(found.x) if found.fun <= losses[i] else float(grid[i])
    loss, nugget, partial = at(log_range)
    return loss, nugget, partial, float(np.exp(log_range))


def _linear_part(f: FloatArray, g: FloatArray, w: FloatArray) -> tuple[float, float, float]:
    """Solve min sum w (g - nugget - partial f)^2 with both parts not negative; w sums to one."""
    mean_f, mean_g = float(w @ f), float(w @ g)
    var_f = float(w @ (f - mean_f) ** 2)
    candidates = []
    if var_f > 0:
        partial = float(w @ ((f - mean_f) * (g - mean_g))) / var_f
        candidates.append((mean_g - partial * mean_f, partial))
    square = float(w @ f**2)
    if square > 0:
        candidates.append((0.0, float(w @ (f * g)) / square))
    candidates.append((mean_g, 0.0))
    fits = [(float(w @ (g - a - b * f) ** 2), a, b) for a, b in candidates if a >= 0 and b >= 0]
    return min(fits) if fits else (float(w @ g**2), 0.0, 0.0)
