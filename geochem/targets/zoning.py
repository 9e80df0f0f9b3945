"""Are the elements of a target arranged as its type has them: middle, rim, outside.

A halo about a source falls outward in every element that belongs to it, and in some types of
deposits other elements stand around the middle (zinc, lead and manganese around copper). A chance
play of background has no such order: its elements peak here and there.

What lives here: scores and distances in, which elements lie as expected out. What does not: which
elements a type has in its rim (`associations.toml`), what the order is worth (`criteria`).
References: zoning around intrusions, Emmons 1936, Transactions AIME 121:17-26, and Rose, Hawkes and
Webb 1979, Geochemistry in Mineral Exploration (both from memory); the sizes of the rings are common
practice, no source. Test to copy: `tests/targets/test_zoning.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

#: end of the middle, of the rim and of what counts as outside, in radii of the target
MIDDLE, RIM, OUTSIDE = 0.7, 1.4, 2.4
#: fewer values in any of the three tell nothing
FEWEST = 4
#: elements of less weight need not lie in order
LEAST_WEIGHT = 0.3
#: one-sided 5 % point of a normal distribution
_SURE = 1.645


@dataclass(frozen=True, slots=True)
class Zoning:
    """Elements that could be judged.

    Parameters
    ----------
    falling : tuple of str
        Highest in the middle and lower outward.
    ringed : tuple of str
        Of the rim: raised there, and no higher in the middle.
    against : tuple of str
        Raised too, but neither.
    """

    falling: tuple[str, ...] = ()
    ringed: tuple[str, ...] = ()
    against: tuple[str, ...] = ()

    @property
    def judged(self) -> int:
        """How many elements could be judged."""
        return len(self.falling) + len(self.ringed) + len(self.against)

    @property
    def share(self) -> float:
        """Share of them that lie as expected; NaN of none."""
        right = len(self.falling) + len(self.ringed)
        return right / self.judged if self.judged else float("nan")

    def __str__(self) -> str:
        parts = (("fall outward", self.falling), ("around the middle", self.ringed),
                 ("neither", self.against))  # fmt: skip
        return "; ".join(
            f"{words}: {', '.join(elements)}" for words, elements in parts if elements
        )


def zoning_of(
    z: Mapping[str, FloatArray],
    distance: npt.ArrayLike,
    weights: Mapping[str, float],
    rim: Sequence[str] = (),
) -> Zoning:
    """Say which elements lie as the type of a target has them.

    Parameters
    ----------
    z : mapping of str to ndarray, shape (n,)
        Scores of the samples in and around the target; NaN where not known.
    distance : array_like, shape (n,)
        From its middle, in radii of the target. [-]
    weights : mapping of str to float
        Of the association; depletion is negative.
    rim : sequence of str
        Elements that stand around the middle.

    Returns
    -------
    Zoning
        Of the elements with enough values that are raised in the middle or the rim; the others
        have no order to be judged.

    Examples
    --------
    >>> r = np.linspace(0, 2.4, 200)
    >>> ring = 3 * np.exp(-((r - 1) ** 2) / 0.1)
    >>> z = {"Cu": 4 * np.exp(-r**2), "Zn": ring, "Mo": ring, "Bi": np.sin(99 * r)}
    >>> zoning_of(z, r, {"Cu": 1.0, "Mo": 0.8, "Bi": 0.4}, ["Zn"])
    Zoning(falling=('Cu',), ringed=('Zn',), against=('Mo',))
    """
    from scipy.stats import spearmanr

    r = np.asarray(distance, dtype=float)
    falling: list[str] = []
    ringed: list[str] = []
    against: list[str] = []
    every = sorted(z, key=lambda e: (-abs(weights.get(e, 0.0)), e))
    for element in every:
        score = np.asarray(z[element], dtype=float)
        outer = element in rim
        weight = 1.0 if outer else weights.get(element, 0.0)
        if abs(weight) < LEAST_WEIGHT:
            continue
        near = np.isfinite(score) & (r <= OUTSIDE)
        value, where = np.sign(weight) * score[near], r[near]
        middle, ring = where <= MIDDLE, (where > MIDDLE) & (where <= RIM)
        outside = where > RIM
        if min(middle.sum(), ring.sum(), outside.sum()) < FEWEST:
            continue
        level, error = value[outside].mean(), _error(value[outside])
        inner, rise = value[middle].mean() - level, value[ring].mean() - level
        surest = max(
            inner / np.hypot(error, _error(value[middle])),
            rise / np.hypot(error, _error(value[ring])),
        )
        if surest < _SURE:
            continue  # what is not raised has no order
        if outer:
            (ringed if rise >= inner else against).append(element)
            continue
        order = float(spearmanr(value, where).statistic)
        falls = inner >= rise and order < -_SURE / np.sqrt(len(value) - 1)
        (falling if falls else against).append(element)
    return Zoning(tuple(falling), tuple(ringed), tuple(against))


def _error(values: FloatArray) -> float:
    return max(float(values.std(ddof=1)) / float(np.sqrt(len(values))), 1e-9)
