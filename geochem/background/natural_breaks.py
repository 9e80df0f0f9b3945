"""Natural breaks: classes as alike within as can be; the threshold is where the highest begins."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.background.values import check_option, fall_back, no_values, prepare
from geochem.model.threshold import Threshold

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

#: share of the variance that the best classes leave in a normal population
_NORMAL = {2: 0.3634, 3: 0.1902, 4: 0.1175, 5: 0.07994, 6: 0.05798, 7: 0.04400, 8: 0.03454}


class NaturalBreaks:
    """Classes of smallest variance within; the lower end of the highest class.

    It finds classes in any values, barren ones too: a warning says when they fit no better than
    those of one normal population.

    Parameters
    ----------
    classes : int, default 3
        How many, 2 to 8; more of them put the threshold higher.
    log : bool, default True
        Work on log10 of the values; on raw ones a few high values make a class of their own.

    References
    ----------
    .. [1] Fisher 1958, On grouping for maximum homogeneity, J. Am. Stat. Assoc. 53:789-798; Max
       1960, Quantizing for minimum distortion, IRE Trans. Inf. Theory 6:7-12 (normal population).
    """

    name = "natural_breaks"
    summary = "lower end of the highest of a few classes that are as alike within as can be"
    reference = "Fisher 1958, J. Am. Stat. Assoc. 53:789-798"
    needs: tuple[str, ...] = ()

    def __init__(self, classes: int = 3, *, log: bool = True) -> None:
        self.classes = classes
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
            Half way between the highest value of the class below and the lowest of the highest
            class. `details`: ``breaks`` of all classes, ``within`` (share of the variance left).

        Raises
        ------
        WrongCall
            If shapes do not agree or an option lies outside its range.
        """
        from geochem.stats.intervals import expensive_draws, interval
        from geochem.stats.natural_breaks import best_classes

        check_option(self.name, "classes", self.classes, low=2, high=8)
        data = prepare(values, below, above, weights, coordinates, log=self.log)
        parameters = {"classes": self.classes, "log": self.log}
        if data.n == data.n_below:
            return no_values(self.name, parameters, self.reference, data)
        if data.distinct < 3 * self.classes:
            return fall_back(data, f"there are only {data.distinct} distinct detected values")
        found = best_classes(data.x, self.classes, data.weights)
        value = float(found.breaks[-1])
        warnings = list(data.warnings)
        if data.n_below:
            warnings.append(f"{data.n_below} values below detection entered at their limits.")
            if data.x[data.below].max() >= value:
                return fall_back(data, "limits reach up to the highest class")
        if found.within > 0.85 * _NORMAL[self.classes]:
            warnings.append(
                "The classes fit hardly better than in one normal population: there may be nothing "
                "to divide."
            )

        def again(at: npt.NDArray[np.intp]) -> float:
            return float(best_classes(data.x[at], self.classes, most=80).breaks[-1])

        draws = expensive_draws(data.n, data.weights, again, draws=40)
        spread = data.wider(data.x >= value) * draws
        low, high = interval(np.clip(value + spread, data.x[0], data.x[-1]))
        return Threshold(
            data.back(value), data.back(min(low, value)), data.back(max(high, value)), self.name,
            parameters, data.n, data.n_below, data.transform, self.reference, tuple(warnings),
            details={
                "breaks": [data.back(float(b)) for b in found.breaks], "within": found.within,
                "interval": data.how("bootstrap of the values, 40 draws"),
            },
        )  # fmt: skip
