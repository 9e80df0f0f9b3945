"""Gold and other laboratory-only elements, predicted where only portable XRF has been.

The logarithm of the laboratory value is regressed (ridge) on the robust scores of the densely read
elements, on the samples that have both. Values below detection count as the mean of the normal
population under their limit. Skill is measured in blocks of ground that were left out, because a
neighbour would give the answer away. A proxy is used only where the skill and its lower bound
reach a stated bar; it is evidence, named proxy, with its interval; it enters no score, no rank and
no threshold, and never stands where a measurement is missing.

What lives here: which elements are tried, skill, use. What does not: the regression
(`stats.ridge`). Test to copy: `tests/anomalies/test_proxy.py`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import element_rank
from geochem.model.evidence import Proxy
from geochem.stats.censored_normal import mean_below
from geochem.stats.cross_validation import ground_folds
from geochem.stats.ridge import ridge

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.anomalies.gates import Gate
    from geochem.model.tables import Values

    FloatArray = npt.NDArray[np.float64]
    Mask = npt.NDArray[np.bool_]

#: share of the variance of log10 that must be predicted in blocks left out, and its lower bound
BAR, BAR_LOW = 0.40, 0.20
#: samples with both, detected ones among them, and predictors
FEWEST, FEWEST_DETECTED, FEWEST_PREDICTORS = 60, 30, 5
#: an element the laboratory measured in more of the samples needs no proxy
DENSE = 0.80
N_FOLDS = 5
_BLOCKS_ACROSS = 8
_DRAWS = 300
_ROUNDS = 4
_CLIP = 5.0
#: 80 % interval in standard deviations
_WIDE = 1.2815515655446004


def predict_laboratory(
    ids: npt.NDArray[np.object_],
    media: npt.NDArray[np.object_],
    xy: FloatArray,
    values: Mapping[str, Values],
    dense: Mapping[str, FloatArray],
    gate: Mapping[tuple[str, str], Gate],
    wanted: Collection[str],
    *,
    seed: int = 1,
) -> tuple[Proxy, ...]:
    """Try every element that only the laboratory measured, and only in some samples.

    Parameters
    ----------
    ids, media : ndarray of str, shape (n,)
        Samples in order of their ids.
    xy : ndarray, shape (n, 2)
        Easting and northing. [m]
    values : mapping of str to Values
        Accepted values per element. [mg/kg]
    dense : mapping of str to ndarray, shape (n,)
        Robust z of the mostly detected elements, NaN where there is none.
    gate : mapping of (str, str) to Gate
        Where accepted values come from.
    wanted : collection of str
        Elements that count; others are not tried.
    seed : int, default 1
        Of the resampled blocks.

    Returns
    -------
    tuple of Proxy
        By medium and atomic number, used or not, each with the reason.
    """
    out = []
    for medium, element in sorted(gate, key=lambda k: (k[0], element_rank(k[1]))):
        g = gate[medium, element]
        rows = np.flatnonzero(media == medium)
        known = g.usable[rows]
        if (
            g.source != "laboratory" or not g.open or medium == "rock" or element not in values
            or known.mean() > DENSE or element not in wanted
        ):  # fmt: skip
            continue
        names = [
            e
            for e in dense
            if e != element
            and (medium, e) in gate
            and gate[medium, e].source != "laboratory"
            and np.isfinite(dense[e][rows]).mean() >= 0.95
        ]
        x = np.column_stack([dense[e][rows] for e in names]) if names else np.empty((len(rows), 0))
        complete = np.asarray(np.isfinite(x).all(axis=1))
        v = values[element]
        out.append(
            _one(
                medium, element, tuple(names), ids[rows], xy[rows], np.clip(x, -_CLIP, _CLIP),
                v.value[rows], v.below[rows], np.asarray(known & complete & (v.value[rows] > 0)), complete,
                known, seed,
            )
        )  # fmt: skip
    return tuple(out)


def _one(
    medium: str, element: str, names: tuple[str, ...], ids: npt.NDArray[np.object_],
    xy: FloatArray, x: FloatArray, value: FloatArray, below: Mask, shared: Mask, complete: Mask,
    measured: Mask, seed: int,
) -> Proxy:  # fmt: skip
    n = int(shared.sum())
    detected = int((shared & ~below).sum())
    nan = float("nan")

    def unused(reason: str, skill: float = nan, low: float = nan, error: float = nan) -> Proxy:
        return Proxy(
            medium, element, names, n, skill, low, BAR, used=False, error=error,
            sample_id=np.array([], dtype=object), value=np.array([]), low=np.array([]),
            high=np.array([]), reason=reason,
        )  # fmt: skip

    if n < FEWEST or detected < FEWEST_DETECTED or len(names) < FEWEST_PREDICTORS:
        return unused(
            f"{n} samples have both ({detected} detected) and {len(names)} elements predict; at "
            f"least {FEWEST}, {FEWEST_DETECTED} and {FEWEST_PREDICTORS} are needed"
        )
    log, hidden = np.log10(value[shared]), below[shared]
    a, where = x[shared], xy[shared]
    side = max(float(np.sqrt(np.prod(np.ptp(where, axis=0)))) / _BLOCKS_ACROSS, 1.0)
    fold = ground_folds(where, side, N_FOLDS)
    if len(np.unique(fold)) < N_FOLDS:
        return unused("the shared samples do not fill enough blocks of ground")
    # what cannot even be fitted need not be tried on ground left out
    fit, guess = _fit(a, log, hidden)
    own, usual = _miss(log, fit(a), hidden), _miss(log, np.full(n, guess.mean()), hidden)
    most = 1.0 - float((own**2).sum() / max((usual**2).sum(), 1e-300))
    if most < BAR:
        return unused(
            f"{100 * most:.0f} % of the variance at most are explained, in the very samples "
            f"learned from; {100 * BAR:.0f} % are asked in blocks left out"
        )
    error, plain = np.empty(n), np.empty(n)
    for k in range(N_FOLDS):
        out = fold == k
        one, guess = _fit(a[~out], log[~out], hidden[~out])
        error[out] = _miss(log[out], one(a[out]), hidden[out])
        plain[out] = _miss(log[out], np.full(out.sum(), guess.mean()), hidden[out])
    skill = 1.0 - float((error**2).sum() / max((plain**2).sum(), 1e-300))
    low = _lower(error, plain, where, side, seed)
    spread = float(np.sqrt(np.mean(error[~hidden] ** 2)))
    said = (
        f"{100 * skill:.0f} % of the variance predicted in blocks of {side:.0f} m left out (lower "
        f"bound {100 * low:.0f} %; {100 * BAR:.0f} and {100 * BAR_LOW:.0f} % are asked)"
    )
    if skill < BAR or low < BAR_LOW:
        return unused(said, skill, low, spread)
    wanted = np.flatnonzero(complete & ~measured & _inside(a, x))
    middle = fit(x[wanted])
    return Proxy(
        medium, element, names, n, skill, low, BAR, True, spread, ids[wanted],  # noqa: FBT003
        10.0**middle, 10.0 ** (middle - _WIDE * spread), 10.0 ** (middle + _WIDE * spread),
        said,
        {"block_m": side, "folds": N_FOLDS, "detected": detected, "bar_low": BAR_LOW,
         "left_out": int((complete & ~measured).sum()) - len(wanted),
         "reference": "Roberts et al. 2017, Ecography 40:913-929 (blocks left out)"},
    )  # fmt: skip


def _fit(a: FloatArray, log: FloatArray, hidden: Mask):  # type: ignore[no-untyped-def]
    """Fit the logarithm, values below detection at their expected place; give the prediction."""
    y = log.copy()
    y[hidden] -= 0.3
    for _ in range(_ROUNDS):
        fitted = ridge(a, y)
        predicted = fitted.predict(a)
        sd = max(float(np.sqrt(np.mean((y - predicted)[~hidden] ** 2))), 1e-3)
        if not hidden.any():
            break
        y[hidden] = mean_below(predicted[hidden], sd, log[hidden])
    return fitted.predict, y


def _miss(log: FloatArray, predicted: FloatArray, hidden: Mask) -> FloatArray:
    """Give the error; below detection only what is predicted above the limit is wrong."""
    error = log - predicted
    return np.where(hidden, np.minimum(error, 0.0), error)


def _lower(error: FloatArray, plain: FloatArray, xy: FloatArray, side: float, seed: int) -> float:
    """Give the 5 % quantile of the skill over blocks drawn with replacement."""
    cell = np.floor((xy - xy.min(axis=0)) / side).astype(np.intp)
    _, block = np.unique(cell, axis=0, return_inverse=True)
    m = int(block.max()) + 1
    own = np.bincount(block.ravel(), weights=error**2, minlength=m)
    reference = np.bincount(block.ravel(), weights=plain**2, minlength=m)
    pick = np.random.default_rng([seed, 41]).integers(0, m, (_DRAWS, m))
    skill = 1.0 - own[pick].sum(axis=1) / np.maximum(reference[pick].sum(axis=1), 1e-300)
    return float(np.quantile(skill, 0.05))


def _inside(a: FloatArray, x: FloatArray) -> Mask:
    """Say which rows lie no farther out than 99 in 100 of those learned from."""
    centre, spread = a.mean(axis=0), a.std(axis=0)
    spread = np.where(spread > 0, spread, 1.0)
    z = (a - centre) / spread
    precision = np.linalg.pinv(z.T @ z / len(z) + 0.05 * np.eye(a.shape[1]))
    far = np.einsum("ij,jk,ik->i", z, precision, z)
    new = np.nan_to_num((x - centre) / spread, nan=1e6)
    return np.asarray(np.einsum("ij,jk,ik->i", new, precision, new) <= np.quantile(far, 0.99))
