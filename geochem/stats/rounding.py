"""Rounded values: each stands for a cell, and populations are judged by their share in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

_LOG_ROOT = 0.5 * float(np.log(2 * np.pi))


def rounding_cells(v: Array, *, log10: bool) -> tuple[Array, Array]:
    """Give the ends of what rounds to each distinct value: half a step to both sides.

    The step is the smaller gap to the neighbours; where values grow sparse the gaps are several
    steps wide, so the step never grows faster than the values themselves.

    Parameters
    ----------
    v : ndarray, shape (n,)
        Distinct values, ascending, two at least.
    log10 : bool
        They are log10 of what was rounded.

    Returns
    -------
    low, high : ndarray, shape (n,)
        Scale of the input.
    """
    x = 10.0**v if log10 else v
    gap = np.diff(x)
    step = np.minimum(np.append(gap[0], gap), np.append(gap, gap[-1]))
    if log10:
        step = x * np.minimum.accumulate(step / x)
        return np.log10(np.maximum(x - step / 2, x / 4)), np.log10(x + step / 2)
    step = np.minimum.accumulate(step)
    return x - step / 2, x + step / 2


def share_in_cells(
    z: Array, density: Array, cells: tuple[Array, Array], m: Array, s: Array
) -> tuple[Array, Array, Array]:
    """Give mean density of each population in each cell (root of 2 pi left out), mean z, mean z squared.

    Cells much narrower than the population, and those far out in its tail, count as points.

    Parameters
    ----------
    z, density : ndarray, shape (n, k)
        Of the values as points.
    cells : tuple of ndarray, shape (n,)
        From `rounding_cells`.
    m, s : ndarray, shape (k,)
        Mean and standard deviation of each population.

    Returns
    -------
    tuple of three ndarray, shape (n, k)
        In units of the populations' spreads.
    """
    from scipy.special import ndtr

    low, high = (cells[0][:, None] - m) / s, (cells[1][:, None] - m) / s
    width = high - low
    # on the side where the distribution function is small, so that digits are kept
    flip = low > 0
    share = np.where(flip, ndtr(-low) - ndtr(-high), ndtr(high) - ndtr(low))
    wide = (width > 1e-3) & (share > 1e-12)
    safe = np.where(wide, share, 1.0)
    at_low, at_high = np.exp(-0.5 * low * low - _LOG_ROOT), np.exp(-0.5 * high * high - _LOG_ROOT)
    mean = np.where(wide, (at_low - at_high) / safe, z)
    square = np.where(wide, 1 + (low * at_low - high * at_high) / safe, z * z)
    even = np.where(wide, share / np.maximum(width, 1e-300) * np.exp(_LOG_ROOT), density)
    return even, mean, square
