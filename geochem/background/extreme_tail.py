"""Extreme-value tail: a generalised Pareto law for what exceeds a high level of log10 values."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.background.values import check_option, fall_back, no_values, prepare
from geochem.model.threshold import Threshold

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

#: exceedances that the fit needs, and that it should have
_LEAST, _SHOULD = 20, 50


class ExtremeTail:
    """The concentration that a stated share of the samples exceeds, read off a fitted tail.

    Peaks over a level: log10 values beyond their `start` percentile follow a generalised Pareto
    law; its quantile is steadier than the percentile of the values themselves. Like a percentile
    it flags the same share of any survey. What it says about anomalies is its shape: about -0.1
    to -0.3 where the upper tail is lognormal, above 0.1 where a richer population joins in.

    Parameters
    ----------
    q : float, default 99
        Percentile that is the threshold; above `start`. [%]
    start : float, default 90
        Percentile above which the tail begins. [%]

    References
    ----------
    .. [1] Hosking & Wallis 1987, Parameter and quantile estimation for the generalized Pareto
       distribution, Technometrics 29:339-349 (probability-weighted moments); Coles 2001, An
       Introduction to Statistical Modeling of Extreme Values, Springer.
    """

    name = "extreme_tail"
    summary = "percentile of a generalised Pareto law fitted to the upper tail"
    reference = "Hosking & Wallis 1987, Technometrics 29:339-349"
    needs: tuple[str, ...] = ()

    def __init__(self, q: float = 99.0, *, start: float = 90.0) -> None:
        self.q = q
        self.start = start

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
            `details`: ``shape``, ``size`` (log10) and ``level`` of the tail, ``exceedances``. Valid
            with 20 exceedances or more, detection limits under the level and a shape below 0.5;
            otherwise the percentile of the censored lognormal fit, and a warning.

        Raises
        ------
        WrongCall
            If shapes do not agree or an option lies outside its range.
        """
        from geochem.errors import WrongCall
        from geochem.stats.generalised_pareto import fit_pareto
        from geochem.stats.intervals import expensive_draws, interval
        from geochem.stats.robust import weighted_quantile

        check_option(self.name, "q", self.q, low=50, high=99.999)
        check_option(self.name, "start", self.start, low=50, high=99.9)
        if self.q <= self.start:
            raise WrongCall(
                f"option 'q' of '{self.name}' ({self.q:g}) must lie above 'start' ({self.start:g})."
            )
        data = prepare(values, below, above, weights, coordinates, log=True)
        parameters = {"q": self.q, "start": self.start}
        if data.n == data.n_below:
            return no_values(self.name, parameters, self.reference, data)
        level = float(weighted_quantile(data.x, self.start / 100, data.weights))
        over = (data.x > level) & ~data.below
        if over.sum() < _LEAST:
            return fall_back(
                data,
                f"only {int(over.sum())} values lie in the tail, {_LEAST} are needed",
                q=self.q,
            )
        if data.n_below and data.x[data.below].max() > level:
            return fall_back(data, "detection limits reach into the tail", q=self.q)
        w = np.ones(data.n) if data.weights is None else data.weights
        share = float(w[over].sum() / w.sum())

        def tail(
            x: Array, part: Array, reached: float, level: float
        ) -> tuple[float, float, float]:
            shape, size = fit_pareto(x - level, part)
            ratio = (1 - self.q / 100) / reached
            if not 0 < ratio < 1:
                return float("nan"), shape, size
            step = -np.log(ratio) if abs(shape) < 1e-9 else (ratio**-shape - 1) / shape
            return level + size * float(step), shape, size

        value, shape, size = tail(data.x[over], w[over], share, level)
        if not np.isfinite(value):
            return fall_back(data, "many values equal the level where the tail begins", q=self.q)
        warnings = list(data.warnings)
        if over.sum() < _SHOULD:
            warnings.append(
                f"Only {int(over.sum())} values lie in the tail; {_SHOULD} make it steady."
            )
        if shape > 0.5:
            warnings.append("The tail is so heavy (shape above 0.5) that its fit is not reliable.")
        if shape > 0.1:
            warnings.append("The tail is heavier than lognormal: a richer population joins in.")
        if np.asarray(data.above)[over].any():
            warnings.append("Values over range entered the tail at their limit.")

        def again(at: npt.NDArray[np.intp]) -> float:
            start = float(np.quantile(data.x[at], self.start / 100))
            x = data.x[at]
            x = x[x > start]
            if x.size < 5:
                return float("nan")
            return tail(x, np.ones(x.size), x.size / at.size, start)[0]

        draws = expensive_draws(data.n, data.weights, again)
        low, high = interval(value + data.wider(data.x > value) * draws)
        return Threshold(
            data.back(value), data.back(min(low, value)), data.back(max(high, value)), self.name,
            parameters, data.n, data.n_below, "log10", self.reference, tuple(warnings),
            details={
                "shape": shape, "size": size, "level": data.back(level),
                "exceedances": int(over.sum()),
                "interval": data.how("bootstrap of the values, 60 draws"),
            },
        )  # fmt: skip
