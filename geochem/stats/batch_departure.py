"""How far each batch of readings lies from the others, and how surely.

The readings of all standards of one element in a batch are put together into one departure. What a
batch is measured by must not hold the batch itself: its scatter is taken within batches, its usual
value and the usual difference between batches from the other batches.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall

Floats = npt.NDArray[np.float64]

#: SD of a normal distribution cut at three SD
_CUT = 0.9867
#: how many batches what is known of other elements or standards counts for (common practice,
#: no source)
PRIOR_FREEDOM = 6.0
#: with more batches than this, leaving out the one that is judged changes nothing
MOST_LEFT_OUT = 40


@dataclass(frozen=True, slots=True, eq=False)
class Departures:
    """Departure of every batch from the usual value.

    Parameters
    ----------
    departure : ndarray, shape (n_batches,)
        Relative; NaN for a batch without readings. [-]
    noise : ndarray, shape (n_batches,)
        Variance of the departure from the scatter of readings alone. [-]
    between : ndarray, shape (n_batches,)
        Usual difference between the other batches, one SD. [-]
    se : ndarray, shape (n_batches,)
        One standard error of the departure of a batch without fault. [-]
    freedom : ndarray, shape (n_batches,)
        Degrees of freedom of `se`.
    """

    departure: Floats
    noise: Floats
    between: Floats
    se: Floats
    freedom: Floats


def batch_departures(
    relative: npt.ArrayLike,
    batch: npt.ArrayLike,
    standard: npt.ArrayLike,
    spread: npt.ArrayLike,
    *,
    n_batches: int,
    spread_freedom: float = 1.0,
    spread_floor: float = 0.02,
    between_floor: float = 0.01,
    usual_between: float = float("nan"),
) -> Departures:
    """Measure each batch of one element on one instrument by its standards.

    Parameters
    ----------
    relative : array_like, shape (n_readings,)
        Reading over the usual value of that standard, less 1. [-]
    batch, standard : array_like of int, shape (n_readings,)
        Numbers from 0 on.
    spread : array_like, shape (n_readings,)
        Spread of that standard over the whole campaign; used where the batches hold too few
        readings to tell the scatter within them. [-]
    n_batches : int
        How many batches there are, those without readings included.
    spread_freedom : float, default 1
        Degrees of freedom of `spread`.
    spread_floor, between_floor : float, default 0.02 and 0.01
        Scatter of readings and difference between batches are never taken as less. [-]
    usual_between : float, optional
        Difference between batches that other elements of the same instrument show, one SD; of few
        batches the own one is poorly known and leans on this with the weight of `PRIOR_FREEDOM`
        batches. [-]

    Returns
    -------
    Departures
        With four to `MOST_LEFT_OUT` batches each one is measured against the others only.

    Raises
    ------
    WrongCall
        If the arrays differ in length.

    References
    ----------
    .. [1] Degrees of freedom of a sum of variances: Satterthwaite 1946, Biometrics Bulletin
       2:110-114. Leaning on what other elements show: after Smyth 2004, Statistical Applications
       in Genetics and Molecular Biology 3:3, with fixed weight. Factors of the MAD of few numbers:
       Croux, Rousseeuw 1992, Computational Statistics 1:411-428 (from memory).

    Examples
    --------
    >>> r = [0.01, -0.01, 0.0, 0.02, -0.01, 0.0, 0.21, 0.19]
    >>> found = batch_departures(r, [0, 0, 1, 1, 2, 2, 3, 3], [0] * 8, [0.02] * 8, n_batches=4)
    >>> round(float(found.departure[3]), 2)
    0.2
    """
    r, own = np.asarray(relative, dtype=float), np.asarray(spread, dtype=float)
    at, kind = np.asarray(batch, dtype=np.intp), np.asarray(standard, dtype=np.intp)
    if not (r.shape == own.shape == at.shape == kind.shape):
        raise WrongCall("relative, batch, standard and spread must be equally long.")
    return _batch_departures(
        r, at, kind, own, n_batches, spread_freedom, spread_floor, between_floor, usual_between
    )


def _batch_departures(
    r: Floats, at: npt.NDArray[np.intp], kind: npt.NDArray[np.intp], own: Floats, n: int,
    own_freedom: float, spread_floor: float, between_floor: float, usual_between: float,
) -> Departures:  # fmt: skip
    scatter, freedom = _within(r, at, kind, own, n, own_freedom, spread_floor)
    weight = 1.0 / scatter**2
    total = np.bincount(at, weight, n)
    known = np.flatnonzero(total > 0)
    departure, noise = np.full(n, np.nan), np.full(n, np.nan)
    departure[known] = np.bincount(at, weight * r, n)[known] / total[known]
    noise[known] = 1.0 / total[known]
    between, freedoms = np.full(n, between_floor), np.full(n, freedom)
    # The usual value, a median over few batches, is itself known only so well.
    usual_var = np.full(n, 1.57 * float(np.median(noise[known])) / len(known) if len(known) else 0)
    if len(known) >= 4:
        others = _others(len(known))
        least = np.median(noise[known][others], axis=1)
        middle, square, count = _trimmed(
            departure[known][others], np.sqrt(least + between_floor**2)
        )
        own_square = np.maximum(square - least, between_floor**2)
        left = np.maximum(count - 1, 1.0)
        if np.isfinite(usual_between):
            own_square = left * own_square + PRIOR_FREEDOM * usual_between**2
            left = left + PRIOR_FREEDOM
            own_square = np.maximum(own_square / left, between_floor**2)
        between[known] = np.sqrt(own_square)
        departure[known] -= middle
        usual_var[known] = (least + own_square) / count
        whole = noise[known] + own_square
        freedoms[known] = whole**2 / (noise[known] ** 2 / freedom + own_square**2 / left)
    se = np.sqrt(noise + between**2 + usual_var)
    return Departures(departure, noise, between, se, np.maximum(freedoms, 1.0))


def _others(n: int) -> npt.NDArray[np.intp]:
    """Give for each of n batches the places of the others; of many, one row with all."""
    if n > MOST_LEFT_OUT:
        return np.arange(n)[None, :]
    every = np.tile(np.arange(n), (n, 1))
    return every[~np.eye(n, dtype=bool)].reshape(n, n - 1)


def _within(
    r: Floats, at: npt.NDArray[np.intp], kind: npt.NDArray[np.intp], own: Floats, n: int,
    own_freedom: float, floor: float,
) -> tuple[Floats, float]:  # fmt: skip
    """Give the scatter of each standard within batches, and its degrees of freedom."""
    scatter = np.maximum(own, floor)
    freedom = own_freedom
    n_kinds = int(kind.max()) + 1 if len(kind) else 0
    for _ in range(2):
        weight = 1.0 / scatter**2
        total = np.bincount(at, weight, n)[at]
        mean = np.bincount(at, weight * r, n)[at] / total
        # A batch takes one degree of freedom, shared by its readings.
        free = 1.0 - weight / total
        usable = free > 0.1
        if free[usable].sum() < 3:
            return scatter, max(freedom, 1.0)
        away = np.abs(r - mean)[usable] / np.sqrt(free[usable])
        kinds, lefts = kind[usable], free[usable]
        rough = np.array(
            [np.median(away[kinds == k]) if (kinds == k).any() else 0.0 for k in range(n_kinds)]
        )
        kept = away <= 3.0 * np.maximum(1.4826 * rough, floor)[kinds]
        left = np.bincount(kinds[kept], lefts[kept], n_kinds)
        square = np.bincount(kinds[kept], (lefts * away**2)[kept], n_kinds) / _CUT**2
        # Few readings tell the scatter of one standard poorly: lean on that of all of them.
        pooled = square.sum() / left.sum()
        mixed = (square + PRIOR_FREEDOM * pooled) / (left + PRIOR_FREEDOM)
        scatter = np.maximum(np.sqrt(mixed), floor)[kind]
        freedom = float(left.sum())
    return scatter, max(freedom, 1.0)


def _trimmed(x: Floats, least: Floats) -> tuple[Floats, Floats, Floats]:
    """Give mean, variance and number of the batches of each row that are not wild."""
    middle = np.median(x, axis=1, keepdims=True)
    away = np.abs(x - middle)
    rough = np.median(away, axis=1, keepdims=True) * 1.4826 * _small_sample(x.shape[1])
    keep = away <= 3.0 * np.maximum(rough, least[:, None])
    count = keep.sum(axis=1).astype(float)
    mean = np.where(keep, x, 0.0).sum(axis=1) / count
    square = np.where(keep, (x - mean[:, None]) ** 2, 0.0).sum(axis=1)
    return mean, square / np.maximum(count - 1, 1.0) / _CUT**2, count


def _small_sample(n: int) -> float:
    """Give what the MAD of few numbers must be multiplied by to be unbiased."""
    few = {2: 1.196, 3: 1.495, 4: 1.363, 5: 1.206, 6: 1.200, 7: 1.140, 8: 1.129, 9: 1.107}
    return few.get(n, n / (n - 0.8))
