"""Detection limits from blanks, from replicates of a low sample and from counting."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall


def three_sigma(results: npt.ArrayLike) -> float:
    """Give three standard deviations of replicates.

    Parameters
    ----------
    results : array_like, shape (n,)
        Of one blank or low sample, at least two.

    Returns
    -------
    float
        In the unit of the results.

    References
    ----------
    .. [1] EPA Method 6200, section 9.6.

    Examples
    --------
    >>> round(three_sigma([2.1, 1.8, 2.4, 2.0, 2.2, 1.9, 2.3]), 6)
    0.648074
    """
    x = np.asarray(results, dtype=float)
    if len(x) < 2:
        raise WrongCall(f"{len(x)} replicates came; a standard deviation needs at least 2.")
    return 3.0 * float(x.std(ddof=1))


def blank_detection_limit(results: npt.ArrayLike, detected: npt.ArrayLike) -> float:
    """Give the detection limit that blanks support.

    All blanks numeric: mean (zero if negative) plus t(n - 1, 0.99) SD. Some below detection: the
    highest numeric one (the 99th percentile of more than a hundred). None numeric: NaN.

    Parameters
    ----------
    results : array_like, shape (n,)
        Values; those not detected are ignored.
    detected : array_like of bool, shape (n,)
        False where the blank was reported below detection.

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
    .. [1] 40 CFR Part 136, Appendix B, revision 2 of 2016 (published 2017); wording of the steps
       for blanks from memory.

    Examples
    --------
    >>> round(blank_detection_limit([2.1, 1.8, 2.4, 2.0, 2.2, 1.9, 2.3], [True] * 7), 4)
    2.7789
    """
    from scipy.stats import t

    x, real = np.asarray(results, dtype=float), np.asarray(detected, dtype=bool)
    n = len(x)
    if n < 7:
        raise WrongCall(f"{n} blanks came; a detection limit of blanks needs at least 7.")
    if not real.any():
        return float("nan")
    if real.all():
        return max(float(x.mean()), 0.0) + float(t.ppf(0.99, n - 1) * x.std(ddof=1))
    if n > 100:
        return float(np.quantile(np.where(real, x, -np.inf), 0.99, method="higher"))
    return float(x[real].max())


def counting_limits(blank_counts: float) -> tuple[float, float]:
    """Give the decision and the detection limit of paired counts.

    Parameters
    ----------
    blank_counts : float
        Counts of the blank or background over the same time.

    Returns
    -------
    decision, detection : float
        Net counts: ``2.33 sqrt(B)`` and ``2.71 + 4.65 sqrt(B)``, 5 % risk each way.

    References
    ----------
    .. [1] Currie 1968, Analytical Chemistry 40:586-593.

    Examples
    --------
    >>> [round(v, 2) for v in counting_limits(100)]
    [23.3, 49.21]
    """
    if not blank_counts >= 0:
        raise WrongCall(f"counts are zero or more, got {blank_counts}.")
    root = float(np.sqrt(blank_counts))
    return 2.33 * root, 2.71 + 4.65 * root
