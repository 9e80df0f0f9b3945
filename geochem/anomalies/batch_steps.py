"""Steps between batches that levelling could not see, taken out of the departures.

A sieve that sheds brass, a wet day or an instrument between two checks lifts a whole batch of
neighbouring samples, and that looks like a halo. Each batch is compared with the samples of other
batches that stand around its own; what its middle sample differs by, beyond chance, is taken out
of the departures that associations are sought in - not of the accepted values. Halos are smaller
than a batch, so the middle difference hardly knows of them.

What lives here: arrays in, arrays out. What does not: levelling of values on standards and
duplicates (`geochem.background.levelling`). Common practice, no source; the share that chance has
in a difference is taken off as in James & Stein 1961 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from geochem.stats.threads import in_threads

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

#: samples around each sample
NEIGHBOURS = 25
#: a batch with fewer comparisons is left alone
FEWEST = 15
#: rounds; a part of the step is taken in each, because the neighbours step too
ROUNDS, SHARE = 3, 0.6


def without_batch_steps(
    values: FloatArray, metres: FloatArray, batch: npt.NDArray[np.object_]
) -> tuple[FloatArray, FloatArray]:
    """Take the step of each batch against its surroundings out of the values.

    Parameters
    ----------
    values : ndarray, shape (n, n_elements)
        Departures, without gaps.
    metres : ndarray, shape (n, 2)
        Coordinates. [m]
    batch : ndarray of str, shape (n,)
        Which batch; empty where not known.

    Returns
    -------
    values : ndarray, shape (n, n_elements)
        A new array; unchanged where batches have no neighbours of other batches.
    error : ndarray, shape (n_elements,)
        Standard error of the step of a usual batch; 0 where none could be compared.
    """
    from scipy.spatial import cKDTree

    names, code = np.unique(batch.astype(str), return_inverse=True)
    nothing = np.zeros(values.shape[1])
    if len(names) < 2:
        return values, nothing
    near = cKDTree(metres).query(metres, k=min(NEIGHBOURS, len(metres)))[1]
    other = code[near] != code[:, None]
    # enough of other batches around, else the middle of the surroundings is hardly known
    compared = other.sum(axis=1) >= 5
    out = values.copy()
    rows_of = [np.flatnonzero((code == k) & compared) for k in range(len(names))]
    all_of = [np.flatnonzero(code == k) for k in range(len(names))]
    judged = [k for k, rows in enumerate(rows_of) if len(rows) >= FEWEST and names[k]]
    errors: list[FloatArray] = []
    for _ in range(ROUNDS):
        before = out.copy()
        errors = in_threads(partial(_take_step, before, near, other, rows_of, all_of, out), judged)
    return out, np.sqrt(np.median(errors, axis=0)) if errors else nothing


def _take_step(
    before: FloatArray,
    near: IntArray,
    other: npt.NDArray[np.bool_],
    rows_of: Sequence[IntArray],
    all_of: Sequence[IntArray],
    out: FloatArray,
    k: int,
) -> FloatArray:
    """Take a part of the step of one batch out of its values; give the variance of the step."""
    rows = rows_of[k]
    difference = before[rows] - _middle(before[near[rows]], other[rows])
    step = np.median(difference, axis=0)
    spread = 1.4826 * np.median(np.abs(difference - step), axis=0)
    # neighbouring differences share their surroundings: a third counts
    chance = 1.5 * spread**2 / (len(rows) / 3)
    kept = np.clip(1.0 - chance / np.maximum(step**2, 1e-12), 0.0, 1.0)
    out[all_of[k]] -= SHARE * kept * step
    return np.asarray(chance / 1.5)


def _middle(around: FloatArray, other: npt.NDArray[np.bool_]) -> FloatArray:
    """Give the median of those around that count, shape (n_rows, n_elements).

    `around` has shape (n_rows, k, n_elements), `other` (n_rows, k) with one true at least.
    """
    # what does not count is sorted to the end
    ranked = np.where(other[:, None, :], around.transpose(0, 2, 1), np.inf)
    ranked.sort(axis=2)
    count = other.sum(axis=1)[:, None, None]
    low = np.take_along_axis(ranked, (count - 1) // 2, axis=2)[:, :, 0]
    high = np.take_along_axis(ranked, count // 2, axis=2)[:, :, 0]
    return (low + high) / 2


def batches_of(results: pd.DataFrame) -> dict[str, str]:
    """Give the batch of each sample in the assay that covers most samples.

    Parameters
    ----------
    results : pandas.DataFrame
        Contract `tables.RESULTS`.

    Returns
    -------
    dict of str to str
        By sample id; empty where no batch is named.
    """
    named = results.loc[results["batch"].notna(), ["sample_id", "assay", "batch"]]
    one = named.drop_duplicates(["assay", "sample_id", "batch"])
    if not len(one):
        return {}
    counts = one["assay"].value_counts()
    most = min(counts.index[counts == counts.max()])
    mine = one.loc[one["assay"] == most].sort_values(["sample_id", "batch"])
    return dict(zip(mine["sample_id"], mine["batch"].astype(str), strict=True))
