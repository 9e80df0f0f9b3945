"""A cut-off for robust distances that comes from their own tail.

A fixed quantile of chi-square calls 2.5 % of every clean data set unusual. The adaptive cut flags
only what the tail holds beyond what normal theory and sampling allow.

Reference: Filzmoser, Garrett and Reimann 2005, Computers & Geosciences 31:579-587. Their critical
values were simulated; here they follow from the empirical process, which near the end of the range
is a Brownian motion: the largest excess over a tail of share t exceeds c with probability
2 (1 - Phi(c sqrt(n / t))) (reflection principle). The tests simulate it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

#: the tail begins at this quantile of chi-square
TAIL = 0.975
#: share of clean data sets in which something is flagged
CHANCE = 0.01


def critical_excess(n: int) -> float:
    """Give the excess of the tail that chance alone makes once in a hundred clean data sets.

    Parameters
    ----------
    n : int
        Rows.

    Returns
    -------
    float
        Share of the rows. [-]

    Examples
    --------
    >>> round(critical_excess(1000), 4)
    0.0129
    """
    from scipy.special import ndtri

    return float(ndtri(1.0 - CHANCE / 2.0) * np.sqrt((1.0 - TAIL) / n))


def adaptive_cut(squared: npt.ArrayLike, p: int) -> float:
    """Find the cut of squared robust distances.

    Parameters
    ----------
    squared : array_like, shape (n,)
        Squared distances, without gaps.
    p : int
        Coordinates.

    Returns
    -------
    float
        Squared distances above it are unusual; infinite where the tail is no heavier than chance
        allows. Never below the 97.5 % quantile of chi-square.
    """
    from scipy.stats import chi2

    d = np.sort(np.asarray(squared, dtype=float))
    n = len(d)
    least = float(chi2.ppf(TAIL, p))
    tail = d >= least
    if n < 2 or not tail.any():
        return float("inf")
    # the empirical distribution just before each value
    excess = float((chi2.cdf(d, p) - np.arange(n) / n)[tail].max())
    if excess <= critical_excess(n):
        return float("inf")
    row = max(n - int(np.ceil(n * excess)) - 1, 0)
    return max(float(d[row]), least)
