"""Rank targets by a weighted mean of visible criteria, with Monte-Carlo intervals of the ranks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall
from geochem.targets.ranking import CRITERIA_COLUMNS, Ranking

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    FloatArray = npt.NDArray[np.float64]


class WeightedCriteria:
    """Weighted mean of criteria scaled to 0-1, times 100.

    A criterion that cannot be judged (NaN) has no part in the mean. The interval of a rank is the
    5th to 95th percentile of the ranks over draws in which every scaled criterion is moved by its
    own uncertainty and every weight by a factor.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({
    ...     "target": ["a", "b"], "criterion": ["strength"] * 2, "value": [9.0, 4.0],
    ...     "scaled": [0.9, 0.4], "spread": [0.01, 0.01], "statement": ["", ""]})
    >>> WeightedCriteria().rank(table).target
    ('a', 'b')
    """

    name = "weighted_criteria"
    summary = "Weighted mean of visible criteria; ranks with intervals by simulation."
    reference = "common practice, no source"

    def rank(
        self,
        targets: Any,  # a pandas.DataFrame; hints of a method are read at run time
        *,
        strength: float = 8.0,
        coherence: float = 2.0,
        support: float = 2.0,
        zoning: float = 0.5,
        laboratory: float = 1.5,
        size: float = 0.5,
        quality: float = 1.0,
        closed: float = 0.5,
        rock_chips: float = 1.0,
        drilled: float = 0.5,
        cover: float = 0.5,
        workings: float = 1.0,
        slope: float = 0.5,
        keep_out: float = 0.5,
        access: float = 0.25,
        explanation: float = 2.0,
        draws: int = 1000,
        weight_spread: float = 0.25,
        seed: int = 1,
    ) -> Ranking:
        """Rank targets.

        Parameters
        ----------
        targets : pandas.DataFrame
            ``target, criterion, value, scaled, spread, statement``: one row per target and
            criterion.
        strength, coherence, support, zoning, laboratory, size, quality, closed, rock_chips, \
drilled, cover, workings, slope, keep_out, access, explanation : float
            Weights, not negative; the defaults are common practice, no source.
        draws : int, default 1000
            Of the simulation.
        weight_spread : float, default 0.25
            Standard deviation of the logarithm of a weight.
        seed : int, default 1
            Of the simulation.

        Returns
        -------
        Ranking
            Best first; equal scores in order of name.

        Raises
        ------
        WrongCall
            If a weight is negative, all are zero, or a column is missing.
        """
        weights = {
            "strength": strength, "coherence": coherence, "support": support, "zoning": zoning,
            "laboratory": laboratory, "size": size, "quality": quality, "closed": closed,
            "rock_chips": rock_chips, "drilled": drilled, "cover": cover, "workings": workings,
            "slope": slope, "keep_out": keep_out, "access": access, "explanation": explanation,
        }  # fmt: skip
        _check(targets, weights, draws, weight_spread)
        names = sorted(set(targets["target"]))
        used = [c for c in weights if (targets["criterion"] == c).any()]
        scaled, spread = _square(targets, names, used)
        w = np.array([weights[c] for c in used], dtype=float)
        score = _score(scaled, w)
        drawn = _drawn_ranks(scaled, spread, w, names, draws, weight_spread, seed)
        low, high = np.quantile(drawn, [0.05, 0.95], axis=0, method="nearest")
        order = np.lexsort([np.arange(len(names)), -np.round(score, 6)])
        rank = np.empty(len(names), dtype=np.intp)
        rank[order] = np.arange(1, len(names) + 1)
        # the interval holds the rank itself
        low, high = np.minimum(low, rank), np.maximum(high, rank)
        return Ranking(
            target=tuple(names[i] for i in order),
            score=100.0 * score[order],
            rank_low=low[order].astype(np.intp),
            rank_high=high[order].astype(np.intp),
            weights={c: weights[c] for c in used},
            method=self.name,
            reference=self.reference,
            parameters={"draws": draws, "weight_spread": weight_spread, "seed": seed},
            n_used=draws,
        )


def _check(
    targets: pd.DataFrame, weights: dict[str, float], draws: int, weight_spread: float
) -> None:
    missing = [c for c in CRITERIA_COLUMNS if c not in targets.columns]
    if missing:
        raise WrongCall(
            f"the table of criteria lacks {', '.join(missing)}; "
            f"it needs {', '.join(CRITERIA_COLUMNS)}."
        )
    negative = [f"{c} = {w}" for c, w in weights.items() if not w >= 0]
    if negative or not any(w > 0 for w in weights.values()):
        raise WrongCall(
            f"weights must not be negative, and one must be above zero; got "
            f"{', '.join(negative) or 'only zeros'}."
        )
    if draws < 1 or weight_spread < 0:
        raise WrongCall(
            f"draws is {draws} and weight_spread {weight_spread}; use 1 and 0 or more."
        )


def _square(
    targets: pd.DataFrame, names: list[str], used: list[str]
) -> tuple[FloatArray, FloatArray]:
    row = {n: i for i, n in enumerate(names)}
    column = {c: j for j, c in enumerate(used)}
    scaled = np.full((len(names), len(used)), np.nan)
    spread = np.zeros_like(scaled)
    for target, criterion, value, deviation in zip(
        targets["target"], targets["criterion"], targets["scaled"], targets["spread"], strict=True
    ):
        if criterion in column:
            scaled[row[target], column[criterion]] = value
            spread[row[target], column[criterion]] = deviation
    return scaled, spread


def _score(scaled: FloatArray, weights: FloatArray) -> FloatArray:
    """Average what can be judged; shapes (..., n, c) and (..., c)."""
    known = np.isfinite(scaled)
    weight = known * weights[..., None, :]
    total = weight.sum(axis=-1)
    return np.divide(
        (np.where(known, scaled, 0.0) * weight).sum(axis=-1),
        total,
        out=np.zeros_like(total, dtype=float),
        where=total > 0,
    )


def _drawn_ranks(
    scaled: FloatArray,
    spread: FloatArray,
    weights: FloatArray,
    names: list[str],
    draws: int,
    weight_spread: float,
    seed: int,
) -> npt.NDArray[np.intp]:
    rng = np.random.default_rng([seed, 331])
    factor = np.exp(weight_spread * rng.standard_normal((draws, len(weights))))
    # moved values are clipped below zero and above one only in the mean's limits
    moved = scaled[None] + spread[None] * rng.standard_normal((draws, *scaled.shape))
    score = np.round(_score(moved, weights[None] * factor), 9)
    order = np.argsort(-score, axis=1, kind="stable")
    ranks = np.empty((draws, len(names)), dtype=np.intp)
    np.put_along_axis(ranks, order, np.arange(1, len(names) + 1)[None, :], axis=1)
    return ranks
