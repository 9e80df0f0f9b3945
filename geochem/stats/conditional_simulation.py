"""Conditional simulation: grounds that honour the samples and vary as the variogram says.

What lives here: Gaussian fields conditioned by kriging. What does not: unconditional fields
(`random_fields`), transforms (`normal_scores`).
Test to copy: `tests/stats/test_conditional_simulation.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall
from geochem.stats.kriging import krige
from geochem.stats.random_fields import simulate_fields

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.stats.variogram_model import Variogram

    FloatArray = npt.NDArray[np.float64]


def simulate_conditional(
    xy: npt.ArrayLike,
    values: npt.ArrayLike,
    where: npt.ArrayLike,
    variogram: Variogram,
    *,
    n_fields: int,
    rng: np.random.Generator | int,
    mean: float | None = None,
    neighbours: int = 24,
    error_variance: npt.ArrayLike | None = None,
    n_waves: int = 1024,
) -> FloatArray:
    """Simulate values at places that have no sample.

    An unconditional field is simulated at samples and goals; what kriging of its values at the
    samples misses at the goals is an error of kriging as it may well be, and is added to the
    kriged surface.

    Parameters
    ----------
    xy : array_like, shape (n, 2)
        Different places. [m]
    values : array_like, shape (n,)
        On a scale on which the ground is normal.
    where : array_like, shape (m, 2)
        Goals. [m]
    variogram : Variogram
        Model, with nugget, nested structures, anisotropy.
    n_fields : int
        Simulations.
    rng : numpy.random.Generator or int
        Generator or seed.
    mean : float, optional
        Known mean (simple kriging); default ordinary kriging.
    neighbours : int, default 24
        Of one estimate.
    error_variance : array_like, shape (n,), optional
        Error variance of each value; the simulated samples get errors of the same size, so that
        uncertain samples are not honoured exactly.
    n_waves : int, default 1024
        As in `random_fields.simulate_fields`.

    Returns
    -------
    ndarray, shape (n_fields, m)
        Their mean tends to the kriged surface, their variance to the kriging variance; at a sample
        without error every one has its value.

    Raises
    ------
    WrongCall
        If the variogram has no sill or `n_fields` is negative.

    References
    ----------
    Chiles, J.-P. and Delfiner, P. 1999. Geostatistics: modeling spatial uncertainty, section 7.3.1.
    Wiley (conditioning by kriging).
    """
    points, z = np.asarray(xy, dtype=float), np.asarray(values, dtype=float)
    goal = np.asarray(where, dtype=float)
    if n_fields < 0:
        raise WrongCall(f"n_fields is {n_fields}; it must not be negative.")
    if not variogram.sill > 0:
        raise WrongCall(f"the sill of the variogram is {variogram.sill}; it must be positive.")
    generator = np.random.default_rng(rng)
    n, m = len(points), len(goal)
    everywhere = np.vstack([points, goal])
    fields = np.zeros((n_fields, n + m))
    shared = None if variogram.isotropic else (variogram.azimuth, variogram.ratio)
    for s in variogram.structures:
        if s.partial_sill > 0 and s.range_m > 0:
            fields += np.sqrt(s.partial_sill) * simulate_fields(
                everywhere, nugget=0.0, sill=1.0, range_m=s.range_m, model=s.model,
                n_fields=n_fields, rng=generator, anisotropy=shared, n_waves=n_waves,
            )  # fmt: skip
    if variogram.nugget > 0:
        # one and the same place has one and the same nugget
        _, first, which = np.unique(everywhere, axis=0, return_index=True, return_inverse=True)
        noise = generator.standard_normal((n_fields, len(first)))
        fields += np.sqrt(variogram.nugget) * noise[:, which.ravel()]
    error = None if error_variance is None else np.asarray(error_variance, dtype=float)
    sampled = fields[:, :n]
    if error is not None:
        sampled = sampled + np.sqrt(error) * generator.standard_normal((n_fields, n))
    level = 0.0 if mean is None else mean
    kriged = krige(
        points, z - level, goal, variogram, kind="ordinary" if mean is None else "simple",
        mean=None if mean is None else 0.0, neighbours=neighbours, error_variance=error,
        keep_weights=True,
    )  # fmt: skip
    assert kriged.weights is not None
    assert kriged.sets is not None
    weights = np.where(kriged.sets >= 0, kriged.weights, 0.0)
    out = np.empty((n_fields, m))
    for i in range(n_fields):
        out[i] = kriged.values + fields[i, n:] - (weights * sampled[i][kriged.sets]).sum(axis=1)
    return out + level
