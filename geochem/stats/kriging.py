"""Local kriging: ordinary, simple, universal, of points and blocks.

What lives here: checks, drift, blocks and the order of the work. Neighbourhoods are found in
`kriging_neighbours`, systems solved in batches by `kriging_batches` (numpy) or
`kriging_compiled` (extra 'fast'), both with the same numbers. Points at one place must be merged
before (`merge_places`). What does not: transforms (`back_transform`, `normal_scores`), other
interpolators (`inverse_distance`).
Test to copy: `tests/stats/test_kriging.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from geochem.errors import WrongCall, unknown
from geochem.optional import available
from geochem.stats.kriging_batches import Task, solve_batches
from geochem.stats.kriging_neighbours import neighbour_sets

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.stats.variogram_model import Variogram

    FloatArray = npt.NDArray[np.float64]

Kind = Literal["ordinary", "simple", "universal"]
KINDS = ("ordinary", "simple", "universal")
Tier = Literal["auto", "numpy", "numba"]
#: goals x neighbours^3 from which compiling pays
_WORTH_COMPILING = 1.2e10


@dataclass(frozen=True, slots=True, eq=False)
class Kriged:
    """Estimates of one call.

    Parameters
    ----------
    values, variance : ndarray, shape (m,)
        Estimate and kriging variance; NaN where too few samples are near.
    lagrange : ndarray, shape (m,)
        Multipliers of the conditions on the weights times the drift at the goal, summed:
        ``variance = C(0) - sum w C - lagrange`` (0 for simple kriging).
    n_neighbours : ndarray of int, shape (m,)
        Samples used.
    mended : int
        Systems without a stable solution (nearly equal places, neighbours on one line under a
        drift) that were solved by the pseudo-inverse.
    weights, sets : ndarray, shape (m, k), optional
        When they were asked for: weight of each neighbour, and its row in the input (-1: none).
    """

    values: FloatArray
    variance: FloatArray
    lagrange: FloatArray
    n_neighbours: npt.NDArray[np.intp]
    mended: int = 0
    weights: FloatArray | None = None
    sets: npt.NDArray[np.intp] | None = None


def merge_places(
    xy: npt.ArrayLike, values: npt.ArrayLike, error_variance: npt.ArrayLike | None = None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Average samples that stand at one place, sorted by position.

    Parameters
    ----------
    xy : array_like, shape (n, 2)
        Easting and northing. [m]
    values : array_like, shape (n,)
        Rows with NaN are left out.
    error_variance : array_like, shape (n,), optional
        Variance of the error of each value; default 0.

    Returns
    -------
    xy : ndarray, shape (m, 2)
        Different places.
    values : ndarray, shape (m,)
        Plain means.
    error_variance : ndarray, shape (m,)
        Of the means.
    """
    points, z = np.asarray(xy, float), np.asarray(values, float)
    error = np.zeros(len(z)) if error_variance is None else np.asarray(error_variance, float)
    keep = np.isfinite(z) & np.isfinite(points).all(axis=1)
    points, z, error = points[keep], z[keep], np.nan_to_num(error[keep])
    places, which, count = np.unique(points, axis=0, return_inverse=True, return_counts=True)
    which = which.ravel()
    mean = np.bincount(which, weights=z, minlength=len(places)) / np.maximum(count, 1)
    spread = np.bincount(which, weights=error, minlength=len(places)) / np.maximum(count, 1) ** 2
    return places, mean, spread


def krige(
    xy: npt.ArrayLike,
    values: npt.ArrayLike,
    where: npt.ArrayLike,
    variogram: Variogram,
    *,
    kind: Kind = "ordinary",
    mean: float | None = None,
    drift_order: int = 1,
    covariates: npt.ArrayLike | None = None,
    covariates_where: npt.ArrayLike | None = None,
    block: tuple[float, float] | npt.ArrayLike | None = None,
    block_points: int = 4,
    neighbours: int = 24,
    min_neighbours: int = 1,
    max_distance: float | None = None,
    sectors: int = 1,
    per_sector: int | None = None,
    error_variance: npt.ArrayLike | None = None,
    own: npt.ArrayLike | None = None,
    keep_weights: bool = False,
    tier: Tier = "auto",
) -> Kriged:
    """Estimate by kriging in a local neighbourhood.

    Parameters
    ----------
    xy : array_like, shape (n, 2)
        Different places. [m]
    values : array_like, shape (n,)
        Values on the scale of the variogram.
    where : array_like, shape (m, 2)
        Where estimates are wanted (centres of blocks). [m]
    variogram : Variogram
        Of the values; of the residuals when there is a drift. Its anisotropy is used in the search
        for neighbours too.
    kind : {"ordinary", "simple", "universal"}, default "ordinary"
        Local unknown mean, known `mean`, or a local mean that changes with position or covariates.
    mean : float, optional
        Of simple kriging.
    drift_order : {0, 1, 2}, default 1
        Of universal kriging: polynomial of the coordinates; 0 for covariates alone.
    covariates, covariates_where : array_like, shape (n, q) and (m, q), optional
        Of universal kriging: further drift, known at samples and goals (external drift).
    block : tuple of float or array_like of shape (b, 2), optional
        Width and height of the block around each goal, or its discretising points relative to the
        goal; the estimate is the mean over the block. Default points. [m]
    block_points : int, default 4
        Points a side that stand for a block given by width and height.
    neighbours, min_neighbours : int, default 24, 1
        Nearest samples used for one estimate, at most and at least.
    max_distance : float, optional
        Farther samples are not used. [m, along the longer axis]
    sectors, per_sector : int, optional
        Equal sectors around a goal and how many samples of each at most (default an even share):
        neighbours on all sides, though those on one side may be nearer.
    error_variance : array_like, shape (n,), optional
        Error variance of each value, added on the diagonal: uncertain values weigh less and are
        not honoured exactly.
    own : array_like of int, shape (m,), optional
        Row of the sample each goal must not use (cross-validation); -1 for none.
    keep_weights : bool, default False
        Give the weights too (computed by numpy).
    tier : {"auto", "numpy", "numba"}, default "auto"
        ``numba`` needs the extra 'fast'; ``auto`` takes it for large work. The numbers agree to
        rounding.

    Returns
    -------
    Kriged
        Values, variance, multipliers.

    Raises
    ------
    WrongCall
        If shapes do not fit, an option is not known, or two samples stand at one place.

    References
    ----------
    Matheron, G. 1963. Principles of geostatistics. Economic Geology 58:1246-1266.
    Goovaerts, P. 1997. Geostatistics for natural resources evaluation, ch. 5. Oxford.
    """
    points, z, goal = _checked(xy, values, where)
    if kind not in KINDS:
        raise unknown("kind of kriging", str(kind), KINDS)
    if tier not in ("auto", "numpy", "numba"):
        raise unknown("tier", str(tier), ["auto", "numpy", "numba"])
    if (kind == "simple") != (mean is not None):
        raise WrongCall("simple kriging needs 'mean', and the other kinds estimate it.")
    n, m = len(points), len(goal)
    excluded = None if own is None else np.asarray(own, dtype=np.intp)
    if excluded is not None and excluded.shape != (m,):
        raise WrongCall(f"'own' has shape {excluded.shape}; ({m},) is needed.")
    error = np.zeros(n) if error_variance is None else np.asarray(error_variance, float)
    if error.shape != (n,):
        raise WrongCall(f"'error_variance' has shape {error.shape}; ({n},) is needed.")
    scale = float(np.abs(points).max()) if n else 1.0
    drift, drift_goal = _drift(
        points / (scale or 1.0), goal / (scale or 1.0), kind, drift_order,
        covariates, covariates_where,
    )  # fmt: skip
    # row order must not decide between neighbours at equal distance
    order = np.lexsort([points[:, 1], points[:, 0]])
    if excluded is not None and n:
        place = np.empty(n + 1, dtype=np.intp)
        place[order], place[n] = np.arange(n), -1
        excluded = place[np.where(excluded < 0, n, excluded)]
    points, z, error, drift = points[order], z[order], error[order], drift[order]
    level = mean if mean is not None else (float(z.mean()) if n else 0.0)
    offsets = _offsets(block, block_points)
    flat, flat_goal = variogram.reduced(points), variogram.reduced(goal)
    sets = neighbour_sets(
        flat, flat_goal, most=neighbours, max_distance=max_distance, sectors=sectors,
        per_sector=per_sector, own=excluded,
    )  # fmt: skip
    task = Task(
        flat, z - level, error, drift, flat_goal, drift_goal,
        None if offsets is None else variogram.reduced(offsets), sets, variogram,
    )  # fmt: skip
    work = float(m) * sets.shape[1] ** 3
    weights = np.zeros(sets.shape) if keep_weights else None
    if weights is not None:
        found, variance, lagrange, mended = solve_batches(task, weights)
    elif tier == "numba" or (tier == "auto" and work > _WORTH_COMPILING and available("numba")):
        from geochem.stats.kriging_compiled import solve_compiled

        found, variance, lagrange, mended = solve_compiled(task)
    else:
        found, variance, lagrange, mended = solve_batches(task)
    count = (sets >= 0).sum(axis=1)
    few = count < max(min_neighbours, drift.shape[1], 1 if kind != "simple" else 0)
    found += level
    found[few], variance[few], lagrange[few] = np.nan, np.nan, np.nan
    if weights is None:
        return Kriged(found, variance, lagrange, count, mended)
    rows = np.where(sets >= 0, order[sets], -1) if n else sets
    return Kriged(found, variance, lagrange, count, mended, weights, rows)


def _checked(
    xy: npt.ArrayLike, values: npt.ArrayLike, where: npt.ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    points, z, goal = (np.asarray(a, dtype=float) for a in (xy, values, where))
    if points.ndim != 2 or points.shape[1] != 2 or z.shape != (len(points),):
        raise WrongCall(
            f"coordinates have shape {points.shape} and values {z.shape}; (n, 2) and (n,) are "
            "needed."
        )
    if goal.ndim != 2 or goal.shape[1] != 2:
        raise WrongCall(f"'where' has shape {goal.shape}; (m, 2) is needed.")
    if len(np.unique(points, axis=0)) != len(points):
        raise WrongCall("two samples stand at one place; merge them first with merge_places.")
    shift = points.min(axis=0) / 2 + points.max(axis=0) / 2 if len(points) else np.zeros(2)
    return points - shift, z, goal - shift


def _drift(
    points: FloatArray,
    goal: FloatArray,
    kind: str,
    order: int,
    covariates: npt.ArrayLike | None,
    covariates_where: npt.ArrayLike | None,
) -> tuple[FloatArray, FloatArray]:
    """Give the drift functions at samples and goals, the constant first; none for simple."""
    if kind != "universal":
        if covariates is not None or covariates_where is not None:
            raise WrongCall(f"covariates are for universal kriging, not for {kind} kriging.")
        width = 0 if kind == "simple" else 1
        return np.ones((len(points), width)), np.ones((len(goal), width))
    if order not in (0, 1, 2):
        raise WrongCall(f"drift_order is {order}; 0, 1 or 2 are possible.")
    if (covariates is None) != (covariates_where is None):
        raise WrongCall("covariates are needed at the samples and at the goals.")
    parts = [_powers(points, order)], [_powers(goal, order)]
    if covariates is not None and covariates_where is not None:
        at = np.asarray(covariates, float).reshape(len(points), -1)
        there = np.asarray(covariates_where, float).reshape(len(goal), -1)
        if at.shape[1] != there.shape[1]:
            raise WrongCall(f"{at.shape[1]} covariates at samples but {there.shape[1]} at goals.")
        # centred and scaled: only the conditioning of the system changes
        middle, spread = at.mean(axis=0), at.std(axis=0)
        spread = np.where(spread > 0, spread, 1.0)
        parts[0].append((at - middle) / spread)
        parts[1].append((there - middle) / spread)
    elif order == 0:
        raise WrongCall("drift_order 0 needs covariates; without any drift use ordinary kriging.")
    return np.hstack(parts[0]), np.hstack(parts[1])


def _powers(xy: FloatArray, order: int) -> FloatArray:
    x, y = xy[:, 0], xy[:, 1]
    columns = [np.ones(len(xy))]
    if order >= 1:
        columns += [x, y]
    if order == 2:
        columns += [x * x, x * y, y * y]
    return np.column_stack(columns)


def _offsets(block: tuple[float, float] | npt.ArrayLike | None, points: int) -> FloatArray | None:
    """Give the discretising points of a block relative to its centre."""
    if block is None:
        return None
    given = np.asarray(block, dtype=float)
    if given.ndim == 2 and given.shape[1] == 2 and len(given):
        return given
    if given.shape != (2,) or not (given > 0).all() or points < 1:
        raise WrongCall(
            "'block' is a width and a height in metres, or points of shape (b, 2); "
            f"{block!r} came."
        )
    step = (np.arange(points) + 0.5) / points - 0.5
    x, y = np.meshgrid(step * given[0], step * given[1])
    return np.column_stack([x.ravel(), y.ravel()])
