"""A short walk over points: nearest neighbour, then 2-opt and moves of short pieces."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall

Floats = npt.NDArray[np.float64]
Order = npt.NDArray[np.intp]

#: more points than a crew walks in a week; the method is made for this many
MOST = 300


class Walk(NamedTuple):
    """Order of the points, and the straight-line length in the unit of the coordinates."""

    order: Order
    length: float


def shortest_walk(
    points: npt.ArrayLike, *, start: tuple[float, float] | None = None, back: bool = False
) -> Walk:
    """Find a short walk that visits every point once.

    Not the shortest possible: on random points usually within 5-7 % of it. Straight lines; what
    lies between is not known here.

    Parameters
    ----------
    points : array_like, shape (n_points, 2)
        Easting, northing; at most 300. [m]
    start : (float, float), optional
        Where the walk begins; default: the westernmost (then southernmost) point.
    back : bool, default False
        Whether the way back to the start counts.

    Returns
    -------
    Walk
        Order as indices of `points`, and length, the way from `start` included.

    Raises
    ------
    WrongCall
        If there are more than 300 points or a coordinate is not finite.

    References
    ----------
    .. [1] Croes 1958, A method for solving traveling-salesman problems, Operations Research
       6:791-812 (2-opt).

    Examples
    --------
    >>> shortest_walk([[0, 0], [30, 0], [10, 0], [20, 0]]).order.tolist()
    [0, 2, 3, 1]
    """
    xy = np.asarray(points, dtype=float).reshape(-1, 2)
    if len(xy) > MOST:
        raise WrongCall(
            f"a route takes at most {MOST} points, got {len(xy)}; split them by area or day."
        )
    if not np.isfinite(xy).all():
        raise WrongCall("a route needs positions of all points; some are missing.")
    if not len(xy):
        return Walk(np.array([], dtype=np.intp), 0.0)
    first = np.asarray(start, dtype=float) if start is not None else xy[_corner(xy)]
    nodes = np.vstack([first, xy])
    distance = np.hypot(*(nodes[:, None, :] - nodes[None, :, :]).transpose(2, 0, 1))
    tour = _nearest_first(distance)
    for _ in range(30):
        before = _length(tour, distance, back=back)
        tour = _two_opt(tour, distance, back=back)
        tour = _move_pieces(tour, distance, back=back)
        if _length(tour, distance, back=back) > before - 1e-9 * max(before, 1.0):
            break
    return Walk(tour[1:] - 1, _length(tour, distance, back=back))


def _corner(xy: Floats) -> int:
    return int(np.lexsort((xy[:, 1], xy[:, 0]))[0])


def _nearest_first(distance: Floats) -> Order:
    n = len(distance)
    left = np.ones(n, dtype=bool)
    left[0] = False
    tour = [0]
    for _ in range(n - 1):
        tour.append(int(np.argmin(np.where(left, distance[tour[-1]], np.inf))))
        left[tour[-1]] = False
    return np.array(tour, dtype=np.intp)


def _length(tour: Order, distance: Floats, *, back: bool) -> float:
    way = float(distance[tour[:-1], tour[1:]].sum())
    return way + float(distance[tour[-1], tour[0]]) if back else way


def _ends(tour: Order, distance: Floats, *, back: bool) -> tuple[Order, Floats]:
    """Give what follows each place (the start again) and the length of that step."""
    following = np.append(tour[1:], tour[0])
    step = distance[tour, following]
    if not back:
        step[-1] = 0.0
    return following, step


def _two_opt(tour: Order, distance: Floats, *, back: bool) -> Order:
    """Turn round the piece that gains most, until none gains; the start stays."""
    n = len(tour)
    for _ in range(20 * n):
        following, step = _ends(tour, distance, back=back)
        ahead = distance[np.ix_(following, following)].copy()
        if not back:
            ahead[:, -1] = 0.0  # the walk may end anywhere
        change = distance[np.ix_(tour, tour)] + ahead - step[:, None] - step[None, :]
        change[np.tril_indices(n, 1)] = 0.0
        i, j = np.unravel_index(np.argmin(change), change.shape)
        if change[i, j] > -1e-9:
            break
        tour = np.concatenate([tour[: i + 1], tour[i + 1 : j + 1][::-1], tour[j + 1 :]])
    return tour


def _move_pieces(tour: Order, distance: Floats, *, back: bool) -> Order:
    """Take out one, two or three points in a row and put them where the walk becomes shortest."""
    for size in (1, 2, 3):
        place = 1
        while place + size <= len(tour):
            piece = tour[place : place + size]
            rest = np.concatenate([tour[:place], tour[place + size :]])
            following, step = _ends(rest, distance, back=back)
            best, gain = None, _length(tour, distance, back=back) - 1e-9
            inner = float(distance[piece[:-1], piece[1:]].sum())
            base = _length(rest, distance, back=back) + inner
            for turned in (piece, piece[::-1]):
                onward = distance[turned[-1], following].copy()
                if not back:
                    onward[-1] = 0.0
                total = base + distance[rest, turned[0]] + onward - step
                at = int(np.argmin(total))
                if total[at] < gain:
                    best, gain = (at, turned), float(total[at])
            if best is not None:
                tour = np.concatenate([rest[: best[0] + 1], best[1], rest[best[0] + 1 :]])
            place += 1
    return tour
