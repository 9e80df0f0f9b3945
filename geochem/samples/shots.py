"""Repeat shots of one element of one sample become one value.

* all detected: the plain mean, from five shots the median. Inverse-variance weights are not used:
  they read low, because the shot that counts fewer has the smaller error;
* all below: below the smallest of the limits, since the value lies under every one of them;
* some below: the mean of a normal distribution fitted to shots and limits (maximum likelihood,
  the spread known from the shots' own errors, or a third of the limit when there are none). If
  that mean is under a limit, the sample is below that limit;
* some above: above the largest limit, unless a shot of more than that limit settles it;
* the error is the larger of the propagated one and the observed scatter of the shots.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Flags = npt.NDArray[np.bool_]
    Ints = npt.NDArray[np.int64]

#: from so many shots on the median is taken
MEDIAN_FROM = 5


def merge_shots(
    value: Floats, below: Flags, above: Flags, err: Floats, start: Ints, count: Ints,
    *, median_from: int,
) -> tuple[Floats, Flags, Flags, Floats]:  # fmt: skip
    """Merge sorted shots, cell by cell.

    Parameters
    ----------
    value, below, above, err : ndarray, shape (n_shots,)
        Sorted by cell; a limit where `below` or `above`; `err` NaN where unknown. [mg/kg]
    start, count : ndarray of int, shape (n_cells,)
        Where the shots of each cell begin, and how many there are.
    median_from : int
        From so many detected shots on the median is taken.

    Returns
    -------
    value, below, above, err : ndarray, shape (n_cells,)
        One value per cell.

    Examples
    --------
    >>> import numpy as np
    >>> no = np.zeros(2, dtype=bool)
    >>> merge_shots(np.array([10.0, 14.0]), no, no, np.array([1.0, 1.0]),
    ...     np.array([0]), np.array([2]), median_from=5)[0].tolist()
    [12.0]
    """
    v, b, a, e = value[start], below[start], above[start], err[start]
    several = np.flatnonzero(count > 1)
    if not several.size:
        return v, b, a, e
    # by number of shots: every block is a rectangle (cells, shots)
    for k in np.unique(count[several]):
        cells = several[count[several] == k]
        at = start[cells][:, None] + np.arange(k)[None, :]
        v[cells], b[cells], a[cells], e[cells] = _block(
            value[at], below[at], above[at], err[at], median=k >= median_from
        )
    return v, b, a, e


def _block(
    v: Floats, b: Flags, a: Flags, e: Floats, *, median: bool
) -> tuple[Floats, Flags, Flags, Floats]:
    """Merge cells of equally many shots; shapes (n_cells, n_shots) in, (n_cells,) out."""
    k = v.shape[1]
    some_b, some_a = b.any(axis=1), a.any(axis=1)
    all_b = b.all(axis=1)
    clean = ~some_b & ~some_a
    centre = np.median(v, axis=1) if median else v.mean(axis=1)
    factor = 1.2533 if median else 1.0  # standard error of a median of normal shots
    known = np.isfinite(e)
    shots_known = known.sum(axis=1)
    square = np.where(known, e, 0.0) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        propagated = factor * np.sqrt(square.sum(axis=1) / shots_known / k)
    observed = factor * v.std(axis=1, ddof=1) / np.sqrt(k)
    out_v = np.where(clean, centre, np.nan)
    out_e = np.where(clean, np.fmax(propagated, observed), np.nan)
    out_b = np.array(all_b)
    out_v = np.where(all_b, v.min(axis=1), out_v)
    # above: settled by a shot over the limit, else the largest limit; any `<` beside it is noise
    top = np.where(a, v, -np.inf).max(axis=1)
    detected = ~a & ~b
    best = np.where(detected, v, -np.inf)
    settled = some_a & (best.max(axis=1) >= top)
    with np.errstate(invalid="ignore"):
        over = np.where(detected & (v >= top[:, None]), v, 0.0)
        mean_over = over.sum(axis=1) / np.maximum((over > 0).sum(axis=1), 1)
    out_v = np.where(settled, mean_over, np.where(some_a, top, out_v))
    out_a = np.asarray(some_a & ~settled)
    mixed = np.flatnonzero(some_b & ~all_b & ~some_a)
    if mixed.size:
        out_v[mixed], out_b[mixed], out_e[mixed] = _censored_mean(v[mixed], b[mixed], e[mixed])
    return out_v, out_b, out_a, out_e


def _censored_mean(v: Floats, b: Flags, e: Floats) -> tuple[Floats, Flags, Floats]:
    """Fit the mean of normal shots of known spread, some of them limits; (n_cells, n_shots)."""
    from scipy.special import log_ndtr

    known = np.isfinite(e) & (e > 0) & ~b
    square = np.where(known, e, 0.0) ** 2
    spread = np.sqrt(square.sum(axis=1) / np.maximum(known.sum(axis=1), 1))
    third = np.where(b, v, -np.inf).max(axis=1) / 3.0
    s = np.where(spread > 0, spread, third)[:, None]
    low = np.where(b, np.inf, v).min(axis=1)
    mean = np.where(b, np.minimum(v, low[:, None]), v).mean(axis=1)
    open_ = np.arange(len(v))
    for _ in range(100):
        centre, width = mean[open_, None], s[open_]
        z = (v[open_] - centre) / width
        # mean of a normal variable that is known to lie under the limit
        ratio = np.exp(-0.5 * z**2 - 0.5 * np.log(2 * np.pi) - log_ndtr(z))
        new = np.where(b[open_], centre - width * ratio, v[open_]).mean(axis=1)
        moving = np.abs(new - mean[open_]) > 1e-6 * width[:, 0]
        mean[open_] = new
        open_ = open_[moving]
        if not open_.size:
            break
    # limits above every detected shot say nothing about detection
    top = np.where(b, -np.inf, v).max(axis=1)
    telling = b & (v <= top[:, None])
    limit = np.where(telling, v, np.inf).min(axis=1)
    is_below = np.asarray((mean < limit) & np.isfinite(limit))
    detected = (~b).sum(axis=1)
    scatter = np.where(b, mean[:, None], v).std(axis=1, ddof=1) / np.sqrt(detected)
    error = np.fmax(s[:, 0] / np.sqrt(detected), scatter)
    return np.where(is_below, limit, mean), is_below, np.where(is_below, np.nan, error)
