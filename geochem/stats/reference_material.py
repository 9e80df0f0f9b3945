"""Bias of repeated results on a reference material, with its interval and acceptance limit."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall


def bias_limit(between_sd: float, within_sd: float, n: int) -> float:
    """Give how far the mean of n results may lie from the certified value.

    Parameters
    ----------
    between_sd, within_sd : float
        Between laboratories, and within this one. [unit of the values]
    n : int
        Results, at least one.

    Returns
    -------
    float
        ``2 sqrt(between^2 + within^2 / n)``.

    References
    ----------
    .. [1] ISO Guide 33; quoted by Abzalov 2016, Applied mining geology, chapter 10.

    Examples
    --------
    >>> round(bias_limit(0.20, 0.09, 10), 3)
    0.404
    """
    if n < 1 or between_sd < 0 or within_sd < 0:
        raise WrongCall("standard deviations are zero or more, and at least one result is needed.")
    return 2.0 * float(np.sqrt(between_sd**2 + within_sd**2 / n))


def clustered_mean(
    values: npt.ArrayLike, clusters: npt.ArrayLike, *, confidence: float = 0.95
) -> tuple[float, float, float]:
    """Give mean and interval when results of one batch share an error.

    Parameters
    ----------
    values, clusters : array_like, shape (n,)
        Results and the batch of each.
    confidence : float, default 0.95
        Two-sided. [-]

    Returns
    -------
    mean, low, high : float
        Of the batch means, with Student's t on the number of batches; of the results themselves
        when there are fewer than four batches; NaN ends when there is one result.

    Examples
    --------
    >>> [round(v, 2) for v in clustered_mean([1, 2, 3, 6], list("abcd"), confidence=0.5)]
    [3.0, 2.17, 3.83]
    """
    from scipy.stats import t

    x = np.asarray(values, dtype=float)
    if not len(x):
        raise WrongCall("a mean needs at least one result.")
    _, codes = np.unique(np.asarray(clusters).astype(str), return_inverse=True)
    means = np.bincount(codes, x) / np.bincount(codes)
    means = x if len(means) < 4 else means
    k = len(means)
    if k < 2:
        return float(means[0]), float("nan"), float("nan")
    half = float(t.isf((1 - confidence) / 2, k - 1) * means.std(ddof=1) / np.sqrt(k))
    middle = float(means.mean())
    return middle, middle - half, middle + half
