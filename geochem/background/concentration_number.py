"""Concentration-number: the bend of the number of samples above a concentration, log-log."""

from __future__ import annotations

from typing import TYPE_CHECKING

from geochem.background.power_law import bend_threshold
from geochem.background.values import prepare

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model.threshold import Threshold


class ConcentrationNumber:
    """Power laws of the number of samples with at least a concentration; where they bend.

    Unlike concentration-area it counts samples: infill over rich ground counts as often as it was
    sampled.

    Parameters
    ----------
    breaks : int, default 1
        One or two bends; the highest is the threshold.

    References
    ----------
    .. [1] Mandelbrot 1983, The Fractal Geometry of Nature, Freeman (number-size relation); Cheng,
       Agterberg & Ballantyne 1994, J. Geochem. Explor. 51:109-130.
    """

    name = "concentration_number"
    summary = "bend of the log-log curve of the number of samples above a concentration"
    reference = "Mandelbrot 1983, The Fractal Geometry of Nature, Freeman (number-size relation)"
    needs: tuple[str, ...] = ()

    def __init__(self, breaks: int = 1) -> None:
        self.breaks = breaks

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
        values : array_like, shape (n_samples,)
            Positive concentrations of one element, limits where flagged. Any unit.
        below, above : array_like of bool, shape (n_samples,), optional
            True where the true value lies under / over the one given.
        coordinates : array_like, shape (n_samples, 2), optional
            Easting, northing: the interval then allows for neighbours that are alike. [m]
        weights : array_like, shape (n_samples,), optional
            Only zero or not counts: a sample of weight zero is left out.

        Returns
        -------
        Threshold
            `details`: ``curve`` (log10 concentration, log10 number), ``slopes``, ``breaks``.

        Raises
        ------
        WrongCall
            If shapes do not agree or an option lies outside its range.
        """
        import numpy as np

        if weights is not None:
            w = np.asarray(weights, dtype=float)
            weights = np.where(w > 0, 1.0, w)  # negative ones are refused
        data = prepare(values, below, above, weights, coordinates, log=True)
        return bend_threshold(data, self.name, self.reference, breaks=self.breaks, of="number")
