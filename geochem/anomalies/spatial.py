"""Coherence of an association: is the score high together with its neighbours.

Only soil and till are judged, each sampling grid on its own in coordinates scaled by line and
station spacing, over several scales at once, against a null made from the background's own
variogram after trend and domain were removed (`geochem.stats.scale_scan`). The scores are clipped
first, so that a single spike is no halo. Stream sediments and rock get NaN: their points say
nothing about the ground between them.

What lives here: which samples make a grid, trend, variogram of the background. What does not: the
statistic itself.
Test to copy: `tests/anomalies/test_spatial.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.stats import scale_scan
from geochem.stats.neighbours import scaled_coordinates
from geochem.stats.robust import mad, median
from geochem.stats.threads import in_threads
from geochem.stats.variogram import Variogram, experimental_variogram, fit_variogram

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model.layers import Spacing

    FloatArray = npt.NDArray[np.float64]

#: media whose samples stand for the ground around them
SPATIAL_MEDIA = ("soil", "till")
#: scores are clipped here before neighbours are summed
CLIP = 4.0
#: and here before the variogram of the background is taken
_BACKGROUND_CLIP = 2.5
#: fewer samples make no grid to judge
FEWEST = 20
#: fewer samples get no trend surface
_FEWEST_TREND = 60


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """One sampling grid, ready to be judged.

    Parameters
    ----------
    medium, grid : str
        What it is.
    rows : ndarray of int, shape (n,)
        Row numbers of its samples.
    metres, scaled : ndarray, shape (n, 2)
        Coordinates. [m], [spacings]
    places : scale_scan.Neighbourhoods
        Of these samples.
    cutoff : float
        Largest distance of the variogram. [m]
    spacing : float
        Mean spacing. [m]
    """

    medium: str
    grid: str
    rows: npt.NDArray[np.intp]
    metres: FloatArray
    scaled: FloatArray
    places: scale_scan.Neighbourhoods
    cutoff: float
    spacing: float


def grounds(
    media: npt.NDArray[np.object_],
    grids: npt.NDArray[np.object_],
    easting: FloatArray,
    northing: FloatArray,
    spacings: Sequence[Spacing],
    *,
    radii: Sequence[float] = scale_scan.RINGS,
) -> tuple[Ground, ...]:
    """Part the samples into grids that can be judged.

    Parameters
    ----------
    media, grids : ndarray of str, shape (n_samples,)
        Medium and grid name; empty text or None is "no name".
    easting, northing : ndarray, shape (n_samples,)
        Projected coordinates. [m]
    spacings : sequence of Spacing
        Measured geometry; a grid without one is scaled by its median nearest distance.
    radii : sequence of float, default scale_scan.RINGS
        Rings of the scan, in spacings.

    Returns
    -------
    tuple of Ground
        Soil and till only, by medium and name; grids of fewer than 20 samples are left out.
    """
    by_name = {(s.medium, s.grid or ""): s for s in spacings}
    names = np.array([g if isinstance(g, str) else "" for g in grids.tolist()], dtype=object)
    found: list[Ground] = []
    for medium in SPATIAL_MEDIA:
        mine = media == medium
        for name in sorted(set(names[mine].tolist())):
            rows = np.flatnonzero(mine & (names == name))
            if len(rows) < FEWEST:
                continue
            x, y = easting[rows], northing[rows]
            s = by_name.get((medium, name)) or by_name.get((medium, ""))
            line, station, azimuth = _geometry(s, x, y)
            metres = np.column_stack([x, y])
            scaled = scaled_coordinates(x, y, azimuth, line, station)
            halo = scaled_coordinates(x, y, azimuth, *_halo_axes(line, station))
            box = float(np.hypot(np.ptp(x), np.ptp(y)))
            found.append(
                Ground(
                    medium, name, rows, metres, scaled,
                    scale_scan.neighbourhoods(halo, metres, radii),
                    max(min(box / 3, 15 * max(line, station)), 3 * max(line, station)),
                    float(np.sqrt(line * station)),
                )
            )  # fmt: skip
    return tuple(found)


def _halo_axes(line: float, station: float) -> tuple[float, float]:
    """Give the axes of the neighbourhoods: half as stretched, in ratio, as the grid.

    Lines are laid across the strike, so halos tend to be longer across the lines, yet few are as
    long as the grid is stretched: with the full ratio a round halo of one line spacing loses a
    quarter of its signal, with none a halo of ratio three does (computed for 200 m by 50 m).
    """
    middle, ratio = np.sqrt(line * station), (line / station) ** 0.25
    return float(middle * ratio), float(middle / ratio)


def _geometry(s: Spacing | None, x: FloatArray, y: FloatArray) -> tuple[float, float, float]:
    if s is not None and s.line_spacing > 0 and s.station_spacing > 0:
        return s.line_spacing, s.station_spacing, s.azimuth
    from scipy.spatial import cKDTree

    places = np.unique(np.column_stack([x, y]), axis=0)
    if len(places) < 2:
        return 1.0, 1.0, float("nan")
    step = float(np.median(cKDTree(places).query(places, k=2)[0][:, 1]))
    return step, step, float("nan")


def coherence(
    scores: Mapping[str, FloatArray], places: Sequence[Ground], *, seed: int = 1
) -> tuple[dict[str, FloatArray], dict[tuple[str, str, str], Variogram]]:
    """Score the neighbourhood of every sample, per association.

    Parameters
    ----------
    scores : mapping of str to ndarray, shape (n_samples,)
        Calibrated score per association.
    places : sequence of Ground
        From `grounds`.
    seed : int, default 1
        Of the null distribution.

    Returns
    -------
    values : dict of str to ndarray, shape (n_samples,)
        About N(0, 1) on barren ground; NaN outside soil and till, and for lone samples.
    variograms : dict of (medium, grid, association) to Variogram
        Of the background, in metres.
    """
    values = {name: np.full(len(every), np.nan) for name, every in scores.items()}
    variograms: dict[tuple[str, str, str], Variogram] = {}
    pairs = [(name, ground) for name in scores for ground in places]
    judged = in_threads(
        lambda pair: ground_coherence(scores[pair[0]][pair[1].rows], pair[1], seed=seed), pairs
    )
    for (name, ground), (own, fitted) in zip(pairs, judged, strict=True):
        values[name][ground.rows] = own
        variograms[ground.medium, ground.grid, name] = fitted
    return values, variograms


def ground_coherence(
    score: FloatArray, ground: Ground, *, seed: int = 1
) -> tuple[FloatArray, Variogram]:
    """Score the neighbourhoods of one grid for one association.

    Parameters
    ----------
    score : ndarray, shape (n,)
        Calibrated scores of the samples of the grid.
    ground : Ground
        Their places.
    seed : int, default 1
        Of the null distribution.

    Returns
    -------
    values : ndarray, shape (n,)
        About N(0, 1) on barren ground.
    variogram : Variogram
        Of the background, in metres.
    """
    detrended = remove_trend(score, ground.scaled)
    fitted = background_variogram(detrended, ground)
    spread = mad(detrended)
    if not spread > 0:
        return np.full(len(score), np.nan), fitted
    standard = np.clip(detrended / max(spread, 1.0), -CLIP, CLIP)
    out = scale_scan.coherence(standard, ground.places, fitted, seed=seed)
    # a background that is rougher than its model makes all neighbourhoods look extreme
    excess = mad(out)
    if np.isfinite(excess) and excess > 1.0:
        middle = max(median(out), 0.0)
        out = (out - middle) / excess
    return out, fitted


def background_variogram(detrended: FloatArray, ground: Ground) -> Variogram:
    """Fit the variogram of the background: clipped scores, robust estimator, best of two models.

    Parameters
    ----------
    detrended : ndarray, shape (n,)
        Scores without trend.
    ground : Ground
        Their places.

    Returns
    -------
    Variogram
        Pure nugget where there are too few pairs.
    """
    middle, spread = median(detrended), mad(detrended)
    if not spread > 0:
        return Variogram("exponential", 1.0, 1.0, 1.0)
    clipped = np.clip((detrended - middle) / spread, -_BACKGROUND_CLIP, _BACKGROUND_CLIP)
    bins = experimental_variogram(
        ground.metres, clipped, cutoff=ground.cutoff, n_bins=20, max_points=3000
    )
    fitted = fit_variogram(bins, ("exponential", "spherical"), max_range=ground.cutoff)
    if not (np.isfinite(fitted.sill) and fitted.sill > 0):
        return Variogram("exponential", 1.0, 1.0, 1.0, experimental=bins)
    return fitted


def remove_trend(score: FloatArray, scaled: FloatArray) -> FloatArray:
    """Remove a robust second-order trend surface, so that a regional slope is no halo.

    Parameters
    ----------
    score : ndarray, shape (n,)
        NaN is left out and stays NaN.
    scaled : ndarray, shape (n, 2)
        Coordinates.

    Returns
    -------
    ndarray, shape (n,)
        Scores minus the surface (of few samples: minus the median), fitted by iteratively
        reweighted least squares with Huber's weights.
    """
    known = np.isfinite(score)
    if known.sum() < _FEWEST_TREND:
        return score - (median(score) if known.any() else 0.0)
    half = np.maximum(np.abs(scaled).max(axis=0), 1e-12)
    u, v = (scaled / half).T
    design = np.column_stack([np.ones_like(u), u, v, u * v, u**2, v**2])
    fit, left = design[known], score[known]
    middle, spread = median(left), mad(left)
    limit = np.clip(left, middle - CLIP * spread, middle + CLIP * spread)
    weight = np.ones(len(left))
    for _ in range(10):
        root = np.sqrt(weight)
        beta = np.linalg.lstsq(fit * root[:, None], limit * root, rcond=None)[0]
        residual = limit - fit @ beta
        spread = mad(residual)
        if not spread > 0:
            break
        weight = np.minimum(1.0, 1.345 * spread / np.maximum(np.abs(residual), 1e-12))
    return score - design @ beta
