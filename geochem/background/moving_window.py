"""Moving window: each sample against the samples around it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.background.values import check_option, fall_back, no_values, obstacle, prepare
from geochem.errors import WrongCall
from geochem.model.threshold import Threshold

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]


class MovingWindow:
    """Median of the nearest samples + k MAD of what is left: a threshold per sample.

    Where the background drifts over the ground without a mapped reason. An anomaly wider than
    half of the window lifts its own background: the window must be much wider than what is sought.

    Parameters
    ----------
    k : float, default 2
        How many MADs above the local median. [-]
    neighbours : int, default 100
        Samples in the window, the sample itself among them.
    log : bool, default True
        Work on log10 of the values.

    References
    ----------
    .. [1] Reimann, Filzmoser & Garrett 2005, Sci. Total Environ. 346:1-16 (median + 2 MAD); the
       window: common practice, no source.
    """

    name = "moving_window"
    summary = "median of the samples around + k median absolute deviations, per sample"
    reference = (
        "Reimann, Filzmoser & Garrett 2005, Sci. Total Environ. 346:1-16; the window: common "
        "practice, no source"
    )
    needs: tuple[str, ...] = ("coordinates",)

    def __init__(self, k: float = 2.0, *, neighbours: int = 100, log: bool = True) -> None:
        self.k = k
        self.neighbours = neighbours
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
            Easting, northing. [m]
        weights : array_like, shape (n_samples,), optional
            Declustering weights, of the MAD.

        Returns
        -------
        Threshold
            `local` has the threshold of every sample in the order they came, NaN where the value or
            the position is missing; `value` is their median, `low` and `high` that of the median
            threshold.

        Raises
        ------
        WrongCall
            If shapes do not agree or an option lies outside its range.
        """
        from geochem.stats.intervals import interval, median_mad_draws
        from geochem.stats.moving_window import local_median
        from geochem.stats.robust import mad, median

        check_option(self.name, "k", self.k, low=0, high=100)
        check_option(self.name, "neighbours", self.neighbours, low=10, high=1000)
        data = prepare(values, below, above, weights, coordinates, log=self.log)
        parameters = {"k": self.k, "neighbours": self.neighbours, "log": self.log}
        if coordinates is None:
            raise WrongCall(
                f"'{self.name}' needs coordinates; give easting and northing of every sample, or "
                "choose another method."
            )
        if data.n == data.n_below:
            return no_values(self.name, parameters, self.reference, data)
        reason = obstacle(data)
        if not reason and data.n < 2 * self.neighbours:
            reason = f"{data.n} samples are fewer than two windows of {self.neighbours}"
        if reason:
            return fall_back(data, reason)
        x, xy = np.asarray(values, dtype=float), np.asarray(coordinates, dtype=float)
        w = np.ones(x.size) if weights is None else np.asarray(weights, dtype=float)
        ok = np.isfinite(x) & np.isfinite(xy).all(axis=1) & (w > 0)
        if self.log:
            ok &= x > 0
        level = np.log10(x[ok]) if self.log else x[ok]
        around = local_median(level, xy[ok], self.neighbours)
        rest = level - around
        part = None if data.weights is None else w[ok]
        middle, scale = median(rest, part), mad(rest, part)
        if not scale > 0:
            return fall_back(data, obstacle(data, 0.0))
        local = np.full(x.size, np.nan)
        local[ok] = around + middle + self.k * scale
        value = float(np.median(local[ok]))
        m, s = median_mad_draws(rest, part, inflation=data.wider(data.x > median(data.x)))
        draws = m + self.k * s - middle - self.k * scale
        low, high = interval(value + draws)
        warnings = list(data.warnings)
        if data.n_below:
            warnings.append(f"{data.n_below} values below detection entered at their limits.")
        if self.log:
            local = np.where(ok, 10.0**local, np.nan)
        return Threshold(
            data.back(value), data.back(min(low, value)), data.back(max(high, value)), self.name,
            parameters, data.n, data.n_below, data.transform, self.reference, tuple(warnings),
            local=local,
            details={
                "location": float(np.median(around)) + middle, "scale": scale,
                "interval": data.how("large-sample draws of the quantiles"),
            },
        )  # fmt: skip
