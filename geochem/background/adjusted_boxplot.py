"""Upper fence of the adjusted boxplot: Tukey's fence moved by a robust measure of skewness."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.background.values import check_option, fall_back, no_values, obstacle, prepare
from geochem.model.threshold import Threshold

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]


class AdjustedBoxplot:
    """Third quartile + k exp(a MC) interquartile ranges, MC being the medcouple.

    For skewed values without taking logarithms: a is 3 where the upper tail is the longer one and
    4 where it is not. Quartiles are of type 7.

    Parameters
    ----------
    k : float, default 1.5
        Before the adjustment. [-]
    log : bool, default False
        Work on log10 of the values; little skewness is then left to adjust for.

    References
    ----------
    .. [1] Hubert & Vandervieren 2008, An adjusted boxplot for skewed distributions, Comput. Stat.
       Data Anal. 52:5186-5201, doi:10.1016/j.csda.2007.11.008.
    """

    name = "adjusted_boxplot"
    summary = "upper quartile + interquartile ranges stretched by robust skewness (medcouple)"
    reference = "Hubert & Vandervieren 2008, Comput. Stat. Data Anal. 52:5186-5201"
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
            Where the lower quartile is below detection or quartiles are not valid otherwise: the
            97.5th percentile of the censored lognormal fit, else of the detected values.

        Raises
        ------
        WrongCall
            If shapes do not agree or an option lies outside its range.
        """
        from geochem.stats.intervals import expensive_draws, interval
        from geochem.stats.robust import medcouple, quartiles

        check_option(self.name, "k", self.k, low=0, high=100)
        data = prepare(values, below, above, weights, coordinates, log=self.log)
        parameters = {"k": self.k, "log": self.log}
        if data.n == data.n_below:
            return no_values(self.name, parameters, self.reference, data)
        q1, q2, q3 = quartiles(data.x, data.weights)
        reason = obstacle(data, q3 - q1)
        limits = data.x[data.below]
        if not reason and limits.size and limits.max() >= q1:
            reason = "the lower quartile is below detection, so skewness cannot be judged"
        if reason:
            return fall_back(data, reason)
        skew = medcouple(data.x, data.weights)
        value = fence(q1, q3, skew, self.k)
        warnings = list(data.warnings)
        if abs(skew) > 0.6:
            warnings.append(
                f"Skewness is beyond what the adjustment was made for (medcouple {skew:.2f}, "
                "0.6 at most): logarithms first."
            )

        def again(at: npt.NDArray[np.intp]) -> float:
            x = data.x[at]
            x = x if x.size <= 201 else x[np.linspace(0, x.size - 1, 201).astype(int)]
            a, _, b = quartiles(x)
            return fence(a, b, medcouple(x), self.k)

        draws = expensive_draws(data.n, data.weights, again)
        influence = (1 + self.k) * (data.x > q3) - self.k * (data.x > q1)
        low, high = interval(value + data.wider(influence) * draws)
        return Threshold(
            data.back(value), data.back(min(low, value)), data.back(max(high, value)), self.name,
            parameters, data.n, data.n_below, data.transform, self.reference, tuple(warnings),
            details={
                "location": q2, "scale": (q3 - q1) / 1.3489795, "quartiles": (q1, q2, q3),
                "medcouple": skew, "interval": data.how("bootstrap of the values, 60 draws"),
            },
        )  # fmt: skip


def fence(q1: float, q3: float, skew: float, k: float) -> float:
    """Give the upper fence from quartiles and medcouple."""
    return float(q3 + k * np.exp((3.0 if skew >= 0 else 4.0) * skew) * (q3 - q1))
