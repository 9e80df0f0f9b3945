"""Probability plot: populations fitted on the log scale, 99th percentile of the background."""

from __future__ import annotations

from typing import TYPE_CHECKING

from geochem.background.populations import (
    describe_populations,
    likeness,
    population_warnings,
)
from geochem.background.values import Z90, check_option, fall_back, no_values, prepare
from geochem.model.threshold import Threshold

if TYPE_CHECKING:
    import numpy.typing as npt


class ProbabilityPlot:
    """One to four lognormal populations; the threshold is a high percentile of the background.

    The background is the lowest population with at least half the share of the largest. Limits,
    declustering weights and values over range enter the fit. The figure beside it is what should
    be judged: a bend that the eye does not see is no population.

    Parameters
    ----------
    q : float, default 99
        Percentile of the background population. [%]
    max_populations : int, default 4
        Largest number tried; the number of smallest BIC is taken.

    References
    ----------
    .. [1] Sinclair 1974, Selection of threshold values in geochemical data using probability
       graphs, J. Geochem. Explor. 3:129-149; Sinclair 1976, Association of Exploration
       Geochemists Special Volume 4.
    """

    name = "probability_plot"
    summary = "lognormal populations on a probability plot; high percentile of the background one"
    reference = "Sinclair 1974, J. Geochem. Explor. 3:129-149"
    needs: tuple[str, ...] = ()

    def __init__(self, q: float = 99.0, *, max_populations: int = 4) -> None:
        self.q = q
        self.max_populations = max_populations

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
            Positive concentrations of one element, limits where flagged. Any unit.
        below, above : array_like of bool, shape (n_samples,), optional
            True where the true value lies under / over the one given.
        coordinates : array_like, shape (n_samples, 2), optional
            Easting, northing: the interval then allows for neighbours that are alike. [m]
        weights : array_like, shape (n_samples,), optional
            Declustering weights.

        Returns
        -------
        Threshold
            `details` as in `populations.describe_populations`. With fewer than ten distinct
            detected values: the percentile of one censored lognormal population.

        Raises
        ------
        WrongCall
            If shapes do not agree or an option lies outside its range.
        """
        from scipy.special import ndtri

        from geochem.stats.mixture import fit_mixture, quantile_error

        check_option(self.name, "q", self.q, low=50, high=99.999)
        check_option(self.name, "max_populations", self.max_populations, low=1, high=4)
        data = prepare(values, below, above, weights, coordinates, log=True)
        parameters = {"q": self.q, "max_populations": self.max_populations}
        if data.n == data.n_below:
            return no_values(self.name, parameters, self.reference, data)
        if data.distinct < 10:
            return fall_back(
                data, f"there are only {data.distinct} distinct detected values", q=self.q
            )
        fit = fit_mixture(
            data.x, below=data.below, above=data.above, weights=data.weights, log10=data.log,
            inflation=likeness(data),
            max_populations=self.max_populations,
        )  # fmt: skip
        if fit is None:  # pragma: no cover - ten distinct values always give a fit
            return fall_back(data, "no population could be fitted", q=self.q)
        details = describe_populations(data, fit)
        z = float(ndtri(self.q / 100))
        place = details["background"]
        value = float(fit.mean[place] + z * fit.sd[place])
        error = quantile_error(fit, place, z)
        return Threshold(
            data.back(value), data.back(value - Z90 * error), data.back(value + Z90 * error),
            self.name, parameters, data.n, data.n_below, "log10", self.reference,
            (*data.warnings, *population_warnings(fit)), details=details,
        )  # fmt: skip
