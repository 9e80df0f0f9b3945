"""What predicted laboratory elements say of an outline: a sentence, always named proxy."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from geochem.model.evidence import Proxy

#: times the survey's median of the proxy from which it is worth a sentence
WORTH = 2.0


def proxy_sentence(
    proxies: Sequence[Proxy], medium: str, ids: Collection[str], elements: Collection[str]
) -> str:
    """Say what proxies show inside an outline.

    Parameters
    ----------
    proxies : sequence of Proxy
        Of the run.
    medium : str
        Of the outline.
    ids : collection of str
        Its samples.
    elements : collection of str
        Elements with positive weight in its association, and sought ones; others are not told.

    Returns
    -------
    str
        Empty when there is nothing to say.
    """
    parts = []
    for p in proxies:
        if not p.used or p.medium != medium or p.element not in elements:
            continue
        mine = np.isin(p.sample_id.astype(str), sorted(ids))
        if not mine.any():
            continue
        usual = float(np.median(p.value))
        level = float(np.median(p.value[mine]))
        if level < WORTH * usual:
            continue
        low, high = (float(np.median(v[mine])) / usual for v in (p.low, p.high))
        parts.append(
            f"proxy, not measured: {p.element} predicted at {level / usual:.1f} times the "
            f"survey's median ({low:.1f} to {high:.1f}) in {int(mine.sum())} samples, skill "
            f"{p.skill:.2f}"
        )
    return "; ".join(parts)
