"""Longitude and latitude for the cursor: a polynomial that the page can compute offline."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.coordinates import WGS84, read_crs, transform_positions
from geochem.errors import GeochemError

if TYPE_CHECKING:
    import numpy.typing as npt

_DEGREE = 5


def wgs84_polynomial(crs: Any, extent: tuple[float, float, float, float]) -> dict[str, Any] | None:
    """Fit WGS 84 longitude and latitude over an extent.

    Parameters
    ----------
    crs : any
        The campaign CRS in a form that pyproj understands.
    extent : tuple of float
        West, south, east, north; metres. A margin of half its size is added on each side.

    Returns
    -------
    dict or None
        ``centre, half`` (m), ``lon, lat`` (coefficients of u**i * v**j, i + j <= 5, i slowest)
        and ``error_m``, the largest misfit on nodes not used in the fit. None when there is no
        transformation of known accuracy.
    """
    west, south, east, north = extent
    half = np.array([max(east - west, 100.0), max(north - south, 100.0)])
    centre = np.array([(west + east) / 2, (south + north) / 2])
    fit = _nodes(14, chebyshev=True)
    check = _nodes(11, chebyshev=False)
    try:
        nodes = centre + np.vstack([fit, check]) * half
        there = transform_positions(nodes[:, 0], nodes[:, 1], read_crs(crs), read_crs(WGS84))
    except GeochemError:
        return None
    lon, lon_c = np.split(there.x, [len(fit)])
    lat, lat_c = np.split(there.y, [len(fit)])
    if not (np.isfinite(lon).all() and np.isfinite(lat).all()):
        return None
    terms = _terms(fit)
    a = np.linalg.lstsq(terms, lon, rcond=None)[0]
    b = np.linalg.lstsq(terms, lat, rcond=None)[0]
    inside = np.isfinite(lon_c) & np.isfinite(lat_c)
    east_m = 111_320 * np.cos(np.radians(lat_c)) * (_terms(check) @ a - lon_c)
    north_m = 110_950 * (_terms(check) @ b - lat_c)
    return {
        "centre": [round(float(v), 1) for v in centre],
        "half": [round(float(v), 1) for v in half],
        "lon": [float(f"{v:.12g}") for v in a],
        "lat": [float(f"{v:.12g}") for v in b],
        "error_m": float(f"{np.hypot(east_m, north_m)[inside].max():.2g}"),
    }


def _nodes(n: int, *, chebyshev: bool) -> npt.NDArray[np.float64]:
    side = np.cos(np.pi * (np.arange(n) + 0.5) / n) if chebyshev else np.linspace(-1, 1, n)
    u, v = np.meshgrid(side, side)
    return np.column_stack([u.ravel(), v.ravel()])


def _terms(uv: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    u, v = uv.T
    return np.column_stack(
        [u**i * v**j for i in range(_DEGREE + 1) for j in range(_DEGREE + 1 - i)]
    )
