"""Power laws of "how much lies at or above a concentration", and where they bend.

Area and number of samples are judged alike: `ConcentrationArea` and `ConcentrationNumber` differ
in what a sample stands for and use the same curve, fit and draws.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.background.values import Prepared, check_option, fall_back, no_values
from geochem.model.threshold import Threshold
from geochem.stats.intervals import wanted

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

_LEVELS = 300


def bend_threshold(
    data: Prepared, method: str, reference: str, *, breaks: int, of: str
) -> Threshold:
    """Find the highest bend of the log-log curve.

    Parameters
    ----------
    data : Prepared
        On log10; weights are what a sample stands for.
    method, reference : str
        Of the method that asks.
    breaks : int
        One or two.
    of : {"area", "number"}
        What is summed.

    Returns
    -------
    Threshold
        `details`: ``curve`` (log10 concentration, log10 area or number), ``slopes``,
        ``intercepts``, ``breaks`` [unit of the values], ``of``.

    Raises
    ------
    WrongCall
        If the number of breaks is another.
    """
    check_option(method, "breaks", breaks, low=1, high=2)
    parameters: dict[str, Any] = {"breaks": breaks}
    if data.n == data.n_below:
        return no_values(method, parameters, reference, data)
    if data.distinct < 5 * (breaks + 1):
        return fall_back(data, f"there are only {data.distinct} distinct detected values")
    w = np.ones(data.n) if data.weights is None else data.weights
    # a limit belongs to no class at or above it that is certain; it only adds total
    seen = ~data.below
    x, amounts = data.x[seen], w[seen]
    level, amount = _curve(x, amounts)
    at, slopes, intercepts = _fit(level, amount, breaks)
    value = float(at[-1])
    warnings = list(data.warnings)
    if not slopes[-1] < slopes[-2]:
        warnings.append(
            "The curve does not grow steeper above the bend: it does not separate an anomaly."
        )
    if seen.all() and float(np.sum(w * (x >= value)) / w.sum()) < 5 / data.n:
        warnings.append("Fewer than five samples lie above the bend: it rests on single values.")
    low, high = np.nan, np.nan
    draws = _bootstrap(x, amounts, breaks) if wanted() else np.zeros(0)
    if draws.size:
        draws = value + data.wider(data.x >= value) * (draws - value)
        low, high = np.quantile(np.clip(draws, x[0], x[-1]), [0.05, 0.95])
    return Threshold(
        data.back(value), data.back(float(min(low, value))), data.back(float(max(high, value))),
        method, parameters, data.n, data.n_below, "log10", reference, tuple(warnings),
        details={
            "curve": (level, np.log10(amount)), "slopes": slopes, "intercepts": intercepts,
            "breaks": 10.0**at, "of": of,
            "interval": data.how("bootstrap of the values, 60 draws"),
        },
    )  # fmt: skip


def _curve(x: Array, amounts: Array) -> tuple[Array, Array]:
    """Amount with at least each of up to 300 levels; `x` ascending.

    Half of a sample's own amount counts at its own level: the highest few bend the curve otherwise.
    """
    from_top = np.cumsum(amounts[::-1])[::-1] - amounts / 2
    first = np.flatnonzero(np.append(True, x[1:] > x[:-1]))
    level, amount = x[first], from_top[first]
    if level.size > _LEVELS:
        grid = np.linspace(level[0], level[-1], _LEVELS)
        pick = np.unique(np.searchsorted(level, grid).clip(0, level.size - 1))
        level, amount = level[pick], amount[pick]
    return level, amount


def _fit(level: Array, amount: Array, breaks: int) -> tuple[Array, Array, Array]:
    from geochem.stats.piecewise import fit_pieces

    found = fit_pieces(level, np.log10(amount), breaks=breaks)
    return found.breaks, found.slopes, found.intercepts


def _bootstrap(x: Array, amounts: Array, breaks: int) -> Array:
    """Draw the highest bend anew; above 2,000 values their classes are drawn instead of them."""
    rng = np.random.default_rng(1)
    level, count, mass = x, np.ones(x.size), amounts
    if x.size > 2000:
        edges = np.linspace(x[0], x[-1], _LEVELS + 1)[:-1]
        place = np.searchsorted(edges, x, side="right") - 1
        count = np.bincount(place, minlength=_LEVELS).astype(float)
        mass = np.bincount(place, weights=amounts, minlength=_LEVELS).astype(float)
        full = count > 0
        level = np.maximum(edges, x[0])[full]
        count, mass = count[full], mass[full] / count[full]
    draws = []
    for _draw in range(60):
        drawn = rng.poisson(count)
        keep = drawn > 0
        some, amount = _curve(level[keep], mass[keep] * drawn[keep])
        if some.size >= 3 * (breaks + 1):
            draws.append(float(_fit(some, amount, breaks)[0][-1]))
    return np.array(draws)
