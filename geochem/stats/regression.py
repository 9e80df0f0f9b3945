"""Straight lines through pairs when both sides carry errors: York, Deming, RMA, Theil-Sen.

Ordinary least squares assumes that x is exact and reads the slope low when it is not; portable-XRF
and laboratory values both carry errors. `york` takes an error per point and is what a calibration
uses; `deming` needs only the ratio of the two error variances; `reduced_major_axis` none;
`theil_sen` and `passing_bablok` do not care for single wild pairs.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line ``y = intercept + slope * x`` and how well it is known.

    Parameters
    ----------
    slope, intercept : float
        In the units of the input.
    slope_se, intercept_se : float
        One standard error each; NaN when the method gives none.
    covariance : float
        Of slope and intercept; NaN when the method gives none.
    n : int
        Pairs used.
    chi2_reduced : float
        Mean square of weighted residuals: about 1 when the stated errors explain the scatter.
        NaN when no errors were stated.
    method, reference : str
        What was fitted and the publication.
    slope_low, slope_high : float
        Interval of the slope where the method is distribution-free, else NaN.
    """

    slope: float
    intercept: float
    slope_se: float
    intercept_se: float
    covariance: float
    n: int
    chi2_reduced: float
    method: str
    reference: str
    slope_low: float = field(default=float("nan"))
    slope_high: float = field(default=float("nan"))

    def at(self, x: npt.ArrayLike) -> Floats:
        """Give y on the line."""
        return self.intercept + self.slope * np.asarray(x, dtype=float)


def york(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    x_err: npt.ArrayLike,
    y_err: npt.ArrayLike,
    *,
    correlation: npt.ArrayLike = 0.0,
    tolerance: float = 1e-12,
) -> Line:
    """Fit a line when every point has its own error on both sides.

    The standard errors are those of the adjusted points and rest on the stated errors alone;
    multiply by ``sqrt(chi2_reduced)`` when that is well above 1.

    Parameters
    ----------
    x, y : array_like, shape (n_pairs,)
        Finite numbers, at least three pairs.
    x_err, y_err : array_like, shape (n_pairs,)
        One standard error each, above zero.
    correlation : array_like, default 0
        Correlation of the two errors of a point, between -1 and 1. [-]
    tolerance : float, default 1e-12
        Relative change of the slope at which iteration stops.

    Returns
    -------
    Line
        Slope, intercept, their standard errors and covariance.

    Raises
    ------
    WrongCall
        If shapes differ, a number is not finite, an error is not above zero or x is constant.

    References
    ----------
    .. [1] York, Evensen, Martinez, De Basabe Delgado 2004, American Journal of Physics
       72:367-375, doi:10.1119/1.1632486, equations 13.

    Examples
    --------
    >>> line = york([1, 2, 3, 4], [2.1, 3.9, 6.1, 7.9], [0.1] * 4, [0.1] * 4)
    >>> round(line.slope, 2)
    1.96
    """
    xs, ys = _checked(x, y, least=3)
    sx = np.broadcast_to(np.asarray(x_err, dtype=float), xs.shape)
    sy = np.broadcast_to(np.asarray(y_err, dtype=float), ys.shape)
    if not (np.isfinite(sx).all() and np.isfinite(sy).all() and (sx > 0).all() and (sy > 0).all()):
        raise WrongCall(
            "every pair needs an error above zero on both sides; "
            "give a relative error where the table states none."
        )
    r = np.broadcast_to(np.asarray(correlation, dtype=float), xs.shape)
    return _york(xs, ys, 1.0 / sx**2, 1.0 / sy**2, r, tolerance)


def deming(x: npt.ArrayLike, y: npt.ArrayLike, *, ratio: float = 1.0, errors: bool = True) -> Line:
    """Fit a line when the ratio of the two error variances is known and the same everywhere.

    Parameters
    ----------
    x, y : array_like, shape (n_pairs,)
        Finite numbers, at least three pairs.
    ratio : float, default 1
        Error variance of y divided by that of x; 1 gives orthogonal regression. [-]
    errors : bool, default True
        Work out the standard errors; NaN otherwise.

    Returns
    -------
    Line
        Standard errors by the jackknife.

    Raises
    ------
    WrongCall
        If shapes differ, x is constant or `ratio` is not above zero.

    References
    ----------
    .. [1] Deming 1943, Statistical adjustment of data; Linnet 1990, Statistics in Medicine
       9:1463-1473 (jackknife).
    """
    xs, ys = _checked(x, y, least=3)
    if not ratio > 0:
        raise WrongCall(f"the ratio of the error variances must be above zero, got {ratio}.")
    slope, intercept = _deming(xs, ys, ratio)
    nothing = (float("nan"),) * 3
    slope_se, intercept_se, covariance = _jackknife(xs, ys, ratio) if errors else nothing
    return Line(
        slope, intercept, slope_se, intercept_se, covariance, len(xs), float("nan"),
        "deming", "Linnet 1990, Statistics in Medicine 9:1463-1473",
    )  # fmt: skip


def reduced_major_axis(x: npt.ArrayLike, y: npt.ArrayLike) -> Line:
    """Fit the reduced major axis: slope ``sd(y) / sd(x)`` with the sign of the correlation.

    Treats both sides alike and needs no errors; usual for duplicate pairs. It gives a slope even
    where there is no relation at all, so look at the correlation too.

    Parameters
    ----------
    x, y : array_like, shape (n_pairs,)
        Finite numbers, at least three pairs.

    Returns
    -------
    Line
        With the standard errors of the references.

    Raises
    ------
    WrongCall
        If shapes differ or x is constant.

    References
    ----------
    .. [1] Davis 1986, Statistics and data analysis in geology; Abzalov 2008, Exploration and
       Mining Geology 17:131-144 (standard errors; formula from memory).
    """
    xs, ys = _checked(x, y, least=3)
    n = len(xs)
    sx, sy = float(xs.std(ddof=1)), float(ys.std(ddof=1))
    r = _correlation(xs, ys)
    slope = float(np.copysign(sy / sx, r))
    intercept = float(ys.mean() - slope * xs.mean())
    slope_se = sy / sx * np.sqrt(max(0.0, 1 - r**2) / n)
    # The published form is for positive slopes; |r| makes it serve the mirrored case too.
    spread = 2 + (xs.mean() / sx) ** 2 * (1 + abs(r))
    intercept_se = sy * np.sqrt(max(0.0, 1 - abs(r)) / n * spread)
    return Line(
        slope, intercept, float(slope_se), float(intercept_se), float("nan"), n, float("nan"),
        "reduced major axis", "Abzalov 2008, Exploration and Mining Geology 17:131-144",
    )  # fmt: skip


def theil_sen(x: npt.ArrayLike, y: npt.ArrayLike, *, confidence: float = 0.9) -> Line:
    """Fit the median of all pairwise slopes, which up to 29 % wild pairs cannot break.

    Parameters
    ----------
    x, y : array_like, shape (n_pairs,)
        Finite numbers, at least three pairs. More than 300 pairs: every k-th in order of x.
    confidence : float, default 0.9
        Of the interval of the slope. [-]

    Returns
    -------
    Line
        The intercept is the median of ``y - slope * x``; errors are NaN, the interval is given.

    Raises
    ------
    WrongCall
        If shapes differ or x is constant.

    References
    ----------
    .. [1] Sen 1968, Journal of the American Statistical Association 63:1379-1389.
    """
    from scipy.stats import theilslopes

    xs, ys = _checked(x, y, least=3)
    n = len(xs)
    if n > 300:
        order = np.lexsort((ys, xs))[:: -(-n // 300)]
        xs, ys = xs[order], ys[order]
    found = theilslopes(ys, xs, alpha=1 - confidence, method="joint")
    nan = float("nan")
    return Line(
        float(found.slope), float(found.intercept), nan, nan, nan, n, nan, "theil-sen",
        "Sen 1968, Journal of the American Statistical Association 63:1379-1389",
        float(found.low_slope), float(found.high_slope),
    )  # fmt: skip


def passing_bablok(x: npt.ArrayLike, y: npt.ArrayLike, *, confidence: float = 0.9) -> Line:
    """Fit the shifted median of pairwise slopes, for two methods that should agree.

    Symmetric in x and y; for positive slopes near 1 only.

    Parameters
    ----------
    x, y : array_like, shape (n_pairs,)
        Finite numbers, at least three pairs, at most 1,500.
    confidence : float, default 0.9
        Of the interval of the slope. [-]

    Returns
    -------
    Line
        Errors are NaN, the interval of the slope is given.

    Raises
    ------
    WrongCall
        If shapes differ, x is constant or there are too many pairs.

    References
    ----------
    .. [1] Passing, Bablok 1983, Journal of Clinical Chemistry and Clinical Biochemistry
       21:709-720.
    """
    from scipy.stats import norm

    xs, ys = _checked(x, y, least=3)
    n = len(xs)
    if n > 1500:
        raise WrongCall(f"{n} pairs came; passing_bablok takes at most 1500. Use theil_sen.")
    first, second = np.triu_indices(n, 1)
    dx, dy = xs[second] - xs[first], ys[second] - ys[first]
    keep = (dx != 0) | (dy != 0)
    with np.errstate(divide="ignore"):
        slopes = dy[keep] / dx[keep]
    slopes = np.sort(slopes[slopes != -1.0])
    count, shift = len(slopes), int((slopes < -1.0).sum())
    middle = (count - 1) / 2 + shift
    at = [min(int(np.floor(middle)), count - 1), min(int(np.ceil(middle)), count - 1)]
    slope = float(slopes[at].mean())
    half = norm.isf((1 - confidence) / 2) * np.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    low = int(np.clip(round((count - half) / 2) - 1 + shift, 0, count - 1))
    high = int(np.clip(count - round((count - half) / 2) + shift, 0, count - 1))
    nan = float("nan")
    return Line(
        slope, float(np.median(ys - slope * xs)), nan, nan, nan, n, nan, "passing-bablok",
        "Passing, Bablok 1983, J. Clin. Chem. Clin. Biochem. 21:709-720",
        float(slopes[low]), float(slopes[high]),
    )  # fmt: skip


def excess_scatter(
    x: npt.ArrayLike, y: npt.ArrayLike, x_err: npt.ArrayLike, y_err: npt.ArrayLike
) -> float:
    """Find the error that both sides lack so that a York line explains the scatter.

    Stated errors are mostly counting errors; grain size, matrix and splitting add more. The same
    amount is added to both sides in squares until the reduced chi-square is 1.

    Parameters
    ----------
    x, y, x_err, y_err : array_like, shape (n_pairs,)
        As `york` takes them; use logarithms for a relative amount.

    Returns
    -------
    float
        Standard error to add to each side in squares; 0 when the stated errors suffice.

    References
    ----------
    .. [1] After Mandel, Paule 1970, Analytical Chemistry 42:1194-1197 (excess variance by
       matching chi-square), here for a line with errors on both sides.
    """
    from scipy.optimize import brentq

    xs, ys = _checked(x, y, least=3)
    sx = np.broadcast_to(np.asarray(x_err, dtype=float), xs.shape) ** 2
    sy = np.broadcast_to(np.asarray(y_err, dtype=float), ys.shape) ** 2
    zero = np.zeros_like(xs)

    def surplus(extra: float) -> float:
        line = _york(xs, ys, 1 / (sx + extra**2), 1 / (sy + extra**2), zero, 1e-9)
        return line.chi2_reduced - 1.0

    if not surplus(0.0) > 0:
        return 0.0
    top = float(np.std(ys) + np.std(xs))
    for _ in range(20):
        if surplus(top) < 0:
            return float(brentq(surplus, 0.0, top, xtol=1e-7 * top, rtol=1e-6))
        top *= 2
    return top


def _york(x: Floats, y: Floats, wx: Floats, wy: Floats, r: Floats, tolerance: float) -> Line:
    alpha = np.sqrt(wx * wy)
    slope = _deming(x, y, float(np.median(wx / wy)))[0]
    if not np.isfinite(slope):
        slope = float(np.cov(x, y)[0, 1] / x.var(ddof=1))
    weight = beta = x
    x_bar = y_bar = 0.0
    for _ in range(200):
        weight = wx * wy / (wx + slope**2 * wy - 2 * slope * r * alpha)
        total = weight.sum()
        x_bar, y_bar = float(weight @ x / total), float(weight @ y / total)
        u, v = x - x_bar, y - y_bar
        beta = weight * (u / wy + slope * v / wx - (slope * u + v) * r / alpha)
        new = float((weight * beta) @ v / ((weight * beta) @ u))
        done = abs(new - slope) <= tolerance * max(abs(new), 1e-300)
        slope = new
        if done:
            break
    intercept = y_bar - slope * x_bar
    adjusted = x_bar + beta
    centre = float(weight @ adjusted / weight.sum())
    slope_var = 1.0 / float(weight @ (adjusted - centre) ** 2)
    intercept_var = 1.0 / float(weight.sum()) + centre**2 * slope_var
    chi2 = float(weight @ (y - intercept - slope * x) ** 2) / max(len(x) - 2, 1)
    return Line(
        slope, intercept, float(np.sqrt(slope_var)), float(np.sqrt(intercept_var)),
        -centre * slope_var, len(x), chi2, "york",
        "York et al. 2004, American Journal of Physics 72:367-375",
    )  # fmt: skip


def _deming(x: Floats, y: Floats, ratio: float) -> tuple[float, float]:
    sxx, syy = float(x.var(ddof=1)), float(y.var(ddof=1))
    sxy = float(np.cov(x, y)[0, 1])
    if sxy == 0.0:
        return 0.0, float(y.mean())
    gap = syy - ratio * sxx
    slope = (gap + np.sqrt(gap**2 + 4 * ratio * sxy**2)) / (2 * sxy)
    return float(slope), float(y.mean() - slope * x.mean())


def _jackknife(x: Floats, y: Floats, ratio: float) -> tuple[float, float, float]:
    n = len(x)
    if n < 4:
        return float("nan"), float("nan"), float("nan")
    keep = ~np.eye(n, dtype=bool)
    fits = np.array([_deming(x[k], y[k], ratio) for k in keep])
    spread = np.cov(fits.T, ddof=0) * (n - 1)
    return float(np.sqrt(spread[0, 0])), float(np.sqrt(spread[1, 1])), float(spread[0, 1])


def _correlation(x: Floats, y: Floats) -> float:
    sx, sy = x.std(), y.std()
    return float(((x - x.mean()) * (y - y.mean())).mean() / (sx * sy)) if sx * sy > 0 else 0.0


def _checked(x: npt.ArrayLike, y: npt.ArrayLike, *, least: int) -> tuple[Floats, Floats]:
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if xs.ndim != 1 or xs.shape != ys.shape:
        raise WrongCall(
            f"x and y must be one-dimensional and equally long, got {xs.shape} and {ys.shape}."
        )
    if len(xs) < least:
        raise WrongCall(f"{len(xs)} pairs came; a line needs at least {least}.")
    if not (np.isfinite(xs).all() and np.isfinite(ys).all()):
        raise WrongCall("x and y must be finite; leave out pairs that lack a value on one side.")
    if np.ptp(xs) == 0:
        raise WrongCall("all x are the same, so no line can be fitted; pairs need a range.")
    return xs, ys
