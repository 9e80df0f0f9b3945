"""Estimate one variable at wanted places, and check it on samples that were left out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import unknown
from geochem.stats.cross_validation import ground_folds, validate
from geochem.stats.inverse_distance import inverse_distance
from geochem.stats.kriging import Kriged, krige, merge_places
from geochem.stats.variogram import (
    Variogram,
    directional_variograms,
    experimental_variogram,
    fit_anisotropy,
    fit_variogram,
)
from geochem.surfaces.options import SurfaceOptions

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]
    Predict = Callable[
        [FloatArray, FloatArray, FloatArray, FloatArray, Any], tuple[FloatArray, Any]
    ]

METHODS = {
    "ordinary_kriging": "Matheron 1963, Economic Geology 58:1246-1266",
    "inverse_distance": "common practice, no source (power 2)",
}
#: standard errors that the gain over the median must exceed, one side of 95 %
_SURE = 1.645
#: at most so many samples are left out one by one
_CHECKED = 1000
_FOLDS = 10
#: samples of the variogram, and of one in several directions
_FOR_VARIOGRAM, _FOR_DIRECTIONS = 4000, 1500


@dataclass(frozen=True, slots=True, eq=False)
class Checks:
    """Cross-validation of one surface: what samples are and what was predicted without them.

    Parameters
    ----------
    true : ndarray, shape (n,)
        Values of the samples.
    predicted, deviation : ndarray, shape (n,)
        Without the sample itself; deviation NaN without kriging.
    blocked, blocked_deviation : ndarray, shape (n,)
        Without the square of ground that it stands in, and the others of its fold.
    by_distance, nearest : ndarray, shape (n,)
        Inverse distance and nearest sample, without the sample itself.
    median : ndarray, shape (n,)
        Median of all samples.
    block_side : float
        Side of the squares. [m]
    """

    true: FloatArray
    predicted: FloatArray
    deviation: FloatArray
    blocked: FloatArray
    blocked_deviation: FloatArray
    by_distance: FloatArray
    nearest: FloatArray
    median: FloatArray
    block_side: float

    def table(self) -> dict[str, float]:
        """Give the numbers under the names that outputs use."""
        one = validate(self.true, self.predicted, self.deviation**2)
        many = validate(self.true, self.blocked, self.blocked_deviation**2)
        return {
            "n": float(one.n),
            "mean_error": one.mean_error,
            "rmse": one.rmse,
            "rmse_of_median": validate(self.true, self.median).rmse,
            "standardised_variance": one.standardised_variance,
            "coverage_50": one.coverage[0],
            "coverage_80": one.coverage[1],
            "coverage_90": one.coverage[2],
            "coverage_95": one.coverage[3],
            "correlation": one.correlation,
            "rmse_blocked": many.rmse,
            "mean_error_blocked": many.mean_error,
            "standardised_variance_blocked": many.standardised_variance,
            "block_side_m": self.block_side,
            "rmse_inverse_distance": validate(self.true, self.by_distance).rmse,
            "rmse_nearest": validate(self.true, self.nearest).rmse,
        }

    def better_than_median(self) -> bool:
        """Say whether squared errors are surely smaller than those of the median.

        The mean difference must exceed 1.645 of its standard errors (paired, one side of 95 %):
        on noise a surface is a little better or worse than the median by chance.
        """
        gain = (self.true - self.median) ** 2 - (self.true - self.predicted) ** 2
        gain = gain[np.isfinite(gain)]
        if len(gain) < 2:
            return False
        return bool(gain.mean() > _SURE * gain.std(ddof=1) / np.sqrt(len(gain)))


def join_checks(parts: Sequence[Checks]) -> Checks:
    """Put the cross-validations of several pieces of ground together.

    Parameters
    ----------
    parts : sequence of Checks
        At least one.

    Returns
    -------
    Checks
        In the order that was given; the largest block.
    """
    names = [f.name for f in fields(Checks) if f.name != "block_side"]
    joined = {name: np.concatenate([getattr(p, name) for p in parts]) for name in names}
    return Checks(**joined, block_side=max(p.block_side for p in parts))


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """Estimates at the wanted places.

    Parameters
    ----------
    values, variance, lagrange : ndarray, shape (m,)
        On the scale that was given; variance NaN for inverse distance.
    checks : Checks
        Cross-validation.
    details : dict
        Variogram and neighbourhood.
    n_used : int
        Different places used.
    places, merged, error : ndarray
        Those places, their values and error variances.
    """

    values: FloatArray
    variance: FloatArray
    lagrange: FloatArray
    checks: Checks
    details: dict[str, Any] = field(default_factory=dict)
    n_used: int = 0
    places: FloatArray = field(default_factory=lambda: np.empty((0, 2)))
    merged: FloatArray = field(default_factory=lambda: np.empty(0))
    error: FloatArray = field(default_factory=lambda: np.empty(0))


def estimate(
    xy: FloatArray,
    values: FloatArray,
    where: FloatArray,
    *,
    method: str,
    options: SurfaceOptions | None = None,
    cell: float = 0.0,
    error_variance: FloatArray | None = None,
    seed: int = 1,
) -> Estimate:
    """Interpolate and cross-validate.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Samples. [m]
    values : ndarray, shape (n,)
        On the scale to interpolate on; NaN are left out.
    where : ndarray, shape (m, 2)
        Wanted places. [m]
    method : {"ordinary_kriging", "inverse_distance"}
        How; the kind of kriging stands in the options.
    options : SurfaceOptions, optional
        Variogram, neighbourhood, blocks.
    cell : float, default 0
        Side of a cell, for block kriging. [m]
    error_variance : ndarray, shape (n,), optional
        Error variance of each value, for kriging.
    seed : int, default 1
        Chooses which samples are left out one by one when there are many.

    Returns
    -------
    Estimate
        Values, uncertainty, cross-validation.

    Raises
    ------
    WrongCall
        If the method is not known.
    """
    if method not in METHODS:
        raise unknown("interpolation method", method, METHODS)
    chosen = options or SurfaceOptions()
    places, z, error = merge_places(xy, values, error_variance)
    tested = np.arange(len(z))
    if len(z) > _CHECKED:
        rng = np.random.default_rng(seed)
        tested = np.sort(rng.choice(len(z), _CHECKED, replace=False))
    details: dict[str, Any] = {"neighbours": chosen.neighbours, "kind": chosen.kind}
    nothing = np.full(len(where), np.nan)
    if method == "inverse_distance":
        found = inverse_distance(places, z, where, neighbours=chosen.neighbours)

        def by_distance(p: FloatArray, v: FloatArray, _e: FloatArray, goal: FloatArray, own: Any):  # type: ignore[no-untyped-def]
            return inverse_distance(p, v, goal, neighbours=chosen.neighbours, own=own), None

        checks = _cross_validate(places, z, error, tested, by_distance, 0.0)
        return Estimate(found, nothing, nothing, checks, details, len(z), places, z, error)
    variogram = variogram_of(places, z, chosen, seed=seed)
    details["variogram"] = variogram
    if not variogram.sill > 0:
        flat = np.full(
            len(where), float(z.mean()) if len(z) and np.isfinite(variogram.sill) else np.nan
        )
        checks = _cross_validate(places, z, error, tested, _mean_of, 0.0)
        return Estimate(flat, flat * 0.0, flat * 0.0, checks, details, len(z), places, z, error)

    def by_kriging(p: FloatArray, v: FloatArray, e: FloatArray, goal: FloatArray, own: Any):  # type: ignore[no-untyped-def]
        got = kriged(p, v, e, goal, variogram, chosen, own=own)
        return got.values, got.variance

    block = (cell, cell) if chosen.block and cell > 0 else None
    got = kriged(places, z, error, where, variogram, chosen, block=block)
    details["mended"] = got.mended
    checks = _cross_validate(places, z, error, tested, by_kriging, variogram.practical_range)
    return Estimate(
        got.values, got.variance, got.lagrange, checks, details, len(z), places, z, error
    )


def variogram_of(
    places: FloatArray, z: FloatArray, options: SurfaceOptions, *, seed: int
) -> Variogram:
    """Fit the variogram that the options ask for.

    Parameters
    ----------
    places, z : ndarray, shape (n, 2), (n,)
        Different places and values.
    options : SurfaceOptions
        Estimator, shapes, nested structures, anisotropy, bounds, drift.
    seed : int
        Of the draw when there are many samples.

    Returns
    -------
    Variogram
        Of the values; of what a drift leaves in universal kriging.
    """
    left = z - _plane(places, z, options.drift_order) if options.kind == "universal" else z
    raw = experimental_variogram(
        places, left, max_points=_FOR_VARIOGRAM, seed=seed, estimator=options.estimator
    )
    nugget = None if options.nugget_share is None else options.nugget_share * raw.variance
    fitted = fit_variogram(
        raw, options.models, max_range=options.max_range_m, nugget=nugget,
        structures=options.structures,
    )  # fmt: skip
    if options.structures == 2 and not np.isfinite(fitted.sill):
        fitted = fit_variogram(raw, options.models, max_range=options.max_range_m, nugget=nugget)
    if not options.anisotropy or not fitted.sill > 0:
        return fitted
    rose = directional_variograms(
        places, left, max_points=_FOR_DIRECTIONS, seed=seed, estimator=options.estimator
    )
    shaped = fit_anisotropy(rose, options.models, max_range=options.max_range_m)
    if shaped.isotropic:
        return replace(fitted, details={**fitted.details, "directions": rose})
    if options.structures == 2:
        # the axes of the single structure, the ranges of the nested ones along the longer axis
        longer = 1.0 / np.sqrt(shaped.ratio)
        return replace(
            fitted, range_m=fitted.range_m * longer,
            extra=tuple(replace(s, range_m=s.range_m * longer) for s in fitted.extra),
            azimuth=shaped.azimuth, ratio=shaped.ratio,
            details={**shaped.details, "directions": rose},
        )  # fmt: skip
    return replace(shaped, experimental=raw, details={**shaped.details, "directions": rose})


def kriged(
    places: FloatArray,
    z: FloatArray,
    error: FloatArray,
    where: FloatArray,
    variogram: Variogram,
    options: SurfaceOptions,
    *,
    own: IntArray | None = None,
    block: tuple[float, float] | None = None,
    mean: float | None = None,
) -> Kriged:
    """Krige as the options say.

    Parameters
    ----------
    places, z, error, where : ndarray
        Samples, values, error variances, goals.
    variogram : Variogram
        Model.
    options : SurfaceOptions
        Kind and neighbourhood.
    own : ndarray of int, optional
        Sample that each goal must not use.
    block : tuple of float, optional
        Of block kriging. [m]
    mean : float, optional
        Of simple kriging; default the mean of `z`.

    Returns
    -------
    Kriged
        Values and variance.
    """
    simple = options.kind == "simple"
    return krige(
        places, z, where, variogram, kind=options.kind,
        mean=(float(z.mean()) if mean is None else mean) if simple else None,
        drift_order=options.drift_order, block=block, neighbours=options.neighbours,
        min_neighbours=options.min_neighbours, max_distance=options.max_distance_m,
        sectors=options.sectors, error_variance=error, own=own,
    )  # fmt: skip


def _mean_of(
    _p: FloatArray, v: FloatArray, _e: FloatArray, goal: FloatArray, _own: Any
) -> tuple[FloatArray, None]:
    return np.full(len(goal), v.mean()), None


def _plane(places: FloatArray, z: FloatArray, order: int) -> FloatArray:
    """Fit a polynomial of the coordinates by least squares."""
    middle, size = places.mean(axis=0), max(float(np.ptp(places, axis=0).max()), 1.0)
    x, y = ((places - middle) / size).T
    columns = [np.ones(len(z)), x, y] + ([x * x, x * y, y * y] if order == 2 else [])
    design = np.column_stack(columns)
    fitted: FloatArray = design @ np.linalg.lstsq(design, z, rcond=None)[0]
    return fitted


def _cross_validate(
    places: FloatArray,
    z: FloatArray,
    error: FloatArray,
    tested: IntArray,
    predict: Predict,
    reach: float,
) -> Checks:
    """Leave out samples one by one and in squares of ground; compare with plain methods."""
    goal, true = places[tested], z[tested]
    left, variance = predict(places, z, error, goal, tested)
    spread = None if variance is None else variance + error[tested]
    side = _side(places, reach)
    blocked, blocked_variance = np.full(len(tested), np.nan), np.full(len(tested), np.nan)
    fold = ground_folds(places, side, _FOLDS)
    for f in np.unique(fold[tested]):
        mine = fold[tested] == f
        others = fold != f
        if not others.any():
            continue
        got, got_variance = predict(places[others], z[others], error[others], goal[mine], None)
        blocked[mine] = got
        if got_variance is not None:
            blocked_variance[mine] = got_variance + error[tested[mine]]
    plain = {k: inverse_distance(places, z, goal, neighbours=k, own=tested) for k in (1, 12)}
    nothing = np.full(len(true), np.nan)
    return Checks(
        true, left, nothing if spread is None else np.sqrt(spread), blocked,
        np.sqrt(blocked_variance), plain[12], plain[1],
        np.full(len(true), np.median(z) if len(z) else np.nan), side,
    )  # fmt: skip


def _side(places: FloatArray, reach: float) -> float:
    """Squares as wide as the ground resembles itself, yet at least ten of them."""
    size = np.maximum(np.ptp(places, axis=0), 1.0) if len(places) else np.ones(2)
    most = float(np.sqrt(size[0] * size[1] / 30.0))
    least = float(np.sqrt(size[0] * size[1] / max(len(places), 1)))
    return max(min(max(reach, 2 * least), most), 1e-6 * float(size.max()), 1e-6)
