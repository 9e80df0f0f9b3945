"""What the mill may have added: standards never go through it, so only coarse blanks can tell."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING

from geochem.elements import MILLS
from geochem.quality.limits import TRUST_CLASSES
from geochem.quality.trust import Trust

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.survey import Survey


def doubt_milled(
    survey: Survey, blanks: pd.DataFrame, trust: Mapping[tuple[str, str], Trust]
) -> dict[tuple[str, str], Trust]:
    """Believe elements that the mill adds no further than qualitative, unless blanks clear them.

    Parameters
    ----------
    survey : Survey
        ``samples.mill`` names the material.
    blanks : pandas.DataFrame
        From `check_blanks`.
    trust : mapping of (assay, element) to Trust
        From `trust_classes`.

    Returns
    -------
    dict of (assay, element) to Trust
        New. The class falls where at least half of the samples were milled so and no coarse blank
        of that assay shows the element to be clean; the reason always says how many.
    """
    out = dict(trust)
    if "mill" not in survey.samples.columns:
        return out
    texts = survey.samples["mill"].dropna().astype(str).str.casefold()
    coarse = blanks[blanks["role"] == "coarse_blank"]
    worst = {
        (str(a), str(e)): bool((part["verdict"] != "pass").any())
        for (a, e), part in coarse.groupby(["assay", "element"], observed=True)
    }
    for pattern, name, adds in MILLS:
        n = sum(bool(re.search(pattern, t)) for t in texts)
        if not n:
            continue
        for (assay, element), found in trust.items():
            if element not in adds:
                continue
            said = f"{n} of {len(survey.samples)} samples were milled in {name}, which adds it"
            level, found = found.level, out[assay, element]
            if worst.get((assay, element)) is False:
                said += "; coarse blanks are clean"
            elif 2 * n >= len(survey.samples):
                level = TRUST_CLASSES[max(TRUST_CLASSES.index(level), 2)]
            out[assay, element] = Trust(level, "; ".join(x for x in (found.reason, said) if x))
    return out
