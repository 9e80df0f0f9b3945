"""How uncertain the strength of an outline is: measurement, limits, weights, levels of batches.

The strength is a weighted sum of scores around a summit, and each score one of the departures of
the dense elements. What is uncertain about it is carried through both sums: the error of every
value and what may stand behind its limit (independent from sample to sample), the weights of the
association (the same draw for all samples), the level of every batch (the same for its samples).

What lives here: arrays in, a standard deviation out. What does not: the errors themselves
(`geochem.anomalies`), the barren surveys that a strength is set against (`barren`).
Test to copy: `tests/targets/test_doubt.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.targets.ground import Ground, Sites
from geochem.targets.null import Part

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]


class Doubts:
    """Standard deviations of strengths on one grid.

    Parameters
    ----------
    sites : Sites
        All samples.
    ground : Ground
        The grid.
    part : Part
        Its filters and background.
    ratio : ndarray, shape (n_scales, n_associations)
        Standard deviation of filtered barren values.
    """

    def __init__(self, sites: Sites, ground: Ground, part: Part, ratio: FloatArray) -> None:
        self.sites, self.ground, self.part, self.ratio = sites, ground, part, ratio
        self._squares: dict[int, FloatArray] = {}
        # samples in order of their places, so that those of a few places are found at once
        self._order = np.argsort(ground.place_of, kind="stable")
        count = np.bincount(ground.place_of, minlength=len(ground.places))
        self._start = np.concatenate([[0], np.cumsum(count)])
        self._detectors = sites.detectors.get(ground.medium)

    def of(self, summit: int, association: int, scale: int) -> float:
        """Give the standard deviation of the filtered value at a place.

        Parameters
        ----------
        summit : int
            Place.
        association : int
            Column of the scores.
        scale : int
            Which filter.

        Returns
        -------
        float
            In the unit of the field.
        """
        row = self.part.operators[scale]
        near = slice(row.indptr[summit], row.indptr[summit + 1])
        beside = row.indices[near]
        weight = row.data[near] / self.ratio[scale, association]
        if self.part.second is not None:
            weight = weight * np.sqrt(
                1.0 - self.part.second.share[scale, summit, association] ** 2
            )
        weight = weight / self.part.background.spread[association]
        square = self._measured(association)[beside]
        variance = float((weight**2 * square).sum())
        return float(np.sqrt(variance + self._drawn(beside, weight, association)))

    def _measured(self, association: int) -> FloatArray:
        """Give the variance of the mean score of each place; the same for all summits."""
        if association not in self._squares:
            noise = self.sites.noise[self.ground.sites, association]
            total = np.zeros(len(self.ground.places))
            np.add.at(total, self.ground.place_of, noise**2)
            self._squares[association] = total / self.ground.count**2
        return self._squares[association]

    def _drawn(self, beside: npt.NDArray[np.intp], weight: FloatArray, association: int) -> float:
        """Give the variance from the weights of the association and the levels of batches."""
        d = self._detectors
        if d is None:
            return 0.0
        mine, own = self._samples(beside, weight / self.ground.count[beside])
        at = self.sites.detected[self.ground.sites[mine]]
        known = (at >= 0) & (own != 0)
        at, own = at[known], own[known]
        vectors = d.vectors[self.sites.associations[association].name]
        strength = vectors @ (own @ d.departures[at].astype(float))
        batch = d.batch[at]
        # samples of unknown batch count as one each
        alone = batch < 0
        together = np.bincount(batch[~alone], weights=own[~alone]) if (~alone).any() else 0.0
        level = float(((vectors[0] * d.batch_error) ** 2).sum())
        weights = float(((strength[1:] - strength[0]) ** 2).mean()) if len(strength) > 1 else 0.0
        return weights + level * (float(np.sum(together**2)) + float((own[alone] ** 2).sum()))

    def _samples(
        self, beside: npt.NDArray[np.intp], share: FloatArray
    ) -> tuple[npt.NDArray[np.intp], FloatArray]:
        """List the samples of places, ascending, each with the share of its place."""
        first, count = self._start[beside], self._start[beside + 1] - self._start[beside]
        ends = np.cumsum(count)
        at = np.arange(ends[-1] if len(ends) else 0) + np.repeat(first - (ends - count), count)
        mine = self._order[at]
        ascending = np.argsort(mine, kind="stable")
        return mine[ascending], np.repeat(share, count)[ascending]
