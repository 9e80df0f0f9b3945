"""What is left of each element after rock unit, cover and regional level, ready to be whitened.

An association is sought in departures from what is usual at a place. This file makes them, for one
medium: log10 of the accepted value, minus the median of its domain (of its cover within the domain
where a regolith map says so, because transported material dilutes), minus the step of its batch
(`batch_steps`), minus the regional level, over a robust spread. A value below detection counts as
its expectation, given that it lies below.

What lives here: the departures and their halo-sized means. What does not: associations
(`whitening`), rival explanations (`rivals`), `<El>_z`, which stays what it is.

References: expectation of a censored normal value, Tobin 1958, Econometrica 26:24-36 (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from geochem.anomalies.batch_steps import without_batch_steps
from geochem.stats.robust import mad, median

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

#: an element with more gaps is not dense
DENSE = 0.95
#: departures are drawn in to this many spreads
CLIP = 5.0
#: a standard error is no larger than this many spreads
MOST_DOUBT = 3.0
#: fewer samples of a cover within a domain get no level of their own
FEWEST_OF_COVER = 10
#: fewer samples of a domain say nothing of what its rock looks like
FEWEST_OF_UNIT = 8
#: halo that associations and rivals are compared at: standard deviation of the bell, nugget share
#: and range of the background, in mean spacings (chosen on simulated surveys)
HALO, NUGGET, RANGE = 2.0, 0.5, 2.8
#: reach of the regional level, in mean spacings
REGIONAL = 14.0
#: samples of which the regional level is made: one in so many
_THIN = 5


@dataclass(frozen=True, slots=True, eq=False)
class Residuals:
    """Departures of the densely measured elements of one medium.

    Parameters
    ----------
    elements : tuple of str
        Columns.
    values : ndarray, shape (n_samples, n_elements)
        Departures in robust spreads, drawn in.
    size : ndarray, shape (n_elements,)
        Robust spread. [log10 units]
    shown : ndarray, shape (n_elements,)
        Share of the values above detection: what is left of a rise once limits cut it. [-]
    halo : ndarray, shape (n_samples, n_elements)
        Departures filtered to the size of a halo; the departures themselves where nothing can be
        said of neighbours.
    units : mapping of str to ndarray, shape (n_elements,)
        Usual content of each domain, in the same spreads.
    spatial : bool
        Whether `halo` is filtered.
    doubt : ndarray, shape (n_samples, n_elements)
        Standard error of `values` from measurement, and from what may stand behind a limit.
    batch : ndarray of int, shape (n_samples,)
        Number of the batch of each sample; -1 where not known.
    batch_error : ndarray, shape (n_elements,)
        Standard error of the level of a usual batch, in spreads.
    """

    elements: tuple[str, ...]
    values: FloatArray
    size: FloatArray
    shown: FloatArray
    halo: FloatArray
    units: Mapping[str, FloatArray]
    spatial: bool
    doubt: FloatArray = field(default_factory=lambda: np.empty((0, 0)))
    batch: npt.NDArray[np.intp] = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    batch_error: FloatArray = field(default_factory=lambda: np.empty(0))


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """Samples of one grid of the medium.

    Parameters
    ----------
    rows : ndarray of int, shape (m,)
        Among the samples of the medium.
    metres : ndarray, shape (m, 2)
        Coordinates. [m]
    spacing : float
        Mean spacing. [m]
    """

    rows: npt.NDArray[np.intp]
    metres: FloatArray
    spacing: float


def expected_log(
    log: FloatArray, below: npt.NDArray[np.bool_], location: FloatArray, scale: FloatArray
) -> FloatArray:
    """Put the expectation of what lies below a limit in the place of the limit.

    Parameters
    ----------
    log : ndarray, shape (n,)
        log10 of values and limits; NaN is missing.
    below : ndarray of bool, shape (n,)
        Where it is a limit.
    location, scale : ndarray, shape (n,)
        Of the background of each sample.

    Returns
    -------
    ndarray, shape (n,)
        ``location - scale phi(c) / Phi(c)`` with the limit at quantile c, where below.
    """
    from scipy.special import log_ndtr

    c = (log - location) / np.where(scale > 0, scale, np.nan)
    ratio = np.exp(-0.5 * c**2 - 0.5 * np.log(2 * np.pi) - log_ndtr(np.clip(c, -30.0, 30.0)))
    expected = location - scale * ratio
    return np.where(below & np.isfinite(expected), np.minimum(expected, log), log)


def expected_log_error(
    share: FloatArray,
    log: FloatArray,
    below: npt.NDArray[np.bool_],
    location: FloatArray,
    scale: FloatArray,
) -> FloatArray:
    """Give the standard error of each log10 value, or of what may stand behind a limit.

    Parameters
    ----------
    share : ndarray, shape (n,)
        Relative standard error of the value. [-]
    log, below, location, scale
        As in `expected_log`.

    Returns
    -------
    ndarray, shape (n,)
        [log10 units]

    References
    ----------
    Variance of a normal value below c: 1 - c r - r^2 with r = phi(c) / Phi(c) (Johnson, Kotz and
    Balakrishnan 1994, Continuous Univariate Distributions 1, section 13.10; from memory).
    """
    from scipy.special import log_ndtr

    c = np.clip((log - location) / np.where(scale > 0, scale, np.nan), -30.0, 30.0)
    ratio = np.exp(-0.5 * c**2 - 0.5 * np.log(2 * np.pi) - log_ndtr(c))
    behind = scale * np.sqrt(np.maximum(1.0 - c * ratio - ratio**2, 0.0))
    return np.nan_to_num(np.where(below, behind, share / np.log(10.0)))


def residuals_of(
    logs: Mapping[str, FloatArray],
    shown: Mapping[str, float],
    domains: npt.NDArray[np.object_],
    covers: npt.NDArray[np.object_],
    fields: Sequence[Field],
    weights: FloatArray,
    batches: npt.NDArray[np.object_] | None = None,
    doubts: Mapping[str, FloatArray] | None = None,
) -> Residuals:
    """Make the departures of one medium.

    Parameters
    ----------
    logs : mapping of str to ndarray, shape (n_samples,)
        From `expected_log`.
    shown : mapping of str to float
        Share above detection per element.
    domains, covers : ndarray of str, shape (n_samples,)
        Domain of the background; kind of cover, empty where there is none.
    fields : sequence of Field
        Grids whose samples stand for the ground around them; may be empty.
    weights : ndarray, shape (n_samples,)
        Declustering weights.
    batches : ndarray of str, shape (n_samples,), optional
        What was analysed together; empty where not known.
    doubts : mapping of str to ndarray, shape (n_samples,), optional
        Standard error of each log10, from `expected_log_error`.

    Returns
    -------
    Residuals
        Of the elements that are known in 95 % of the samples.
    """
    names = tuple(e for e, v in logs.items() if np.isfinite(v).mean() >= DENSE)
    n = len(domains)
    x = np.column_stack([logs[e] for e in names]) if names else np.empty((n, 0))
    cell = np.array([f"{d}|{c}" if c else d for d, c in zip(domains, covers, strict=True)], object)
    left = x.copy()
    whole = np.array([median(column[np.isfinite(column)]) for column in x.T])
    for name in sorted(set(cell.tolist())):
        rows = cell == name
        cover = covers[rows][0]
        if cover and rows.sum() < FEWEST_OF_COVER:
            pool = covers == cover  # a sliver of a cover takes the level of the whole cover
        elif not cover and rows.sum() < FEWEST_OF_UNIT:
            pool = np.ones(n, dtype=bool)
        else:
            pool = rows
        left[rows] -= _medians(x[pool], whole) if pool.sum() >= FEWEST_OF_UNIT else whole
    left = np.nan_to_num(left)
    step_error = np.zeros(len(names))
    for grid in fields:
        own = left[grid.rows]
        if batches is not None:
            own, error = without_batch_steps(own, grid.metres, batches[grid.rows])
            step_error = np.maximum(step_error, error)
        left[grid.rows] = own - _regional(own, grid, weights[grid.rows])
    size = np.array([_spread(column, weights) for column in left.T])
    values = np.clip(left / np.where(size > 0, size, 1.0), -CLIP, CLIP)
    units = {
        str(d): _medians(x[(domains == d) & (covers == "")], whole) / np.where(size > 0, size, 1.0)
        for d in sorted(set(domains.tolist()))
        if ((domains == d) & (covers == "")).sum() >= FEWEST_OF_UNIT
    }
    halo = values.copy()
    for grid in fields:
        halo[grid.rows] = _filtered(values[grid.rows], grid)
    unit = np.where(size > 0, size, 1.0)
    doubt = np.zeros((n, len(names)))
    if doubts is not None and names:
        doubt = np.minimum(np.column_stack([doubts[e] for e in names]) / unit, MOST_DOUBT)
    code = np.full(n, -1, dtype=np.intp)
    if batches is not None:
        code = np.where(batches == "", -1, np.unique(batches.astype(str), return_inverse=True)[1])
    return Residuals(
        names, values, size, np.array([shown[e] for e in names]), halo, units, bool(fields),
        doubt, code, step_error / unit,
    )  # fmt: skip


def _medians(x: FloatArray, instead: FloatArray) -> FloatArray:
    known = np.isfinite(x)
    out = instead.copy()
    for j in np.flatnonzero(known.any(axis=0)):
        out[j] = np.median(x[known[:, j], j])
    return out


def _spread(column: FloatArray, weights: FloatArray) -> float:
    # what is mostly below detection hardly varies: it must not look precise
    return float(max(mad(column, weights=weights), 0.5 * column.std()))


def _regional(values: FloatArray, field: Field, weights: FloatArray) -> FloatArray:
    """Give the level of the surroundings: a wide smooth mean of drawn-in departures."""
    from scipy.sparse import csr_array
    from scipy.spatial import cKDTree

    reach = REGIONAL * field.spacing
    spread = np.array([mad(column) for column in values.T])
    drawn = np.clip(values, -3 * spread, 3 * spread)
    thin = np.arange(0, len(values), _THIN if len(values) > 500 else 1)
    other = cKDTree(field.metres[thin])
    near = cKDTree(field.metres).sparse_distance_matrix(other, reach, output_type="coo_matrix")
    weight = (1.0 - (near.data / reach) ** 2) ** 2 * weights[thin][near.col]
    kernel = csr_array((weight, (near.row, near.col)), shape=near.shape)
    total = np.maximum(np.asarray(kernel.sum(axis=1)).ravel(), 1e-12)
    return np.asarray((kernel @ drawn[thin]) / total[:, None], dtype=float)


def _filtered(values: FloatArray, field: Field) -> FloatArray:
    from geochem.stats.halo_filter import halo_filter

    matrix = halo_filter(
        field.metres, (1.0, 1.0), nugget=NUGGET, range_m=RANGE * field.spacing,
        scales=(HALO * field.spacing,),
    )[0]  # fmt: skip
    out = np.asarray(matrix @ values, dtype=float)
    return out - np.median(out, axis=0)
