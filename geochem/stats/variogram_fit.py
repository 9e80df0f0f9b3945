"""Fits of variogram models by weighted least squares.

What lives here: nugget and one structure (closed solution for sills, search over the range), two
nested structures, bounds, geometric anisotropy from variograms in several directions. There is no
starting value and so no dependence on one. What does not: pairs (`variogram`).
Test to copy: `tests/stats/test_variogram_fit.py`.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from geochem.errors import WrongCall, unknown
from geochem.stats.variogram_model import SHAPES, ExperimentalVariogram, Structure, Variogram

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]
    Shape = Callable[[FloatArray], FloatArray]

Weighting = Literal["n/h2", "n", "n/gamma2"]
Bounds = tuple[float, float]
#: anisotropy is believed when it lowers the loss to this share, and ranges differ by this ratio
BELIEVED_LOSS = 0.6
BELIEVED_RATIO = 0.8
_RATIOS = np.geomspace(0.1, 1.0, 15)[:-1]


def fit_variogram(
    experimental: ExperimentalVariogram,
    model: str | Sequence[str] = ("spherical", "exponential"),
    *,
    weighting: Weighting = "n/h2",
    max_range: float | None = None,
    min_range: float | None = None,
    nugget: float | Bounds | None = None,
    max_sill: float | None = None,
    structures: int = 1,
) -> Variogram:
    """Fit nugget and one or two structures by weighted least squares.

    For given ranges, nugget and partial sills are linear and bounded and have a closed solution;
    the ranges are searched on a grid and refined.

    Parameters
    ----------
    experimental : ExperimentalVariogram
        Bins.
    model : str or sequence of str
        Model, or several of which the one (of two structures: the pair) that fits best is taken.
    weighting : {"n/h2", "n", "n/gamma2"}, default "n/h2"
        Weight of a bin: pairs over squared distance, pairs, or pairs over squared semivariance.
    max_range, min_range : float, optional
        Bounds of the range parameters; default twice the largest distance, and half the smallest.
        [m]
    nugget : float or tuple of (float, float), optional
        Fixed, or between two bounds; default not negative.
    max_sill : float, optional
        Largest partial sill of one structure.
    structures : {1, 2}, default 1
        Two structures have different ranges, the shorter first.

    Returns
    -------
    Variogram
        Pure nugget (sill = nugget) when no structure fits better; NaN everywhere when there are
        fewer than three bins (five for two structures).

    Raises
    ------
    WrongCall
        If a model, weighting or bound is not known or not possible.

    References
    ----------
    Cressie, N. 1985. Fitting variogram models by weighted least squares. Mathematical Geology
    17:563-586 (weights); the weight pairs / distance^2 is common practice, no source.
    """
    names = _names(model)
    if structures not in (1, 2):
        raise WrongCall(f"structures is {structures}; 1 or 2 are possible.")
    low_nugget, high_nugget = _nugget_bounds(nugget)
    h, g = experimental.distance, experimental.gamma
    w = _weights(experimental, weighting)
    details: dict[str, Any] = {"weighting": weighting, "models_tried": tuple(names)}
    least = 3 if structures == 1 else 5
    if len(h) < least:
        word = "three" if least == 3 else "five"
        details["reason"] = f"{len(h)} bins with pairs; at least {word} are needed"
        nan = float("nan")
        return Variogram(names[0], nan, nan, nan, nan, experimental, details)
    w = w / w.sum()
    top = 2.0 * float(h.max()) if max_range is None else float(max_range)
    low = min(0.5 * float(h.min()), 0.5 * top) if min_range is None else float(min_range)
    if not 0 < low < top:
        raise WrongCall(f"ranges of {low} to {top} m were asked for; 0 < smallest < largest.")
    free = nugget is None and max_sill is None
    bounds = (
        np.array([low_nugget, *[0.0] * structures]),
        np.array([high_nugget, *[np.inf if max_sill is None else float(max_sill)] * structures]),
    )
    if structures == 2:
        return _nested(experimental, names, w, (low, top), bounds, details)
    best: tuple[float, str, float, float, float] | None = None
    for name in names:
        found = _fit_one(h, g, w, SHAPES[name], low, top, None if free else bounds)
        if best is None or found[0] < best[0] * (1 - 1e-9):
            best = (found[0], name, *found[1:])
    assert best is not None
    loss, name, nugget_found, partial, reach = best
    sill = nugget_found + partial
    error = float(np.sqrt(loss) / sill) if sill > 0 else float("nan")
    return Variogram(name, nugget_found, sill, reach, error, experimental, details)


def fit_anisotropy(
    directional: Sequence[ExperimentalVariogram],
    model: str | Sequence[str] = ("spherical", "exponential"),
    *,
    weighting: Weighting = "n/h2",
    max_range: float | None = None,
    believe: bool = False,
) -> Variogram:
    """Fit one model with geometric anisotropy to variograms in several directions.

    Azimuth and ratio are searched on a grid and refined; distances are reduced to those along the
    longer axis. All structures share azimuth and ratio.

    Parameters
    ----------
    directional : sequence of ExperimentalVariogram
        Of at least two azimuths, as `directional_variograms` gives.
    model, weighting, max_range
        As in `fit_variogram`.
    believe : bool, default False
        Return the anisotropic fit in any case. Otherwise it must lower the loss to `BELIEVED_LOSS`
        of the isotropic one with a ratio of at most `BELIEVED_RATIO`: scattered directions of
        isotropic ground nearly always fit a little better with some anisotropy.

    Returns
    -------
    Variogram
        ``details["loss_ratio"]`` is the loss over that of the isotropic fit.

    Raises
    ------
    WrongCall
        If fewer than two azimuths came.

    References
    ----------
    Isaaks, E. H. and Srivastava, R. M. 1989. An introduction to applied geostatistics, ch. 16.
    Oxford (geometric anisotropy); the rule of belief is of this library.
    """
    if len({d.azimuth for d in directional if np.isfinite(d.azimuth)}) < 2:
        raise WrongCall("variograms of at least two directions are needed for anisotropy.")
    names = _names(model)
    h = np.concatenate([d.distance for d in directional])
    g = np.concatenate([d.gamma for d in directional])
    pairs = np.concatenate([d.pairs for d in directional])
    towards = np.deg2rad(
        np.concatenate([np.full(len(d.distance), d.azimuth) for d in directional])
    )
    first = directional[0]
    joined = ExperimentalVariogram(
        h, g, pairs, first.edges, first.estimator, first.n, first.variance
    )
    flat = fit_variogram(joined, names, weighting=weighting, max_range=max_range)
    if len(h) < 6 or not np.isfinite(flat.sill):
        return flat
    w = _weights(joined, weighting)
    w = w / w.sum()
    top = 2.0 * float(h.max()) if max_range is None else float(max_range)
    low = min(0.5 * float(h.min()), 0.5 * top)

    def at(azimuth: float, ratio: float, names: Sequence[str], n_grid: int) -> Any:
        turned = towards - azimuth
        reduced = h * np.sqrt(np.cos(turned) ** 2 + (np.sin(turned) / ratio) ** 2)
        fits = [(*_fit_one(reduced, g, w, SHAPES[m], low, top, None, n_grid), m) for m in names]
        return min(fits, key=lambda f: f[0])

    ranges = np.geomspace(low, top, 20)
    ones = np.ones((len(ranges), len(h)))

    def roughly(azimuth: float, ratio: float) -> float:
        turned = towards - azimuth
        reduced = h * np.sqrt(np.cos(turned) ** 2 + (np.sin(turned) / ratio) ** 2)
        rise = SHAPES[names[0]](reduced[None, :] / ranges[:, None])
        free = np.array([np.inf, np.inf])
        return float(_bounded(np.stack([ones, rise], axis=2), g, w, np.zeros(2), free)[0].min())

    tried = [
        (roughly(a, float(r)), a, float(r))
        for a in np.deg2rad(np.arange(0.0, 180.0, 15.0))
        for r in _RATIOS
    ]
    from scipy.optimize import minimize

    _, azimuth, ratio = min(tried)
    found = minimize(
        lambda p: at(p[0], float(np.clip(np.exp(p[1]), 0.02, 1.0)), names, 16)[0],
        [azimuth, np.log(ratio)],
        method="Nelder-Mead",
        options={"xatol": 2e-3, "fatol": 1e-12, "maxiter": 60},
    )
    azimuth, ratio = float(found.x[0]), float(np.clip(np.exp(found.x[1]), 0.02, 1.0))
    loss, nugget, partial, reach, name = at(azimuth, ratio, names, 60)
    flat_loss = (flat.error * flat.sill) ** 2
    share = float(loss / flat_loss) if flat_loss > 0 else 1.0
    if not believe and (share > BELIEVED_LOSS or ratio > BELIEVED_RATIO):
        return replace(flat, details={**flat.details, "loss_ratio": share})
    sill = nugget + partial
    details = {**flat.details, "loss_ratio": share}
    return Variogram(
        name, nugget, sill, reach, float(np.sqrt(loss) / sill), joined, details,
        azimuth=float(np.rad2deg(azimuth) % 180.0), ratio=ratio,
    )  # fmt: skip


def _names(model: str | Sequence[str]) -> list[str]:
    names = [model] if isinstance(model, str) else list(model)
    for name in names:
        if name not in SHAPES:
            raise unknown("variogram model", name, SHAPES)
    return names


def _nugget_bounds(nugget: float | Bounds | None) -> Bounds:
    if nugget is None:
        return 0.0, np.inf
    low, high = (nugget, nugget) if isinstance(nugget, int | float) else nugget
    if not 0 <= low <= high:
        raise WrongCall(f"the nugget is bounded by {low} and {high}; 0 <= lower <= upper.")
    return float(low), float(high)


def _weights(experimental: ExperimentalVariogram, weighting: str) -> FloatArray:
    h, g, n = experimental.distance, experimental.gamma, experimental.pairs.astype(float)
    if weighting == "n/h2":
        return n / h**2
    if weighting == "n":
        return n
    if weighting == "n/gamma2":
        floor = 1e-12 * max(float(g.max(initial=0.0)), 1e-300)
        weights: FloatArray = n / np.maximum(g, floor) ** 2
        return weights
    raise unknown("weighting", str(weighting), ["n/h2", "n", "n/gamma2"])


def _fit_one(
    h: FloatArray,
    g: FloatArray,
    w: FloatArray,
    shape: Shape,
    low: float,
    top: float,
    bounds: tuple[FloatArray, FloatArray] | None,
    n_grid: int = 60,
) -> tuple[float, float, float, float]:
    """Give loss, nugget, partial sill and range of the best fit of one shape."""
    from scipy.optimize import minimize_scalar

    def at(log_range: float) -> tuple[float, float, float]:
        f = shape(h / np.exp(log_range))
        if bounds is None:
            return _linear_part(f, g, w)
        loss, sills = _bounded(np.column_stack([np.ones_like(f), f])[None], g, w, *bounds)
        return float(loss[0]), float(sills[0, 0]), float(sills[0, 1])

    grid = np.linspace(np.log(low), np.log(top), n_grid)
    losses = np.array([at(v)[0] for v in grid])
    i = int(losses.argmin())
    found = minimize_scalar(
        lambda v: at(v)[0],
        bounds=(grid[max(i - 1, 0)], grid[min(i + 1, len(grid) - 1)]),
        method="bounded",
        options={"xatol": 1e-7},
    )
    log_range = float(found.x) if found.fun <= losses[i] else float(grid[i])
    loss, nugget, partial = at(log_range)
    return loss, nugget, partial, float(np.exp(log_range))


def _linear_part(f: FloatArray, g: FloatArray, w: FloatArray) -> tuple[float, float, float]:
    """Solve min sum w (g - nugget - partial f)^2 with both parts not negative; w sums to one."""
    mean_f, mean_g = float(w @ f), float(w @ g)
    var_f = float(w @ (f - mean_f) ** 2)
    candidates = []
    if var_f > 0:
        partial = float(w @ ((f - mean_f) * (g - mean_g))) / var_f
        candidates.append((mean_g - partial * mean_f, partial))
    square = float(w @ f**2)
    if square > 0:
        candidates.append((0.0, float(w @ (f * g)) / square))
    candidates.append((mean_g, 0.0))
    fits = [(float(w @ (g - a - b * f) ** 2), a, b) for a, b in candidates if a >= 0 and b >= 0]
    return min(fits) if fits else (float(w @ g**2), 0.0, 0.0)


def _bounded(
    designs: FloatArray, g: FloatArray, w: FloatArray, low: FloatArray, high: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Solve bounded least squares for many designs by trying every set of active bounds.

    `designs` is (c, m, p) with p of two or three, so that at most 27 sets are tried; the loss is
    convex, so the best feasible stationary point is the solution.
    """
    count, _, p = designs.shape
    normal = np.einsum("cmi,m,cmj->cij", designs, w, designs)
    right = np.einsum("cmi,m,m->ci", designs, w, g)
    best = np.full(count, np.inf)
    sills = np.zeros((count, p))
    states = [(0, -1) if not np.isfinite(h) else (0, -1, 1) for h in high]
    for state in itertools.product(*states):
        x = np.where(np.array(state) == -1, low, np.where(np.array(state) == 1, high, 0.0))
        x = np.tile(x, (count, 1))
        free = [i for i in range(p) if state[i] == 0]
        if free:
            fixed = [i for i in range(p) if state[i] != 0]
            matrix = normal[:, free][:, :, free]
            scale = np.einsum("cii->c", matrix)[:, None, None]
            matrix = matrix + 1e-13 * scale * np.eye(len(free))
            rest = right[:, free]
            if fixed:
                rest = rest - np.einsum("cij,cj->ci", normal[:, free][:, :, fixed], x[:, fixed])
            x[:, free] = np.linalg.solve(matrix, rest[..., None])[..., 0]
        residual = g[None, :] - np.einsum("cmi,ci->cm", designs, x)
        loss = (residual**2) @ w
        feasible = ((x >= low - 1e-15) & (x <= high)).all(axis=1)
        better = feasible & (loss < best)
        best[better], sills[better] = loss[better], x[better]
    return best, sills


def _nested(
    experimental: ExperimentalVariogram,
    names: Sequence[str],
    w: FloatArray,
    ranges: Bounds,
    bounds: tuple[FloatArray, FloatArray],
    details: dict[str, Any],
) -> Variogram:
    """Search two ranges on a grid, the shorter first, then refine."""
    from scipy.optimize import minimize

    h, g = experimental.distance, experimental.gamma
    low, top = ranges
    grid = np.geomspace(low, top, 24)
    i, j = np.triu_indices(len(grid), 2)

    def designs(pair: tuple[str, str], short: FloatArray, long: FloatArray) -> FloatArray:
        parts = [np.ones((len(short), len(h)))]
        parts += [
            SHAPES[m](h[None, :] / r[:, None]) for m, r in zip(pair, (short, long), strict=True)
        ]
        return np.stack(parts, axis=2)

    best: Any = None
    for pair in itertools.product(names, names):
        loss, _ = _bounded(designs(pair, grid[i], grid[j]), g, w, *bounds)
        k = int(loss.argmin())

        def at(p: FloatArray, pair: tuple[str, str] = pair) -> Any:
            r = np.exp(np.clip(p, np.log(low), np.log(top)))
            one, sills = _bounded(designs(pair, r[:1], r[1:]), g, w, *bounds)
            return float(one[0]), sills[0], r

        found = minimize(
            lambda p, at=at: at(p)[0],
            np.log([grid[i[k]], grid[j[k]]]),
            method="Nelder-Mead",
            options={"xatol": 1e-5, "fatol": 1e-14, "maxiter": 300},
        )
        one = (*at(found.x), pair)
        if best is None or one[0] < best[0] * (1 - 1e-9):
            best = one
    loss, sills, reach, pair = best
    order = np.argsort(reach)
    (a, b) = order.tolist()
    sill = float(sills.sum())
    return Variogram(
        pair[a], float(sills[0]), sill, float(reach[a]),
        float(np.sqrt(loss) / sill) if sill > 0 else float("nan"), experimental, details,
        extra=(Structure(pair[b], float(sills[1 + b]), float(reach[b])),),
    )  # fmt: skip
