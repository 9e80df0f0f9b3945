"""Interval of any threshold: the whole method again on samples drawn anew, in blocks of ground."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.background.log_ratio import LogRatioMad
from geochem.errors import GeochemError
from geochem.stats.blocks import block_numbers, draw_blocks
from geochem.stats.intervals import interval, point_only

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model.tables import Values

    Array = npt.NDArray[np.float64]

_SEED = 20251
#: of more samples than this, so many are drawn and the spread is scaled
_MOST = 5000


def bootstrap_interval(
    method: Any,
    values: Values,
    value: float,
    *,
    coordinates: Array | None = None,
    weights: Array | None = None,
    draws: int = 100,
) -> tuple[float, float]:
    """Give the 90 % interval of a threshold by fitting its method anew.

    With coordinates whole blocks of ground are drawn with replacement, so that neighbours that
    are alike do not count twice; without them samples are.

    Parameters
    ----------
    method : object with `fit`
        Any threshold method, another package's too.
    values : Values
        Of one element, one group.
    value : float
        The threshold of all values.
    coordinates : ndarray, shape (n, 2), optional
        Easting, northing. [m]
    weights : ndarray, shape (n,), optional
        Declustering weights; they stay with their samples.
    draws : int, default 100
        How many.

    Returns
    -------
    low, high : float
        Around the value, NaN when fewer than half of the draws gave a threshold.

    References
    ----------
    .. [1] Efron & Tibshirani 1993, An Introduction to the Bootstrap, Chapman & Hall; Lahiri 2003,
       Resampling Methods for Dependent Data, Springer, chapter 12 (spatial blocks).
    """
    nan = float("nan")
    ok = np.isfinite(values.value)
    x, b, a = values.value[ok], values.below[ok], values.above[ok]
    xy = None if coordinates is None else coordinates[ok]
    w = np.ones(x.size) if weights is None else weights[ok]
    if x.size < 4 or not np.isfinite(value):
        return nan, nan
    place = np.zeros((x.size, 2)) if xy is None else xy
    order = np.lexsort((w, a, b, x, place[:, 1], place[:, 0]))
    x, b, a, w = x[order], b[order], a[order], w[order]
    place_of = np.flatnonzero(ok)[order]
    xy = None if xy is None else xy[order]
    blocks = np.arange(x.size, dtype=np.int64) if xy is None else block_numbers(xy)
    shrink = 1.0
    found = []
    with point_only():
        for rows in draw_blocks(blocks, draws, _SEED):
            at = rows
            if xy is None and at.size > _MOST:
                at, shrink = at[:_MOST], float(np.sqrt(_MOST / at.size))
            own = method.take(place_of[at]) if isinstance(method, LogRatioMad) else method
            try:
                record = own.fit(
                    x[at], below=b[at], above=a[at], weights=None if weights is None else w[at],
                    coordinates=xy[at] if xy is not None and "coordinates" in method.needs else None,
                )  # fmt: skip
            except GeochemError:
                continue
            found.append(record.value)
    got = np.array(found, dtype=float)
    got = got[np.isfinite(got) & (got > 0)]
    if got.size < draws / 2:
        return nan, nan
    logs = np.log10(got)
    middle = np.log10(value)
    low, high = interval(middle + shrink * (logs - middle))
    return float(min(10**low, value)), float(max(10**high, value))
