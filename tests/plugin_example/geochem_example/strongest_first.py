"""Rank targets by one criterion alone."""

from typing import Any, Literal

import numpy as np

from geochem.targets.ranking import Ranking


class StrongestFirst:
    """Rank by one criterion alone."""

    name = "strongest_first"
    summary = "one criterion alone decides"
    reference = "common practice, no source"

    def rank(self, targets: Any, *, by: Literal["strength", "support"] = "strength") -> Ranking:
        """Rank.

        Parameters
        ----------
        targets : pandas.DataFrame
            One row per target and criterion.
        by : {"strength", "support"}, default "strength"
            The criterion that decides.
        """
        names = sorted(set(targets["target"]))
        own = targets.loc[targets["criterion"] == by].set_index("target")["scaled"]
        scaled = own.reindex(names).fillna(0.0).clip(0.0, 1.0)
        order = sorted(names, key=lambda n: (-round(scaled[n], 6), n))
        rank = np.arange(1, len(order) + 1)
        return Ranking(
            target=tuple(order),
            score=100.0 * scaled[order].to_numpy(),
            rank_low=rank,
            rank_high=rank,
            weights={by: 1.0},
            method=self.name,
            reference=self.reference,
            parameters={"by": by},
            n_used=0,
        )
