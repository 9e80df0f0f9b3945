"""What every threshold method needs of its input: checked arrays, a scale, the fall-back.

`Prepared` holds the usable values of one element in sorted order. The validity rules for robust
statistics on values below detection are here too, so that all methods keep the same ones.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.background.sample_ground import Ground
from geochem.errors import WrongCall
from geochem.model.threshold import Threshold
from geochem.stats.censored import flags
from geochem.stats.censored_normal import fit_censored_normal

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]
    Mask = npt.NDArray[np.bool_]

#: robust statistics are not valid above this share below detection
MAX_BELOW = 0.4
#: nor with fewer distinct detected values
MIN_DISTINCT = 10
#: two-sided 90 %
Z90 = 1.6448536269514722


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """Usable values of one element, sorted.

    Parameters
    ----------
    x : ndarray, shape (n,)
        On the scale of the method (log10 or as they came), ascending.
    below, above : ndarray of bool, shape (n,)
        Limits.
    weights : ndarray, shape (n,) or None
        None when all are equal.
    log : bool
        Whether `x` is log10.
    warnings : list of str
        What was left out.
    ground : Ground, optional
        Where the values stand; None without coordinates.
    """

    x: Array
    below: Mask
    above: Mask
    weights: Array | None
    log: bool
    warnings: list[str]
    ground: Ground | None = None

    @property
    def n(self) -> int:
        """How many values."""
        return int(self.x.size)

    @property
    def n_below(self) -> int:
        """How many are below detection."""
        return int(self.below.sum())

    @property
    def transform(self) -> str:
        """Name of the scale."""
        return "log10" if self.log else "none"

    @property
    def distinct(self) -> int:
        """Distinct detected values."""
        detected = self.x[~(self.below | self.above)]  # sorted, as all of `x`
        return int(np.count_nonzero(np.diff(detected))) + 1 if detected.size else 0

    def wider(self, influence: npt.ArrayLike) -> float:
        """Factor by which an interval is wider because neighbouring samples are alike.

        `influence` is what each value adds to the estimate, up to a factor; one without
        coordinates.
        """
        if self.ground is None:
            return 1.0
        return self.ground.wider(np.asarray(influence, dtype=float), self.weights)

    def how(self, words: str) -> str:
        """Say how an interval was made, and that neighbours were allowed for."""
        return words if self.ground is None else f"{words}; widened for neighbours that are alike"

    def back(self, value: float) -> float:
        """Bring a number of the method's scale to the unit of the input."""
        # a fit of hardly any data may put a bound beyond what a number can hold
        return float(10.0 ** min(max(value, -300.0), 300.0)) if self.log else float(value)


#: what was prepared for the methods of one `prepared_once`, with what it was made of
_shared: ContextVar[dict[tuple[Any, ...], tuple[Prepared, tuple[Any, ...]]] | None] = ContextVar(
    "prepared", default=None
)


@contextmanager
def prepared_once() -> Iterator[None]:
    """Let several methods share what `prepare` makes of the very same arrays, which must not change."""
    token = _shared.set({})
    try:
        yield
    finally:
        _shared.reset(token)


def prepare(
    values: npt.ArrayLike,
    below: npt.ArrayLike | None = None,
    above: npt.ArrayLike | None = None,
    weights: npt.ArrayLike | None = None,
    coordinates: npt.ArrayLike | None = None,
    *,
    log: bool = False,
) -> Prepared:
    """Check the arguments of a `fit` and bring the values to its scale.

    Parameters
    ----------
    values : array_like, shape (n,)
        Concentrations of one element; limits where flagged; missing values are left out.
    below, above : array_like of bool, shape (n,), optional
        True where the true value lies under / over the one given.
    weights : array_like, shape (n,), optional
        Declustering weights.
    coordinates : array_like, shape (n, 2), optional
        Easting, northing; intervals then allow for neighbours that are alike. [m]
    log : bool, default False
        Take log10.

    Returns
    -------
    Prepared
        Sorted by value, flags and weight, so that row order cannot matter.

    Raises
    ------
    WrongCall
        If shapes differ, a weight is negative, or no value is left.
    """
    made = _shared.get()
    if made is None:
        return _prepared(values, below, above, weights, coordinates, log=log)
    given = (values, below, above, weights, coordinates)
    key = (*map(id, given), log)
    if key not in made:  # what was given stands beside it, so that no id comes twice
        made[key] = _prepared(*given, log=log), given
    return made[key][0]


def _prepared(
    values: npt.ArrayLike,
    below: npt.ArrayLike | None,
    above: npt.ArrayLike | None,
    weights: npt.ArrayLike | None,
    coordinates: npt.ArrayLike | None,
    *,
    log: bool,
) -> Prepared:
    try:
        x = np.asarray(values, dtype=float)
    except (TypeError, ValueError) as error:
        raise WrongCall(f"values must be numbers, one per sample ({error}).") from error
    if x.ndim != 1:
        raise WrongCall(
            f"values of one element are needed, an array of one dimension; got shape {x.shape}."
        )
    b, a = flags(x.size, below), flags(x.size, above, "above")
    if (b & a).any():
        raise WrongCall("a value cannot be both below and above a limit; mend the flags.")
    w = np.ones(x.size) if weights is None else np.asarray(weights, dtype=float).ravel()
    if w.size != x.size:
        raise WrongCall(f"{x.size} values came with {w.size} weights; give one weight per value.")
    if not np.isfinite(w).all() or (w < 0).any():
        raise WrongCall("a weight is negative or missing; weights must be zero or more.")
    place = None
    if coordinates is not None:
        place = np.asarray(coordinates, dtype=float)
        if place.shape != (x.size, 2):
            raise WrongCall(
                f"coordinates must have the shape ({x.size}, 2), easting and northing; "
                f"got {place.shape}."
            )
    warnings: list[str] = []
    keep = np.isfinite(x) & (w > 0)
    if log:
        bad = keep & (x <= 0)
        if bad.any():
            warnings.append(
                f"{int(bad.sum())} values are zero or negative and have no logarithm; they were "
                "left out."
            )
            keep &= ~bad
    x, b, a, w = x[keep], b[keep], a[keep], w[keep]
    if log:
        x = np.log10(x)
    equal = w.size == 0 or bool(np.ptp(w) <= 1e-9 * w.max())
    # only what differs need decide the order of equal values: sorting is most of the work
    keys = [] if equal else [w]
    keys += [flag for flag in (a, b) if flag.any()]
    if place is not None:
        order = np.lexsort((*keys, x))
        weights_sorted = None if equal else w[order]
        ground = Ground.of(place[keep][order], x[order], weights_sorted)
        return Prepared(x[order], b[order], a[order], weights_sorted, log, warnings, ground)
    if not keys:
        return Prepared(np.sort(x), b, a, None, log, warnings)
    if len(keys) == 1 and equal:
        x, flag = _merged(x, keys[0])
        none = np.zeros(x.size, dtype=bool)
        b, a = (flag, none) if b.any() else (none, flag)
        return Prepared(x, b, a, None, log, warnings)
    order = np.lexsort((*keys, x))
    return Prepared(x[order], b[order], a[order], None if equal else w[order], log, warnings)


def _merged(x: Array, flag: npt.NDArray[np.bool_]) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Sort by value, of equal values those without the flag first.

    Two plain sorts and a merge: several times quicker than sorting places by two keys.
    """
    plain, marked = np.sort(x[~flag]), np.sort(x[flag])
    at = np.searchsorted(plain, marked, side="right") + np.arange(marked.size)
    out, flags_out = np.empty(x.size), np.zeros(x.size, dtype=bool)
    flags_out[at] = True
    out[at] = marked
    out[~flags_out] = plain
    return out, flags_out


def check_option(method: str, name: str, value: float, *, low: float, high: float) -> None:
    """Refuse an option outside its range.

    Parameters
    ----------
    method, name : str
        For the message.
    value : float
        As given.
    low, high : float
        What is allowed, ends included.

    Raises
    ------
    WrongCall
        With what came and what is allowed.
    """
    if not low <= value <= high:
        raise WrongCall(
            f"option '{name}' of '{method}' must lie between {low:g} and {high:g}, got {value!r}."
        )


def obstacle(data: Prepared, scale: float | None = None) -> str:
    """Say why robust statistics of these values are not valid.

    Parameters
    ----------
    data : Prepared
        Values.
    scale : float, optional
        The MAD or the like, when it is known.

    Returns
    -------
    str
        A clause for a sentence; empty when they are valid.
    """
    if data.n and data.n_below / data.n > MAX_BELOW:
        return f"{100 * data.n_below / data.n:.0f} % of the values are below detection"
    if data.distinct < MIN_DISTINCT:
        return f"there are only {data.distinct} distinct detected values"
    if scale is not None and not scale > 0:
        return "more than half of the values are equal, so their spread is zero"
    return ""


def no_values(
    method: str, parameters: dict[str, Any], reference: str, data: Prepared
) -> Threshold:
    """Give the threshold of nothing: NaN, with the reason.

    Parameters
    ----------
    method : str
        Name.
    parameters : dict
        Options.
    reference : str
        Of the method.
    data : Prepared
        Without a usable detected value.

    Returns
    -------
    Threshold
        All NaN.
    """
    what = "every value is below detection" if data.n else "there are no values"
    nan = float("nan")
    return Threshold(
        nan, nan, nan, method, parameters, data.n, data.n_below, data.transform, reference,
        (*data.warnings, f"No threshold: {what}."),
    )  # fmt: skip


def fall_back(data: Prepared, reason: str, *, q: float = 97.5) -> Threshold:
    """Give the percentile of the censored lognormal fit, else of the detected values.

    Parameters
    ----------
    data : Prepared
        Values for which the method that was asked for is not valid.
    reason : str
        Why, as from `obstacle`.
    q : float, default 97.5
        Percentile. [%]

    Returns
    -------
    Threshold
        Method ``percentile``, with parameters and a warning that say what was really used.

    References
    ----------
    .. [1] Helsel 2005, Nondetects and Data Analysis, Wiley (censored lognormal fit).
    """
    from geochem.stats.robust import weighted_quantile

    reference = "Helsel 2005, Nondetects and Data Analysis, Wiley"
    # whatever the scale asked for, the fit is of logarithms
    positive = data.log or bool((data.x > 0).all())
    x = data.x if data.log else np.log10(np.where(data.x > 0, data.x, np.nan))
    seen = ~(data.below | data.above)
    fit = fit_censored_normal(x, data.below, data.above, data.weights) if positive else None
    if fit is not None and fit.converged and np.isfinite(fit.covariance).all():
        value, error = fit.quantile(q / 100)
        error *= data.wider(x >= value)
        warning = (
            f"{reason}; instead of the method asked for, the {q:g}th percentile of the censored "
            "lognormal fit was used."
        )
        return Threshold(
            float(10**value), float(10 ** (value - Z90 * error)),
            float(10 ** (value + Z90 * error)), "percentile", {"q": q, "of": "lognormal"},
            data.n, data.n_below, "log10", reference, (*data.warnings, _sentence(warning)),
            details={
                "location": fit.mean, "scale": fit.sd, "fallback": reason,
                "interval": data.how("large-sample, from the information matrix"),
            },
        )  # fmt: skip
    nan = float("nan")
    detected = data.x[~data.below]
    if detected.size == 0:
        return no_values("percentile", {"q": q, "of": "detected"}, reference, data)
    w = None if data.weights is None else data.weights[~data.below]
    value = data.back(float(weighted_quantile(detected, q / 100, w)))
    warning = (
        f"{reason}, and a lognormal fit is not possible; instead of the method asked for, the "
        f"{q:g}th percentile of the detected values was used."
    )
    return Threshold(
        value, nan, nan, "percentile", {"q": q, "of": "detected"}, data.n, data.n_below,
        data.transform, "common practice, no source", (*data.warnings, _sentence(warning)),
        details={"location": nan, "scale": nan, "fallback": reason, "n_detected": int(seen.sum())},
    )  # fmt: skip


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
