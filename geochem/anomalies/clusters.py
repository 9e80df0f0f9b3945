"""Groups of anomalous samples that resemble each other in many elements, numbered by rule.

Samples whose best association score reaches 3, or whose best coherence reaches 2.5, are raised.
Their log-ratios (clr) of the elements that count, each standardised by median and MAD of the
sample's own domain over all samples (so that rock types are not found again), are clipped and
turned into principal components. Three ways to part them: normal mixtures, with the number of
groups of the best integrated completed likelihood (the Bayesian information criterion plus a
penalty for groups that overlap); k-means, with that of the largest mean silhouette, one group when
it stays below 0.25; by density, which finds the number itself and leaves samples out. On request
each sample is drawn toward its nearest neighbours on the ground, so that groups hold together.
All other samples are one more group, the background.
Groups are numbered in order of descending mean of the best association score, from 1.

What lives here: clustering of one medium at a time, and the table that says what a group means.
What does not: compositions. Test to copy: `tests/anomalies/test_clusters.py`.

References: Biernacki, C., Celeux, G. and Govaert, G. 2000. IEEE Transactions on Pattern Analysis
and Machine Intelligence 22:719-725 (criterion); Rousseeuw, P. J. 1987. Journal of Computational
and Applied Mathematics 20:53-65 (silhouette, and 0.25 as no substantial structure); Campello,
R. J. G. B., Moulavi, D. and Sander, J. 2013. PAKDD, LNCS 7819:160-172 (density); Hennig, C. 2007.
Computational Statistics & Data Analysis 52:258-271 (stability by resampling, Jaccard); Hubert, L.
and Arabie, P. 1985. Journal of Classification 2:193-218 (adjusted Rand index).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall, unknown

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

#: fewer samples of a medium are not grouped
FEWEST = 60
MOST_GROUPS = 7
#: features are clipped here, in robust standard deviations
_CLIP = 5.0
#: a raised sample belongs to a group with at least this probability
_SURE = 0.6
#: |median z| from which an element drives a group
_DRIVES = 0.7
#: from here on a sample is raised
RAISED_SCORE, RAISED_COHERENCE = 3.0, 2.5
COLUMNS = (
    "group", "medium", "n", "driving", "profile", "stability", "mean_score", "agreement",
)  # fmt: skip
METHODS = ("mixtures", "k_means", "density")
#: a mean silhouette below this is no structure
_SILHOUETTE = 0.25
#: neighbours on the ground that draw a sample toward them
_NEAR = 4
_ROUNDS = 10


@dataclass(frozen=True, slots=True)
class Way:
    """How raised samples are parted.

    Parameters
    ----------
    method : {"mixtures", "k_means", "density"}, default "mixtures"
        As at the top of this file.
    most : int, default 7
        Groups at most; by density, not used.
    smallest : int, default 8
        Samples of a group at least.
    contiguity : float, default 0.0
        0: the ground does not matter; 1: a sample counts as its neighbours do. [-]
    """

    method: str = "mixtures"
    most: int = MOST_GROUPS
    smallest: int = 8
    contiguity: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what cannot be.

        Raises
        ------
        WrongCall
            With what is allowed.
        """
        if self.method not in METHODS:
            raise unknown("way of grouping", self.method, METHODS)
        if self.most < 1 or self.smallest < 3 or not 0 <= self.contiguity <= 1:
            raise WrongCall(
                f"grouping with most {self.most}, smallest {self.smallest} and contiguity "
                f"{self.contiguity}: at least 1, at least 3, and between 0 and 1 are allowed."
            )


@dataclass(frozen=True, slots=True, eq=False)
class Grouping:
    """Groups of the samples of one medium.

    Parameters
    ----------
    label : ndarray of int, shape (n_samples,)
        0, 1, ... in order of descending mean score; -1 for a raised sample that no group holds
        with probability 0.6.
    n_groups : int
        Their number.
    criterion : dict of int to float
        Integrated completed likelihood per number of groups tried, smaller is better.
    stability : ndarray, shape (n_groups,)
        Mean Jaccard similarity with the groups found in random halves. [-]
    agreement : float
        Mean adjusted Rand index of all raised samples between these groups and those found in
        random halves; NaN with one group. [-]
    """

    label: IntArray
    n_groups: int
    criterion: dict[int, float]
    stability: FloatArray
    agreement: float = float("nan")


def raised(score: FloatArray, coherence: FloatArray) -> npt.NDArray[np.bool_]:
    """Say which samples are grouped as anomalous.

    Parameters
    ----------
    score, coherence : ndarray, shape (n_samples,)
        Best of all associations; NaN is not raised.

    Returns
    -------
    ndarray of bool
        True from a score of 3 or a coherence of 2.5 on.
    """
    with np.errstate(invalid="ignore"):
        return (score >= RAISED_SCORE) | (coherence >= RAISED_COHERENCE)


def standardise(values: FloatArray, domains: npt.NDArray[np.object_]) -> FloatArray:
    """Standardise log-ratios by median and MAD of each domain.

    Parameters
    ----------
    values : ndarray, shape (n_samples, n_parts)
        Log-ratios or z; NaN counts as the domain's median.
    domains : ndarray of str, shape (n_samples,)
        Domain of each sample; domains of fewer than 30 are standardised together.

    Returns
    -------
    ndarray, shape (n_samples, n_parts)
        Clipped at 5 in size.
    """
    standard = np.zeros_like(values)
    names, code, count = np.unique(domains.astype(str), return_inverse=True, return_counts=True)
    code = np.where(count[code] >= 30, code, len(names))
    for i in np.unique(code):
        rows = code == i
        part = values[rows]
        with np.errstate(invalid="ignore", divide="ignore"):
            centre = np.nanmedian(part, axis=0)
            spread = 1.4826 * np.nanmedian(np.abs(part - centre), axis=0)
            standard[rows] = (part - centre) / np.where(spread > 0, spread, np.nan)
    return np.clip(np.nan_to_num(standard, nan=0.0), -_CLIP, _CLIP)


def group(
    standard: FloatArray,
    is_raised: npt.NDArray[np.bool_],
    score: FloatArray,
    *,
    seed: int = 1,
    way: Way | None = None,
    xy: FloatArray | None = None,
) -> Grouping:
    """Group the raised samples; the others are the background.

    Parameters
    ----------
    standard : ndarray, shape (n_samples, n_parts)
        From `standardise`, rows in a fixed order.
    is_raised : ndarray of bool, shape (n_samples,)
        From `raised`.
    score : ndarray, shape (n_samples,)
        What orders the groups; NaN counts as 0.
    seed : int, default 1
        Of the starts and of the halves.
    way : Way, optional
        How; default: by normal mixtures.
    xy : ndarray, shape (n_samples, 2), optional
        Positions, better in spacings than in metres; needed for contiguity.

    Returns
    -------
    Grouping
        The background alone where fewer than eight samples are raised.
    """
    from threadpoolctl import threadpool_limits

    mine = np.flatnonzero(is_raised)
    label = np.zeros(len(standard), dtype=np.intp)
    way = Way() if way is None else way
    if len(mine) < way.smallest:
        return Grouping(label, 1, {}, np.ones(1))
    points = _components(standard[mine])
    if way.contiguity > 0:
        if xy is None:
            raise WrongCall("contiguity needs the positions of the samples.")
        points = _drawn_together(points, xy[mine], way.contiguity)
    with threadpool_limits(limits=1):
        inner, k, criterion = _PART[way.method](points, seed, way)
        stability, agreement = _stability(points, inner, k, seed, way)
    label[:] = k  # the background comes after the groups until they are put in order
    label[mine] = inner
    if len(mine) == len(standard):
        n_groups = k
    else:
        n_groups, stability = k + 1, np.append(stability, 1.0)
    level = np.nan_to_num(score, nan=0.0)
    mean = [
        float(level[label == i].mean()) if (label == i).any() else -np.inf for i in range(n_groups)
    ]
    order = np.lexsort([np.arange(n_groups), -np.round(mean, 9)])
    rank = np.empty(n_groups, dtype=np.intp)
    rank[order] = np.arange(n_groups)
    label = np.where(label >= 0, rank[np.maximum(label, 0)], -1)
    return Grouping(label, n_groups, criterion, stability[order], agreement)


def _components(standard: FloatArray) -> FloatArray:
    """Give the two to six components that hold at least 80 % of the variance."""
    u, s, _ = np.linalg.svd(standard - standard.mean(axis=0), full_matrices=False)
    share = np.cumsum(s**2) / max(float((s**2).sum()), 1e-300)
    q = int(np.clip(np.searchsorted(share, 0.80) + 1, 2, 6))
    return u[:, :q] * s[:q]


def _drawn_together(points: FloatArray, xy: FloatArray, share: float) -> FloatArray:
    """Draw each sample toward the mean of its nearest neighbours among the raised ones."""
    from scipy.spatial import cKDTree

    k = min(_NEAR, len(xy) - 1)
    near = cKDTree(xy).query(xy, k=k + 1)[1][:, 1:]
    return np.asarray((1.0 - share) * points + share * points[near].mean(axis=1))


Parted = tuple["IntArray", int, dict[int, float]]


def _mixtures(points: FloatArray, seed: int, way: Way) -> Parted:
    criterion: dict[int, float] = {}
    best: Any = None
    for k in range(1, way.most + 1):
        if k > 1 and k * way.smallest > len(points):
            break
        mixture = _mixture(k, seed).fit(points)
        posterior = mixture.predict_proba(points)
        if k > 1 and np.bincount(posterior.argmax(axis=1), minlength=k).min() < way.smallest:
            continue
        entropy = -float((posterior * np.log(np.maximum(posterior, 1e-300))).sum())
        criterion[k] = float(mixture.bic(points)) + 2.0 * entropy
        if best is None or criterion[k] < criterion[best[0]]:
            best = (k, posterior)
    k, posterior = best
    label = np.where(posterior.max(axis=1) >= _SURE, posterior.argmax(axis=1), -1)
    return label, k, criterion


def _mixture(k: int, seed: int) -> Any:
    from sklearn.mixture import GaussianMixture

    return GaussianMixture(
        k, covariance_type="diag", reg_covar=1e-2, tol=1e-3, max_iter=200,
        n_init=5 if k > 1 else 1, random_state=seed,
    )  # fmt: skip


def _k_means(points: FloatArray, seed: int, way: Way) -> Parted:
    from sklearn.metrics import silhouette_score

    criterion: dict[int, float] = {}
    best, found = np.zeros(len(points), dtype=np.intp), 1
    part = np.linspace(0, len(points) - 1, min(len(points), 2000)).astype(np.intp)
    for k in range(2, way.most + 1):
        if k * way.smallest > len(points):
            break
        label = _means(k, seed).fit_predict(points)
        small = np.bincount(label, minlength=k).min() < way.smallest
        if small or len(np.unique(label[part])) < 2:
            continue
        # smaller is better, as for the other criteria
        criterion[k] = -float(silhouette_score(points[part], label[part]))
        if criterion[k] <= -_SILHOUETTE and criterion[k] < criterion.get(found, 0.0) - 1e-9:
            best, found = label.astype(np.intp), k
    return best, found, criterion


def _means(k: int, seed: int) -> Any:
    from sklearn.cluster import KMeans

    return KMeans(k, n_init=10, random_state=seed)


def _density(points: FloatArray, seed: int, way: Way) -> Parted:  # noqa: ARG001 - one signature
    from sklearn.cluster import HDBSCAN

    label = HDBSCAN(min_cluster_size=way.smallest, copy=True).fit_predict(points)
    k = int(label.max()) + 1
    if k == 0:  # no part is denser than the rest: one group
        return np.zeros(len(points), dtype=np.intp), 1, {}
    return label.astype(np.intp), k, {}


_PART: dict[str, Callable[[FloatArray, int, Way], Parted]] = {
    "mixtures": _mixtures, "k_means": _k_means, "density": _density,
}  # fmt: skip


def _stability(
    points: FloatArray, label: IntArray, k: int, seed: int, way: Way
) -> tuple[FloatArray, float]:
    """Group ten random halves again.

    Gives the mean Jaccard similarity of each group with its like, and the mean adjusted Rand
    index.
    """
    from sklearn.metrics import adjusted_rand_score

    if k == 1:
        return np.ones(1), float("nan")
    rng = np.random.default_rng(seed)
    total, rand, done = np.zeros(k), 0.0, 0
    for _ in range(_ROUNDS):
        half = np.sort(rng.choice(len(points), len(points) // 2, replace=False))
        if len(half) <= k:
            continue
        if way.method == "density":
            smaller = Way("density", way.most, max(way.smallest // 2, 3))
            seen, other = half, _density(points[half], 0, smaller)[0]
        elif way.method == "k_means":
            seen = np.arange(len(points))
            other = _means(k, 0).set_params(n_init=1).fit(points[half]).predict(points)
        else:
            seen = np.arange(len(points))
            other = _mixture(k, 0).set_params(n_init=1).fit(points[half]).predict(points)
        own = label[seen]
        for i in range(k):
            mine = own == i
            total[i] += max(
                (mine & (other == j)).sum() / max((mine | (other == j)).sum(), 1)
                for j in np.unique(other)
            )
        rand += float(adjusted_rand_score(own, other))
        done += 1
    return total / max(done, 1), rand / done if done else float("nan")


def describe(
    medium: str,
    grouping: Grouping,
    z: Mapping[str, FloatArray],
    score: FloatArray,
    first: int,
) -> pd.DataFrame:
    """Say what each group means.

    Parameters
    ----------
    medium : str
        Whose samples.
    grouping : Grouping
        From `group`.
    z : mapping of str to ndarray, shape (n_samples,)
        Per element; an empty z (below detection) counts as 0.
    score : ndarray, shape (n_samples,)
        What ordered the groups.
    first : int
        Number of the first group.

    Returns
    -------
    pandas.DataFrame
        Columns `COLUMNS`; `driving` names elements whose median z reaches 0.7 in size, strongest
        first, with their direction ("Cu+ Mo+ Mn-"), or "background".
    """
    import pandas as pd

    rows = []
    for i in range(grouping.n_groups):
        mine = grouping.label == i
        level = {
            e: float(np.median(np.nan_to_num(v[mine], nan=0.0))) if mine.any() else 0.0
            for e, v in z.items()
        }
        order = sorted(level, key=lambda e: (-round(abs(level[e]), 6), e))
        driving = [f"{e}{'+' if level[e] > 0 else '-'}" for e in order if abs(level[e]) >= _DRIVES]
        rows.append(
            {
                "group": first + i,
                "medium": medium,
                "n": int(mine.sum()),
                "driving": " ".join(driving) or "background",
                "profile": ", ".join(f"{e} {level[e]:+.1f}" for e in order[:8]),
                "stability": round(float(grouping.stability[i]), 3),
                "mean_score": round(float(np.nanmean(score[mine])) if mine.any() else 0.0, 3),
                "agreement": round(float(grouping.agreement), 3),
            }
        )
    return pd.DataFrame(rows, columns=list(COLUMNS))


def no_groups() -> pd.DataFrame:
    """Give the table of groups without rows."""
    import pandas as pd

    kinds = {"group": "int64", "n": "int64", "stability": float, "mean_score": float,
             "agreement": float}  # fmt: skip
    return pd.DataFrame(
        {c: pd.Series(dtype=kinds.get(c, object)) for c in COLUMNS}  # type: ignore[call-overload]
    )
