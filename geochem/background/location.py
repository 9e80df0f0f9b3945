"""Robust location and scale of values of which some are below detection.

Limits enter as they are while that is harmless, that is while they lie so low that neither
median nor MAD depends on how low. Where they do not, the Kaplan-Meier distribution and the
upper half of the values are used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.stats.censored import kaplan_meier_steps
from geochem.stats.robust import MAD_SCALE, mad, median

if TYPE_CHECKING:
    from geochem.background.values import Prepared


def robust_location_scale(data: Prepared) -> tuple[float, float, str]:
    """Give median and raw MAD, allowing for limits.

    Parameters
    ----------
    data : Prepared
        At most 40 % below detection (see `values.obstacle`).

    Returns
    -------
    location, mad : float
        On the scale of `data`; the MAD is not scaled.
    how : str
        Empty for the plain statistics, else a sentence on what was done.
    """
    limits = data.x[data.below]
    location = median(data.x, data.weights)
    spread = mad(data.x, data.weights, center=location, scaled=False)
    if limits.size == 0 or limits.max() < location - spread:
        return location, spread, ""
    how = "Limits lie close to the median: the MAD was taken from the upper half of the values."
    if limits.max() >= location:
        # some limits say nothing about which side of the median they belong to
        distinct, cdf, _ = kaplan_meier_steps(data.x, data.below, data.weights)
        location = float(distinct[np.searchsorted(cdf, 0.5 - 1e-12)])
        upper = float(distinct[np.searchsorted(cdf, 0.75 - 1e-12)])
        return (
            location,
            upper - location,
            (
                "Some limits lie above the median: median and upper quartile are those of the "
                "Kaplan-Meier distribution."
            ),
        )
    top = (data.x >= location) & ~data.below
    w = None if data.weights is None else data.weights[top]
    return location, median(data.x[top] - location, w), how


def scaled(mad_raw: float, *, by: bool = True) -> float:
    """Scale a MAD so that it estimates a standard deviation.

    Parameters
    ----------
    mad_raw : float
        Unscaled.
    by : bool, default True
        False leaves it.

    Returns
    -------
    float
        Times 1.4826 if `by`.
    """
    return mad_raw * MAD_SCALE if by else mad_raw
