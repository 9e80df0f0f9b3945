"""Normal scores: a transform that makes any distribution standard normal, and back.

What lives here: weighted scores with ties, the way back with stated tails, expectation and
quantiles of a value whose score is normal with known mean and variance. What does not: kriging.
Test to copy: `tests/stats/test_normal_scores.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

#: nodes of Gauss-Hermite quadrature
_NODES = 40


@dataclass(frozen=True, slots=True, eq=False)
class NormalScores:
    """The transform of one variable.

    Parameters
    ----------
    values, scores : ndarray, shape (k,)
        Different values, increasing, and their scores.
    low, high : float
        Ends of the distribution: values that the tails never leave.
    """

    values: FloatArray
    scores: FloatArray
    low: float
    high: float

    def forward(self, values: npt.ArrayLike) -> FloatArray:
        """Give scores, linear between the values that were met; NaN stays NaN.

        Parameters
        ----------
        values : array_like
            On the scale of the data.

        Returns
        -------
        ndarray
            Scores. [standard deviations]
        """
        given = np.asarray(values, dtype=float)
        x, y = self._table()
        out = np.interp(given, x, y)
        return np.where(np.isfinite(given), out, np.nan)

    def backward(self, scores: npt.ArrayLike) -> FloatArray:
        """Give values, linear between the scores that were met, up to `low` and `high`.

        Parameters
        ----------
        scores : array_like
            Standard deviations.

        Returns
        -------
        ndarray
            On the scale of the data.
        """
        given = np.asarray(scores, dtype=float)
        x, y = self._table()
        out = np.interp(given, y, x)
        return np.where(np.isfinite(given), out, np.nan)

    def mean(self, score: npt.ArrayLike, variance: npt.ArrayLike) -> FloatArray:
        """Give the expected value where the score is normal with a mean and a variance.

        Parameters
        ----------
        score, variance : array_like, shape (m,)
            Kriged score and its variance.

        Returns
        -------
        ndarray, shape (m,)
            By Gauss-Hermite quadrature: the back-transformed mean itself would be the median.
        """
        node, weight = np.polynomial.hermite_e.hermegauss(_NODES)
        centre = np.atleast_1d(np.asarray(score, dtype=float))
        spread = np.sqrt(np.maximum(np.atleast_1d(np.asarray(variance, dtype=float)), 0.0))
        total = np.zeros(len(centre))
        for x, w in zip(node, weight / weight.sum(), strict=True):
            total += w * self.backward(centre + x * spread)
        return total

    def quantile(
        self, probability: float, score: npt.ArrayLike, variance: npt.ArrayLike
    ) -> FloatArray:
        """Give a quantile where the score is normal with a mean and a variance.

        Parameters
        ----------
        probability : float
            0-1.
        score, variance : array_like, shape (m,)
            Kriged score and its variance.

        Returns
        -------
        ndarray, shape (m,)
            The transform keeps order, so the quantile goes straight through it.
        """
        from scipy.special import ndtri

        spread = np.sqrt(np.maximum(np.asarray(variance, dtype=float), 0.0))
        return self.backward(np.asarray(score, dtype=float) + ndtri(probability) * spread)

    def _table(self) -> tuple[FloatArray, FloatArray]:
        """Add the tails: the ends of the distribution at five standard deviations."""
        x, y = self.values, self.scores
        if self.low < x[0]:
            x, y = np.r_[self.low, x], np.r_[min(-5.0, y[0] - 1.0), y]
        if self.high > x[-1]:
            x, y = np.r_[x, self.high], np.r_[y, max(5.0, y[-1] + 1.0)]
        return x, y


def normal_scores(
    values: npt.ArrayLike,
    *,
    weights: npt.ArrayLike | None = None,
    low: float | None = None,
    high: float | None = None,
) -> NormalScores:
    """Make the transform from data.

    Parameters
    ----------
    values : array_like, shape (n,)
        Data; NaN are left out.
    weights : array_like, shape (n,), optional
        Declustering weights.
    low, high : float, optional
        Ends of the distribution; default half a range (of the outer tenth of the data) beyond the
        extremes, the lower one not below zero when no value is.

    Returns
    -------
    NormalScores
        Equal values share the score of the middle of their step.

    Raises
    ------
    WrongCall
        If fewer than two different values came, or weights do not fit.

    References
    ----------
    Goovaerts, P. 1997. Geostatistics for natural resources evaluation, section 7.2.2. Oxford
    (scores and their back-transform); the default tails are of this library.

    Examples
    --------
    >>> found = normal_scores([3.0, 1.0, 2.0])
    >>> found.forward([1.0, 2.0, 3.0]).round(4).tolist()
    [-0.9674, 0.0, 0.9674]
    """
    from scipy.special import ndtri

    x = np.asarray(values, dtype=float)
    w = np.ones(len(x)) if weights is None else np.asarray(weights, dtype=float)
    if w.shape != x.shape or x.ndim != 1:
        raise WrongCall(f"values have shape {x.shape} and weights {w.shape}; both must be (n,).")
    keep = np.isfinite(x) & np.isfinite(w) & (w > 0)
    x, w = x[keep], w[keep]
    different, which = np.unique(x, return_inverse=True)
    if len(different) < 2:
        raise WrongCall("normal scores need at least two different values.")
    step = np.bincount(which.ravel(), weights=w) / w.sum()
    middle = np.cumsum(step) - step / 2
    tenth = max(1, len(different) // 10)
    below = different[0] - 0.5 * (different[tenth] - different[0])
    above = different[-1] + 0.5 * (different[-1] - different[-1 - tenth])
    if different[0] >= 0:
        below = max(below, 0.0)
    return NormalScores(
        different,
        np.asarray(ndtri(middle), dtype=float),
        float(below if low is None else min(low, different[0])),
        float(above if high is None else max(high, different[-1])),
    )
