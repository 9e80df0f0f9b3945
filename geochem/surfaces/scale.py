"""The scale on which an element is interpolated, and the way back to mg/kg."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import unknown
from geochem.stats.back_transform import (
    chance_of_exceeding,
    lognormal_mean,
    lognormal_median,
)
from geochem.stats.normal_scores import NormalScores, normal_scores

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

WORDS = {
    "log": "log10 of mg/kg",
    "normal_scores": "normal scores",
    "none": "as measured",
}


@dataclass(frozen=True, slots=True, eq=False)
class Scale:
    """A transform and its inverse.

    Parameters
    ----------
    name : {"log", "normal_scores", "none"}
        Which.
    scores : NormalScores, optional
        Of normal scores.
    """

    name: str
    scores: NormalScores | None = None

    @property
    def words(self) -> str:
        """Unit of the transformed values, for captions."""
        return WORDS[self.name]

    def forward(self, values: npt.ArrayLike) -> FloatArray:
        """Transform values, NaN where they cannot be."""
        x = np.asarray(values, dtype=float)
        if self.name == "log":
            with np.errstate(divide="ignore", invalid="ignore"):
                return np.where(x > 0, np.log10(np.where(x > 0, x, 1.0)), np.nan)
        return x if self.scores is None else self.scores.forward(x)

    def median(self, values: FloatArray) -> FloatArray:
        """Bring kriged values back as local medians."""
        if self.name == "log":
            return lognormal_median(values, base=10.0)
        return values if self.scores is None else self.scores.backward(values)

    def mean(self, values: FloatArray, variance: FloatArray, lagrange: FloatArray) -> FloatArray:
        """Bring kriged values back as local means."""
        if self.name == "log":
            return lognormal_mean(values, variance, lagrange, base=10.0)
        return values if self.scores is None else self.scores.mean(values, variance)

    def chance(self, values: FloatArray, variance: FloatArray, threshold: float) -> FloatArray:
        """Give the chance of exceeding a value in mg/kg."""
        limit = float(self.forward(np.array([threshold]))[0])
        return chance_of_exceeding(values, variance, limit)


def make_scale(name: str, values: FloatArray, weights: FloatArray | None = None) -> Scale:
    """Make the scale of one element.

    Parameters
    ----------
    name : {"log", "normal_scores", "none"}
        Which.
    values : ndarray, shape (n,)
        Values the scores are made from; those below detection as they enter. [mg/kg]
    weights : ndarray, shape (n,), optional
        Declustering weights of the scores.

    Returns
    -------
    Scale
        Transform and inverse; with fewer than two different values logarithms.

    Raises
    ------
    WrongCall
        If the name is not known.
    """
    if name not in WORDS:
        raise unknown("transform", name, WORDS)
    if name != "normal_scores" or len(np.unique(values[np.isfinite(values)])) < 2:
        return Scale("log" if name == "normal_scores" else name)
    return Scale(name, normal_scores(values, weights=weights))
