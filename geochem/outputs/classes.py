"""Graded classes: limits in 1-2-5 steps of the unit that is shown, and their steps of shade."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

#: where limits are wanted: the shares of samples below them; [%]
WANTED = (25.0, 50.0, 75.0, 90.0, 97.5)


def class_limits(
    values: npt.NDArray[np.float64], wanted: tuple[float, ...] = WANTED, *, signed: bool = False
) -> tuple[list[float], str]:
    """Choose limits between graded classes.

    Limits are 1, 2 or 5 times a power of ten nearest to wanted percentiles; where the values span
    too little for three of these, multiples of a step that is itself 1, 2 or 5 times a power of
    ten.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Values in the unit that is shown, without limits of detection; NaN is ignored.
    wanted : tuple of float
        Percentiles near which limits are wanted. [%]
    signed : bool, default False
        Values may be zero or negative (a log-ratio): limits are multiples of a round step.

    Returns
    -------
    limits : list of float
        Rising; one fewer than there are classes; empty when all values are equal.
    note : str
        A sentence when fewer classes than asked for could be made, else empty.

    Examples
    --------
    >>> class_limits(np.geomspace(3, 900, 200))
    ([10.0, 50.0, 200.0, 500.0], 'Five classes: six would need limits that are not 1, 2 or 5.')
    """
    known = np.sort(values[np.isfinite(values) & (signed | (values > 0))])
    if len(known) < 2 or known[0] == known[-1]:
        return [], "One class: all values are equal." if len(known) else ""
    targets = np.percentile(known, wanted)
    limits = [] if signed else _fitting(_series(known[0], known[-1]), targets, known, log=True)
    if len(limits) < 3:
        limits = max(limits, _fitting(_multiples(known), targets, known, log=False), key=len)
    note = ""
    if len(limits) < len(wanted):
        made, asked = _WORDS[len(limits) + 1], _WORDS[len(wanted) + 1].lower()
        note = f"{made} classes: {asked} would need limits that are not 1, 2 or 5."
        if len(limits) == 0:
            note = "One class: the values lie too close together for round limits."
    return limits, note


def class_levels(values: npt.NDArray[np.float64], limits: list[float]) -> list[int]:
    """Give each class its step on the scale of shades and sizes, from 0 to 5.

    The step follows the share of samples below the class, so that a class in which most samples
    lie stays light however few classes there are; steps rise from class to class.

    Parameters
    ----------
    values : ndarray, shape (n,)
        In the unit of the limits; NaN is ignored.
    limits : list of float
        Between the classes, rising.

    Returns
    -------
    list of int
        One more than there are limits.

    Examples
    --------
    >>> class_levels(np.arange(100.0), [10.0, 60.0, 95.0])
    [0, 1, 2, 5]
    """
    known = np.sort(values[np.isfinite(values)])
    if not limits or not len(known):
        return [1]
    below = 100.0 * np.searchsorted(known, limits, side="left") / len(known)
    levels = [0]
    for share in below:
        levels.append(max(levels[-1] + 1, int(np.searchsorted(WANTED, share + 2.0))))
    top = len(WANTED)
    for i in range(len(levels) - 1, -1, -1):  # steps pushed past the darkest move down
        levels[i] = min(levels[i], top)
        top = max(levels[i] - 1, 0)
    levels[-1] = max(levels[-1], len(WANTED) if below[-1] >= WANTED[-2] - 2.0 else levels[-1])
    return levels


_WORDS = ["No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight"]


def _series(low: float, high: float) -> npt.NDArray[np.float64]:
    powers = np.arange(np.floor(np.log10(low)), np.ceil(np.log10(high)) + 1)
    grid = [float(f"{m}e{int(p)}") for p in powers for m in (1, 2, 5)]
    return np.array([g for g in grid if low < g <= high])


def _multiples(known: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    low, high = np.percentile(known, [2, 98])
    raw = (high - low) / 6 if high > low else (known[-1] - known[0]) / 6
    power = int(np.floor(np.log10(raw)))
    step = next(m for m in (1, 2, 5, 10) if m * 10.0**power >= raw * 0.999)
    first = int(np.floor(known[0] / (step * 10.0**power))) + 1
    count = int(np.ceil((known[-1] - known[0]) / (step * 10.0**power))) + 1
    grid = [float(f"{(first + i) * step}e{power}") for i in range(min(count, 400))]
    return np.array([g for g in grid if known[0] < g <= known[-1]])


def _fitting(
    grid: npt.NDArray[np.float64],
    targets: npt.NDArray[np.float64],
    known: npt.NDArray[np.float64],
    *,
    log: bool,
) -> list[float]:
    if not len(grid):
        return []
    scale = np.log(grid) if log else grid
    aims = np.log(targets) if log else targets
    near = sorted({int(np.argmin(np.abs(scale - a))) for a in aims})
    # a limit that leaves an empty class behind it says nothing
    limits: list[float] = []
    last = 0
    for i in near:
        at = int(np.searchsorted(known, grid[i], side="left"))
        if last < at < len(known):
            limits.append(float(grid[i]))
            last = at
    return limits
