"""Shifts between groups that read the same things: additive, on a logarithmic scale, robust.

Groups are instruments, batches, laboratories ...; blocks are what several groups have in common: a
standard, a sample read twice, a piece of ground. A value is block + shift of its group + error.
Shifts are found by weighted least squares over all blocks together, and then drawn toward zero
as far as chance alone explains them, so that groups which do not differ are left alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.int64]

#: residuals beyond so many of their standard deviations count less (Huber)
_HUBER = 2.0
#: residuals to spare that an error needs
LEAST_FREEDOM = 3
_ROUNDS = 25
_Z95 = 1.6448536269514722


@dataclass(frozen=True, slots=True, eq=False)
class Shifts:
    """How far each group lies from the mean of those it is tied to.

    Parameters
    ----------
    shift, error : ndarray, shape (n_groups,)
        After drawing toward zero, with its standard error; NaN where nothing ties the group to
        another. [unit of the values]
    raw, raw_error : ndarray, shape (n_groups,)
        As the common blocks have it.
    tied : ndarray of int, shape (n_groups,)
        Number of the set of groups that are tied together, -1 for none.
    n : ndarray of int, shape (n_groups,)
        Means (of one group in one block) that the shift rests on.
    between : ndarray, shape (n_groups,)
        Standard deviation between the groups of its set, errors apart.
    ratio : ndarray, shape (n_groups,)
        Twice the logarithm of the likelihood ratio against groups that do not differ.
    freedom : ndarray of int, shape (n_groups,)
        Residual degrees of freedom of its set.
    """

    shift: Floats
    error: Floats
    raw: Floats
    raw_error: Floats
    tied: Ints
    n: Ints
    between: Floats
    ratio: Floats
    freedom: Ints


def group_shifts(
    value: npt.ArrayLike,
    block: npt.ArrayLike,
    group: npt.ArrayLike,
    *,
    n_groups: int,
    variance: npt.ArrayLike | None = None,
    kind: npt.ArrayLike | None = None,
    weights: npt.ArrayLike | None = None,
) -> Shifts:
    """Find the shifts of groups from what they have in common.

    Parameters
    ----------
    value : array_like, shape (n,)
        On the scale on which shifts add (logarithms); one mean of one group in one block.
    block, group : array_like of int, shape (n,)
        Numbers from zero; a block that holds one group only says nothing.
    n_groups : int
        How many groups there are.
    variance : array_like, shape (n,), optional
        Known part of the error variance; what residuals show beyond it is added per kind.
    kind : array_like of int, shape (n,), optional
        Kinds of evidence that differ in their scatter.
    weights : array_like, shape (n_groups,), optional
        Their weighted mean shift is zero (numbers of samples: most values then stay put).

    Returns
    -------
    Shifts
        One entry per group.

    Raises
    ------
    WrongCall
        If shapes disagree, a number is not finite or a group has no such number.

    References
    ----------
    .. [1] Two-way additive fit, weights: Huber 1981, Robust Statistics, Wiley, chapter 7. Drawing
       toward the mean by the variance between groups: Efron & Morris 1975, J. Am. Stat. Assoc.
       70:311-319; DerSimonian & Laird 1986, Controlled Clinical Trials 7:177-188.

    Examples
    --------
    >>> y = [1.00, 1.20, 2.01, 2.19, 3.00, 3.21, 1.5, 1.7]  # four standards, two instruments
    >>> found = group_shifts(y, [0, 0, 1, 1, 2, 2, 3, 3], [0, 1, 0, 1, 0, 1, 0, 1], n_groups=2)
    >>> found.shift.round(2).tolist()
    [-0.1, 0.1]
    """
    y = np.asarray(value, dtype=float)
    b, g = np.asarray(block, dtype=np.int64), np.asarray(group, dtype=np.int64)
    v = np.zeros(y.size) if variance is None else np.asarray(variance, dtype=float)
    k = np.zeros(y.size, dtype=np.int64) if kind is None else np.asarray(kind, dtype=np.int64)
    w = np.ones(n_groups) if weights is None else np.asarray(weights, dtype=float)
    if y.ndim != 1 or not y.shape == b.shape == g.shape == v.shape == k.shape:
        raise WrongCall("values, blocks, groups, variances and kinds must have one shape (n,).")
    if w.shape != (n_groups,):
        raise WrongCall(f"{n_groups} groups need as many weights, got shape {w.shape}.")
    if not (np.isfinite(y).all() and np.isfinite(v).all() and (v >= 0).all()):
        raise WrongCall("a value or variance is missing; leave that row out.")
    if y.size and (g.min() < 0 or g.max() >= n_groups or b.min() < 0):
        raise WrongCall(f"groups are numbered 0 to {n_groups - 1}, blocks from 0.")
    return _group_shifts(y, b, g, v, k, w)


def _group_shifts(y: Floats, b: Ints, g: Ints, v: Floats, k: Ints, w: Floats) -> Shifts:
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    count = len(w)
    nan = np.full(count, np.nan)
    out = Shifts(
        nan.copy(), nan.copy(), nan.copy(), nan.copy(), np.full(count, -1), np.zeros(count, int),
        nan.copy(), nan.copy(), np.zeros(count, int),
    )  # fmt: skip
    if not y.size:
        return out
    # rows in one order, whatever order they came in
    order = np.lexsort((v, y, g, b, k))
    y, b, g, v, k = y[order], b[order], g[order], v[order], k[order]
    several = np.flatnonzero(np.bincount(np.unique(b * count + g) // count) > 1)
    keep = np.isin(b, several)
    y, b, g, v, k = y[keep], b[keep], g[keep], v[keep], k[keep]
    if not y.size:
        return out
    _, b = np.unique(b, return_inverse=True)
    blocks = int(b.max()) + 1
    links = coo_array((np.ones(len(b)), (b, blocks + g)), shape=(blocks + count,) * 2)
    _, label = connected_components(links, directed=False)
    sets = [s for s in np.unique(label[blocks:]) if (label[blocks:] == s).sum() > 1]
    # the set with most weight is number 0
    sets.sort(key=lambda s: (-w[label[blocks:] == s].sum(), int(np.argmax(label[blocks:] == s))))
    for number, s in enumerate(sets):
        members = np.flatnonzero(label[blocks:] == s)
        rows = label[b] == s
        _, mine = np.unique(b[rows], return_inverse=True)
        of_group = np.searchsorted(members, g[rows])
        shift, covariance, freedom = _fit(y[rows], mine, of_group, v[rows], k[rows], len(members))
        out.tied[members] = number
        out.n[members] = np.bincount(of_group, minlength=len(members))
        out.freedom[members] = freedom
        if freedom < LEAST_FREEDOM:
            continue
        weight = w[members] if w[members].sum() > 0 else np.ones(len(members))
        # only differences are fixed: move to the weighted mean
        centre = np.eye(len(members)) - weight / weight.sum()
        drawn, after, between, ratio = _draw_in(shift, covariance)
        out.raw[members] = centre @ shift
        out.raw_error[members] = _roots(centre @ covariance @ centre.T)
        out.shift[members] = centre @ drawn
        out.error[members] = _roots(centre @ after @ centre.T)
        out.between[members], out.ratio[members] = between, ratio
    return out


def _roots(covariance: Floats) -> Floats:
    return np.sqrt(np.maximum(np.diag(covariance), 0.0))


def _fit(
    y: Floats, b: Ints, g: Ints, v: Floats, k: Ints, count: int
) -> tuple[Floats, Floats, int]:
    """Fit blocks and groups; give the shifts (mean zero), their covariance, degrees of freedom."""
    from scipy.special import stdtrit

    blocks = int(b.max()) + 1
    freedom = len(y) - blocks - count + 1
    robust, extra = np.ones(len(y)), np.zeros(int(k.max()) + 1)
    for kind in np.unique(k):
        # to begin with: the scatter within blocks, groups included
        mine = k == kind
        mean = np.bincount(b, y, blocks) / np.bincount(b, minlength=blocks)
        extra[kind] = max(float(np.mean((y - mean[b])[mine] ** 2)), 1e-12)
    shift = np.zeros(count)
    normal = np.eye(count)
    # what blocks take is put back residual by residual, what groups take here
    spare = max(freedom / max(len(y) - blocks, 1), 0.2)
    for round_ in range(_ROUNDS):
        precision = robust / (v + extra[k] + 1e-12)
        total = np.asarray(np.bincount(b, precision, blocks), dtype=float)
        normal = np.diag(np.bincount(g, precision, count)) - _common(b, g, precision, total, count)
        mean = np.bincount(b, precision * y, blocks) / total
        right = np.bincount(g, precision * (y - mean[b]), count)
        # least squares fixes differences only: the sum of the shifts is set to zero
        before, shift = shift, np.linalg.solve(normal + normal[0, 0], right)
        shift -= shift.mean()
        level = np.bincount(b, precision * (y - shift[g]), blocks) / total
        # a value pulls its own block: its residual is too small by that much
        share = np.maximum(1 - precision / total[b], 0.05)
        residual = (y - shift[g] - level[b]) / np.sqrt(share)
        earlier = extra.copy()
        for kind in np.unique(k):
            extra[kind] = _beyond(residual[k == kind], v[k == kind], spare)
        size = np.abs(residual) / np.sqrt(v + extra[k] + 1e-12)
        robust = np.minimum(1.0, _HUBER / np.maximum(size, 1e-9))
        moved = np.abs(shift - before).max() / np.sqrt(extra.max() + 1e-12)
        if round_ and moved < 1e-3 and np.allclose(extra, earlier, rtol=1e-2, atol=1e-12):
            break
    covariance = np.asarray(np.linalg.pinv(normal, hermitian=True), dtype=float)
    if freedom >= LEAST_FREEDOM:
        # scatter that is itself estimated from few residuals
        covariance *= (stdtrit(freedom, 0.95) / _Z95) ** 2
    return shift, covariance, freedom


def _common(b: Ints, g: Ints, precision: Floats, total: Floats, count: int) -> Floats:
    """Give what blocks take from the normal equations of the groups."""
    if len(total) * count <= 1_000_000:
        cross = np.bincount(b * count + g, precision / np.sqrt(total)[b], len(total) * count)
        cross = cross.reshape(len(total), count)
        return np.asarray(cross.T @ cross)
    from scipy.sparse import coo_array

    thin = coo_array((precision / np.sqrt(total)[b], (b, g)), shape=(len(total), count)).tocsr()
    return np.asarray((thin.T @ thin).toarray())


def _beyond(residual: Floats, known: Floats, spare: float) -> float:
    """Give the variance that residuals show beyond what is known."""
    if residual.size < 12:
        # too few for a median of squares
        square = float(np.mean(residual**2)) / spare
    else:
        square = float((1.4826 * np.median(np.abs(residual))) ** 2)
        middle = float(np.mean(np.minimum(residual**2, 9 * square))) if square > 0 else 0.0
        square = max(square, middle) / spare
    return max(square - float(np.median(known)), 0.0)


def _draw_in(shift: Floats, covariance: Floats) -> tuple[Floats, Floats, float, float]:
    """Draw shifts toward their mean by the variance between groups, found by likelihood."""
    from scipy.optimize import minimize_scalar

    own, axes = np.linalg.eigh(covariance)
    # the common level of all groups, and no more, is not determined: it drops out
    own, axes = own[1:], axes[:, 1:]
    z = axes.T @ shift

    def cost(between: float) -> float:
        return float(np.sum(np.log(between + own) + z**2 / (between + own)))

    top = float(np.max(z**2)) + 1e-12
    grid = np.concatenate([[0.0], np.geomspace(1e-8 * top, 4 * top, 60)])
    at = int(np.argmin([cost(x) for x in grid]))
    best = 0.0
    if at > 0:
        low, high = grid[at - 1], grid[min(at + 1, len(grid) - 1)]
        best = float(minimize_scalar(cost, bounds=(low, high), method="bounded").x)
    ratio = max(cost(0.0) - cost(best), 0.0)
    keep = best / (best + own)
    return axes @ (keep * z), (axes * (keep * own)) @ axes.T, float(np.sqrt(best)), ratio
