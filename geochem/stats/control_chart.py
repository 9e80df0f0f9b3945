"""Control charts: centre and spread of a standard's own readings, and run rules.

Run rules look at standardised readings in time order. Each has a known chance to ring without a
cause; with hundreds of series some always ring, so `expected_false_alarms` stands beside them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

#: Chance that a rule rings at one given place (its whole window lying in control), N(0, 1).
#: P(|z| > 2), P(|z| > 3), 2 P(z > 2)^2, 2 P(z > 2)^2 for one above and one below, 2 P(z > 1)^4,
#: 2 / 2^10; arithmetic of the normal distribution.
WESTGARD_CHANCE: dict[str, float] = {
    "1-2s": 0.0455002639,
    "1-3s": 0.0026997961,
    "2-2s": 0.0010351370,
    "R-4s": 0.0010351370,
    "4-1s": 0.0012672078,
    "10-x": 0.0019531250,
}

#: The same for the Nelson rules: P(|z| > 3), 2 / 2^9, 2 / 6!, alternating permutations of 14
#: (2 * 199360981 / 14!), and the binomial chances of `nelson` with the last point a hit.
NELSON_CHANCE: dict[str, float] = {
    "N1": 0.0026997961, "N2": 0.0039062500, "N3": 0.0027777778, "N4": 0.0045736382,
    "N5": 0.0020467245, "N6": 0.0044656836, "N7": 0.0032609810, "N8": 0.0001027722,
}  # fmt: skip

_NELSON_WINDOW = {"N1": 1, "N2": 9, "N3": 6, "N4": 14, "N5": 3, "N6": 5, "N7": 15, "N8": 8}
_WESTGARD_WINDOW = {"1-2s": 1, "1-3s": 1, "2-2s": 2, "R-4s": 2, "4-1s": 4, "10-x": 10}


@dataclass(frozen=True, slots=True)
class OwnChart:
    """What readings of one standard usually are.

    Parameters
    ----------
    centre, spread : float
        Robust centre and one-standard-deviation spread, in the unit of the readings.
    freedom : float
        Degrees of freedom behind `spread`.
    n, n_batches : int
        Readings and batches.
    how : str
        In words.
    """

    centre: float
    spread: float
    freedom: float
    n: int
    n_batches: int
    how: str


def own_chart(
    values: npt.ArrayLike,
    batches: npt.ArrayLike,
    *,
    floor: float = 0.0,
    anchor: float = float("nan"),
    anchor_tolerance: float = 0.2,
) -> OwnChart:
    """Find the usual value and spread of one standard on one instrument.

    The centre is the median of the batch medians, so that a batch with many readings has one
    vote. The spread is that of the readings that are not wild (two stages: MAD, then the standard
    deviation of what lies within 3 of it). With two batches one cannot outvote the other: when
    they disagree the earlier one is the reference, unless only the later agrees with the
    certified value. With fewer than six batches the spread is that within batches, where there are
    enough readings.

    Parameters
    ----------
    values : array_like, shape (n_readings,)
        Detected readings in time order; finite.
    batches : array_like, shape (n_readings,)
        Batch of each reading.
    floor : float, default 0
        The spread is at least this. [unit of values]
    anchor : float, optional
        Certified value, NaN when there is none.
    anchor_tolerance : float, default 0.2
        Relative distance to `anchor` that counts as agreement. [-]

    Returns
    -------
    OwnChart
        Centre and spread.

    Raises
    ------
    WrongCall
        If there are no readings.

    References
    ----------
    .. [1] Median and MAD: Hampel 1974, Journal of the American Statistical Association
       69:383-393. Rule for two batches: common practice, no source.
    """
    x = np.asarray(values, dtype=float)
    if len(x) == 0:
        raise WrongCall("a control chart needs at least one reading.")
    _, codes = _by_appearance(np.asarray(batches, dtype=object))
    medians = _group_medians(x, codes)
    k, n = len(medians), len(x)
    within = x - medians[codes]
    if k == 2:
        centre, how = _two_batches(medians, within, codes, floor, anchor, anchor_tolerance)
    elif k == 1:
        centre, how = float(medians[0]), "median of the only batch"
    else:
        centre, how = float(np.median(medians)), f"median of {k} batch medians"
    # Of few batches one bad one would widen the spread it is measured by: look within batches.
    inside = k < 3 or (k < 6 and n - k >= 3)
    away, freedom = (within, n - k) if inside else (x - centre, n - 1)
    if freedom < 1:
        return OwnChart(centre, floor, 1.0, n, k, how + ", spread assumed")
    # Deviations from fitted medians are too small by about sqrt(freedom / n).
    lift = np.sqrt(n / freedom)
    rough = 1.4826 * float(np.median(np.abs(away))) * lift
    kept = away[np.abs(away) <= 3.0 * max(rough, floor)]
    left = len(kept) - (n - freedom)
    if left < 1:
        return OwnChart(centre, max(rough, floor), 1.0, n, k, how)
    # 0.9867 = SD of a normal cut at 3 SD.
    spread = float(np.sqrt((kept**2).sum() / left)) / 0.9867
    return OwnChart(centre, max(spread, floor), float(left), n, k, how)


def westgard(z: npt.ArrayLike, runs: npt.ArrayLike | None = None) -> dict[str, Flags]:
    """Apply the Westgard rules to standardised readings in time order.

    Parameters
    ----------
    z : array_like, shape (n,)
        Standardised readings; NaN interrupts every run.
    runs : array_like, shape (n,), optional
        Run (batch) of each reading: R-4s looks only within one run. Not given: one run.

    Returns
    -------
    dict of str to ndarray of bool, shape (n,)
        ``1-2s, 1-3s, 2-2s, R-4s, 4-1s, 10-x``; True at the reading that completes the pattern.

    References
    ----------
    .. [1] Westgard, Barry, Hunt, Groth 1981, Clinical Chemistry 27:493-501.

    Examples
    --------
    >>> [int(i) for i in westgard([0.5, -1, 2.1, 2.3, 0.1])["2-2s"].nonzero()[0]]
    [3]
    """
    x = np.asarray(z, dtype=float)
    run = np.zeros(len(x)) if runs is None else np.unique(np.asarray(runs), return_inverse=True)[1]
    up, down = x > 2, x < -2
    same = np.zeros(len(x), dtype=bool)
    same[1:] = run[1:] == run[:-1]
    crossed = np.zeros(len(x), dtype=bool)
    crossed[1:] = ((up[1:] & down[:-1]) | (down[1:] & up[:-1])) & same[1:]
    return {
        "1-2s": np.abs(x) > 2,
        "1-3s": np.abs(x) > 3,
        "2-2s": _all_of(up, 2) | _all_of(down, 2),
        "R-4s": crossed,
        "4-1s": _all_of(x > 1, 4) | _all_of(x < -1, 4),
        "10-x": _all_of(x > 0, 10) | _all_of(x < 0, 10),
    }


def nelson(z: npt.ArrayLike) -> dict[int, Flags]:
    """Apply the eight Nelson rules to standardised readings in time order.

    Rule 3 rings at the sixth rising or falling point (some texts count seven); rule 4 counts 14
    points that alternate in direction, wherever the centre lies.

    Parameters
    ----------
    z : array_like, shape (n,)
        Standardised readings; NaN interrupts every run.

    Returns
    -------
    dict of int to ndarray of bool, shape (n,)
        Rules 1 to 8; True at the reading that completes the pattern.

    References
    ----------
    .. [1] Nelson 1984, Journal of Quality Technology 16:237-239.
    """
    x = np.asarray(z, dtype=float)
    step = np.diff(x, prepend=np.nan)
    turn = np.zeros(len(x), dtype=bool)
    turn[1:] = step[1:] * step[:-1] < 0
    return {
        1: np.abs(x) > 3,
        2: _all_of(x > 0, 9) | _all_of(x < 0, 9),
        3: _all_of(step > 0, 5) | _all_of(step < 0, 5),
        # 14 points have 13 steps and 12 turns.
        4: _all_of(turn, 12),
        5: _some_of(x > 2, 2, 3) | _some_of(x < -2, 2, 3),
        6: _some_of(x > 1, 4, 5) | _some_of(x < -1, 4, 5),
        7: _all_of(np.abs(x) < 1, 15),
        8: _all_of(np.abs(x) > 1, 8),
    }


def expected_false_alarms(
    series_lengths: npt.ArrayLike, rules: str = "westgard"
) -> dict[str, float]:
    """Say how often each run rule rings when nothing is wrong.

    Parameters
    ----------
    series_lengths : array_like of int
        Number of readings in each series.
    rules : {"westgard", "nelson"}
        Which.

    Returns
    -------
    dict of str to float
        Expected number of alarms per rule, over all series, for independent N(0, 1) readings. An
        estimated spread and autocorrelation raise it. R-4s counts all neighbours as one run.

    Examples
    --------
    >>> round(expected_false_alarms([100])["1-3s"], 3)
    0.27
    """
    if rules not in ("westgard", "nelson"):
        raise WrongCall(f"rules are 'westgard' or 'nelson', got {rules!r}.")
    westgard_rules = rules == "westgard"
    chances = WESTGARD_CHANCE if westgard_rules else NELSON_CHANCE
    window = _WESTGARD_WINDOW if westgard_rules else _NELSON_WINDOW
    n = np.atleast_1d(np.asarray(series_lengths, dtype=float))
    return {
        rule: float(chance * np.clip(n - window[rule] + 1, 0, None).sum())
        for rule, chance in chances.items()
    }


def individuals_sigma(values: npt.ArrayLike) -> float:
    """Estimate the short-term spread from the mean moving range of two.

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings in time order, at least two.

    Returns
    -------
    float
        Mean absolute difference of neighbours / 1.128 (d2 of two; standard table, from memory).
    """
    x = np.asarray(values, dtype=float)
    if len(x) < 2:
        raise WrongCall(f"a moving range needs at least two readings, got {len(x)}.")
    return float(np.abs(np.diff(x)).mean() / 1.128)


def _two_batches(
    medians: Floats, within: Floats, codes: npt.NDArray[np.intp], floor: float, anchor: float,
    tolerance: float,
) -> tuple[float, str]:  # fmt: skip
    counts = np.bincount(codes)
    freedom = max(len(codes) - 2, 1)
    spread = max(float(np.sqrt((within**2).sum() / freedom)), floor)
    gap = abs(medians[1] - medians[0])
    if gap <= 3 * spread * np.sqrt((1 / counts).sum()):
        return float(medians.mean()), "mean of two batch medians that agree"
    if np.isfinite(anchor) and anchor != 0:
        near = np.abs(medians / anchor - 1) <= tolerance
        if near[1] and not near[0]:
            return float(medians[1]), "the later of two batches, which agrees with the certificate"
    return float(medians[0]), "the earlier of two batches that disagree"


def _group_medians(x: Floats, codes: npt.NDArray[np.intp]) -> Floats:
    """Give the median of each group; codes run from 0 without gaps."""
    order = np.lexsort((x, codes))
    counts = np.bincount(codes)
    start = np.concatenate([[0], np.cumsum(counts)[:-1]])
    ordered = x[order]
    return (ordered[start + (counts - 1) // 2] + ordered[start + counts // 2]) / 2


def _by_appearance(
    labels: npt.NDArray[np.object_],
) -> tuple[list[object], npt.NDArray[np.intp]]:
    seen: dict[object, int] = {}
    codes = np.array(
        [seen.setdefault(label, len(seen)) for label in labels.tolist()], dtype=np.intp
    )
    return list(seen), codes


def _all_of(hit: Flags, n: int) -> Flags:
    return _some_of(hit, n, n)


def _some_of(hit: Flags, least: int, window: int) -> Flags:
    """Say where `least` of the last `window` are hits, the last one among them."""
    total = np.concatenate([[0], np.cumsum(hit)])
    out = np.zeros(len(hit), dtype=bool)
    if len(hit) < least:
        return out
    at = np.arange(len(hit))
    start = np.clip(at - window + 1, 0, None)
    return hit & (total[at + 1] - total[start] >= least)
