"""Chance that a survey not only meets a halo but sees it: decay, scatter and error counted."""

from __future__ import annotations

import math
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall, unknown
from geochem.stats.hit_probability import Pattern, _check_body, _check_grid

Floats = npt.NDArray[np.float64]
Decay = Literal["none", "linear", "exponential"]

#: what is left at the edge of an exponential halo: exp(-3), 5 %
_EDGE = 3.0
#: most products of positions and grid points held at once
_CELLS = 4_000_000


def detection_probability(
    semi_major: float,
    semi_minor: float,
    *,
    line_spacing: float,
    station_spacing: float,
    contrast: float,
    scatter: float,
    error: float = 0.0,
    k: float = 2.0,
    decay: Decay = "exponential",
    least: int = 1,
    pattern: Pattern = "rectangular",
    angle: float | None = None,
    draws: int = 4096,
) -> float:
    """Give the chance that at least `least` samples inside a halo exceed the threshold.

    The halo is an ellipse; in its middle the median is `contrast` times the background's, and the
    excess of log10 fades toward the edge. Each sample scatters about that by the background's own
    scatter and the measured error. Samples outside the halo never count: a false alarm is no
    detection. With a very large contrast and no decay this is the chance of a hit.

    Parameters
    ----------
    semi_major, semi_minor : float
        Half length and half width of the halo. [m]
    line_spacing, station_spacing : float
        Across and along the lines. [m]
    contrast : float
        Middle of the halo over background, above 1. [-]
    scatter : float
        Standard deviation of log10 of the background. [-]
    error : float, default 0
        Standard uncertainty of log10 of a value: relative error / 2.303. [-]
    k : float, default 2
        Threshold in standard deviations of the background, which hold scatter and error.
    decay : {"exponential", "linear", "none"}
        Exponential leaves 5 % of the excess of log10 at the edge.
    least : int, default 1
        Samples needed, 1 to 5.
    pattern, angle
        As in `hit_probability.hit_probability`.
    draws : int, default 4096
        Places and directions of the halo, spread evenly (no random numbers).

    Returns
    -------
    float
        Probability, 0 to 1.

    Raises
    ------
    WrongCall
        If a number is outside its range.

    Examples
    --------
    >>> chance = detection_probability(
    ...     50, 50, line_spacing=100, station_spacing=100, contrast=1e9, scatter=0.2, decay="none"
    ... )
    >>> round(chance, 1)  # a hit: pi / 4
    0.8
    """
    _check_body(semi_major, semi_minor)
    _check_grid(line_spacing, station_spacing, pattern)
    if decay not in get_args(Decay):
        raise unknown("decay", decay, get_args(Decay))
    if not (math.isfinite(contrast) and contrast > 1):
        raise WrongCall(f"the contrast must be above 1 (halo over background), got {contrast}.")
    if not scatter > 0 or not error >= 0:
        raise WrongCall(
            f"scatter must be above zero and error not negative (log10), got {scatter}, {error}."
        )
    if not 1 <= least <= 5:
        raise WrongCall(f"samples needed must lie between 1 and 5, got {least}.")
    first, second, turn = _spread(draws)
    phi = np.full(draws, math.radians(angle)) if angle is not None else turn * math.pi
    grid = _points_within(line_spacing, station_spacing, pattern, semi_major)
    offset = np.column_stack([first * station_spacing, second * 2.0 * line_spacing])
    per_block = max(1, _CELLS // len(grid))
    total = 0.0
    for start in range(0, draws, per_block):
        block = slice(start, start + per_block)
        total += _detected(
            grid, offset[block], phi[block], semi_major, semi_minor, math.log10(contrast),
            k, math.hypot(scatter, error), decay, least,
        )  # fmt: skip
    return total / draws


def false_alarm_rate(k: float) -> float:
    """Give the share of barren samples that exceed median + k sd of lognormal ground.

    Examples
    --------
    >>> round(100 * false_alarm_rate(2.0), 1)
    2.3
    """
    return 0.5 * math.erfc(k / math.sqrt(2.0))


def _spread(n: int) -> tuple[Floats, Floats, Floats]:
    """Spread n points evenly through the unit cube: additive recurrence of the plastic number."""
    root = 1.2207440846057596  # x**4 = x + 1
    steps = np.arange(1, n + 1)
    parts = [np.mod(0.5 + steps / root**power, 1.0) for power in (1, 2, 3)]
    return parts[0], parts[1], parts[2]


def _points_within(line: float, station: float, pattern: Pattern, reach: float) -> Floats:
    """List grid points that a halo anywhere in one doubled cell can hold; shape (n, 2)."""
    rows = np.arange(-math.ceil(reach / line) - 1, math.ceil(reach / line) + 4)
    columns = np.arange(-math.ceil(reach / station) - 2, math.ceil(reach / station) + 3)
    y, x = np.meshgrid(rows * line, columns * station, indexing="ij")
    if pattern == "staggered":
        x = x + 0.5 * station * (rows % 2)[:, None]
    near = (
        (x >= -reach - 1e-9)
        & (x <= station + reach + 1e-9)
        & (y >= -reach - 1e-9)
        & (y <= 2.0 * line + reach + 1e-9)
    )
    return np.column_stack([x[near], y[near]])


def _detected(
    grid: Floats, offset: Floats, phi: Floats, a: float, b: float, peak: float, k: float,
    sd: float, decay: Decay, least: int,
) -> float:  # fmt: skip
    """Sum, over places of the halo, the chance that `least` or more samples exceed."""
    from scipy.special import ndtr

    dx = grid[None, :, 0] - offset[:, 0, None]
    dy = grid[None, :, 1] - offset[:, 1, None]
    cos, sin = np.cos(phi)[:, None], np.sin(phi)[:, None]
    u = np.hypot((dx * cos + dy * sin) / a, (dy * cos - dx * sin) / b)
    left = _left(u, decay)
    p = np.where(u <= 1.0, ndtr((peak * left - k * sd) / sd), 0.0)
    exactly = np.zeros((least, len(offset)))  # chance of 0, 1 ... least - 1 samples so far
    exactly[0] = 1.0
    for one in p.T:
        if not one.any():
            continue
        moved = exactly * one
        exactly -= moved
        exactly[1:] += moved[:-1]
    return float((1.0 - exactly.sum(axis=0)).sum())


def _left(distance: Floats, decay: Decay) -> Floats:
    """Give the share of the excess that is left; distance is 0 in the middle, 1 at the edge."""
    if decay == "none":
        return np.ones_like(distance)
    return 1.0 - distance if decay == "linear" else np.exp(-_EDGE * distance)
