"""Records of variograms and the shapes they are made of.

What lives here: spherical, exponential and gaussian structures, nested sums of them, geometric
anisotropy, the records `ExperimentalVariogram` and `Variogram`. What does not: pairs
(`variogram`), fits (`variogram_fit`), kriging.
A sill is the *total* sill, nugget included. To add a shape: one entry in `SHAPES`, `PRACTICAL`,
`random_fields` and `kriging_compiled`. Test to copy: `tests/stats/test_variogram.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall, unknown

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]


def _spherical(r: FloatArray) -> FloatArray:
    r = np.minimum(r, 1.0)
    return r * (1.5 - 0.5 * (r * r))


def _exponential(r: FloatArray) -> FloatArray:
    return -np.expm1(-r)


def _gaussian(r: FloatArray) -> FloatArray:
    return -np.expm1(-(r * r))


#: model -> rise from 0 to 1 as a function of distance / range parameter
SHAPES: dict[str, Callable[[FloatArray], FloatArray]] = {
    "spherical": _spherical,
    "exponential": _exponential,
    "gaussian": _gaussian,
}

#: distance at which 95 % of the rise is reached, in range parameters (spherical: all of it)
PRACTICAL = {"spherical": 1.0, "exponential": 3.0, "gaussian": float(np.sqrt(3.0))}


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
    azimuth : float
        Direction of the pairs, clockwise from grid north; NaN for all directions. [degree]
    tolerance : float
        Largest deviation from it, either side. [degree]
    """

    distance: FloatArray
    gamma: FloatArray
    pairs: npt.NDArray[np.int64]
    edges: FloatArray
    estimator: str
    n: int
    variance: float
    azimuth: float = float("nan")
    tolerance: float = 90.0


@dataclass(frozen=True, slots=True)
class Structure:
    """One part of a variogram model that rises with distance.

    Parameters
    ----------
    model : str
        ``spherical``, ``exponential`` or ``gaussian``.
    partial_sill : float
        What it adds to the sill.
    range_m : float
        Range parameter, along the longer axis. [m]
    """

    model: str
    partial_sill: float
    range_m: float


@dataclass(frozen=True, slots=True, eq=False)
class Variogram:
    """Nugget, one or more structures, and their geometric anisotropy.

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
    extra : tuple of Structure
        Further structures; their partial sills are part of `sill`.
    azimuth : float
        Direction of the longest range, clockwise from grid north; NaN when it is the same in all
        directions. [degree]
    ratio : float
        Range across it over range along it, of all structures, 0-1.
    """

    model: str
    nugget: float
    sill: float
    range_m: float
    error: float = float("nan")
    experimental: ExperimentalVariogram | None = None
    details: Mapping[str, Any] = field(default_factory=dict)
    extra: tuple[Structure, ...] = ()
    azimuth: float = float("nan")
    ratio: float = 1.0

    @property
    def partial_sill(self) -> float:
        """Sill without the nugget."""
        return self.sill - self.nugget

    @property
    def structures(self) -> tuple[Structure, ...]:
        """All structures, `model` first."""
        first = self.partial_sill - sum(s.partial_sill for s in self.extra)
        return (Structure(self.model, first, self.range_m), *self.extra)

    @property
    def practical_range(self) -> float:
        """Distance at which 95 % (spherical: all) of the longest structure is reached, in metres."""
        return max(
            s.range_m * PRACTICAL[s.model]
            for s in self.structures
            if s.partial_sill > 0 or not self.extra
        )

    @property
    def isotropic(self) -> bool:
        """Whether all directions are alike."""
        return not (self.ratio < 1.0 and np.isfinite(self.azimuth))

    def gamma(self, h: npt.ArrayLike) -> FloatArray:
        """Give the semivariance at distances `h` along the longer axis [m]; 0 at distance 0."""
        return self.sill - self.covariance(h)

    def covariance(self, h: npt.ArrayLike) -> FloatArray:
        """Give the covariance at distances `h` along the longer axis; the sill at distance 0."""
        distance = np.asarray(h, dtype=float)
        return np.where(distance > 0, self.continuous(distance), self.sill)

    def continuous(self, h: npt.ArrayLike) -> FloatArray:
        """Give the covariance without the nugget: what it tends to as `h` goes to 0."""
        distance = np.asarray(h, dtype=float)
        total = np.zeros_like(distance)
        for s in self.structures:
            if s.partial_sill > 0 and s.range_m > 0:
                total += s.partial_sill * (1.0 - SHAPES[s.model](distance / s.range_m))
        return total

    def reduced(self, xy: npt.ArrayLike) -> FloatArray:
        """Stretch coordinates across the longer axis, so that one range serves all directions.

        Parameters
        ----------
        xy : array_like, shape (n, 2)
            Easting and northing. [m]

        Returns
        -------
        ndarray, shape (n, 2)
            The same when there is no anisotropy. [m along the longer axis]
        """
        points = np.asarray(xy, dtype=float)
        return points if self.isotropic else stretched(points, self.azimuth, self.ratio)

    def words(self) -> str:
        """Describe the model in one line, for captions and tables."""
        parts = [f"nugget {self.nugget:.3g}"]
        parts += [
            f"{s.model} {s.partial_sill:.3g}, range {s.range_m * PRACTICAL[s.model]:.4g} m"
            for s in self.structures
        ]
        if not self.isotropic:
            parts.append(f"longest at {self.azimuth:.0f} degrees, {self.ratio:.2g} across")
        return "; ".join(parts)


def stretched(points: FloatArray, azimuth: float, ratio: float) -> FloatArray:
    """Turn to across, along `azimuth` and stretch the first by ``1 / ratio``.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Easting and northing. [m]
    azimuth : float
        Of the longer axis, clockwise from grid north. [degree]
    ratio : float
        Shorter over longer range, 0-1, 0 excluded.

    Returns
    -------
    ndarray, shape (n, 2)
        Across and along. [m along the longer axis]

    Raises
    ------
    WrongCall
        If the ratio is out of bounds.
    """
    if not 0 < ratio <= 1:
        raise WrongCall(f"the ratio of anisotropy is {ratio}; it must lie in 0-1, 0 excluded.")
    angle = np.deg2rad(azimuth)
    along = points[:, 0] * np.sin(angle) + points[:, 1] * np.cos(angle)
    across = points[:, 0] * np.cos(angle) - points[:, 1] * np.sin(angle)
    return np.column_stack([across / ratio, along])


def model_value(
    model: str, h: npt.ArrayLike, nugget: float, sill: float, range_m: float
) -> FloatArray:
    """Evaluate a variogram model of one structure.

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
    if model not in SHAPES:
        raise unknown("variogram model", model, SHAPES)
    distance = np.asarray(h, dtype=float)
    rise = SHAPES[model](distance / range_m) if range_m > 0 else np.ones_like(distance)
    return np.where(distance > 0, nugget + (sill - nugget) * rise, 0.0)
