"""One element at a time: robust z against the background, and probability beyond the threshold.

What lives here: z of log10 of the accepted value against the sample's own domain and against the
whole medium, and the probability that the true value lies beyond the threshold, given the error of
the measurement and the interval of the threshold. What does not: fitting backgrounds, choosing
who counts (`gates`, `associations`).
Test to copy: `tests/anomalies/test_univariate.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall
from geochem.model.tables import Values

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from geochem.stats.beyond import Behind

    FloatArray = npt.NDArray[np.float64]

#: name of the domain that is the whole medium
ALL = "all"
#: half of a 90 % interval, in standard deviations
_HALF_90 = 1.6448536269514722
#: "possible" anomaly: this many scales from the location
POSSIBLE = 2.0
#: rock is compared with a level that has no spread of its own (crustal abundance): it is measured
#: by the largest spread of the element in the other media, at least the first and for want of any
#: the second number, in log10 units (common practice, no source: a factor of 1.6 and of 2)
LEAST_SPREAD, USUAL_SPREAD = 0.2, 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Medium and domain of each sample, as numbers.

    Parameters
    ----------
    keys : tuple of (medium, domain)
        Every pair that occurs, sorted.
    code : ndarray of int, shape (n_samples,)
        Which of them a sample belongs to.
    """

    keys: tuple[tuple[str, str], ...]
    code: npt.NDArray[np.intp]


def places(media: npt.NDArray[np.object_], domains: npt.NDArray[np.object_]) -> Places:
    """Give each pair of medium and domain a number.

    Parameters
    ----------
    media, domains : ndarray of str, shape (n_samples,)
        Where each sample belongs.

    Returns
    -------
    Places
        For `BackgroundTable.levels`.
    """
    pairs = list(zip(media.tolist(), domains.tolist(), strict=True))
    keys = sorted(set(pairs))
    number = {key: i for i, key in enumerate(keys)}
    code = np.fromiter((number[p] for p in pairs), dtype=np.intp, count=len(pairs))
    return Places(tuple(keys), code)


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """Background and threshold of one element for each sample, on log10 scale of mg/kg.

    Parameters
    ----------
    location, scale : ndarray, shape (n_samples,)
        Of the background of the sample's domain; NaN where there is none.
    threshold, threshold_sd : ndarray, shape (n_samples,)
        Threshold in the sought direction and its standard error (0 where not estimated).
    """

    location: FloatArray
    scale: FloatArray
    threshold: FloatArray
    threshold_sd: FloatArray


class BackgroundTable:
    """Looks up backgrounds and thresholds by medium, domain and element.

    Parameters
    ----------
    backgrounds, thresholds : pandas.DataFrame
        Contracts `tables.BACKGROUNDS` and `tables.THRESHOLDS`.
    """

    def __init__(self, backgrounds: pd.DataFrame, thresholds: pd.DataFrame) -> None:
        self._background: dict[tuple[str, str, str], tuple[float, float]] = {}
        for row in backgrounds.itertuples(index=False):
            key = (str(row.medium), str(row.domain), str(row.element))
            if key not in self._background:
                self._background[key] = (_number(row.location), _number(row.scale))
        self._lend_scales()
        self._threshold = _index_thresholds(thresholds)

    def _lend_scales(self) -> None:
        """Give a reference level without spread (crustal abundance) a spread to measure by."""
        lent: dict[str, float] = {}
        for (_, domain, element), (_, scale) in self._background.items():
            if domain == ALL and scale > 0:
                lent[element] = max(lent.get(element, LEAST_SPREAD), scale)
        for key, (location, scale) in self._background.items():
            if key[0] == "rock" and np.isfinite(location) and not scale > 0:
                self._background[key] = (location, lent.get(key[2], USUAL_SPREAD))

    def levels(
        self, places: Places, element: str, sign: int = 1, shift: FloatArray | None = None
    ) -> Levels:
        """Give background and threshold of an element for each sample.

        Parameters
        ----------
        places : Places
            Medium and domain of each sample.
        element : str
            Symbol.
        sign : {1, -1}
            Sought direction.
        shift : ndarray, shape (n_samples,), optional
            Where the background drifts: added to location and threshold of each sample.

        Returns
        -------
        Levels
            Where a domain has no usable background that of the whole medium is taken.

        Raises
        ------
        WrongCall
            If `sign` is neither 1 nor -1.
        """
        if sign not in (1, -1):
            raise WrongCall(f"sign is {sign}; 1 (enrichment) or -1 (depletion) is needed.")
        rows = np.array([self._of(m, d, element, sign) for m, d in places.keys]).reshape(-1, 4)
        location, scale, threshold, sd = rows[places.code].T
        if shift is not None:
            location, threshold = location + shift, threshold + shift
        return Levels(location, scale, threshold, sd)

    def _of(self, medium: str, domain: str, element: str, sign: int) -> tuple[float, ...]:
        nan = float("nan")
        for name in (domain, ALL):
            location, scale = self._background.get((medium, name, element), (nan, nan))
            if np.isfinite(location) and scale > 0:
                break
        else:
            return nan, nan, nan, nan
        wanted = location + sign * POSSIBLE * scale
        threshold, sd = self._threshold.get((medium, name, element, sign), (nan, 0.0))
        if not np.isfinite(threshold):
            threshold, sd = wanted, 0.0
        return location, scale, threshold, sd


def _number(value: Any) -> float:
    return float("nan") if value is None else float(value)


def _index_thresholds(
    thresholds: pd.DataFrame,
) -> dict[tuple[str, str, str, int], tuple[float, float]]:
    """Keep one threshold per place and sign: that of k = 2, else of a method without k."""
    from geochem.units import FACTORS

    best: dict[tuple[str, str, str, int], tuple[int, float, float]] = {}
    for row in thresholds.itertuples(index=False):
        value, k = _number(row.value), _number(row.k)
        if not value > 0:
            continue
        order = 0 if k == POSSIBLE else 1 if not np.isfinite(k) else 2
        if order == 2:
            continue
        sign = -1 if _number(row.sign) < 0 else 1
        key = (str(row.medium), str(row.domain), str(row.element), sign)
        if key in best and best[key][0] <= order:
            continue
        factor = FACTORS.get(str(row.unit or "mg/kg"), 1.0)
        low, high = _number(row.low), _number(row.high)
        sd = (np.log10(high) - np.log10(low)) / (2 * _HALF_90) if 0 < low <= high else 0.0
        best[key] = (order, float(np.log10(value * factor)), float(sd))
    return {key: (value, sd) for key, (_, value, sd) in best.items()}


def robust_z(values: Values, usable: npt.NDArray[np.bool_], levels: Levels) -> FloatArray:
    """Standardise log10 of the accepted values.

    Parameters
    ----------
    values : Values
        Accepted values, mg/kg.
    usable : ndarray of bool, shape (n_samples,)
        False hides a value (gate, other medium).
    levels : Levels
        Background per sample.

    Returns
    -------
    ndarray, shape (n_samples,)
        NaN for a value below detection, missing, hidden or without background; a value above
        range counts as its limit, so its z is a lower bound.
    """
    ok = usable & np.isfinite(values.value) & (values.value > 0) & ~values.below
    log = np.log10(np.where(ok, values.value, 1.0))
    return np.where(ok, (log - levels.location) / levels.scale, np.nan)


def probability_beyond(
    values: Values,
    usable: npt.NDArray[np.bool_],
    levels: Levels,
    sign: int = 1,
    populations: tuple[FloatArray, FloatArray, FloatArray] | None = None,
    shift: FloatArray | None = None,
    behind: Behind | None = None,
) -> FloatArray:
    """Give the probability that the true value lies beyond the threshold.

    On log10 scale, from the measurement error (one standard uncertainty, relative), the interval
    of the threshold and, where the populations of the values are known, how common true values
    are: a value below detection is then drawn from the populations cut at its limit. Without
    populations plain normal theory is used and such a value may stay undecided.

    Parameters
    ----------
    values : Values
        Accepted values and their errors, mg/kg.
    usable : ndarray of bool, shape (n_samples,)
        False hides a value.
    levels : Levels
        Threshold per sample, in the sought direction.
    sign : {1, -1}
        Sought direction.
    populations : tuple of ndarray, shape (k,), optional
        Share, mean and standard deviation of the populations of log10 values.
    shift : ndarray, shape (n_samples,), optional
        Drift of the background, added to the means.
    behind : tuple of (rows, mean, sd), optional
        Draws of what may stand behind limits, given the other elements of the sample
        (`stats.beyond.chance_beyond`), log10; they count where there are populations.

    Returns
    -------
    ndarray, shape (n_samples,)
        0-1; NaN for missing or hidden values and, without populations, where the detection limit
        leaves it undecided (upward: the limit lies above the threshold). A value below a limit
        that decides then gets 0 (upward) or 1 (downward); a value above range counts as its limit.
    """
    from scipy.special import ndtr

    from geochem.stats.beyond import chance_beyond

    ok = usable & np.isfinite(values.value) & (values.value > 0) & np.isfinite(levels.threshold)
    safe = np.where(ok, values.value, 1.0)
    error = np.where(np.isfinite(values.err), values.err, 0.0) / (safe * np.log(10.0))
    if populations is not None:
        share, mean, spread = populations
        low, high = (values.below, values.above) if sign > 0 else (values.above, values.below)
        threshold = np.where(ok, levels.threshold, 0.0)
        chance = chance_beyond(
            sign * np.log10(safe), low, high, np.where(ok & ~values.below, error, 0.0),
            sign * threshold, np.where(ok, levels.threshold_sd, 0.0), (share, sign * mean, spread),
            shift=None if shift is None else sign * shift,
            behind=None if behind is None else (behind[0], sign * behind[1], behind[2]),
        )  # fmt: skip
        return np.where(ok, chance, np.nan)
    sd = np.hypot(error, levels.threshold_sd)
    away = sign * (np.log10(safe) - levels.threshold)
    with np.errstate(invalid="ignore", divide="ignore"):
        p = np.where(sd > 0, ndtr(away / sd), (away > 0).astype(float))
    if sign > 0:
        p = np.where(values.below, np.where(away > 0, np.nan, 0.0), p)
    else:
        p = np.where(values.below, np.where(away > 0, 1.0, np.nan), p)
        p = np.where(values.above, np.where(away > 0, np.nan, 0.0), p)
    return np.where(ok, p, np.nan)
