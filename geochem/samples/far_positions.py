"""Why a position is far from all others: the other sign, or the neighbouring UTM zone."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from geochem.coordinates import degrees_of

if TYPE_CHECKING:
    import numpy.typing as npt
    import pyproj

    Floats = npt.NDArray[np.float64]

#: groups of samples further than this from the middle of all are looked at too [m]
_APART = 150_000.0


def explain_far(
    reason: npt.NDArray[np.object_],
    x: Floats,
    y: Floats,
    given_x: Floats,
    given_y: Floats,
    sources: Sequence[pyproj.CRS | None],
    target: pyproj.CRS,
) -> None:
    """Name the cause where one is plain; changes `reason`, and takes `x`, `y` away.

    Positions that are alone far away are looked at, and groups more than 150 km from the middle of
    all: these stay unless a cause is found (a second area is no fault).

    Parameters
    ----------
    reason : ndarray of object, shape (n_samples,)
        Why a sample has no place, None where it has one.
    x, y : ndarray, shape (n_samples,)
        In the campaign CRS. [m]
    given_x, given_y : ndarray, shape (n_samples,)
        As in the field log.
    sources : sequence of CRS or None
        Of each sample; None is the campaign's.
    target : pyproj.CRS
        The campaign's.
    """
    placed = np.isfinite(x)
    good = placed & np.array([r is None for r in reason], dtype=bool)
    if good.sum() < 5:
        return
    mid_x, mid_y = float(np.median(x[good])), float(np.median(y[good]))
    distance = np.hypot(x - mid_x, y - mid_y)
    alone = placed & (reason == "position-far")
    with np.errstate(invalid="ignore"):
        group = good & (distance > _APART)
    asked = np.flatnonzero(alone | group)
    # when half of all are far, nobody can say which half is wrong
    if not asked.size or group.sum() > 0.4 * good.sum():
        return
    rest = good & ~group
    lon, lat = degrees_of(x[rest], y[rest], target)
    box = (
        float(np.nanmin(lon)), float(np.nanmax(lon)), float(np.nanmin(lat)), float(np.nanmax(lat))
    )  # fmt: skip
    for i in asked.tolist():
        source = sources[i] or target
        px, py = degrees_of(given_x[i : i + 1], given_y[i : i + 1], source)
        here = (float(px[0]), float(py[0]))
        if source.is_geographic and any(
            _inside(a * here[0], b * here[1], box) for a, b in ((-1, 1), (1, -1), (-1, -1))
        ):
            reason[i] = "sign-wrong"
        elif source.utm_zone is not None and any(
            # a zone is six degrees wide: the same numbers in the next zone lie six degrees off
            _inside(here[0] + shift, here[1], box)
            for shift in (-6.0, 6.0)
        ):
            reason[i] = "zone-wrong"


def _inside(lon: float, lat: float, box: tuple[float, float, float, float]) -> bool:
    """Test a box of degrees with a tenth of its size, at least 0.05 degrees, around it."""
    west, east, south, north = box
    wide, high = max(0.1 * (east - west), 0.05), max(0.1 * (north - south), 0.05)
    return west - wide <= lon <= east + wide and south - high <= lat <= north + high
