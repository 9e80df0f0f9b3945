"""Class limits that a reader can remember: 1-2-5 steps in the unit that is shown."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

#: where limits are wanted: the shares of samples below them; [%]
WANTED = (25.0, 50.0, 75.0, 90.0, 97.5)


def class_limits(
    values: npt.NDArray[np.float64], wanted: tuple[float, ...] = WANTED
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
    known = np.sort(values[np.isfinite(values) & (values > 0)])
    if len(known) < 2 or known[0] == known[-1]:
        return [], "One class: all values are equal." if len(known) else ""
    targets = np.percentile(known, wanted)
    limits = _fitting(_series(known[0], known[-1]), targets, known, log=True)
    if len(limits) < 3:
        limits = max(limits, _fitting(_multiples(known), targets, known, log=False), key=len)
    note = ""
    if len(limits) < len(wanted):
        made, asked = _WORDS[len(limits) + 1], _WORDS[len(wanted) + 1].lower()
        note = f"{made} classes: {asked} would need limits that are not 1, 2 or 5."
        if len(limits) == 0:
            note = "One class: the values lie too close together for round limits."
    return limits, note


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
