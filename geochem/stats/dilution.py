"""Stream sediments: dilution by catchment area, what upstream rocks explain, productivity.

What lives here: the mass balance of Hawkes 1976 and its inverses, background of a catchment from
the areas of its rock units (weighted means, or a regression with non-negative coefficients),
residuals, productivity, decay along a network. Units: concentrations in mg/kg, areas in km2.
What does not: catchments themselves (`surfaces.catchments`).
Test to copy: `tests/stats/test_dilution.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]


def source_concentration(
    anomaly: npt.ArrayLike,
    background: npt.ArrayLike,
    area: npt.ArrayLike,
    source_area: npt.ArrayLike,
) -> FloatArray:
    """Give the concentration of a source of stated size that explains an anomaly downstream.

    Parameters
    ----------
    anomaly, background : array_like
        Concentration in the sediment, and without a source. [mg/kg]
    area, source_area : array_like
        Of the catchment and of the source within it. [km2]

    Returns
    -------
    ndarray
        ``area (anomaly - background) / source_area + background``. [mg/kg]

    Raises
    ------
    WrongCall
        If an area is not positive.

    References
    ----------
    Hawkes, H. E. 1976. The downstream dilution of stream sediment anomalies. Journal of
    Geochemical Exploration 6:345-358: Am Cm = Aa (Ca - Cb) + Am Cb. It supposes equal erosion
    everywhere, one source, uniform background and no loss or gain on the way.

    Examples
    --------
    >>> float(source_concentration(130.0, 30.0, 10.0, 0.5))
    2030.0
    """
    whole, part = _areas(area, source_area)
    ca, cb = np.asarray(anomaly, dtype=float), np.asarray(background, dtype=float)
    found: FloatArray = whole * (ca - cb) / part + cb
    return found


def diluted_concentration(
    source: npt.ArrayLike,
    background: npt.ArrayLike,
    area: npt.ArrayLike,
    source_area: npt.ArrayLike,
) -> FloatArray:
    """Give the concentration downstream of a source: the inverse of `source_concentration`.

    Parameters
    ----------
    source, background : array_like
        Of the source and of the rest of the catchment. [mg/kg]
    area, source_area : array_like
        Of the catchment and of the source within it. [km2]

    Returns
    -------
    ndarray
        Expected in the sediment; falls along the network as the area grows. [mg/kg]

    Examples
    --------
    >>> diluted_concentration(2030.0, 30.0, [10.0, 100.0], 0.5).tolist()
    [130.0, 40.0]
    """
    whole, part = _areas(area, source_area)
    cm, cb = np.asarray(source, dtype=float), np.asarray(background, dtype=float)
    found: FloatArray = part * (cm - cb) / whole + cb
    return found


def largest_catchment(source: float, background: float, source_area: float, rise: float) -> float:
    """Give the area below which a source still raises the sediment by a stated amount.

    Parameters
    ----------
    source, background : float
        Concentrations. [mg/kg]
    source_area : float
        [km2]
    rise : float
        Above background that can be told. [mg/kg]

    Returns
    -------
    float
        Largest area upstream of a sample: how dense a sampling must be. [km2]

    Examples
    --------
    >>> largest_catchment(2030.0, 30.0, 0.5, 10.0)
    100.0
    """
    if not (rise > 0 and source_area > 0):
        raise WrongCall(f"rise {rise} and source area {source_area} must be positive.")
    return max(source_area, source_area * (source - background) / rise)


def productivity(residual: npt.ArrayLike, area: npt.ArrayLike) -> FloatArray:
    """Give residual times area: what a catchment yields beyond its rocks.

    Parameters
    ----------
    residual : array_like
        Concentration above what is expected. [mg/kg]
    area : array_like
        Of the catchment. [km2]

    Returns
    -------
    ndarray
        [mg/kg km2]: the concentration above background of a source of 1 km2.

    References
    ----------
    Bonham-Carter, G. F. and Goodfellow, W. D. 1986. Background corrections to stream geochemical
    data using digitized drainage and geological maps. Journal of Geochemical Exploration
    25:139-155 (formula from memory): residual times area over a unit area of 1 km2.

    Examples
    --------
    >>> float(productivity(30.0, 10.0))
    300.0
    """
    whole = np.asarray(area, dtype=float)
    if (whole <= 0).any():
        raise WrongCall("an area of a catchment is not positive.")
    found: FloatArray = np.asarray(residual, dtype=float) * whole
    return found


_ROUNDS = 10
_CUT = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class RockBackground:
    """What the rocks upstream let expect.

    Parameters
    ----------
    coefficients : ndarray, shape (n_units,)
        Concentration attributed to each unit; NaN for units that hardly occur. [mg/kg]
    expected : ndarray, shape (n,)
        Per catchment. [mg/kg]
    residual : ndarray, shape (n,)
        Measured minus expected. [mg/kg]
    explained : float
        Share of the variance that the rocks explain. [-]
    method : str
        ``weighted means`` or ``regression``.
    """

    coefficients: FloatArray
    expected: FloatArray
    residual: FloatArray
    explained: float
    method: str


def rock_background(
    values: npt.ArrayLike, shares: npt.ArrayLike, *, method: str = "auto", robust: bool = True
) -> RockBackground:
    """Explain the sediment of catchments by the areas of the rock units in them.

    Parameters
    ----------
    values : array_like, shape (n,)
        Concentrations; NaN rows do not count but get an expected value. [mg/kg]
    shares : array_like, shape (n, n_units)
        Share of each catchment's area that a unit takes; rows are closed to one. [-]
    method : {"auto", "weighted means", "regression"}, default "auto"
        Area-weighted mean of each unit, or least squares with coefficients that are not negative
        (``auto``: with at least five catchments per unit; weighted means mix the units of mixed
        catchments, yet stay stable with few).
    robust : bool, default True
        Cut values whose ratio to what is expected lies beyond the median plus two scaled median
        deviations (of logarithms), again and again, so that the anomalies looked for do not lift
        the background.

    Returns
    -------
    RockBackground
        Coefficients, expected values, residuals.

    Raises
    ------
    WrongCall
        If shapes do not fit or the method is not known.

    References
    ----------
    Bonham-Carter, G. F. and Goodfellow, W. D. 1986, as in `productivity`: weighted mean of unit j
    ``sum_i Y_i X_ij / sum_i X_ij``, expected ``sum_j X_ij M_j``.

    Examples
    --------
    >>> found = rock_background([40.0, 65.0], [[1, 0], [0, 1]], method="weighted means")
    >>> float(found.coefficients @ [0.6, 0.4])
    50.0
    """
    from scipy.optimize import nnls

    y, x = np.asarray(values, dtype=float), np.asarray(shares, dtype=float)
    if x.ndim != 2 or y.shape != (len(x),):
        raise WrongCall(f"values have shape {y.shape} and shares {x.shape}; (n,) and (n, units).")
    if method not in ("auto", "weighted means", "regression"):
        raise WrongCall(f"method is {method!r}; 'auto', 'weighted means' or 'regression'.")
    total = x.sum(axis=1)
    x = np.where(total[:, None] > 0, x / np.where(total > 0, total, 1.0)[:, None], 0.0)
    used = np.isfinite(y) & (total > 0)
    z = y[used].copy()
    design = x[used]
    weight = design.sum(axis=0)
    if method == "auto":
        method = "regression" if len(z) >= 5 * x.shape[1] else "weighted means"

    def solve(z: FloatArray) -> FloatArray:
        if method == "regression" and len(z):
            return np.asarray(nnls(design, z)[0], dtype=float)
        return np.asarray((z @ design) / np.where(weight > 0, weight, 1.0), dtype=float)

    cut_high = robust and len(z) >= 10 and bool((z > 0).all())
    # weighted medians of the units are a start that anomalies do not move
    found = _weighted_medians(z, design) if cut_high else solve(z)
    for _ in range(_ROUNDS if cut_high else 0):
        fitted = np.maximum(design @ found, 1e-12 * z.max())
        ratio = np.log(y[used] / fitted)
        middle = np.median(ratio)
        cut = middle + _CUT * 1.4826 * np.median(np.abs(ratio - middle))
        z = fitted * np.exp(np.minimum(ratio, cut))
        found = solve(z)
    coefficients = np.where(weight > 1e-9, found, np.nan)
    known = np.nan_to_num(coefficients)
    covered = x @ (weight > 1e-9)
    expected = np.where(covered > 0, x @ known / np.where(covered > 0, covered, 1.0), np.nan)
    residual = y - expected
    spread = float(np.var(z)) if len(z) else 0.0
    left = float(np.mean((z - expected[used]) ** 2)) if len(z) else 0.0
    explained = max(0.0, 1.0 - left / spread) if spread > 0 else 0.0
    return RockBackground(coefficients, expected, residual, explained, method)


def _weighted_medians(z: FloatArray, design: FloatArray) -> FloatArray:
    """Give the median of the values of each unit, weighted by its share of the catchment."""
    order = np.argsort(z, kind="stable")
    out = np.zeros(design.shape[1])
    for j in range(design.shape[1]):
        total = np.cumsum(design[order, j])
        if total[-1] > 0:
            out[j] = z[order][np.searchsorted(total, 0.5 * total[-1])]
    return out


def _areas(area: npt.ArrayLike, source_area: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    whole, part = np.asarray(area, dtype=float), np.asarray(source_area, dtype=float)
    if (whole <= 0).any() or (part <= 0).any():
        raise WrongCall("areas of catchment and source must be positive, in km2.")
    return whole, part
