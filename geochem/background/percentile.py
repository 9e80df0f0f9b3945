"""A percentile of the values, or of the lognormal population fitted to them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from geochem.background.values import check_option, fall_back, no_values, prepare
from geochem.model.threshold import Threshold

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.background.values import Prepared


class Percentile:
    """A percentile: it flags the same share of every survey, barren or not.

    Parameters
    ----------
    q : float, default 97.5
        Percentile, 50 to 100. [%]
    of : {"values", "lognormal"}, default "values"
        Of the values themselves (type 7), or of the censored lognormal fit.

    References
    ----------
    .. [1] Hyndman & Fan 1996, The American Statistician 50:361-365 (type 7); David & Nagaraja
       2003, Order Statistics, Wiley (interval).

    Examples
    --------
    >>> Percentile(q=90).fit(list(range(101))).value
    90.0
    """

    name = "percentile"
    summary = "a percentile of the values; flags a fixed share of any survey"
    reference = "Hyndman & Fan 1996, The American Statistician 50:361-365 (type 7)"
    needs: tuple[str, ...] = ()

    def __init__(self, q: float = 97.5, *, of: Literal["values", "lognormal"] = "values") -> None:
        self.q = q
        self.of = of

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
            `high` is NaN when there are too few values to bound the percentile from above. Where
            the percentile itself lies among limits: that of the censored lognormal fit.

        Raises
        ------
        WrongCall
            If shapes do not agree or an option lies outside its range.
        """
        from geochem.errors import unknown
        from geochem.stats.robust import weighted_quantile

        check_option(self.name, "q", self.q, low=50, high=100)
        if self.of not in ("values", "lognormal"):
            raise unknown(
                f"value of option 'of' of '{self.name}'", str(self.of), ["values", "lognormal"]
            )
        data = prepare(values, below, above, weights, coordinates)
        parameters = {"q": self.q, "of": self.of}
        if data.n == data.n_below:
            return no_values(self.name, parameters, self.reference, data)
        if self.of == "lognormal":
            return fall_back(data, "the lognormal fit was asked for", q=self.q)
        value = float(weighted_quantile(data.x, self.q / 100, data.weights))
        if data.n_below and data.x[data.below].max() >= value:
            return fall_back(
                data, f"limits reach up to the {self.q:g}th percentile of the values", q=self.q
            )
        low, high = _interval(data, self.q / 100)
        warnings = list(data.warnings)
        if np.isnan(high):
            warnings.append(
                f"{data.n} values are too few to bound the {self.q:g}th percentile from above."
            )
        return Threshold(
            value, low, high, self.name, parameters, data.n, data.n_below, "none",
            self.reference, tuple(warnings),
            details={
                "interval": data.how("order statistics (binomial), no distribution assumed")
            },
        )  # fmt: skip


def _interval(data: Prepared, p: float) -> tuple[float, float]:
    """Order statistics between which the percentile lies with 90 % confidence."""
    from geochem.stats.declustering import effective_n
    from geochem.stats.robust import weighted_quantile

    n = data.n if data.weights is None else max(round(effective_n(data.weights)), 1)
    at = float(weighted_quantile(data.x, p, data.weights))
    n = max(round(n / data.wider(data.x > at) ** 2), 1)
    low, high = _binomial_quantile(0.05, n, p), _binomial_quantile(0.95, n, p) + 1
    top = float("nan")
    if high <= n and n > 1:
        top = float(weighted_quantile(data.x, (high - 1) / (n - 1), data.weights))
    bottom = float("nan")
    if low >= 1 and n > 1:
        bottom = float(weighted_quantile(data.x, (low - 1) / (n - 1), data.weights))
    return bottom, top


def _binomial_quantile(q: float, n: int, p: float) -> int:
    """Least number of n that is reached with probability q; without the weight of scipy.stats."""
    from scipy.special import bdtr, bdtrik

    k = max(int(np.ceil(bdtrik(q, n, p))), 0)
    return k - 1 if k and bdtr(k - 1, n, p) >= q else k
