"""Names of standards that stand for more than one material."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from geochem.model.finding import Finding, name_some

if TYPE_CHECKING:
    import pandas as pd

#: a standard that differs this often times in the middle element is another material, and so many
#: elements are needed to say so (common practice, no source)
_OTHER, _LEAST_ELEMENTS = 1.5, 4


def without_namesakes(
    shots: pd.DataFrame, columns: Sequence[str]
) -> tuple[pd.DataFrame, list[Finding]]:
    """Leave out readings of standards whose name stands for another material in some groups.

    Two campaigns may both have called a bag of their own STD-1. Instruments differ in single
    elements; a name whose readings differ by half in most elements is not one material. Of three
    or more groups those off the rest are left out, of two both.

    Parameters
    ----------
    shots : pandas.DataFrame
        From `read_again`.
    columns : sequence of str
        Of `shots`, that name groups.

    Returns
    -------
    shots : pandas.DataFrame
        Without them.
    findings : list of Finding
        Which names, and where.
    """
    bad = np.zeros(len(shots), dtype=bool)
    findings: list[Finding] = []
    standards = (shots["kind"] == 0).to_numpy()
    for column in columns:
        rows = shots[standards]
        keys = ["assay", "what", column, "element"]
        means = rows.groupby(keys, observed=True)["log"].mean().reset_index()
        for (assay, what), part in means.groupby(["assay", "what"], observed=True, sort=True):
            wide = part.pivot_table(index=column, columns="element", values="log", observed=True)
            wide = wide.loc[:, wide.notna().sum() >= 2]
            if len(wide) < 2 or wide.shape[1] < _LEAST_ELEMENTS:
                continue
            away = (wide - wide.median(axis=0)).abs()
            away = away[away.notna().sum(axis=1) >= _LEAST_ELEMENTS]
            # of two groups both lie half the way from their middle
            limit = np.log10(_OTHER) / (2 if len(wide) == 2 else 1)
            off = sorted(str(g) for g in away.index[away.median(axis=1) > limit])
            if not off:
                continue
            mine = standards & (shots["what"] == what).to_numpy()
            mine &= (shots["assay"] == assay).to_numpy()
            alone = 2 * len(off) < len(wide)
            bad |= mine & shots[column].isin(off).to_numpy() if alone else mine
            name = str(what).partition("|")[0]
            where = f"left out in {column} {name_some(off)}" if alone else "not used"
            findings.append(
                Finding(
                    "levelling-standard-namesake", "warning",
                    f"{assay}: readings of standard {name} differ more than {_OTHER:g} times in "
                    f"most elements between {column} {name_some(off)} and the others; the name "
                    f"seems to stand for two materials. For levelling it was {where}. Give each "
                    "material a name of its own.",
                )
            )  # fmt: skip
    return shots[~bad].reset_index(drop=True), findings
