"""Which new samples tell most about where a field exceeds a level.

The uncertainty that matters is whether each cell exceeds the level: p (1 - p), summed over cells.
A set of new samples lowers it by an amount that can be worked out before they are taken, because
in a Gaussian field the variance that is left does not depend on what they will read.

What lives here: the belief from known samples, the expected gain of a set, and the greedy choice
with at least two samples on every line. What does not: where a sample may be taken.

References: the expected gain is that of stepwise uncertainty reduction, Bect, Ginsbourger, Li,
Picheny and Vazquez 2012, Statistics and Computing 22:773-793 and Chevalier et al. 2014,
Technometrics 56:455-465; the bivariate normal integral at equal arguments is Owen 1956, Annals of
Mathematical Statistics 27:1075-1090 (all from memory; the tests integrate it again).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

#: a gain below this share of the best one is not worth a sample
WORTH = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """What known samples say of a smooth field at other places.

    Parameters
    ----------
    mean : ndarray, shape (n,)
        Expected value.
    covariance : ndarray, shape (n, n)
        Of the errors of `mean`.
    noise : float
        Variance that a new sample adds to the field.
    """

    mean: FloatArray
    covariance: FloatArray
    noise: float


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """One decision of the greedy choice.

    Parameters
    ----------
    points : tuple of int
        One candidate on a line already begun, or two that begin a line.
    gain : float
        Expected reduction of the summed p (1 - p). [cells]
    """

    points: tuple[int, ...]
    gain: float


def believe(
    known: npt.ArrayLike,
    values: npt.ArrayLike,
    places: npt.ArrayLike,
    *,
    sill: float,
    reach: float,
    noise: float,
) -> Belief:
    """Predict a field of mean zero with exponential covariance (simple kriging).

    Parameters
    ----------
    known : array_like, shape (k, d)
        Positions of samples.
    values : array_like, shape (k,)
        What they read, in units in which the background has mean zero.
    places : array_like, shape (n, d)
        Where the field is wanted.
    sill : float
        Variance of the field.
    reach : float
        Range parameter of the exponential, in the unit of the positions.
    noise : float
        Variance of a sample about the field; above zero.

    Returns
    -------
    Belief
        At the places.

    Raises
    ------
    WrongCall
        If a variance or the reach is not positive.
    """
    from scipy.linalg import cho_solve, solve_triangular
    from scipy.spatial.distance import cdist

    if not (sill > 0 and reach > 0 and noise > 0):
        raise WrongCall(
            f"sill, reach and noise must be above zero, got {sill}, {reach} and {noise}."
        )
    a, x = np.asarray(known, dtype=float), np.asarray(places, dtype=float)
    prior = sill * np.exp(-cdist(x, x) / reach)
    if not len(a):
        return Belief(np.zeros(len(x)), prior, noise)
    between = sill * np.exp(-cdist(a, x) / reach)
    own = sill * np.exp(-cdist(a, a) / reach) + noise * np.eye(len(a))
    lower = np.linalg.cholesky(own)
    half = solve_triangular(lower, between, lower=True)
    mean = between.T @ cho_solve((lower, True), np.asarray(values, dtype=float))
    return Belief(np.asarray(mean), prior - half.T @ half, noise)


def expected_gain(standard: npt.ArrayLike, share: npt.ArrayLike) -> FloatArray:
    """Say by how much p (1 - p) falls on average when a share of the variance is taken away.

    Parameters
    ----------
    standard : array_like
        Mean minus level, over the standard deviation before.
    share : array_like
        Share of the variance that the new samples take away, 0-1. [-]

    Returns
    -------
    ndarray
        0 at share 0, p (1 - p) at share 1.

    Examples
    --------
    >>> expected_gain([0.0, 0.0, 0.0], [0.0, 0.5, 1.0]).round(4).tolist()
    [0.0, 0.0833, 0.25]
    """
    from scipy.special import ndtr, owens_t

    u = np.asarray(standard, dtype=float)
    rho = np.clip(np.asarray(share, dtype=float), 0.0, 1.0)
    p = ndtr(u)
    gain = p * (1.0 - p) - 2.0 * owens_t(u, np.sqrt((1.0 - rho) / (1.0 + rho)))
    return np.asarray(np.maximum(gain, 0.0))


class Choice:
    """Greedy choice among candidates; each line that is begun gets at least two.

    Parameters
    ----------
    belief : Belief
        First the cells, then the candidates.
    weights : ndarray, shape (n_cells,)
        What a cell counts.
    level : float
        That the field may exceed.
    lines : ndarray of int, shape (n_candidates,)
        Line of each candidate.
    """

    def __init__(
        self, belief: Belief, weights: FloatArray, level: float, lines: npt.ArrayLike
    ) -> None:
        m = len(weights)
        self._cells = m
        self._weights = np.asarray(weights, dtype=float)
        self._covariance = belief.covariance.copy()
        self._noise = belief.noise
        self._start = np.maximum(np.diag(belief.covariance)[:m].copy(), 1e-12)
        self._standard = (belief.mean[:m] - level) / np.sqrt(self._start)
        self._taken_away = np.zeros(m)
        self._lines = np.asarray(lines, dtype=np.intp)
        self._free = np.ones(len(self._lines), dtype=bool)
        self._bound = np.full(len(self._lines), np.inf)
        self._begun: set[int] = set()
        self._now = 0.0
        self.steps: list[Step] = []

    def _gain(self, removed: FloatArray) -> float:
        share = (self._taken_away + removed) / self._start
        return float(self._weights @ expected_gain(self._standard, share)) - self._now

    def _removed(self, j: int, covariance: FloatArray) -> FloatArray:
        row = covariance[self._cells + j]
        return row[: self._cells] ** 2 / (row[self._cells + j] + self._noise)

    def _best(self, allowed: npt.NDArray[np.bool_]) -> tuple[int, float]:
        """Look candidates through, best bound first; gains seldom grow when others are taken."""
        rows = np.flatnonzero(allowed & self._free)
        order = rows[np.lexsort([rows, -self._bound[rows]])]
        best, found = -1, -np.inf
        for j in order:
            if self._bound[j] <= found + 1e-12:
                break
            self._bound[j] = self._gain(self._removed(int(j), self._covariance))
            if self._bound[j] > found + 1e-12:
                best, found = int(j), float(self._bound[j])
        return best, found

    def _pair(self, j: int) -> tuple[int, float]:
        """Find the partner of j on its line."""
        one = self._removed(j, self._covariance)
        row = self._covariance[self._cells + j]
        after = np.outer(row, row) / (row[self._cells + j] + self._noise)
        best, found = -1, -np.inf
        for k in np.flatnonzero(self._free & (self._lines == self._lines[j])):
            if k == j:
                continue
            c = self._covariance[self._cells + k] - after[self._cells + k]
            gain = self._gain(one + c[: self._cells] ** 2 / (c[self._cells + k] + self._noise))
            if gain > found + 1e-12:
                best, found = int(k), gain
        return best, found

    def _take(self, points: tuple[int, ...], gain: float) -> None:
        for j in points:
            row = self._covariance[self._cells + j].copy()
            total = row[self._cells + j] + self._noise
            self._taken_away += row[: self._cells] ** 2 / total
            self._covariance -= np.outer(row, row) / total
            self._free[j] = False
            self._begun.add(int(self._lines[j]))
        self._now += gain
        self.steps.append(Step(points, gain))

    def begin_line(self, allowed: npt.NDArray[np.bool_]) -> bool:
        """Begin the best line whose first point is allowed; say whether there was one."""
        while True:
            j, _ = self._best(allowed)
            if j < 0:
                return False
            if int(self._lines[j]) in self._begun:
                self._take((j,), self._gain(self._removed(j, self._covariance)))
                return True
            k, gain = self._pair(j)
            if k >= 0:
                self._take((j, k), gain)
                return True
            self._free[j] = False  # alone on its line

    def go_on(self, most: int) -> list[Step]:
        """Take points while they are worth it.

        Parameters
        ----------
        most : int
            Points at most, those already taken included.

        Returns
        -------
        list of Step
            All steps so far.
        """
        first = max((s.gain / len(s.points) for s in self.steps), default=0.0)
        while sum(len(s.points) for s in self.steps) < most:
            before = len(self.steps)
            room = most - sum(len(s.points) for s in self.steps)
            begun = np.isin(self._lines, sorted(self._begun))
            j, gain = self._best(np.ones(len(self._lines), dtype=bool))
            if j < 0:
                break
            if not begun[j]:
                k, both = self._pair(j)
                if k < 0:
                    self._free[j] = False
                    continue
                other, single = self._best(begun)
                if other >= 0 and (single >= both / 2 or room < 2):
                    j, gain = other, single
                elif room < 2:
                    break
                else:
                    gain, first = self._worth(both / 2, first), max(first, both / 2)
                    if gain <= 0:
                        break
                    self._take((j, k), both)
                    continue
            if self._worth(gain, first) <= 0:
                break
            first = max(first, gain)
            self._take((j,), gain)
            assert len(self.steps) > before
        return self.steps

    @staticmethod
    def _worth(gain: float, first: float) -> float:
        return gain if gain > WORTH * first and gain > 1e-9 else 0.0


def within_budget(sequences: list[list[Step]], most: int) -> list[int]:
    """Share a number of samples among several choices, by gain per sample.

    Parameters
    ----------
    sequences : list of list of Step
        One per target; the order within each is kept.
    most : int
        Samples of all.

    Returns
    -------
    list of int
        How many steps of each are taken.

    Examples
    --------
    >>> one, two = [Step((0, 1), 2.0), Step((2,), 0.1)], [Step((0, 1), 1.0), Step((3,), 0.4)]
    >>> within_budget([one, two], 5)
    [1, 2]
    """
    taken, left = [0] * len(sequences), most
    open_ones = set(range(len(sequences)))
    while open_ones:
        ahead = {i: sequences[i][taken[i]] for i in open_ones if taken[i] < len(sequences[i])}
        if not ahead:
            break
        i = min(ahead, key=lambda i: (-round(ahead[i].gain / len(ahead[i].points), 12), i))
        if len(ahead[i].points) > left:
            open_ones.discard(i)
            continue
        left -= len(ahead[i].points)
        taken[i] += 1
    return taken
