import numpy as np
import pandas as pd
import pytest

from geochem import plugins
from geochem.errors import WrongCall
from geochem.targets.ranking import checked_ranking
from geochem.targets.weighted_criteria import WeightedCriteria


def table(rows, spread=0.05):
    return pd.DataFrame(
        [
            {"target": t, "criterion": c, "value": v, "scaled": v, "spread": spread,
             "statement": ""}
            for t, values in rows.items() for c, v in values.items()
        ]
    )  # fmt: skip


def test_score_is_the_weighted_mean_by_hand():
    given = table({"a": {"strength": 0.8, "access": 0.2}, "b": {"strength": 0.2, "access": 1.0}})
    ranking = WeightedCriteria().rank(given, strength=3.0, access=1.0)
    assert ranking.target == ("a", "b")
    assert ranking.score == pytest.approx([100 * (2.4 + 0.2) / 4, 100 * (0.6 + 1.0) / 4])
    turned = WeightedCriteria().rank(given, strength=1.0, access=3.0)
    assert turned.target == ("b", "a")


def test_what_cannot_be_judged_has_no_part():
    given = table({"a": {"strength": 0.8, "drilled": np.nan}})
    assert WeightedCriteria().rank(given).score == pytest.approx([80.0])


def test_intervals_widen_with_uncertainty_and_hold_the_rank():
    rows = {f"t{i}": {"strength": 0.9 - 0.1 * i, "support": 0.5} for i in range(6)}
    sharp = WeightedCriteria().rank(table(rows, spread=1e-6))
    vague = WeightedCriteria().rank(table(rows, spread=0.3))
    assert (sharp.rank_low == np.arange(1, 7)).all()
    assert (sharp.rank_high == np.arange(1, 7)).all()
    assert (vague.rank_high - vague.rank_low).mean() > 1.5
    assert (vague.rank_low <= np.arange(1, 7)).all()
    assert (vague.rank_high >= np.arange(1, 7)).all()


def test_rank_intervals_cover():
    rng = np.random.default_rng(6)
    inside, n = 0, 0
    for k in range(60):
        true = rng.uniform(0.2, 0.8, 6)
        seen = true + rng.normal(0, 0.1, 6)
        rows = {f"t{i}": {"strength": seen[i]} for i in range(6)}
        ranking = WeightedCriteria().rank(table(rows, spread=0.1), draws=300, seed=k)
        rank = {f"t{i}": int((true > true[i]).sum()) + 1 for i in range(6)}
        inside += sum(
            lo <= rank[t] <= hi
            for t, lo, hi in zip(ranking.target, ranking.rank_low, ranking.rank_high, strict=True)
        )
        n += 6
    assert inside / n > 0.85


def test_wrong_weights_are_refused():
    given = table({"a": {"strength": 0.8}})
    with pytest.raises(WrongCall, match="must not be negative"):
        WeightedCriteria().rank(given, strength=-1.0)
    with pytest.raises(WrongCall, match="lacks spread"):
        WeightedCriteria().rank(given.drop(columns="spread"))
    known = plugins.options_of(WeightedCriteria, "rank")
    with pytest.raises(WrongCall, match="Did you mean 'strength'"):
        plugins.check_options("weighted_criteria", known, {"strenght": 2.0})


def test_other_rankers_are_checked():
    ranking = WeightedCriteria().rank(table({"a": {"strength": 0.8}}))
    with pytest.raises(WrongCall, match="must return each once"):
        checked_ranking(ranking, ["a", "b"], "mine")
