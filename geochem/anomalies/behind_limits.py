"""From the draws of the compositions to what may stand behind the limits of each element."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.evidence import Composition
    from geochem.stats.beyond import Behind


def behind_limits(
    compositions: Sequence[Composition], sample_id: pd.Series
) -> dict[tuple[str, str], Behind]:
    """Bring what imputation knows of values behind limits to the rows that are scored.

    Parameters
    ----------
    compositions : sequence of Composition
        Log-ratio view per medium, with draws.
    sample_id : pandas.Series
        Rows that are scored.

    Returns
    -------
    dict of (medium, element) to (rows, mean, sd)
        Rows, and mean and standard deviation of log10 of each draw, shape (n_draws, n_rows). An
        element that is no part, or without draws, is not in it: its populations speak for it.
    """
    import pandas as pd

    rows = pd.Index(sample_id)
    found: dict[tuple[str, str], Behind] = {}
    for c in compositions:
        if c.behind_mean is None or c.behind_sd is None or not len(c.behind_mean):
            continue
        assert c.replaced_row is not None
        assert c.replaced_part is not None
        at = rows.get_indexer(pd.Index(c.sample_id))[c.replaced_row]
        for j in np.unique(c.replaced_part):
            mine = np.flatnonzero((c.replaced_part == j) & (at >= 0))
            if mine.size:
                scale = 1 / np.log(10)
                found[c.medium, c.parts[j]] = (
                    at[mine], c.behind_mean[:, mine] * scale, c.behind_sd[:, mine] * scale,
                )  # fmt: skip
    return found
