"""Precision from pairs: RMS coefficient of variation, Thompson-Howarth, HARD, sign test, limits.

All functions take two arrays of equal length, first and second result of each pair, detected on
both sides and well above the detection limit: near the limit a relative error says nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall

Floats = npt.NDArray[np.float64]

#: 1 / (sqrt(2) * 0.67449): from the median absolute difference of pairs to one SD
#: (Stanley, Lawie 2008, as 1.04836).
MEDIAN_DIFFERENCE_TO_SD = 1.0 / (np.sqrt(2.0) * 0.6744897501960817)


@dataclass(frozen=True, slots=True)
class PrecisionLine:
    """How one standard deviation grows with concentration: ``s = s0 + k * c``.

    Parameters
    ----------
    s0 : float
        Standard deviation at zero concentration. [unit of the values]
    k : float
        Growth. [-]
    practical_limit : float
        Concentration where 2 s = c, ``2 s0 / (1 - 2 k)``; infinite when k >= 0.5.
    means, medians : tuple of float
        The group means and median absolute differences behind it.
    n : int
        Pairs used.
    """

    s0: float
    k: float
    practical_limit: float
    means: tuple[float, ...]
    medians: tuple[float, ...]
    n: int

    def precision_pct(self, c: float) -> float:
        """Give the precision at two standard deviations. [%]."""
        return 200.0 * (self.s0 + self.k * c) / c


def rms_cv(first: npt.ArrayLike, second: npt.ArrayLike) -> float:
    """Give the root-mean-square coefficient of variation of pairs.

    Of the averages of relative error only this one is unbiased.

    Parameters
    ----------
    first, second : array_like, shape (n_pairs,)
        Positive results.

    Returns
    -------
    float
        ``100 sqrt(2 / n * sum(((a - b) / (a + b))^2))``, one standard deviation. [%] NaN when
        there are no pairs.

    References
    ----------
    .. [1] Stanley, Lawie 2007, Exploration and Mining Geology 16:265-274.

    Examples
    --------
    >>> round(rms_cv([10, 20, 50, 100, 200], [12, 19, 55, 90, 210]), 6)
    7.630063
    """
    a, b = _pairs(first, second)
    return float(100 * np.sqrt(2 * np.mean(((a - b) / (a + b)) ** 2))) if len(a) else float("nan")


def rms_cv_interval(cv_pct: float, n: int, *, confidence: float = 0.9) -> tuple[float, float]:
    """Give an interval of an RMS CV by the chi-square of n pairs.

    Parameters
    ----------
    cv_pct : float
        From `rms_cv`. [%]
    n : int
        Pairs, at least one.
    confidence : float, default 0.9
        Two-sided. [-]

    Returns
    -------
    low, high : float
        [%] Pairs of normal errors with constant CV give one degree of freedom each.
    """
    from scipy.stats import chi2

    tail = (1 - confidence) / 2
    return (
        float(cv_pct * np.sqrt(n / chi2.isf(tail, n))),
        float(cv_pct * np.sqrt(n / chi2.ppf(tail, n))),
    )


def pair_cv(first: npt.ArrayLike, second: npt.ArrayLike) -> Floats:
    """Give ``100 sqrt(2) |a - b| / (a + b)`` of each pair. [%]."""
    a, b = _pairs(first, second)
    return 100 * np.sqrt(2) * np.abs(a - b) / (a + b)


def half_absolute_relative_difference(first: npt.ArrayLike, second: npt.ArrayLike) -> Floats:
    """Give HARD, ``100 |a - b| / (a + b)``, of each pair. [%]."""
    a, b = _pairs(first, second)
    return 100 * np.abs(a - b) / (a + b)


def sign_test(n_higher: npt.ArrayLike, n_lower: npt.ArrayLike) -> Floats:
    """Test whether second results are higher as often as lower, ties left out.

    Parameters
    ----------
    n_higher, n_lower : array_like of int
        Pairs whose second result is higher, lower.

    Returns
    -------
    ndarray
        Exact two-sided p; 1 without pairs.

    References
    ----------
    .. [1] Conover 1999, Practical nonparametric statistics, section 3.4.

    Examples
    --------
    >>> round(float(sign_test(9, 1)), 6)
    0.021484
    """
    from scipy.stats import binom

    up, down = np.asarray(n_higher, dtype=float), np.asarray(n_lower, dtype=float)
    return np.asarray(np.minimum(1.0, 2 * binom.cdf(np.minimum(up, down), up + down, 0.5)))


def thompson_howarth(
    first: npt.ArrayLike, second: npt.ArrayLike, *, group: int = 11
) -> PrecisionLine:
    """Estimate how precision changes with concentration from many duplicates.

    Pairs are sorted by their mean and cut into groups of 11 (a shorter last group is left out);
    the median absolute difference of each group is regressed on its mean. It describes how error
    grows with concentration and must not be used as the average error of a data set (use
    `rms_cv`).

    Parameters
    ----------
    first, second : array_like, shape (n_pairs,)
        Results; at least 50 pairs.
    group : int, default 11
        Pairs per group.

    Returns
    -------
    PrecisionLine
        One standard deviation as a line over concentration.

    Raises
    ------
    WrongCall
        If fewer than 50 pairs came; use `precision_chart`.

    References
    ----------
    .. [1] Thompson, Howarth 1973, Analyst 98:153-160; 1976, Analyst 101:690-709; factor: Stanley,
       Lawie 2008.
    """
    a, b = _pairs(first, second)
    if len(a) < 50:
        raise WrongCall(
            f"{len(a)} pairs came; the Thompson-Howarth regression needs at least 50. "
            f"Use precision_chart for fewer."
        )
    mean, gap = (a + b) / 2, np.abs(a - b)
    order = np.lexsort((gap, mean))
    full = len(a) // group * group
    means = mean[order][:full].reshape(-1, group).mean(axis=1)
    medians = np.median(gap[order][:full].reshape(-1, group), axis=1)
    slope, intercept = np.polyfit(means, medians, 1)
    s0, k = float(intercept * MEDIAN_DIFFERENCE_TO_SD), float(slope * MEDIAN_DIFFERENCE_TO_SD)
    limit = 2 * s0 / (1 - 2 * k) if k < 0.5 else float("inf")
    return PrecisionLine(s0, k, limit, tuple(means.tolist()), tuple(medians.tolist()), len(a))


def precision_chart(
    first: npt.ArrayLike, second: npt.ArrayLike, *, required_pct: float = 10.0
) -> tuple[float, float, bool]:
    """Check 10 to 50 pairs against a required precision.

    Parameters
    ----------
    first, second : array_like, shape (n_pairs,)
        Positive results.
    required_pct : float, default 10
        Required precision at two standard deviations. [%]

    Returns
    -------
    above_90, above_99 : float
        Shares of pairs above the 90 % and 99 % lines. [-]
    acceptable : bool
        At most 10 % and 1 % of the pairs, or not significantly more (one-sided binomial 5 %).

    References
    ----------
    .. [1] Thompson, Howarth 1978, Journal of Geochemical Exploration 9:23-30; lines
       ``|d| = 2.326 s`` and ``3.643 s``: arithmetic of the normal distribution; rule from memory.
    """
    from scipy.stats import binom, norm

    a, b = _pairs(first, second)
    s = required_pct / 200 * (a + b) / 2
    gap = np.abs(a - b)
    over = [int((gap > norm.isf(tail / 2) * np.sqrt(2) * s).sum()) for tail in (0.10, 0.01)]
    n = len(a)
    fine = all(
        binom.sf(count - 1, n, tail) > 0.05 for count, tail in zip(over, (0.10, 0.01), strict=True)
    )
    return over[0] / max(n, 1), over[1] / max(n, 1), bool(fine)


def horwitz_rsd_pct(mass_fraction: npt.ArrayLike) -> Floats:
    """Predict the relative SD between laboratories from concentration.

    Parameters
    ----------
    mass_fraction : array_like
        1 ppm is 1e-6. [-]

    Returns
    -------
    ndarray
        ``2^(1 - 0.5 log10 C)``. [%]

    References
    ----------
    .. [1] Horwitz, Kamps, Boyer 1980, Journal of the AOAC 63:1344-1354.

    Examples
    --------
    >>> float(horwitz_rsd_pct(1e-6))
    16.0
    """
    return np.asarray(2 ** (1 - 0.5 * np.log10(np.asarray(mass_fraction, dtype=float))))


def method_detection_limit(replicates: npt.ArrayLike) -> float:
    """Give ``t(n - 1, 0.99) * SD`` of replicates of a low sample.

    Parameters
    ----------
    replicates : array_like, shape (n,)
        At least seven results of one low sample.

    Returns
    -------
    float
        In the unit of the results.

    Raises
    ------
    WrongCall
        If fewer than seven came.

    References
    ----------
    .. [1] 40 CFR Part 136, Appendix B.
    """
    from scipy.stats import t

    x = np.asarray(replicates, dtype=float)
    if len(x) < 7:
        raise WrongCall(f"{len(x)} replicates came; a method detection limit needs at least 7.")
    return float(t.ppf(0.99, len(x) - 1) * x.std(ddof=1))


def _pairs(first: npt.ArrayLike, second: npt.ArrayLike) -> tuple[Floats, Floats]:
    a, b = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if a.shape != b.shape or a.ndim != 1:
        raise WrongCall(
            f"pairs need two one-dimensional arrays of one length, got {a.shape} and {b.shape}."
        )
    if len(a) and not (np.isfinite(a).all() and np.isfinite(b).all() and ((a + b) > 0).all()):
        raise WrongCall(
            "pairs must be finite with a sum above zero; leave out results below detection."
        )
    return a, b
