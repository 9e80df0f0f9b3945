"""Elements that go together in these data, shown beside the presets and never among them.

Log-ratios (clr), standardised by median and MAD of each domain and clipped at three, are turned
into principal components; those above the components of shuffled columns are rotated (varimax),
so that each has few elements. Small loadings are left out. What is found is offered for
`[targets] association`; targets never use it by themselves, because elements go together for many
reasons of which mineralisation is one.

What lives here: finding and naming, stability by resampling, how the score would behave. What does
not: the score (`association_score`), the mathematics (`stats.rotation`).
Test to copy: `tests/anomalies/test_learned_associations.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import element_rank
from geochem.model.evidence import Association, FoundAssociation
from geochem.stats.rotation import congruence, parallel_analysis, rotated

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

#: fewer samples or elements are not looked at
FEWEST, FEWEST_ELEMENTS = 60, 5
MOST = 6
#: a loading below this, in size, is left out
SMALL = 0.4
#: an association that resampling does not find again to this congruence is not reported
STABLE = 0.85
_CLIP = 3.0
_ROUNDS = 30
#: a preset this near (cosine of the weights) is named
_LIKE = 0.6


def learn(
    medium: str, elements: Sequence[str], standard: FloatArray, presets: Sequence[Association],
    *, seed: int = 1,
) -> list[FoundAssociation]:  # fmt: skip
    """Find elements that go together.

    Parameters
    ----------
    medium : str
        Whose samples.
    elements : sequence of str
        Columns.
    standard : ndarray, shape (n_samples, n_elements)
        Log-ratios standardised by domain, rows in a fixed order.
    presets : sequence of Association
        To name the one it resembles.
    seed : int, default 1
        Of shuffling and resampling.

    Returns
    -------
    list of FoundAssociation
        Those that resampling finds again, most of the variance first; scores are not filled in.
    """
    n, p = standard.shape
    if n < FEWEST or p < FEWEST_ELEMENTS:
        return []
    order = sorted(range(p), key=lambda j: element_rank(elements[j]))
    names = [elements[j] for j in order]
    x = np.clip(standard[:, order], -_CLIP, _CLIP)
    x = x - x.mean(axis=0)
    spread = x.std(axis=0)
    live = spread > 0
    if live.sum() < FEWEST_ELEMENTS:
        return []
    names = [e for e, there in zip(names, live, strict=True) if there]
    x = x[:, live] / spread[live]
    number, seen, by_chance = parallel_analysis(x, seed=seed)
    number = min(number, MOST, len(names) // 2)
    if number < 1:
        return []
    loading = rotated(x.T @ x / n, number)
    again = _again(x, loading, seed)
    found = []
    for j in range(number):
        weight = np.where(np.abs(loading[:, j]) >= SMALL, loading[:, j], 0.0)
        if np.count_nonzero(weight) < 2 or again[j] < STABLE:
            continue
        if (weight < 0).all():
            weight = -weight
        elif (weight < 0).any():
            weight = weight * _direction(x @ weight)
        kept = np.flatnonzero(weight)
        top = float(np.abs(weight).max())
        weights = {names[k]: round(float(weight[k]) / top, 2) for k in kept}
        name = _name(weights)
        found.append(
            FoundAssociation(
                Association(
                    name, f"Found in these data: {_text(weights)}", weights, tuple(weights), (),
                    "principal components of the log-ratios of these samples, rotated",
                ),
                medium, n, float((loading[:, j] ** 2).sum() / len(names)), float(again[j]),
                float(seen[j]), float(by_chance[j]), _resembles(weights, presets),
            )
        )  # fmt: skip
    return found


def _again(x: FloatArray, loading: FloatArray, seed: int) -> FloatArray:
    """Give the median congruence of each component with its like in resampled data."""
    rng = np.random.default_rng([seed, 29])
    n = len(x)
    best = np.empty((_ROUNDS, loading.shape[1]))
    for i in range(_ROUNDS):
        y = x[np.sort(rng.integers(0, n, n))]
        y = y - y.mean(axis=0)
        spread = y.std(axis=0)
        y = y / np.where(spread > 0, spread, 1.0)
        other = rotated(y.T @ y / n, loading.shape[1])
        best[i] = np.abs(congruence(loading, other)).max(axis=1)
    return np.asarray(np.median(best, axis=0))


def _direction(score: FloatArray) -> float:
    """Turn an association of both signs to the side on which its samples reach farther out."""
    middle = np.median(score)
    low, high = np.quantile(score, [0.01, 0.99]) - middle
    return -1.0 if round(float(high + low), 9) < 0 else 1.0


def _text(weights: dict[str, float]) -> str:
    order = sorted(weights, key=lambda e: (-abs(weights[e]), element_rank(e)))
    return " ".join(f"{e}{'+' if weights[e] > 0 else '-'}" for e in order)


def _name(weights: dict[str, float]) -> str:
    order = sorted(weights, key=lambda e: (weights[e] < 0, -abs(weights[e]), element_rank(e)))
    return "found_" + "_".join(order[:3])


def _resembles(weights: dict[str, float], presets: Sequence[Association]) -> str:
    best, name = _LIKE, ""
    for a in presets:
        used = {e: a.weights[e] for e in (a.used or a.weights)}
        inner = sum(w * used.get(e, 0.0) for e, w in weights.items())
        size = np.sqrt(sum(w * w for w in weights.values()) * sum(w * w for w in used.values()))
        if size > 0 and inner / size > best + 1e-9:
            best, name = float(inner / size), a.name
    return name


def clumping(score: FloatArray, easting: FloatArray, northing: FloatArray) -> tuple[int, float]:
    """Say how many samples stand out in a score and how much they stand together.

    Parameters
    ----------
    score : ndarray, shape (n,)
        Calibrated, about N(0, 1) in background.
    easting, northing : ndarray, shape (n,)
        Where. [m]

    Returns
    -------
    beyond : int
        Samples at 3 or more; about one in 740 in background.
    clumped : float
        How many times more often a sample at 2 or more has another such among its four nearest
        than if they stood anywhere; NaN with fewer than ten of them.
    """
    from scipy.spatial import cKDTree

    with np.errstate(invalid="ignore"):
        beyond, high = int((score >= 3.0).sum()), score >= 2.0
    share = float(high.mean())
    if high.sum() < 10 or len(score) < 20:
        return beyond, float("nan")
    xy = np.column_stack([easting, northing])
    near = cKDTree(xy).query(xy[high], k=5)[1][:, 1:]
    return beyond, float(high[near].mean() / share)
