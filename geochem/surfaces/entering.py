"""How the values of an element enter an interpolation: logs, limits, error variances."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.stats.censored_normal import fit_censored_normal, mean_below
from geochem.surfaces.scale import Scale

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]
    BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Entering:
    """Values of one element on a log scale, with what is known of their errors.

    Parameters
    ----------
    log : ndarray, shape (n,)
        log10 of mg/kg; below detection the expected value under the limit; NaN where nothing is
        known.
    log_variance : ndarray, shape (n,)
        Error variance of `log`: of the measurement, or of what hides under the limit.
    """

    log: FloatArray
    log_variance: FloatArray

    def on(self, scale: Scale) -> tuple[FloatArray, FloatArray]:
        """Give values and error variances on a scale."""
        if scale.name == "log":
            return self.log, self.log_variance
        step = 0.05
        values = scale.forward(10.0**self.log)
        rise = scale.forward(10.0 ** (self.log + step)) - scale.forward(10.0 ** (self.log - step))
        return values, self.log_variance * (rise / (2 * step)) ** 2


def entering(
    value: FloatArray, below: BoolArray, err: FloatArray, above: BoolArray | None = None
) -> Entering:
    """Prepare the accepted values of one element.

    Parameters
    ----------
    value : ndarray, shape (n,)
        Value, or limit where below. [mg/kg]
    below : ndarray of bool, shape (n,)
        Known only to lie under the limit.
    err : ndarray, shape (n,)
        One standard uncertainty. [mg/kg]
    above : ndarray of bool, shape (n,), optional
        Known only to lie over the value: beyond the range of the method.

    Returns
    -------
    Entering
        A value below detection enters as its expectation under the limit in a censored lognormal
        fit of all values; its error variance is the squared distance to the limit. A value beyond
        the range likewise, over its limit.
    """
    known = np.isfinite(value) & (value > 0)
    log = np.full(len(value), np.nan)
    log[known] = np.log10(value[known])
    variance = np.zeros(len(value))
    over = np.zeros(len(value), dtype=bool) if above is None else known & above
    measured = known & ~below & ~over & np.isfinite(err)
    variance[measured] = (err[measured] / value[measured] / np.log(10.0)) ** 2
    limit = known & below
    if limit.any() or over.any():
        fit = fit_censored_normal(log[known], below[known], over[known])
        if fit is not None and over.any():
            # the mirror of what lies under a limit
            more = -mean_below(-fit.mean, fit.sd, -log[over])
            variance[over] = (more - log[over]) ** 2
            log[over] = more
    if limit.any():
        # without a fit (hardly any detects) the limit itself stands, as uncertain as half of it
        expected = log[limit] - 0.3 if fit is None else mean_below(fit.mean, fit.sd, log[limit])
        variance[limit] = (log[limit] - expected) ** 2
        log[limit] = expected
    return Entering(log, variance)
