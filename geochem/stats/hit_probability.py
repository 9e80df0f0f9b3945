"""Chance that a sampling pattern meets a body whose outline on the surface is an ellipse.

A body of unknown place is met when at least one sampling point lies inside it. Stretch the ground
until the ellipse is a circle of radius 1: the points are still a lattice, only an oblique one, and
the chance is the share of the plane that lies within 1 of a lattice point. That share is a closed
formula (`_covered`), so a body of known direction needs no simulation; an unknown direction is the
mean over all directions.
"""

from __future__ import annotations

import math
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall, unknown

Floats = npt.NDArray[np.float64]
Pattern = Literal["rectangular", "staggered"]

#: directions over which an unknown direction is averaged
_DIRECTIONS = 2880


def hit_probability(
    semi_major: float,
    semi_minor: float,
    *,
    line_spacing: float,
    station_spacing: float,
    pattern: Pattern = "rectangular",
    angle: float | None = None,
) -> float:
    """Give the chance that at least one point of a grid lies inside an elliptical body.

    Exact for a stated direction; for an unknown direction the mean of exact values over all
    directions (error below 1e-4).

    Parameters
    ----------
    semi_major, semi_minor : float
        Half length and half width of the body. [m]
    line_spacing, station_spacing : float
        Across and along the lines. [m]
    pattern : {"rectangular", "staggered"}
        Staggered: every second line is shifted by half a station spacing.
    angle : float, optional
        Between the lines and the long axis of the body. [degrees] Unknown when not given.

    Returns
    -------
    float
        Probability, 0 to 1.

    Raises
    ------
    WrongCall
        If a length is not above zero, the width exceeds the length or the pattern is unknown.

    References
    ----------
    .. [1] Singer & Wickman 1969, Probability tables for locating elliptical targets with square,
       rectangular and hexagonal point-nets; Gilbert 1987, Statistical Methods for Environmental
       Pollution Monitoring, chapter 10 (both from memory; the formula is derived anew).

    Examples
    --------
    >>> round(hit_probability(50, 50, line_spacing=100, station_spacing=100), 4)
    0.7854
    """
    _check_body(semi_major, semi_minor)
    _check_grid(line_spacing, station_spacing, pattern)
    angles = _angles(angle)
    u, v = _lattice(line_spacing, station_spacing, pattern)
    return float(
        _covered(
            _stretched(u, angles, semi_major, semi_minor),
            _stretched(v, angles, semi_major, semi_minor),
        ).mean()
    )


def line_hit_probability(
    semi_major: float, semi_minor: float, *, line_spacing: float, angle: float | None = None
) -> float:
    """Give the chance that at least one of many parallel lines crosses an elliptical body.

    Parameters
    ----------
    semi_major, semi_minor : float
        Half length and half width of the body; a width of zero is a needle. [m]
    line_spacing : float
        Between the lines. [m]
    angle : float, optional
        Between the lines and the long axis. [degrees] Unknown when not given.

    Returns
    -------
    float
        Probability, 0 to 1. Exact for every size: where the body is wider than the spacing the
        chance is 1, which the perimeter formula overlooks.

    Raises
    ------
    WrongCall
        If a length is not usable.

    Examples
    --------
    >>> round(line_hit_probability(250, 250, line_spacing=1000), 4)
    0.5
    """
    if not (semi_major > 0 and 0 <= semi_minor <= semi_major and line_spacing > 0):
        raise WrongCall(
            "half length and line spacing must be above zero and the half width between zero and "
            f"the half length; got {semi_major}, {line_spacing} and {semi_minor}."
        )
    phi = _angles(angle)
    width = 2.0 * np.sqrt((semi_major * np.sin(phi)) ** 2 + (semi_minor * np.cos(phi)) ** 2)
    return float(np.minimum(width / line_spacing, 1.0).mean())


def line_hit_by_perimeter(semi_major: float, semi_minor: float, *, line_spacing: float) -> float:
    """Give the textbook approximation of `line_hit_probability` for an unknown direction.

    Perimeter over pi times spacing, with perimeter ``2 pi sqrt((a^2 + b^2) / 2)``. It reads high
    for elongate bodies and for bodies longer than the spacing; shown to be compared.

    Parameters
    ----------
    semi_major, semi_minor, line_spacing : float
        As in `line_hit_probability`. [m]

    Returns
    -------
    float
        May exceed 1 for large bodies.

    References
    ----------
    .. [1] McCammon 1977, Target intersection probabilities for parallel-line and
       continuous-grid types of search, Mathematical Geology 9:369-382; Davis, Statistics and
       Data Analysis in Geology, chapter 5.

    Examples
    --------
    >>> round(line_hit_by_perimeter(300, 100, line_spacing=1000), 4)
    0.4472
    """
    return 2.0 * math.sqrt((semi_major**2 + semi_minor**2) / 2.0) / line_spacing


def spacing_for_probability(
    probability: float,
    semi_major: float,
    semi_minor: float,
    *,
    ratio: float = 1.0,
    pattern: Pattern = "rectangular",
    angle: float | None = None,
) -> tuple[float, float]:
    """Find the widest grid that meets a body with at least a stated probability.

    Parameters
    ----------
    probability : float
        Wanted, above 0 and below 1.
    semi_major, semi_minor : float
        Half length and half width of the body. [m]
    ratio : float, default 1
        Line spacing over station spacing. [-]
    pattern, angle
        As in `hit_probability`.

    Returns
    -------
    line_spacing, station_spacing : float
        [m]

    Raises
    ------
    WrongCall
        If the probability is not between 0 and 1 or a length is not usable.

    Examples
    --------
    >>> round(spacing_for_probability(0.9, 100, 100)[0])
    179
    """
    if not 0.0 < probability < 1.0:
        raise WrongCall(
            f"the wanted probability must lie between 0 and 1, got {probability}; a grid that "
            "cannot miss is asked for with 0.999."
        )
    if not (math.isfinite(ratio) and ratio > 0):
        raise WrongCall(f"line over station spacing must be above zero, got {ratio}.")
    _check_body(semi_major, semi_minor)

    def chance(station: float) -> float:
        return hit_probability(
            semi_major, semi_minor, line_spacing=ratio * station, station_spacing=station,
            pattern=pattern, angle=angle,
        )  # fmt: skip

    low, high = semi_minor * 1e-3, semi_major
    while chance(high) > probability:
        high *= 2.0
    while chance(low) < probability:
        low /= 2.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if chance(middle) >= probability else (low, middle)
        if high - low < 1e-6 * high:
            break
    return ratio * low, low


def simulated_hit_probability(
    points: npt.ArrayLike,
    centres: npt.ArrayLike,
    semi_major: float,
    semi_minor: float,
    *,
    azimuth: float | None = None,
    seed: int = 1,
) -> tuple[float, float]:
    """Count how many of many bodies at given centres hold at least one sampling point.

    For patterns that are no lattice: points along streams and ridges, random points, and grids
    cut by a boundary.

    Parameters
    ----------
    points : array_like, shape (n_points, 2)
        Easting, northing of the samples. [m]
    centres : array_like, shape (n_bodies, 2)
        Easting, northing of the bodies' centres, spread evenly over the ground. [m]
    semi_major, semi_minor : float
        Half length and half width. [m]
    azimuth : float, optional
        Of the long axis, clockwise from grid north. [degrees] Random when not given.
    seed : int, default 1
        For random directions.

    Returns
    -------
    probability, standard_error : float
        Share of bodies met, and its standard error.

    Raises
    ------
    WrongCall
        If there are no centres or a length is not usable.
    """
    from scipy.spatial import cKDTree

    _check_body(semi_major, semi_minor)
    xy = np.asarray(points, dtype=float).reshape(-1, 2)
    middles = np.asarray(centres, dtype=float).reshape(-1, 2)
    if not len(middles):
        raise WrongCall("there is no ground on which a body could lie: give at least one centre.")
    if not len(xy):
        return 0.0, 0.0
    if azimuth is None:
        bearing = np.random.default_rng(seed).uniform(0.0, math.pi, len(middles))
    else:
        bearing = np.full(len(middles), math.radians(azimuth))
    near = cKDTree(xy).query_ball_point(middles, semi_major)
    counts = np.fromiter((len(n) for n in near), dtype=np.intp, count=len(near))
    if not counts.sum():
        return 0.0, 0.0
    which = np.repeat(np.arange(len(middles)), counts)
    found = np.concatenate([np.asarray(n, dtype=np.intp) for n in near if n])
    delta = xy[found] - middles[which]
    along = delta[:, 0] * np.sin(bearing[which]) + delta[:, 1] * np.cos(bearing[which])
    across = delta[:, 0] * np.cos(bearing[which]) - delta[:, 1] * np.sin(bearing[which])
    inside = (along / semi_major) ** 2 + (across / semi_minor) ** 2 <= 1.0
    met = np.bincount(which[inside], minlength=len(middles)) > 0
    share = float(met.mean())
    return share, math.sqrt(share * (1.0 - share) / len(middles))


def _angles(angle: float | None) -> Floats:
    if angle is None:
        return (np.arange(_DIRECTIONS) + 0.5) * math.pi / _DIRECTIONS
    return np.array([math.radians(angle)])


def _lattice(line: float, station: float, pattern: Pattern) -> tuple[Floats, Floats]:
    shift = 0.5 * station if pattern == "staggered" else 0.0
    return np.array([station, 0.0]), np.array([shift, line])


def _stretched(vector: Floats, angles: Floats, a: float, b: float) -> Floats:
    """Turn the long axis to x and make the ellipse a circle of radius 1; shape (n_angles, 2)."""
    cos, sin = np.cos(angles), np.sin(angles)
    return np.column_stack(
        [(vector[0] * cos + vector[1] * sin) / a, (vector[1] * cos - vector[0] * sin) / b]
    )


def _covered(u: Floats, v: Floats) -> Floats:
    """Give the share of the plane within 1 of the lattices spanned by u and v, shape (n,).

    Each point owns the six-sided cell that is nearer to it than to any other. The circle fills the
    cell where the cell's corners lie within 1; else it sticks out through some of the six sides,
    by circle segments that do not touch one another.
    """
    det = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    u, v = _shortest(u, v)
    sides = np.stack([np.linalg.norm(w, axis=1) for w in (u, v, u + v)])
    corner = sides.prod(axis=0) / (2.0 * det)  # radius of the circle round the triangle u, v, u+v
    half = np.minimum(sides / 2.0, 1.0)
    segments = (np.arccos(half) - half * np.sqrt(1.0 - half**2)).sum(axis=0)
    share = (math.pi - 2.0 * segments) / det
    return np.where(corner <= 1.0, 1.0, np.minimum(share, 1.0))


def _shortest(u: Floats, v: Floats) -> tuple[Floats, Floats]:
    """Reduce bases (Lagrange, Gauss) until u, v and u + v bound a triangle without obtuse angle."""
    for _ in range(200):
        swap = (u**2).sum(axis=1) > (v**2).sum(axis=1)
        u, v = np.where(swap[:, None], v, u), np.where(swap[:, None], u, v)
        steps = np.round((u * v).sum(axis=1) / (u**2).sum(axis=1))
        if not steps.any():
            break
        v = v - steps[:, None] * u
    return u, np.where(((u * v).sum(axis=1) > 0)[:, None], -v, v)


def _check_body(semi_major: float, semi_minor: float) -> None:
    lengths = (semi_major, semi_minor)
    if not all(math.isfinite(x) and x > 0 for x in lengths) or semi_minor > semi_major:
        raise WrongCall(
            "half length and half width of the body must be above zero and the width not larger "
            f"than the length; got {semi_major} and {semi_minor}."
        )


def _check_grid(line_spacing: float, station_spacing: float, pattern: str) -> None:
    for name, value in (("line", line_spacing), ("station", station_spacing)):
        if not (math.isfinite(value) and value > 0):
            raise WrongCall(f"the {name} spacing must be above zero metres, got {value}.")
    if pattern not in get_args(Pattern):
        raise unknown("pattern", pattern, get_args(Pattern))
