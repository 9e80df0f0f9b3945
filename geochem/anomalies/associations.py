"""Which elements belong together: who competes in a campaign, and what of it was measured.

What lives here: the choice of associations. What does not: reading them (`presets`), scores
(`association_score`), gates (`gates`). Test to copy: `tests/anomalies/test_associations.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from geochem.anomalies.presets import Preset, checked_weights, presets
from geochem.elements import SYMBOLS, element_rank
from geochem.errors import WrongCall, unknown
from geochem.model.evidence import Association
from geochem.model.finding import Finding

#: name and column of an association that the user gives as a table
OWN = "own_association"
#: name and column of the sought elements alone, where no preset mines them
SOUGHT = "sought_elements"
#: fewer usable elements make no association
FEWEST = 2


def choose(
    seek: Sequence[str],
    association: str | Mapping[str, float] | None,
    own_presets: Sequence[Preset] | None = None,
) -> tuple[Association, ...]:
    """Choose the associations that compete.

    Parameters
    ----------
    seek : sequence of str
        Elements the campaign looks for; none: every preset competes.
    association : str or mapping of str to float, optional
        Name of a preset, or the user's own signed weights; then it stands alone.
    own_presets : sequence of Preset, optional
        From `presets.read_presets`: in the place of those of the package.

    Returns
    -------
    tuple of Association
        In the order of the file; ``used`` and ``missing`` are still empty.

    Raises
    ------
    WrongCall
        If a name or element is not known, or a weight is no number.

    Examples
    --------
    >>> [a.name for a in choose(["Sn"], None)]
    ['skarn', 'granite_tin_tungsten']
    """
    for element in seek:
        if element not in SYMBOLS:
            raise unknown("element to seek", element, SYMBOLS)
    everything = presets() if own_presets is None else tuple(own_presets)
    if isinstance(association, str):
        by_name = {p.association.name: p.association for p in everything}
        if association not in by_name:
            raise unknown("association", association, by_name)
        return (by_name[association],)
    if association is not None:
        if not association:
            raise WrongCall("the association is an empty table; give signed weights per element.")
        weights = checked_weights(association)
        title = "Own association: " + " ".join(
            f"{e}{'+' if w > 0 else '-'}" for e, w in weights.items()
        )
        return (Association(OWN, title, weights, source="given in the campaign file"),)
    if not seek:
        return tuple(p.association for p in everything)
    found = tuple(p.association for p in everything if set(p.commodities) & set(seek))
    if found:
        return found
    weights = dict.fromkeys(sorted(set(seek), key=element_rank), 1.0)
    title = "Sought elements: " + " ".join(weights)
    return (Association(SOUGHT, title, weights, source="given in the campaign file"),)


def usable(
    chosen: Sequence[Association], elements: Sequence[str]
) -> tuple[tuple[Association, ...], tuple[Finding, ...]]:
    """Keep the associations of which enough is measured, and merge those that come down to one.

    Parameters
    ----------
    chosen : sequence of Association
        From `choose`.
    elements : sequence of str
        Elements that may be used.

    Returns
    -------
    associations : tuple of Association
        With ``used`` and ``missing`` filled. Of several with the same usable elements and signs
        the one stays of which the largest share of the weight is measured; its title names the
        others.
    findings : tuple of Finding
        What could not be scored, and what was merged.
    """
    have = set(elements)
    filled = [
        replace(
            a,
            used=tuple(e for e in a.weights if e in have),
            missing=tuple(e for e in a.weights if e not in have),
        )
        for a in chosen
    ]
    poor = [a for a in filled if len(a.used) < FEWEST]
    findings: list[Finding] = []
    if poor:
        named = "; ".join(f"{a.title} ({', '.join(a.used) or 'no element'} usable)" for a in poor)
        findings.append(
            Finding(
                "association-not-measured",
                "warning" if len(chosen) == 1 else "note",
                f"{len(poor)} association(s) are not scored because fewer than {FEWEST} of their "
                f"elements are usable: {named}. Analyse more of their elements to look for them.",
            )
        )
    groups: dict[tuple[tuple[str, bool], ...], list[Association]] = {}
    for a in filled:
        if len(a.used) >= FEWEST:
            key = tuple((e, a.weights[e] > 0) for e in a.used)
            groups.setdefault(key, []).append(a)
    kept: list[Association] = []
    for same in groups.values():
        best = max(same, key=lambda a: (round(_coverage(a), 9), -same.index(a)))
        others = [a.title for a in same if a is not best]
        if others:
            best = replace(best, title=f"{best.title} or {' or '.join(others)}")
            findings.append(
                Finding(
                    "associations-merged",
                    "note",
                    f"{', '.join([a.name for a in same])} come down to the same measured elements "
                    f"({', '.join(best.used)}) and cannot be told apart; they are scored once, as "
                    f"'{best.name}'. Analyse {', '.join(_missing_any(same)[:6])} to part them.",
                )
            )
        kept.append(best)
    order = {a.name: i for i, a in enumerate(chosen)}
    return tuple(sorted(kept, key=lambda a: order[a.name])), tuple(findings)


def _coverage(a: Association) -> float:
    total = sum(abs(w) for w in a.weights.values())
    return sum(abs(a.weights[e]) for e in a.used) / total


def _missing_any(same: Sequence[Association]) -> list[str]:
    return sorted({e for a in same for e in a.missing}, key=element_rank)


def signs(associations: Sequence[Association], seek: Sequence[str]) -> dict[str, int]:
    """Give the sought sign of each element: -1 only where every association says depletion.

    Parameters
    ----------
    associations : sequence of Association
        Those that are scored.
    seek : sequence of str
        Sought elements are always looked for upward.

    Returns
    -------
    dict of str to int
        1 or -1 per element that counts, by atomic number.
    """
    found: dict[str, int] = dict.fromkeys(seek, 1)
    for a in associations:
        for element in a.used:
            sign = 1 if a.weights[element] > 0 else -1
            found[element] = max(found.get(element, -1), sign)
    return {e: found[e] for e in sorted(found, key=element_rank)}
