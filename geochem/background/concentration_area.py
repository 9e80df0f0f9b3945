"""Concentration-area: the bend of the area above a concentration, on log-log axes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.background.power_law import bend_threshold
from geochem.background.values import prepare
from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model.threshold import Threshold

    Array = npt.NDArray[np.float64]


class ConcentrationArea:
    """Power laws of the area with at least a concentration; the threshold is where they bend.

    Each sample stands for an area: its declustering weight if given, else one made from the
    coordinates; with neither, samples are counted (concentration-number).

    Parameters
    ----------
    breaks : int, default 1
        One or two bends; the highest is the threshold.

    References
    ----------
    .. [1] Cheng, Agterberg & Ballantyne 1994, The separation of geochemical anomalies from
       background by fractal methods, J. Geochem. Explor. 51:109-130.
    """

    name = "concentration_area"
    summary = "bend of the log-log curve of area above a concentration"
    reference = "Cheng, Agterberg & Ballantyne 1994, J. Geochem. Explor. 51:109-130"
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
            Easting, northing; they give areas when no weights are given, and the interval then
            allows for neighbours that are alike. [m]
        weights : array_like, shape (n_samples,), optional
            Declustering weights, in proportion to area.

        Returns
        -------
        Threshold
            `details`: ``curve`` (log10 concentration, log10 area), ``slopes``, ``breaks``.

        Raises
        ------
        WrongCall
            If shapes do not agree or an option lies outside its range.
        """
        if weights is None and coordinates is not None:
            weights = _areas(coordinates, np.size(values))
        data = prepare(values, below, above, weights, coordinates, log=True)
        return bend_threshold(data, self.name, self.reference, breaks=self.breaks, of="area")


def _areas(coordinates: npt.ArrayLike, n: int) -> Array | None:
    from geochem.stats.declustering import cell_weights, reconnaissance_spacing

    xy = np.asarray(coordinates, dtype=float)
    if xy.shape != (n, 2):
        raise WrongCall(
            f"coordinates must have the shape ({n}, 2), easting and northing; got {xy.shape}."
        )
    spacing = reconnaissance_spacing(xy)
    return cell_weights(xy, spacing) if np.isfinite(spacing) and spacing > 0 else None
