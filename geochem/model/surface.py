"""`Surface`: a grid of estimates with its uncertainty."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """Estimates on a north-up grid in the campaign CRS.

    Parameters
    ----------
    name : str
        For files, for example ``"Cu_ppm"`` or the name of an association.
    title, unit : str
        For people.
    medium : str
        Whose samples it was made from.
    values : ndarray, shape (n_rows, n_cols)
        First row is the northernmost; NaN outside.
    deviation : ndarray, shape (n_rows, n_cols), optional
        Kriging standard deviation on the scale of the estimation.
    west, north, cell : float
        Outer corner of the first cell and cell size. [m]
    method, reference : str
        How it was made.
    n_used : int
        Samples.
    cross_validation : mapping
        ``mean_error, rmse, rmse_of_median, standardised_variance, coverage_80, rmse_blocked,
        rmse_inverse_distance, rmse_nearest ...`` on the scale of estimation.
    details : mapping
        Variogram, neighbourhood, transform.
    chance : ndarray, shape (n_rows, n_cols), optional
        Chance that the value exceeds `threshold`, 0-1.
    threshold : float
        In the unit of the surface; NaN without `chance`.
    covered : ndarray of bool, shape (n_rows, n_cols), optional
        Cells on transported cover, where low values do not mean barren ground.
    simulated : mapping of str to ndarray
        ``p10, p50, p90`` of conditional simulations and ``chance`` among them, where asked for.
    left_out : mapping of str to ndarray
        ``true, predicted, deviation, blocked`` of the samples of the cross-validation.
    """

    name: str
    title: str
    unit: str
    medium: str
    values: npt.NDArray[np.float64]
    deviation: npt.NDArray[np.float64] | None
    west: float
    north: float
    cell: float
    method: str
    reference: str
    n_used: int
    cross_validation: Mapping[str, float] = field(default_factory=dict)
    details: Mapping[str, Any] = field(default_factory=dict)
    chance: npt.NDArray[np.float64] | None = None
    threshold: float = float("nan")
    covered: npt.NDArray[np.bool_] | None = None
    simulated: Mapping[str, npt.NDArray[np.float64]] = field(default_factory=dict)
    left_out: Mapping[str, npt.NDArray[np.float64]] = field(default_factory=dict)
