"""Gaussian mixture: where background and the next higher population are equally likely."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.background.populations import (
    describe_populations,
    likeness,
    population_warnings,
)
from geochem.background.values import Z90, check_option, fall_back, no_values, prepare
from geochem.model.threshold import Threshold

if TYPE_CHECKING:
    import numpy.typing as npt


class Mixture:
    """A stated number of normal populations; the threshold is where two of them cross.

    Parameters
    ----------
    populations : int, default 2
        How many, 2 to 4.
    log : bool, default True
        Work on log10 of the values.

    References
    ----------
    .. [1] McLachlan & Peel 2000, Finite Mixture Models, Wiley.
    """

    name = "mixture"
    summary = "crossing of the background population with the next higher one"
    reference = "McLachlan & Peel 2000, Finite Mixture Models, Wiley"
    needs: tuple[str, ...] = ()

    def __init__(self, populations: int = 2, *, log: bool = True) -> None:
        self.populations = populations
        self.log = log

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
            Where the populations do not cross between their means, or the background is the
            highest one: its 99th percentile, and a warning.

        Raises
        ------
        WrongCall
            If shapes do not agree or an option lies outside its range.
        """
        from geochem.stats.mixture import (
            crossing,
            crossing_error,
            fit_mixture,
            quantile_error,
        )

        check_option(self.name, "populations", self.populations, low=2, high=4)
        data = prepare(values, below, above, weights, coordinates, log=self.log)
        parameters = {"populations": self.populations, "log": self.log}
        if data.n == data.n_below:
            return no_values(self.name, parameters, self.reference, data)
        if data.distinct < 10:
            return fall_back(data, f"there are only {data.distinct} distinct detected values")
        fit = fit_mixture(
            data.x, below=data.below, above=data.above, weights=data.weights, log10=data.log,
            inflation=likeness(data),
            populations=self.populations,
        )  # fmt: skip
        if fit is None:  # pragma: no cover - ten distinct values always give a fit
            return fall_back(data, "no population could be fitted")
        details = describe_populations(data, fit)
        place = details["background"]
        warnings = [*data.warnings, *population_warnings(fit)]
        value = crossing(fit, place, place + 1) if place + 1 < fit.k else float("nan")
        error = crossing_error(fit, place, place + 1) if np.isfinite(value) else float("nan")
        if np.isnan(value):
            value = float(fit.mean[place] + 2.326347874 * fit.sd[place])
            warnings.append(
                "The background does not cross a higher population: its 99th percentile was used."
            )
            error = quantile_error(fit, place, 2.326347874)
        return Threshold(
            data.back(value), data.back(value - Z90 * error), data.back(value + Z90 * error),
            self.name, parameters, data.n, data.n_below, data.transform, self.reference,
            tuple(warnings), details=details,
        )  # fmt: skip
