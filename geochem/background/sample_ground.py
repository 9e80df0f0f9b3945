"""Where the values of one element stand: how alike neighbours are, worked out when it is wanted."""

from __future__ import annotations

from dataclasses import dataclass, field
from hashlib import blake2b
from typing import TYPE_CHECKING

import numpy as np

from geochem.stats.likeness import FEW, Surroundings, inflation, summed_likeness, surroundings

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

#: elements of one survey share the places of every domain; so many sets of places are kept
_KEPT = 40
_last: dict[bytes, Surroundings | None] = {}


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """Places of sorted values.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        Easting, northing of located samples, in the order of their coordinates. [m]
    order : ndarray of int, shape (n,)
        Which sorted value stands at each.
    scores : ndarray, shape (n_values,)
        Normal scores of the sorted values; equal values share one.
    weights : ndarray, shape (n,) or None
        Declustering weights at the places.
    """

    places: Array
    order: npt.NDArray[np.intp]
    scores: Array
    weights: Array | None
    _summed: list[Array] = field(default_factory=list, init=False)

    @classmethod
    def of(cls, places: Array, values: Array, weights: Array | None) -> Ground | None:
        """Take up places of values that are sorted; None when there are too few to say anything."""
        located = np.flatnonzero(np.isfinite(places).all(axis=1))
        if located.size < FEW:
            return None
        east, north = places[located].T
        order = located[np.lexsort((values[located], north, east))]
        w = None if weights is None else weights[order]
        return cls(np.ascontiguousarray(places[order]), order, _scores(values), w)

    def wider(self, influence: Array, weights: Array | None) -> float:
        """Give the factor by which an interval is wider, from what each sorted value adds to the estimate."""
        if not self._summed:
            around = self._around()
            if around is None:
                return 1.0
            summed = summed_likeness(self.scores[self.order], around)
            # samples without position are like nobody
            self._summed.append(1 + (summed - 1) * (self.order.size / self.scores.size))
        return inflation(influence, self.scores, self._summed[0], weights)

    def _around(self) -> Surroundings | None:
        digest = blake2b(self.places.tobytes(), digest_size=16)
        if self.weights is not None:
            digest.update(self.weights.tobytes())
        key = digest.digest()
        if key not in _last:
            if len(_last) >= _KEPT:
                _last.pop(next(iter(_last)))
            _last[key] = surroundings(self.places, self.weights)
        return _last[key]


def _scores(values: Array) -> Array:
    """Give normal scores of sorted values."""
    from scipy.special import ndtri

    n = values.size
    first = np.flatnonzero(np.append(True, values[1:] != values[:-1]))
    count = np.diff(np.append(first, n))
    return np.asarray(np.repeat(ndtri((first + count / 2) / n), count))
