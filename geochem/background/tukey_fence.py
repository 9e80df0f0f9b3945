"""Tukey's upper inner fence: third quartile + k interquartile ranges."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.background.values import check_option, fall_back, no_values, obstacle, prepare
from geochem.model.threshold import Threshold

if TYPE_CHECKING:
    import numpy.typing as npt


class TukeyFence:
    """Third quartile plus k times the interquartile range.

    Good while fewer than about a tenth of the values are anomalous; beyond a quarter it breaks.
    Quartiles are of type 7 (linear interpolation of order statistics), not hinges: for small n
    the two differ.

    Parameters
    ----------
    k : float, default 1.5
        1.5 gives the inner fence, 3 the outer. [-]
    log : bool, default False
        Work on log10 of the values.

    References
    ----------
    .. [1] Tukey 1977, Exploratory Data Analysis, Addison-Wesley; Hyndman & Fan 1996, The American
       Statistician 50:361-365 (type 7).

    Examples
    --------
    >>> x = [8, 9, 10, 10, 11, 12, 12, 13, 14, 15, 16, 18, 20, 25, 40, 150]
    >>> TukeyFence().fit(x).value, TukeyFence(k=3).fit(x).value
    (30.125, 41.75)
    """

    name = "tukey_fence"
    summary = "upper quartile + k interquartile ranges (type-7 quartiles)"
    reference = "Tukey 1977, Exploratory Data Analysis, Addison-Wesley"
    needs: tuple[str, ...] = ()

    def __init__(self, k: float = 1.5, *, log: bool = False) -> None:
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
            Where quartiles are not valid (see `MedianMad.fit`): the 97.5th percentile of the
            censored lognormal fit, else of the detected values.

        Raises
        ------
        WrongCall
            If shapes do not agree or an option lies outside its range.
        """
        from geochem.stats.intervals import FEW, interval, quantile_draws, resamples
        from geochem.stats.robust import quartiles

        check_option(self.name, "k", self.k, low=0, high=100)
        data = prepare(values, below, above, weights, coordinates, log=self.log)
        parameters = {"k": self.k, "log": self.log}
        if data.n == data.n_below:
            return no_values(self.name, parameters, self.reference, data)
        q1, q2, q3 = quartiles(data.x, data.weights)
        reason = obstacle(data, q3 - q1)
        if reason:
            return fall_back(data, reason)
        warnings = list(data.warnings)
        limits = data.x[data.below]
        if limits.size and limits.max() > q1:
            # the lower quartile is hidden: the upper half of the box, doubled, stands for it
            q1 = q3 - 2 * (q3 - q2)
            warnings.append(
                "The lower quartile is below detection: twice the distance from median to upper "
                "quartile was taken for the interquartile range."
            )
            if not q3 > q1:
                return fall_back(data, obstacle(data, 0.0))
        value = q3 + self.k * (q3 - q1)
        wider = data.wider((1 + self.k) * (data.x > q3) - self.k * (data.x > q1))
        if data.n <= FEW:
            drawn = resamples(data.x, data.weights, inflation=wider)
            draws = np.quantile(drawn, [0.25, 0.75], axis=1).T
        else:
            draws = quantile_draws(data.x, [0.25, 0.75], data.weights, inflation=wider)
        fences = draws[:, 1] + self.k * (draws[:, 1] - draws[:, 0])
        low, high = interval(fences)
        return Threshold(
            data.back(value), data.back(min(low, value)), data.back(max(high, value)), self.name,
            parameters, data.n, data.n_below, data.transform, self.reference, tuple(warnings),
            details={
                "location": q2, "scale": (q3 - q1) / 1.3489795, "quartiles": (q1, q2, q3),
                "interval": data.how(
                    "bootstrap of the values" if data.n <= FEW
                    else "large-sample draws of the quantiles"
                ),
            },
        )  # fmt: skip
