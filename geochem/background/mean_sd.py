"""Mean + k standard deviations: shown to be compared, not to be used."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.background.values import check_option, no_values, prepare
from geochem.model.threshold import Threshold

if TYPE_CHECKING:
    import numpy.typing as npt


class MeanSd:
    """Mean plus k standard deviations; the anomalies one looks for lift it themselves.

    Parameters
    ----------
    k : float, default 2
        How many standard deviations above the mean. [-]
    log : bool, default False
        Work on log10 of the values.

    References
    ----------
    .. [1] Reimann, Filzmoser & Garrett 2005, Sci. Total Environ. 346:1-16 (who advise against it).

    Examples
    --------
    >>> x = [8, 9, 10, 10, 11, 12, 12, 13, 14, 15, 16, 18, 20, 25, 40, 150]
    >>> round(MeanSd().fit(x).value, 4)
    92.99
    """

    name = "mean_sd"
    summary = "mean + k standard deviations; for comparison only, anomalies lift it"
    reference = "Reimann, Filzmoser & Garrett 2005, Sci. Total Environ. 346:1-16"
    needs: tuple[str, ...] = ()

    def __init__(self, k: float = 2.0, *, log: bool = False) -> None:
        self.k = k
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
            The interval is the large-sample one from the first four moments. With values below
            detection and `log`, mean and standard deviation are those of the censored fit;
            without `log`, limits enter as they are and a warning says so.

        Raises
        ------
        WrongCall
            If shapes do not agree or an option lies outside its range.
        """
        from geochem.stats.censored_normal import fit_censored_normal
        from geochem.stats.declustering import effective_n

        check_option(self.name, "k", self.k, low=0, high=100)
        data = prepare(values, below, above, weights, coordinates, log=self.log)
        parameters = {"k": self.k, "log": self.log}
        if data.n - data.n_below < 2:
            return no_values(self.name, parameters, self.reference, data)
        warnings = list(data.warnings)
        w = np.ones(data.n) if data.weights is None else data.weights
        n = effective_n(w)
        mean = float(np.average(data.x, weights=w))
        centred = data.x - mean
        variance = float(np.average(centred**2, weights=w)) * n / max(n - 1, 1e-9)
        sd = float(np.sqrt(variance))
        fit = None
        if data.n_below:
            fit = fit_censored_normal(data.x, data.below, data.above, w) if self.log else None
            if fit is not None:
                mean, sd = fit.mean, fit.sd
            else:
                warnings.append(
                    f"{data.n_below} values are below detection; they entered at their limits."
                )
        if sd > 0:
            z = centred / sd
            skew = float(np.average(z**3, weights=w))
            peak = float(np.average(z**4, weights=w))
            # variance of mean + k sd: delta method
            spread = (1 + self.k * skew + self.k**2 * max(peak - 1, 0) / 4) / n
            error = sd * float(np.sqrt(max(spread, 0)))
            error *= data.wider(z + 0.5 * self.k * z**2)
        else:
            error = 0.0
        value = mean + self.k * sd
        return Threshold(
            data.back(value), data.back(value - 1.6448536 * error),
            data.back(value + 1.6448536 * error), self.name, parameters, data.n, data.n_below,
            data.transform, self.reference, tuple(warnings),
            details={
                "location": mean, "scale": sd,
                "interval": data.how("large-sample, from the first four moments"),
            },
        )  # fmt: skip
