"""Which elements are shown first."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle


def leading_elements(bundle: Bundle) -> list[str]:
    """Order the counted elements by what a reader wants to see first.

    Sought elements come first, then those that carry the targets (the best target's first), then
    those of the leading associations by weight, then the others by how many samples stand out.

    Parameters
    ----------
    bundle : Bundle
        Records of a run.

    Returns
    -------
    list of str
        Every counted element once.
    """
    evidence = bundle.evidence
    wanted: list[str] = list(bundle.settings.get("targets", {}).get("seek", []))
    targets = bundle.targets.targets
    for names in targets["elements"].dropna() if len(targets) else []:
        wanted += str(names).replace(",", " ").split()
    leading = list(targets["association"].dropna()) if len(targets) else []
    if not leading and len(evidence.coherence.columns):
        leading = [str(evidence.coherence.max().fillna(-1.0).idxmax())]
    by_name = {a.name: a for a in evidence.associations}
    for name in dict.fromkeys(leading):
        if name in by_name:
            weights = by_name[name].weights
            wanted += sorted(weights, key=lambda e: -abs(weights[e]))
    count = {
        e: int((evidence.anomalies[f"{e}_z"] > 2).sum())
        for e in evidence.elements
        if f"{e}_z" in evidence.anomalies.columns
    }
    wanted += sorted(evidence.elements, key=lambda e: (-count.get(e, 0), e))
    return [e for e in dict.fromkeys(wanted) if e in evidence.elements]
