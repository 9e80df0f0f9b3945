"""Concentration-area: the bend of the area above a concentration, on log-log axes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.background.values import check_option, fall_back, no_values, prepare
from geochem.errors import WrongCall
from geochem.model.threshold import Threshold

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

_LEVELS = 300


class ConcentrationArea:
    """Power laws of the area with at least a concentration; the threshold is where they bend.

    Each sample stands for an area: its declustering weight if given, else one made from the
    coordinates; with neither, samples are counted (concentration-number).

    Parameters
    ----------
    breaks : int, default 1
        One or two bends; the highest is the threshold.

    References
    ----------
    .. [1] Cheng, Agterberg & Ballantyne 1994, The separation of geochemical anomalies from
       background by fractal methods, J. Geochem. Explor. 51:109-130.
    """

    name = "concentration_area"
    summary = "bend of the log-log curve of area (or number of samples) above a concentration"
    reference = "Cheng, Agterberg & Ballantyne 1994, J. Geochem. Explor. 51:109-130"
    needs: tuple[str, ...] = ()

    def __init__(self, breaks: int = 1) -> None:
        self.breaks = breaks

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
            Easting, northing; used when no weights are given. [m]
        weights : array_like, shape (n_samples,), optional
            Declustering weights, in proportion to area.

        Returns
        -------
        Threshold
            `details`: ``curve`` (log10 concentration, log10 area), ``slopes``, ``breaks``.

        Raises
        ------
        WrongCall
            If shapes do not agree or an option lies outside its range.
        """
        check_option(self.name, "breaks", self.breaks, low=1, high=2)
        if weights is None and coordinates is not None:
            weights = _areas(coordinates, np.size(values))
        data = prepare(values, below, above, weights, log=True)
        parameters = {"breaks": self.breaks}
        if data.n == data.n_below:
            return no_values(self.name, parameters, self.reference, data)
        if data.distinct < 5 * (self.breaks + 1):
            return fall_back(data, f"there are only {data.distinct} distinct detected values")
        w = np.ones(data.n) if data.weights is None else data.weights
        # a limit belongs to no class at or above it that is certain; it only adds total area
        seen = ~data.below
        x, areas = data.x[seen], w[seen]
        level, area = _curve(x, areas)
        pieces = _fit(level, area, self.breaks)
        warnings = list(data.warnings)
        if not (pieces[1][-1] < pieces[1][-2]):
            warnings.append(
                "The curve does not grow steeper above the bend: it does not separate an anomaly."
            )
        draws = _bootstrap(x, areas, self.breaks)
        value = pieces[0][-1]
        low, high = np.quantile(draws, [0.05, 0.95]) if draws.size else (np.nan, np.nan)
        return Threshold(
            data.back(value), data.back(float(min(low, value))),
            data.back(float(max(high, value))), self.name, parameters, data.n, data.n_below,
            "log10", self.reference, tuple(warnings),
            details={
                "curve": (level, np.log10(area)), "slopes": pieces[1], "intercepts": pieces[2],
                "breaks": 10.0 ** pieces[0], "interval": "bootstrap of the values, 60 draws",
            },
        )  # fmt: skip


def _areas(coordinates: npt.ArrayLike, n: int) -> Array | None:
    from geochem.stats.declustering import cell_weights, reconnaissance_spacing

    xy = np.asarray(coordinates, dtype=float)
    if xy.shape != (n, 2):
        raise WrongCall(
            f"coordinates must have the shape ({n}, 2), easting and northing; got {xy.shape}."
        )
    spacing = reconnaissance_spacing(xy)
    return cell_weights(xy, spacing) if np.isfinite(spacing) and spacing > 0 else None


def _curve(x: Array, areas: Array) -> tuple[Array, Array]:
    """Area with at least each of up to 300 levels; `x` ascending.

    Half of a sample's own area counts at its own level: the highest few bend the curve otherwise.
    """
    from_top = np.cumsum(areas[::-1])[::-1] - areas / 2
    first = np.flatnonzero(np.append(True, x[1:] > x[:-1]))
    level, area = x[first], from_top[first]
    if level.size > _LEVELS:
        grid = np.linspace(level[0], level[-1], _LEVELS)
        pick = np.unique(np.searchsorted(level, grid).clip(0, level.size - 1))
        level, area = level[pick], area[pick]
    return level, area


def _fit(level: Array, area: Array, breaks: int) -> tuple[Array, Array, Array]:
    from geochem.stats.piecewise import fit_pieces

    found = fit_pieces(level, np.log10(area), breaks=breaks)
    return found.breaks, found.slopes, found.intercepts


def _bootstrap(x: Array, areas: Array, breaks: int) -> Array:
    """Draw the highest bend anew; above 2,000 values their classes are drawn instead of them."""
    rng = np.random.default_rng(1)
    level, count, mass = x, np.ones(x.size), areas
    if x.size > 2000:
        edges = np.linspace(x[0], x[-1], _LEVELS + 1)[:-1]
        place = np.searchsorted(edges, x, side="right") - 1
        count = np.bincount(place, minlength=_LEVELS).astype(float)
        mass = np.bincount(place, weights=areas, minlength=_LEVELS).astype(float)
        full = count > 0
        level = np.maximum(edges, x[0])[full]
        count, mass = count[full], mass[full] / count[full]
    draws = []
    for _draw in range(60):
        drawn = rng.poisson(count)
        keep = drawn > 0
        some, area = _curve(level[keep], mass[keep] * drawn[keep])
        if some.size >= 3 * (breaks + 1):
            draws.append(float(_fit(some, area, breaks)[0][-1]))
    return np.array(draws)
