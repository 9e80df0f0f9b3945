"""Which elements, and which association, are shown first."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.bundle import Bundle
    from geochem.model.evidence import Association, Evidence


def split_elements(text: object) -> list[str]:
    """Take apart a list of elements as target tables write it.

    Examples
    --------
    >>> split_elements("Cu, Au Mo")
    ['Cu', 'Au', 'Mo']
    """
    return [] if not isinstance(text, str) else text.replace(",", " ").split()


def leading_elements(bundle: Bundle) -> list[str]:
    """Order the counted elements so that those which decide come first.

    Sought elements; then the two leading ones of each target, best target first; then the other
    elements of targets; then the leading association by weight; then the rest as counted. When no
    element counts, all that were measured.

    Parameters
    ----------
    bundle : Bundle
        Records of a run.

    Returns
    -------
    list of str
        Only elements with accepted values.
    """
    have = bundle.survey.elements
    counted = [e for e in bundle.evidence.elements if e in have]
    table = bundle.settings.get("targets") or {}
    wanted: list[str] = [str(e) for e in table.get("seek") or ()]
    groups = []
    for row in bundle.targets.targets.itertuples():
        named = split_elements(row.elements)
        if row.peak_element:
            named.insert(0, str(row.peak_element))
        groups.append(list(dict.fromkeys(named)))
    wanted += [e for g in groups for e in g[:2]] + [e for g in groups for e in g[2:]]
    lead = leading_association(bundle.evidence, bundle.targets.targets)
    if lead is not None:
        wanted += sorted(lead.used, key=lambda e: (-abs(lead.weights.get(e, 0.0)), e))
    order = [e for e in dict.fromkeys([*wanted, *counted]) if e in counted]
    return order or have


def leading_association(
    evidence: Evidence, targets: pd.DataFrame | None = None
) -> Association | None:
    """Give the association of the best target; without targets the strongest one, or None.

    Parameters
    ----------
    evidence : Evidence
        Scores.
    targets : pandas.DataFrame, optional
        Best first.

    Returns
    -------
    Association or None
        None when nothing is scored.
    """
    by_name = {a.name: a for a in evidence.associations}
    if targets is not None and len(targets) and targets["association"].iloc[0] in by_name:
        return by_name[str(targets["association"].iloc[0])]
    return by_name.get(evidence.strongest() or "")
