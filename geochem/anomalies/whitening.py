"""One calibrated score per association, with the background's own ways taken out.

In background the elements go up and down together: iron and manganese oxides take up arsenic,
cobalt and zinc, mafic rock carries nickel, chromium and copper, quartz dilutes everything. A
plain weighted sum is fooled by all of that. Of all linear scores the one that tells a signature
``s`` best from background with covariance ``C`` is ``C^-1 s`` (the matched filter; in two groups
it is the linear discriminant of Fisher 1936, Annals of Eugenics 7:179-188): what the background
does by itself costs nothing, what it does not do counts. ``s`` is the sought rise of each element
in spreads of its background: the weights of the association are taken as rises of the logarithm.

``C`` is measured where it is needed, on departures filtered to the size of a halo, and robustly,
so that mineralised ground counts little; it is widened by a share of its mean variance, so that
nothing small is trusted. What looks like a coating or another rock is told apart afterwards
(`rivals`): taking its ways out of the score hid weak halos on simulated surveys. Elements that
only some samples have (a laboratory's gold) add what the dense elements do not say already, in
proportion to how much that tells.

What lives here: scores of one medium. What does not: departures (`residuals`), neighbours
(`spatial`). Test to copy: `tests/anomalies/test_whitening.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.anomalies.residuals import Residuals
from geochem.stats.robust import mad, median

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model.evidence import Association

    FloatArray = npt.NDArray[np.float64]

#: share of the mean variance that is added to every element (chosen on simulated surveys)
FLOOR = 0.8
#: the same for what sparse elements are weighed against: single samples, not halos
FLOOR_SINGLE = 0.15
#: the weights of an association are judgements: standard deviation of their logarithm, and how
#: many are drawn
WEIGHT_DOUBT, DRAWS = 0.35, 40
#: departures are drawn in to this before they are correlated
_WINSOR = 2.5
#: fewer dense elements, or samples, cannot be whitened
FEWEST_ELEMENTS, FEWEST_SAMPLES = 3, 60
#: an element known in fewer samples adds nothing to the others
FEWEST_SPARSE = 50


@dataclass(frozen=True, slots=True, eq=False)
class Whitened:
    """Scores of one association in one medium.

    Parameters
    ----------
    values : ndarray, shape (n_samples,)
        About N(0, 1) in background; dense and sparse elements together.
    elements : tuple of str
        Elements of the association that went in.
    dense, sparse : ndarray, shape (n_samples,)
        What the dense elements say, and what the sparse ones say beyond them, each about N(0, 1)
        in background; `sparse` is NaN where none is known.
    ratio : ndarray, shape (n_samples,)
        How much more the sparse elements of a sample tell than the dense ones: the ratio of their
        squared distances between signature and background. [-]
    noise : ndarray, shape (n_samples,)
        Standard deviation of `dense` from measurement and from what may stand behind limits.
    vectors : ndarray, shape (1 + n_draws, n_elements)
        `dense` is ``departures @ vectors[0]`` up to a constant; the others belong to weights
        drawn around those of the association.
    """

    values: FloatArray
    elements: tuple[str, ...]
    dense: FloatArray
    sparse: FloatArray
    ratio: FloatArray
    noise: FloatArray
    vectors: FloatArray


def can_be_whitened(residuals: Residuals) -> bool:
    """Say whether there are elements and samples enough."""
    n, m = residuals.values.shape
    return m >= FEWEST_ELEMENTS and n >= FEWEST_SAMPLES


def signature(
    weights: Mapping[str, float], residuals: Residuals, *, strong: bool = False
) -> FloatArray:
    """Give the sought rise of each dense element, in spreads of its background.

    Parameters
    ----------
    weights : mapping of str to float
        Signed rise of the logarithm; only the proportions matter.
    residuals : Residuals
        Spreads, and how much of a rise detection limits let through.
    strong : bool, default False
        Of a rise so strong that it lifts every value over its limit.

    Returns
    -------
    ndarray, shape (n_elements,)
        0 for what is not in `weights`.
    """
    w = np.array([weights.get(e, 0.0) for e in residuals.elements])
    rise = w / np.where(residuals.size > 0, residuals.size, np.inf)
    return rise if strong else rise * residuals.shown


def robust_covariance(values: FloatArray) -> FloatArray:
    """Estimate a covariance from drawn-in values: median and MAD, and their correlation."""
    centre = np.median(values, axis=0)
    spread = 1.4826 * np.median(np.abs(values - centre), axis=0)
    spread = np.where(spread > 1e-9, spread, np.maximum(values.std(axis=0), 1e-9))
    drawn = np.clip((values - centre) / spread, -_WINSOR, _WINSOR)
    drawn = drawn - drawn.mean(axis=0)
    length = np.sqrt((drawn**2).sum(axis=0))
    r = (drawn.T @ drawn) / np.outer(length, length)
    return r * np.outer(spread, spread)


def background_covariance(residuals: Residuals) -> FloatArray:
    """Give the covariance that scores are whitened with.

    Parameters
    ----------
    residuals : Residuals
        Departures.

    Returns
    -------
    ndarray, shape (n_elements, n_elements)
        Of halo-sized means.
    """
    n, m = residuals.values.shape
    c = robust_covariance(residuals.halo)
    mean = float(np.trace(c)) / m
    # of few samples the covariance is hardly known
    return c + (FLOOR + m / n) * mean * np.eye(m)


def whitened_scores(
    associations: Sequence[Association],
    residuals: Residuals,
    sparse: Mapping[str, tuple[FloatArray, float]],
    weights: FloatArray,
    *,
    seed: int = 1,
) -> dict[str, Whitened]:
    """Score the samples of one medium for every association.

    Parameters
    ----------
    associations : sequence of Association
        Signed weights.
    residuals : Residuals
        Of the densely measured elements.
    sparse : mapping of str to (ndarray of shape (n_samples,), float)
        z of elements that only a part of the samples has, NaN elsewhere, and the spread of their
        background. [log10 units]
    weights : ndarray, shape (n_samples,)
        Declustering weights.
    seed : int, default 1
        Of the drawn weights.

    Returns
    -------
    dict of str to Whitened
        By name of the association.
    """
    z = residuals.values
    n, m = z.shape
    inverse: FloatArray = np.asarray(np.linalg.inv(background_covariance(residuals)))
    spread = robust_covariance(z)
    own = spread + (FLOOR_SINGLE + m / n) * np.eye(m)
    inverse_own = np.linalg.inv(own)
    extra = _Extra(z, sparse)
    out: dict[str, Whitened] = {}
    for a in associations:
        s = signature(a.weights, residuals)
        dense = tuple(e for e, v in zip(residuals.elements, s, strict=True) if v != 0)
        score, scale = _calibrated(z @ (inverse @ s), weights) if dense else (np.zeros(n), 1.0)
        vectors = _vectors(a, residuals, inverse, spread, seed) / scale
        noise = np.zeros(n)
        if residuals.doubt.size:
            noise = np.sqrt(residuals.doubt**2 @ vectors[0] ** 2)
        tells = np.full(n, float(s @ inverse_own @ s) if dense else 0.0)
        more, more_tells, named = extra.score(a, s)
        total = np.sqrt(tells + more_tells)
        with np.errstate(invalid="ignore", divide="ignore"):
            both = (np.sqrt(tells) * score + np.sqrt(more_tells) * more) / total
            ratio = more_tells / np.maximum(tells, 1e-6 * np.max(more_tells, initial=1e-6))
        out[a.name] = Whitened(
            np.where(total > 0, both, np.nan),
            (*dense, *(e for e in named if e not in dense)),
            score,
            np.where(more_tells > 0, more, np.nan),
            ratio,
            noise,
            vectors,
        )
    return out


def _calibrated(raw: FloatArray, weights: FloatArray) -> tuple[FloatArray, float]:
    scale = float(mad(raw, weights=weights)) or 1.0
    return (raw - median(raw, weights)) / scale, scale


def _vectors(
    association: Association,
    residuals: Residuals,
    inverse: FloatArray,
    spread: FloatArray,
    seed: int,
) -> FloatArray:
    """Give the vector of a score, and those of drawn weights brought to the same spread."""
    drawn = np.random.default_rng([seed, *association.name.encode()])
    given = signature(association.weights, residuals)
    factor = np.exp(WEIGHT_DOUBT * drawn.standard_normal((DRAWS, len(given))))
    every = np.vstack([given, given * factor]) @ inverse
    size = np.sqrt(np.einsum("km,mj,kj->k", every, spread, every))
    size = np.where(size > 0, size, 1.0)
    return every * (size[0] / size)[:, None]


class _Extra:
    """What sparse elements say beyond the dense ones: residuals of a ridge regression."""

    def __init__(self, dense: FloatArray, sparse: Mapping[str, tuple[FloatArray, float]]) -> None:
        self.elements = tuple(e for e, (v, _) in sparse.items() if self._enough(v))
        self.n = len(dense)
        if not self.elements:
            return
        raw = np.column_stack([sparse[e][0] for e in self.elements])
        self.size = np.array([sparse[e][1] for e in self.elements])
        self.known = np.isfinite(raw)
        z = np.clip(np.nan_to_num(raw), -4.0, 4.0)
        x = np.clip(dense, -3.0, 3.0)
        self.slope = np.zeros((dense.shape[1], len(self.elements)))
        left = np.zeros_like(z)
        spread = np.ones(len(self.elements))
        for j in range(len(self.elements)):
            rows = self.known[:, j]
            own = x[rows]
            self.slope[:, j] = np.linalg.solve(
                own.T @ own + 20.0 * np.eye(own.shape[1]), own.T @ np.clip(z[rows, j], -3.0, 3.0)
            )
            rest = z[rows, j] - own @ self.slope[:, j]
            spread[j] = max(mad(rest), 0.3)
            left[rows, j] = np.clip((rest - median(rest)) / spread[j], -4.0, 4.0)
        self.left, self.spread = left, spread
        both = self.known.T.astype(float) @ self.known
        drawn = np.clip(left, -2.0, 2.0)
        cross = drawn.T @ drawn / np.maximum(both, 1.0)
        length = np.sqrt(np.maximum(np.diag(cross), 1e-9))
        r = np.where(both >= FEWEST_SPARSE, cross / np.outer(length, length), 0.0)
        self.correlation = 0.85 * r + 0.15 * np.eye(len(r))
        np.fill_diagonal(self.correlation, 1.0)

    @staticmethod
    def _enough(values: FloatArray) -> bool:
        return int(np.isfinite(values).sum()) >= FEWEST_SPARSE

    def score(
        self, association: Association, s: FloatArray
    ) -> tuple[FloatArray, FloatArray, tuple[str, ...]]:
        """Score the sparse elements of one association, and say how much they tell."""
        mine = [j for j, e in enumerate(self.elements) if association.weights.get(e, 0.0) != 0]
        score, tells = np.zeros(self.n), np.zeros(self.n)
        if not mine:
            return score, tells, ()
        w = np.array([association.weights[self.elements[j]] for j in mine]) / self.size[mine]
        sought = (w - s @ self.slope[:, mine]) / self.spread[mine]
        known = self.known[:, mine]
        code = known @ (np.int64(1) << np.arange(len(mine), dtype=np.int64))
        for number in np.unique(code[code > 0]):
            rows = np.flatnonzero(code == number)
            part = np.flatnonzero(known[rows[0]])
            if not len(part):
                continue
            at = [mine[p] for p in part]
            inverse = np.linalg.inv(self.correlation[at][:, at])
            direction = inverse @ sought[part]
            much = float(sought[part] @ direction)
            if much <= 0:
                continue
            raw = self.left[rows][:, at] @ direction
            scale = mad(raw) if len(rows) >= FEWEST_SPARSE else np.sqrt(much)
            score[rows] = raw / max(float(scale), 1e-9)
            tells[rows] = much
        return score, tells, tuple(self.elements[j] for j in mine)
