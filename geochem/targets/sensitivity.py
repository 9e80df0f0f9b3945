"""How the rank of each target changes when one weight is halved, doubled or left out.

A rank that holds whatever the weights are is worth more than one that hangs on a single choice.
What lives here: the ranker called again with one weight changed. What does not: the interval of a
rank, which moves all weights and all criteria at once (`weighted_criteria`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

#: what a weight is multiplied with
FACTORS: dict[str, float] = {"halved": 0.5, "doubled": 2.0, "left out": 0.0}
COLUMNS = ("criterion", "weight", "change", "target", "rank", "rank_then")


def sensitivity(
    ranker: Any,
    table: pd.DataFrame,
    options: Mapping[str, Any],
    known: Sequence[str],
    weights: Mapping[str, float],
    names: Mapping[str, str],
) -> pd.DataFrame:
    """Rank again with every weight changed in turn.

    Parameters
    ----------
    ranker : object
        Ready ranker, as registered.
    table : pandas.DataFrame
        What it ranked: ``target, criterion, value, scaled, spread, statement``.
    options : mapping
        What it was given.
    known : sequence of str
        Names of the options it takes; a criterion whose weight is none of them is not tried.
    weights : mapping of str to float
        Weight of each criterion that took part.
    names : mapping of str to str
        Names of the targets that are reported, by their key in `table`, best first.

    Returns
    -------
    pandas.DataFrame
        Columns `COLUMNS`; one row per weight, change and reported target. Empty where the ranker
        has no weights to change, or there is one target only.
    """
    import pandas as pd

    rows: list[dict[str, Any]] = []
    taken = [c for c in weights if c in known and weights[c] > 0]
    fixed = dict(options)
    if "draws" in known:
        fixed["draws"] = 1  # intervals are not wanted here
    if table["target"].nunique() > 1:
        now = _ranks(ranker, table, fixed)
        for criterion in taken:
            for change, factor in FACTORS.items():
                if factor == 0 and not any(weights[c] > 0 for c in weights if c != criterion):
                    continue
                then = _ranks(ranker, table, {**fixed, criterion: factor * weights[criterion]})
                rows += [
                    {
                        "criterion": criterion, "weight": float(weights[criterion]),
                        "change": change, "target": name, "rank": now[key],
                        "rank_then": then[key],
                    }
                    for key, name in names.items()
                ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _ranks(ranker: Any, table: pd.DataFrame, options: Mapping[str, Any]) -> dict[str, int]:
    return {key: i + 1 for i, key in enumerate(ranker.rank(table, **options).target)}
