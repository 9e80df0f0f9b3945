"""One calibrated score per association: a weighted sum of robust z, about N(0, 1) in background.

The contribution of an element is its z, clipped so that one spike cannot carry the score alone; a
value below detection adds nothing. The sum is divided by what it varies by in background: from the
robust correlation of the contributions (winsorised at 2, so that mineralised samples count
little) and normal theory for each element with its share below detection, or from median and MAD
of the scores themselves where that is larger. Samples on which fewer elements were measured have a
scale of their own, so that laboratory-only elements do not make false anomalies where they exist.

What lives here: scores of one medium. What does not: z (`univariate`), neighbours (`spatial`).
Test to copy: `tests/anomalies/test_association_score.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.stats.robust import mad, median

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model.evidence import Association

    FloatArray = npt.NDArray[np.float64]

#: z is clipped here before it is summed
CLIP = 4.0
#: contributions are winsorised here before they are correlated
_WINSOR = 2.0
#: a set of measured elements shared by fewer samples gets the theoretical scale
_FEWEST = 50


@dataclass(frozen=True, slots=True, eq=False)
class Score:
    """Scores of one association in one medium.

    Parameters
    ----------
    values : ndarray, shape (n_samples,)
        About N(0, 1) in background; NaN where none of the elements was measured.
    elements : tuple of str
        Elements that went in.
    correlation : ndarray, shape (n_elements, n_elements)
        Robust correlation of their contributions.
    """

    values: FloatArray
    elements: tuple[str, ...]
    correlation: FloatArray


def score(
    association: Association,
    z: Mapping[str, FloatArray],
    below: Mapping[str, npt.NDArray[np.bool_]],
    weights: npt.ArrayLike | None = None,
    *,
    recentre: bool = True,
) -> Score:
    """Score one association on the samples of one medium.

    Parameters
    ----------
    association : Association
        Signed weights; elements that are not in `z` are left out.
    z : mapping of str to ndarray, shape (n_samples,)
        Robust z per element, NaN where there is none.
    below : mapping of str to ndarray of bool
        Where the empty z means "below detection" (it then counts as measured and adds nothing).
    weights : array_like, shape (n_samples,), optional
        Declustering weights, so that infill does not decide the null.
    recentre : bool, default True
        Take the median of the scores as background; not for picked rock, of which most may be
        mineralised.

    Returns
    -------
    Score
        Scores and what they were made from.
    """
    elements = tuple(
        e for e in association.weights if e in z and (np.isfinite(z[e]) | below[e]).any()
    )
    if not elements:
        n = len(next(iter(z.values()))) if z else 0
        return Score(np.full(n, np.nan), (), np.zeros((0, 0)))
    raw = np.column_stack([z[e] for e in elements])
    measured = np.isfinite(raw) | np.column_stack([below[e] for e in elements])
    weight = np.array([association.weights[e] for e in elements])
    dense = np.where(np.isfinite(raw), np.clip(raw, -CLIP, CLIP), 0.0)
    cases = np.ones(len(raw)) if weights is None else np.asarray(weights, dtype=float)
    mean, sd = _moments(raw, measured, cases)
    centred = np.where(measured, dense - mean, 0.0)
    correlation = _correlation(centred / np.where(sd > 0, sd, 1.0), measured, cases)
    total = centred @ weight
    values = np.full(len(raw), np.nan)
    # which elements were measured, as one whole number per sample
    code = measured @ (np.int64(1) << np.arange(len(elements), dtype=np.int64))
    for number in np.unique(code[code > 0]):
        rows = code == number
        pattern = measured[rows.argmax()]
        w = weight * sd * pattern
        scale = float(np.sqrt(max(w @ correlation @ w, 1e-12)))
        centre = 0.0
        if rows.sum() >= _FEWEST:
            centre = median(total[rows], cases[rows]) if recentre else 0.0
            seen = mad(total[rows], weights=cases[rows])
            if np.isfinite(seen):
                scale = max(scale, float(seen))
        values[rows] = (total[rows] - centre) / scale
    return Score(values, elements, correlation)


def _moments(
    raw: FloatArray, measured: npt.NDArray[np.bool_], cases: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Give mean and standard deviation of background contributions by normal theory.

    A standard normal of which only the part above a limit shows and the rest counts as zero has
    mean phi(c) and second moment c phi(c) + 1 - Phi(c), with c the limit as a quantile.
    """
    from scipy.special import ndtr, ndtri

    shown = np.isfinite(raw)
    known = np.maximum((cases[:, None] * measured).sum(axis=0), 1e-300)
    share = (cases[:, None] * (measured & ~shown)).sum(axis=0) / known
    c = ndtri(np.clip(share, 1e-9, 1 - 1e-9))
    density = np.exp(-0.5 * c**2) / np.sqrt(2 * np.pi)
    mean = np.where(share > 0, density, 0.0)
    second = np.where(share > 0, c * density + 1.0 - ndtr(c), 1.0)
    return mean, np.sqrt(np.maximum(second - mean**2, 1e-6))


def _correlation(
    standard: FloatArray, measured: npt.NDArray[np.bool_], cases: FloatArray
) -> FloatArray:
    x = np.where(measured, np.clip(standard, -_WINSOR, _WINSOR), 0.0)
    both = (measured * cases[:, None]).T @ measured
    mean = (cases[:, None] * x).sum(axis=0) / np.maximum(np.diag(both), 1e-300)
    x = np.where(measured, x - mean, 0.0)
    cross = (x * cases[:, None]).T @ x / np.maximum(both, 1e-300)
    spread = np.sqrt(np.maximum(np.diag(cross), 1e-12))
    r = np.clip(cross / np.outer(spread, spread), -1.0, 1.0)
    # pairs that were hardly ever measured together say nothing about correlation
    r = np.where(both < 20, 0.0, r)
    np.fill_diagonal(r, 1.0)
    value, vector = np.linalg.eigh(r)
    if value.min() < 1e-6:  # pairwise counts can spoil definiteness
        r = (vector * np.maximum(value, 1e-6)) @ vector.T
        d = np.sqrt(np.diag(r))
        r = r / np.outer(d, d)
    return r
