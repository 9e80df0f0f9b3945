"""Median + k MAD of an element against the geometric mean of its sample: closure taken out."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from geochem.background.median_mad import MedianMad
from geochem.errors import WrongCall
from geochem.model import tables

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from geochem.model.threshold import Threshold

    Array = npt.NDArray[np.float64]

#: an element with more below detection than this is no part of the composition
_MAX_BELOW = 0.3
#: what stands for a value below its limit, in limits
_OF_LIMIT = 0.65
#: fewer parts make no geometric mean worth dividing by
_LEAST_PARTS = 4


def geometric_means(samples: pd.DataFrame) -> Array | None:
    """Give the geometric mean of the elements of each sample.

    Parameters
    ----------
    samples : pandas.DataFrame
        Of one medium.

    Returns
    -------
    ndarray, shape (n,) or None
        In mg/kg, NaN where a part is missing; None with fewer than four parts that are measured
        in nine of ten samples with at most 30 % below detection.

    References
    ----------
    .. [1] Aitchison 1986, The Statistical Analysis of Compositional Data, Chapman & Hall.
    """
    logs = []
    for element in tables.elements_of(samples):
        v = tables.values_of(samples, element)
        measured = np.isfinite(v.value) & (v.value > 0)
        if not measured.any() or measured.mean() < 0.9:
            continue
        if v.below[measured].mean() > _MAX_BELOW:
            continue
        x = np.where(v.below, _OF_LIMIT * v.value, v.value)
        logs.append(np.log10(np.where(measured, x, np.nan)))
    if len(logs) < _LEAST_PARTS:
        return None
    return np.asarray(10.0 ** np.mean(logs, axis=0))


class LogRatioMad:
    """Median + k MAD of the centred log-ratio, brought back to mg/kg for each sample.

    A value is high for its sample, whatever dilutes or enriches all of it. Not in the registry:
    it needs the other elements, through their geometric mean.

    Parameters
    ----------
    means : ndarray, shape (n_samples,)
        From `geometric_means`. [mg/kg]
    k : float, default 2
        How many MADs above the median. [-]
    """

    name = "median_mad_log_ratio"
    summary = "median + k MAD of the log-ratio to the geometric mean of the sample"
    reference = (
        "Aitchison 1986, The Statistical Analysis of Compositional Data, Chapman & Hall; Reimann, "
        "Filzmoser & Garrett 2005, Sci. Total Environ. 346:1-16"
    )
    needs: tuple[str, ...] = ()

    def __init__(self, means: Array, k: float = 2.0) -> None:
        self.means = np.asarray(means, dtype=float)
        self.k = k

    def take(self, rows: npt.NDArray[np.intp]) -> LogRatioMad:
        """Give the method for some of the samples."""
        return LogRatioMad(self.means[rows], self.k)

    def fit(
        self,
        values: npt.ArrayLike,
        *,
        below: npt.ArrayLike | None = None,
        above: npt.ArrayLike | None = None,
        coordinates: npt.ArrayLike | None = None,
        weights: npt.ArrayLike | None = None,
    ) -> Threshold:
        """Find the threshold.

        Parameters
        ----------
        values, below, above, coordinates, weights : as in every method
            In the order of `means`.

        Returns
        -------
        Threshold
            `value` holds in a sample of median geometric mean; `local` in each sample.

        Raises
        ------
        WrongCall
            If the number of values differs from that of the means.
        """
        x = np.asarray(values, dtype=float)
        if x.shape != self.means.shape:
            raise WrongCall(
                f"{x.size} values came with {self.means.size} geometric means; give one per sample."
            )
        usual = float(np.nanmedian(self.means))
        shift = self.means / usual
        found = MedianMad(self.k, log=True).fit(
            x / shift, below=below, above=above, coordinates=coordinates, weights=weights
        )
        if found.method != "median_mad":
            return found
        missing = int((np.isfinite(x) & ~np.isfinite(shift)).sum())
        warnings = list(found.warnings)
        if missing:
            warnings.append(f"{missing} samples lack a part of the composition and were left out.")
        return replace(
            found, method=self.name, transform="log-ratio", reference=self.reference,
            local=found.value * shift, warnings=tuple(warnings), parameters={"k": self.k},
        )  # fmt: skip
