"""Estimate one variable on a grid, with cross-validation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import unknown
from geochem.stats.inverse_distance import inverse_distance
from geochem.stats.kriging import krige, merge_places
from geochem.stats.variogram import experimental_variogram, fit_variogram

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

METHODS = {
    "ordinary_kriging": "Matheron 1963, Economic Geology 58:1246-1266",
    "inverse_distance": "common practice, no source (power 2)",
}
NEIGHBOURS = 16
_CHECKED = 1000


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """Estimates at the wanted points.

    Parameters
    ----------
    values, deviation : ndarray, shape (m,)
        Estimate and kriging standard deviation (None for inverse distance), on the scale that was
        given.
    cross_validation : dict
        ``mean_error, rmse, rmse_of_median, standardised_variance, n``.
    details : dict
        Variogram and neighbourhood.
    n_used : int
        Different places used.
    """

    values: FloatArray
    deviation: FloatArray | None
    cross_validation: dict[str, float]
    details: dict[str, Any]
    n_used: int


def estimate(
    xy: FloatArray,
    values: FloatArray,
    where: FloatArray,
    *,
    method: str,
    error_variance: FloatArray | None = None,
    seed: int = 1,
) -> Estimate:
    """Interpolate and cross-validate.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Samples. [m]
    values : ndarray, shape (n,)
        On the scale to interpolate on.
    where : ndarray, shape (m, 2)
        Wanted points. [m]
    method : {"ordinary_kriging", "inverse_distance"}
        How.
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
    places, z, error = merge_places(xy, values, error_variance)
    tested = np.arange(len(z))
    if len(z) > _CHECKED:
        rng = np.random.default_rng(seed)
        tested = np.sort(rng.choice(len(z), _CHECKED, replace=False))
    details: dict[str, Any] = {"neighbours": NEIGHBOURS}
    if method == "inverse_distance":
        plain = inverse_distance(places, z, where, neighbours=NEIGHBOURS)
        left_out = inverse_distance(places, z, places[tested], neighbours=NEIGHBOURS, own=tested)
        checks = _cross_validation(z[tested], left_out, None)
        return Estimate(plain, None, checks, details, len(z))
    variogram = fit_variogram(experimental_variogram(places, z, max_points=4000, seed=seed))
    details["variogram"] = variogram
    found = krige(places, z, where, variogram, neighbours=NEIGHBOURS, error_variance=error)
    left = krige(
        places, z, places[tested], variogram,
        neighbours=NEIGHBOURS, error_variance=error, own=tested,
    )  # fmt: skip
    checks = _cross_validation(z[tested], left.values, left.variance + error[tested])
    return Estimate(found.values, np.sqrt(found.variance), checks, details, len(z))


def _cross_validation(
    z: FloatArray, left_out: FloatArray, variance: FloatArray | None
) -> dict[str, float]:
    error = left_out - z
    checks = {
        "n": float(len(z)),
        "mean_error": float(np.mean(error)),
        "rmse": float(np.sqrt(np.mean(error**2))),
        "rmse_of_median": float(np.sqrt(np.mean((np.median(z) - z) ** 2))),
        "standardised_variance": float("nan"),
    }
    if variance is not None:
        known = variance > 0
        if known.any():
            checks["standardised_variance"] = float(np.mean(error[known] ** 2 / variance[known]))
    return checks
