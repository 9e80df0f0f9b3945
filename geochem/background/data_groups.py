"""Groups that the data make themselves, for ground without a map: by their main log-ratios."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

#: name of the column that `by` refers to
COLUMN = "data_group"
#: principal components looked at
_COMPONENTS = 3


def data_groups(
    sample_ids: Sequence[str], compositions: Sequence[Any], number: int, *, seed: int = 1
) -> npt.NDArray[np.object_]:
    """Divide samples into groups of like composition.

    K-means on the first robust principal components of the log-ratios. Mineralisation is itself
    of like composition: a group that is small and rich is no background, and findings about
    mostly anomalous domains then say so.

    Parameters
    ----------
    sample_ids : sequence of str
        Which samples.
    compositions : sequence of Composition
        Log-ratio views, one per medium, with `sample_id` and `scores`.
    number : int
        Groups per medium, 2 to 12.
    seed : int, default 1
        Of the starts.

    Returns
    -------
    ndarray of str, shape (n,)
        ``group 1`` is the largest; ``not grouped`` where no composition holds the sample.

    Raises
    ------
    WrongCall
        If the number is out of range.

    References
    ----------
    .. [1] MacQueen 1967, Proc. 5th Berkeley Symposium 1:281-297 (k-means); Filzmoser, Hron &
       Reimann 2009, Principal component analysis for compositional data with outliers,
       Environmetrics 20:621-632.
    """
    from sklearn.cluster import KMeans

    if not 2 <= number <= 12:
        raise WrongCall(f"data-driven groups can be 2 to 12, got {number!r}.")
    label = np.full(len(sample_ids), "not grouped", dtype=object)
    place = {str(s): i for i, s in enumerate(sample_ids)}
    for made in compositions:
        ids = np.asarray(made.sample_id, dtype=object)
        scores = np.asarray(made.scores, dtype=float)[:, :_COMPONENTS]
        ok = np.isfinite(scores).all(axis=1)
        if ok.sum() < 10 * number:
            continue
        ids, scores = ids[ok], scores[ok]
        order = np.lexsort((ids.astype(str),))
        ids, scores = ids[order], scores[order]
        # far-out samples would take a group each
        middle = np.median(scores, axis=0)
        spread = 1.4826 * np.median(np.abs(scores - middle), axis=0)
        drawn = np.clip(scores, middle - 4 * spread, middle + 4 * spread)
        found = KMeans(number, n_init=10, random_state=seed).fit_predict(drawn)
        counts = np.bincount(found, minlength=number)
        rank = {
            g: i + 1 for i, g in enumerate(sorted(range(number), key=lambda g: (-counts[g], g)))
        }
        for one, g in zip(ids, found, strict=True):
            if str(one) in place:
                label[place[str(one)]] = f"group {rank[int(g)]}"
    return label
