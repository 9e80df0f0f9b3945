"""`Ranking`: what a ranker returns, and the check of other people's rankers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

#: what a ranker gets: one row per target and criterion
CRITERIA_COLUMNS = ["target", "criterion", "value", "scaled", "spread", "statement"]


@dataclass(frozen=True, slots=True, eq=False)
class Ranking:
    """Order of targets with an interval for each rank.

    Parameters
    ----------
    target : tuple of str
        Names, best first.
    score : ndarray, shape (n,)
        0-100.
    rank_low, rank_high : ndarray of int, shape (n,)
        90 % interval of the rank.
    weights : mapping of str to float
        Weight of each criterion that took part.
    method, reference : str
        How.
    parameters : mapping
        Options.
    n_used : int
        Draws.
    """

    target: tuple[str, ...]
    score: npt.NDArray[np.float64]
    rank_low: npt.NDArray[np.intp]
    rank_high: npt.NDArray[np.intp]
    weights: Mapping[str, float]
    method: str
    reference: str
    parameters: Mapping[str, Any]
    n_used: int

    def __repr__(self) -> str:
        lines = [f"Ranking of {len(self.target)} targets by {self.method}, {self.n_used} draws"]
        for i, name in enumerate(self.target):
            lines.append(
                f"  {i + 1:>3} ({self.rank_low[i]}-{self.rank_high[i]})  {name}"
                f"  score {self.score[i]:.1f}"
            )
        return "\n".join(lines)


def checked_ranking(ranking: Ranking, names: list[str], ranker: str) -> Ranking:
    """Refuse a ranking that does not fit the targets it was made of.

    Parameters
    ----------
    ranking : Ranking
        As a ranker returned it.
    names : list of str
        Targets it was given.
    ranker : str
        For the message.

    Returns
    -------
    Ranking
        The same.

    Raises
    ------
    WrongCall
        If targets are missing or doubled, or a score lies outside 0-100.
    """
    if sorted(ranking.target) != sorted(names):
        raise WrongCall(
            f"the ranker '{ranker}' returned {len(ranking.target)} targets that are not the "
            f"{len(names)} it was given; it must return each once."
        )
    score = np.asarray(ranking.score, dtype=float)
    if score.shape != (len(names),) or not ((score >= 0) & (score <= 100)).all():
        raise WrongCall(f"the ranker '{ranker}' must return one score of 0-100 per target.")
    return ranking
