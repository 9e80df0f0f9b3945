"""Which step of shade and size a graded class gets."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.outputs.classes import WANTED

if TYPE_CHECKING:
    import numpy.typing as npt


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
