"""Median + k MAD: the usual robust threshold, on log10 by the campaign's default."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.background.location import robust_location_scale, scaled
from geochem.background.values import check_option, fall_back, no_values, obstacle, prepare
from geochem.model.threshold import Threshold
from geochem.stats.intervals import FEW

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.background.values import Prepared


class MedianMad:
    """Median plus k times the median absolute deviation.

    Up to half of the values may be anomalous before it breaks. On raw values it flags 9-15 % of
    barren lognormal ground, on log10 about 2.3 % at k = 2: choose `log` for concentrations.

    Parameters
    ----------
    k : float, default 2
        How many MADs above the median. [-]
    log : bool, default False
        Work on log10 of the values.
    scaled : bool, default True
        MAD times 1.4826, so that it estimates the standard deviation of a normal population.

    References
    ----------
    .. [1] Reimann, Filzmoser & Garrett 2005, Background and threshold: critical comparison of
       methods of determination, Sci. Total Environ. 346:1-16, doi:10.1016/j.scitotenv.2004.11.023.

    Examples
    --------
    >>> x = [8, 9, 10, 10, 11, 12, 12, 13, 14, 15, 16, 18, 20, 25, 40, 150]
    >>> round(MedianMad(k=2).fit(x).value, 4), round(MedianMad(k=2, log=True).fit(x).value, 3)
    (23.8782, 32.248)
    """

    name = "median_mad"
    summary = "median + k median absolute deviations; resists up to half of anomalous values"
    reference = "Reimann, Filzmoser & Garrett 2005, Sci. Total Environ. 346:1-16"
    needs: tuple[str, ...] = ()

    def __init__(self, k: float = 2.0, *, log: bool = False, scaled: bool = True) -> None:
        self.k = k
        self.log = log
        self.scaled = scaled

    def fit(
        self,
        values: npt.ArrayLike,
        *,
        below: npt.ArrayLike | None = None,
        above: npt.ArrayLike | None = None,
        coordinates: npt.ArrayLike | None = None,
        weights: npt.ArrayLike | None = None,
    ) -> Threshold:
        """Find the threshold.

        Parameters
        ----------
        values : array_like, shape (n_samples,)
            Concentrations of one element, limits where flagged. Any unit.
        below, above : array_like of bool, shape (n_samples,), optional
            True where the true value lies under / over the one given.
        coordinates : array_like, shape (n_samples, 2), optional
            Easting, northing: the interval then allows for neighbours that are alike. [m]
        weights : array_like, shape (n_samples,), optional
            Declustering weights.

        Returns
        -------
        Threshold
            With more than 40 % below detection, fewer than ten distinct detected values or a MAD
            of zero: the 97.5th percentile of the censored lognormal fit, else of the detected
            values, and a warning that says so.

        Raises
        ------
        WrongCall
            If shapes do not agree or an option lies outside its range.
        """
        check_option(self.name, "k", self.k, low=0, high=100)
        data = prepare(values, below, above, weights, coordinates, log=self.log)
        parameters = {"k": self.k, "log": self.log, "scaled": self.scaled}
        if data.n == data.n_below:
            return no_values(self.name, parameters, self.reference, data)
        reason = obstacle(data)
        if reason:
            return fall_back(data, reason)
        location, spread, how = robust_location_scale(data)
        reason = obstacle(data, spread)
        if reason:
            return fall_back(data, reason)
        scale = scaled(spread, by=self.scaled)
        low, high = _interval(
            data, location, scale, self.k, scaled_mad=self.scaled, upper_half=bool(how)
        )
        return Threshold(
            data.back(location + self.k * scale), low, high, self.name, parameters, data.n,
            data.n_below, data.transform, self.reference,
            (*data.warnings, *((how,) if how else ())),
            details={
                "location": location, "scale": scale,
                "interval": data.how(
                    "bootstrap of the values" if data.n <= FEW and not how
                    else "large-sample draws of the quantiles"
                ),
            },
        )  # fmt: skip


def _interval(
    data: Prepared, location: float, scale: float, k: float, *, scaled_mad: bool, upper_half: bool
) -> tuple[float, float]:
    """90 % interval, from draws of what other samples would give."""
    from geochem.stats.intervals import interval, median_mad_draws, quantile_draws
    from geochem.stats.robust import MAD_SCALE

    raw = scale / MAD_SCALE if scaled_mad else scale
    # influence of a value on median and MAD of a normal population, the same units left out
    influence = (data.x > location) / 0.3989 + k * MAD_SCALE * (
        np.abs(data.x - location) > raw
    ) / 0.6356
    wider = data.wider(influence)
    if upper_half:
        quantiles = quantile_draws(data.x, [0.5, 0.75], data.weights, inflation=wider)
        middle, spread = quantiles[:, 0], MAD_SCALE * (quantiles[:, 1] - quantiles[:, 0])
    else:
        middle, spread = median_mad_draws(data.x, data.weights, inflation=wider)
    value = location + k * scale
    draws = middle + k * spread * (1.0 if scaled_mad else 1 / MAD_SCALE)
    low, high = interval(draws)
    return data.back(min(low, value)), data.back(max(high, value))
