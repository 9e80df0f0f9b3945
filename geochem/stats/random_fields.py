"""Gaussian random fields at arbitrary points: what barren ground with continuity looks like.

What lives here: simulation by the spectral method. A field is a sum of many waves whose
wave numbers are drawn from the exact two-dimensional spectral distribution of the covariance, with
Gaussian amplitudes; given the waves, the fields are exactly Gaussian and independent of each
other. All fields of a call share the wave numbers (drawn as a randomly shifted low-discrepancy
sequence), which turns the work into one matrix product.
What does not: fitting of the variogram (`variogram`), judgement.
To add a model: its radial spectral quantile in `_wave_numbers`. Test to copy:
`tests/stats/test_random_fields.py`.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall, unknown
from geochem.stats.threads import in_threads
from geochem.stats.variogram_model import stretched

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

MODELS = ("exponential", "gaussian", "spherical")

#: reciprocals of the plastic number and its square: the additive recurrence that fills the unit
#: square evenly (from memory)
_STEP = (0.7548776662466927, 0.5698402909980532)


def simulate_fields(
    xy: npt.ArrayLike,
    *,
    nugget: float,
    sill: float,
    range_m: float,
    model: str = "exponential",
    n_fields: int,
    rng: np.random.Generator | int,
    anisotropy: tuple[float, float] | None = None,
    n_waves: int = 1024,
    single: bool = False,
) -> FloatArray:
    """Simulate standardised Gaussian fields with a given variogram.

    Parameters
    ----------
    xy : array_like, shape (n, 2)
        Easting and northing. [m]
    nugget, sill : float
        Nugget and *total* sill (nugget included) of the variogram; only their ratio matters,
        because the fields are standardised.
    range_m : float
        Range parameter as in `variogram`: exponential ``exp(-h / range_m)``, gaussian
        ``exp(-(h / range_m) ** 2)``, spherical zero from `range_m` on. [m]
    model : {"exponential", "spherical", "gaussian"}, default "exponential"
        Covariance.
    n_fields : int
        Number of fields.
    rng : numpy.random.Generator or int
        Generator or seed.
    anisotropy : tuple of (float, float), optional
        Azimuth of the longer axis, clockwise from grid north [degree], and ratio of the range
        across it to `range_m`, 0-1.
    n_waves : int, default 1024
        Waves per field; the covariance is met within about ``1 / sqrt(n_waves)``.
    single : bool, default False
        Work in single precision: a tenth of the time and half the memory, the same random numbers,
        fields equal to about 1e-5. For fields of which only the distribution counts.

    Returns
    -------
    ndarray, shape (n_fields, n)
        Mean 0, variance 1 (in expectation), covariance as asked.

    Raises
    ------
    WrongCall
        If the model is not known, or a parameter is out of bounds.

    References
    ----------
    Mantoglou, A. and Wilson, J. L. 1982. The turning bands method for simulation of random fields
    using line generation by a spectral method. Water Resources Research 18:1379-1394.
    Lantuejoul, C. 2002. Geostatistical Simulation: Models and Algorithms. Springer, ch. 15.

    Examples
    --------
    >>> fields = simulate_fields([[0, 0], [10, 0]], nugget=0.0, sill=1.0, range_m=100.0,
    ...                          n_fields=2000, rng=1)
    >>> bool(abs(np.corrcoef(fields.T)[0, 1] - np.exp(-0.1)) < 0.03)
    True
    """
    points = np.asarray(xy, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2 or not np.isfinite(points).all():
        raise WrongCall(
            f"coordinates have shape {points.shape}; finite numbers of shape (n, 2) are needed."
        )
    if model not in MODELS:
        raise unknown("variogram model", model, MODELS)
    if not (0 <= nugget <= sill and sill > 0):
        raise WrongCall(
            f"nugget {nugget} and sill {sill}: the sill is the total and must be positive and not "
            "below the nugget."
        )
    if nugget < sill and not range_m > 0:
        raise WrongCall(f"range_m is {range_m}; a positive number of metres is needed.")
    if n_fields < 0 or n_waves < 1:
        raise WrongCall("n_fields must not be negative and n_waves must be at least 1.")
    generator = np.random.default_rng(rng)
    n = len(points)
    share = 1.0 - nugget / sill
    kind = np.float32 if single else np.float64
    out = np.zeros((n_fields, n), dtype=kind)
    if not n or not n_fields:
        return out
    if share > 0:
        scaled = _isotropic(points, anisotropy) / range_m
        out += _structured(scaled, model, n_fields, generator, n_waves, np.sqrt(share), kind)
    if share < 1:
        out += np.sqrt(1.0 - share) * generator.standard_normal((n_fields, n))
    return out


def _isotropic(points: FloatArray, anisotropy: tuple[float, float] | None) -> FloatArray:
    """Shift to the middle and stretch the short axis, so that one range serves."""
    centred = points - (points.min(axis=0) + points.max(axis=0)) / 2
    if anisotropy is None:
        return centred
    return stretched(centred, *anisotropy)


def _structured(
    scaled: FloatArray,
    model: str,
    n_fields: int,
    rng: np.random.Generator,
    n_waves: int,
    scale: float,
    kind: type[np.floating[Any]],
) -> npt.NDArray[np.floating[Any]]:
    start = rng.random(2)
    i = np.arange(n_waves)
    u = np.clip((start[0] + i * _STEP[0]) % 1.0, 1e-12, 1 - 1e-12)
    # half a turn is enough: a wave and its opposite are the same wave
    angle = np.pi * ((start[1] + i * _STEP[1]) % 1.0)
    k = _wave_numbers(u, model) / (2 * np.pi)
    waves = np.vstack([k * np.cos(angle), k * np.sin(angle)])
    amplitude = rng.standard_normal((n_fields, 2 * n_waves)) * (scale / np.sqrt(n_waves))
    amplitude = amplitude.astype(kind, copy=False)
    out = np.empty((n_fields, len(scaled)), dtype=kind)
    step = max(1, 500_000 // n_waves)  # as many waves at a time as fit into the cache

    def fill(first: int) -> None:
        turns = scaled[first : first + step] @ waves
        # whole turns come off before the precision does: short waves turn a million times
        turns -= np.rint(turns)
        phase = turns.astype(kind, copy=False)
        phase *= kind(2 * np.pi)
        out[:, first : first + step] = (
            amplitude[:, :n_waves] @ np.cos(phase).T + amplitude[:, n_waves:] @ np.sin(phase).T
        )

    in_threads(fill, range(0, len(scaled), step))
    return out


def _wave_numbers(u: FloatArray, model: str) -> FloatArray:
    """Give radial wave numbers (range 1) at quantiles `u` of the 2-D spectral distribution.

    A covariance C(h) has the radial distribution ``F(K) = K * integral of C(h) J1(K h) dh``: the
    exponential gives ``1 - 1 / sqrt(1 + K^2)``, the gaussian ``1 - exp(-K^2 / 4)``.
    """
    if model == "exponential":
        return np.sqrt(1.0 / (1.0 - u) ** 2 - 1.0)
    if model == "gaussian":
        return 2.0 * np.sqrt(-np.log1p(-u))
    table_k, table_f = _spherical_table()
    k = np.interp(u, table_f, table_k)
    # beyond the table: the straight line at the origin (slope 1.5) gives 1 - F = 1.5 / K
    tail = u > table_f[-1]
    k[tail] = np.maximum(1.5 / (1.0 - u[tail]), table_k[-1])
    return k


@lru_cache(maxsize=1)
def _spherical_table() -> tuple[FloatArray, FloatArray]:
    """Tabulate the radial spectral distribution of the spherical covariance by quadrature."""
    from scipy.special import j1

    node, weight = np.polynomial.legendre.leggauss(1200)
    h = 0.5 * (node + 1.0)
    c = (1.0 - 1.5 * h + 0.5 * h**3) * weight * 0.5
    k = np.concatenate([np.linspace(0.0, 20.0, 801), np.geomspace(20.05, 400.0, 1200)])
    f = k * (j1(k[:, None] * h[None, :]) @ c)
    return k, np.maximum.accumulate(np.clip(f, 0.0, 1.0))
