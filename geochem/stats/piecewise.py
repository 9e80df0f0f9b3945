"""Straight pieces through a curve: the breaks of least squares, by sums made once."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Straight pieces, from left to right.

    Parameters
    ----------
    breaks : ndarray, shape (m,)
        Abscissa at which neighbouring pieces meet (or the middle of the gap if they do not).
    slopes, intercepts : ndarray, shape (m + 1,)
        Of the pieces.
    residual : float
        Sum of weighted squares left.
    """

    breaks: Array
    slopes: Array
    intercepts: Array
    residual: float


def fit_pieces(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    breaks: int = 1,
    weights: npt.ArrayLike | None = None,
    least: int = 3,
    candidates: int = 200,
) -> Pieces:
    """Fit two or three straight pieces to a curve.

    Sums along the curve are made once; every division into pieces is then judged from
    differences of them, so a hundred thousand points cost little more than a hundred.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        Points; `x` ascending.
    breaks : {1, 2}, default 1
        How many breaks.
    weights : array_like, shape (n,), optional
        Of the points.
    least : int, default 3
        Points in a piece.
    candidates : int, default 200
        Divisions tried in the first round; the best is then refined to the point.

    Returns
    -------
    Pieces
        Of smallest residual.

    Raises
    ------
    WrongCall
        If there are too few points or another number of breaks is asked for.

    Examples
    --------
    >>> x = np.arange(11.0)
    >>> float(fit_pieces(x, np.where(x < 5, x, 5 + 3 * (x - 5))).breaks[0].round(6))
    5.0
    """
    if breaks not in (1, 2):
        raise WrongCall(f"one or two breaks can be fitted, got {breaks!r}.")
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    n = xs.size
    if n < least * (breaks + 1):
        raise WrongCall(f"{n} points are too few for {breaks + 1} pieces of {least} points each.")
    w = np.ones(n) if weights is None else np.asarray(weights, dtype=float)
    # shift first: differences of sums keep their digits
    x0, y0 = float(xs.mean()), float(ys.mean())
    u, v = xs - x0, ys - y0
    sums = np.zeros((6, n + 1))
    np.cumsum([w, w * u, w * v, w * u * u, w * u * v, w * v * v], axis=1, out=sums[:, 1:])
    grid = np.unique(np.linspace(least, n - least, min(candidates, n)).astype(int))
    cut = _best(sums, n, least, [grid] * breaks)
    step = max(int(np.ceil(n / candidates)), 1)
    if step > 1:
        fine = [np.arange(max(c - step, least), min(c + step, n - least) + 1) for c in cut]
        fine = [f if f.size <= 400 else f[:: f.size // 400 + 1] for f in fine]
        cut = _best(sums, n, least, fine)
    edges = [0, *cut, n]
    lines = [_line(sums, a, b) for a, b in pairwise(edges)]
    slopes = np.array([float(s) for s, _, _ in lines])
    intercepts = np.array([float(i) for _, i, _ in lines])
    found = []
    for j, c in enumerate(cut):
        bend = slopes[j] - slopes[j + 1]
        meet = (intercepts[j + 1] - intercepts[j]) / bend if bend != 0 else np.nan
        gap = (u[c - 1], u[c])
        margin = gap[1] - gap[0]
        near = gap[0] - 5 * margin <= meet <= gap[1] + 5 * margin
        found.append(float(meet if near else np.mean(gap)) + x0)
    residual = float(sum(float(r) for _, _, r in lines))
    return Pieces(np.array(found), slopes, intercepts + y0 - slopes * x0, max(residual, 0.0))


def _line(sums: Array, a: Any, b: Any) -> tuple[Array, Array, Array]:
    """Least-squares line through points a to b - 1: slope, intercept, residual."""
    s, su, sv, suu, suv, svv = sums[:, b] - sums[:, a]
    with np.errstate(divide="ignore", invalid="ignore"):
        duu, duv, dvv = suu - su * su / s, suv - su * sv / s, svv - sv * sv / s
        slope = np.where(duu > 0, duv / duu, 0.0)
        return slope, (sv - slope * su) / s, np.maximum(dvv - slope * duv, 0.0)


def _best(sums: Array, n: int, least: int, grids: list[npt.NDArray[np.int64]]) -> list[int]:
    if len(grids) == 1:
        g = grids[0]
        total = _line(sums, np.zeros_like(g), g)[2] + _line(sums, g, np.full_like(g, n))[2]
        return [int(g[np.argmin(total)])]
    first, second = grids
    left = _line(sums, np.zeros_like(first), first)[2]
    right = _line(sums, second, np.full_like(second, n))[2]
    a, b = np.meshgrid(first, second, indexing="ij")
    allowed = b - a >= least
    middle = _line(sums, np.where(allowed, a, 0), np.where(allowed, b, n))[2]
    total = np.where(allowed, left[:, None] + middle + right[None, :], np.inf)
    i, j = np.unravel_index(int(np.argmin(total)), total.shape)
    return [int(first[i]), int(second[j])]
