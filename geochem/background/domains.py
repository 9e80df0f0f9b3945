"""Domains: ground whose background is of one kind, and how small ones lean on their parent.

Soil and till are divided by horizon (where there are several) and regolith; the bedrock unit
counts only where the soil is residual. Stream sediment is one domain. A domain needs `min_n`
samples to stand alone; from a third of that on it is pooled toward its parent; below, it joins it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.background.groups import JOIN, NOT_STATED, group_names, text_column
from geochem.model.finding import Finding, name_some

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

#: media that have a background of their own
WITH_BACKGROUND = ("soil", "till", "stream sediment")
#: compared with the abundance in the crust instead
ROCK = "rock"
WHOLE = "all"

_RESIDUAL = re.compile(r"resid|saprol|in.?situ|eluvi", re.IGNORECASE)
_NO_UNIT = ("unmapped", NOT_STATED)


def medium_key(medium: str) -> str:
    """Give a medium in the form the rules use.

    Parameters
    ----------
    medium : str
        As in the samples table.

    Returns
    -------
    str
        Lower case, spaces for underscores and hyphens.

    Examples
    --------
    >>> medium_key("Stream_Sediment")
    'stream sediment'
    """
    return re.sub(r"[\s_-]+", " ", medium.strip().lower())


@dataclass(frozen=True, slots=True, eq=False)
class Domains:
    """Domain of every sample of one medium.

    Parameters
    ----------
    label : ndarray of str, shape (n,)
        Domain of each sample after small ones joined their parent.
    parent : dict of str to str
        Parent of every domain that occurs or is one's parent; ``"all"`` has none.
    member : dict of str to ndarray of bool, shape (n,)
        Samples that the background of a domain is made from; of a parent all of its children's.
    findings : tuple of Finding
        What was noticed.
    """

    label: npt.NDArray[np.object_]
    parent: dict[str, str]
    member: dict[str, npt.NDArray[np.bool_]]
    findings: tuple[Finding, ...]


def divide(
    samples: pd.DataFrame,
    medium: str,
    *,
    by: str | Sequence[str] | None = None,
    min_n: int = 30,
) -> Domains:
    """Divide the samples of one medium into domains.

    Parameters
    ----------
    samples : pandas.DataFrame
        Samples of that medium only.
    medium : str
        Which one.
    by : str or sequence of str, optional
        Columns that name the domain; given, they replace the rule.
    min_n : int, default 30
        Samples that a domain needs to stand alone.

    Returns
    -------
    Domains
        Every sample has one.
    """
    n = len(samples)
    findings: list[Finding] = []
    chains: list[npt.NDArray[np.object_]]
    if by is not None and len(by):
        chains = [group_names(samples, by)]
    elif medium_key(medium) in ("soil", "till"):
        chains = _soil(samples, medium, findings)
    else:
        chains = []
    label = np.full(n, WHOLE, dtype=object)
    parent: dict[str, str] = {}
    member = {WHOLE: np.ones(n, dtype=bool)}
    joined: list[str] = []
    least = join_below(min_n)
    for names in chains:
        # from the coarsest to the finest division: a name takes its samples if it has enough
        for name in sorted(set(names)):
            if not name:
                continue
            here = names == name
            if here.sum() < least:
                joined.append(f"{name} ({int(here.sum())})")
                continue
            parent[name] = str(label[np.flatnonzero(here)[0]])
            member[name] = here
            label[here] = name
    if joined:
        findings.append(
            Finding(
                "domain-too-small", "note",
                f"{medium}: {name_some(joined)} have fewer than {least} samples; their background "
                "is that of the larger domain around them.",
            )
        )  # fmt: skip
    return Domains(label, parent, member, tuple(findings))


def _soil(
    samples: pd.DataFrame, medium: str, findings: list[Finding]
) -> list[npt.NDArray[np.object_]]:
    """Horizon first, then regolith or bedrock unit; empty names mean "as before"."""
    n = len(samples)
    horizon = text_column(samples, "horizon", missing=NOT_STATED)
    regolith = text_column(samples, "regolith", missing=NOT_STATED)
    unit = text_column(samples, "geology", missing=NOT_STATED)
    several = len(set(horizon) - {NOT_STATED}) > 1
    chains = []
    prefix = np.full(n, "", dtype=object)
    if several:
        prefix = horizon
        chains.append(horizon.copy())
    mapped = ~np.isin(unit, _NO_UNIT)
    unknown = np.isin(regolith, _NO_UNIT)
    residual = np.array([bool(_RESIDUAL.search(r)) for r in regolith])
    till = medium_key(medium) == "till"
    use_unit = mapped & (residual | unknown) & (not till)
    use_regolith = ~unknown & ~use_unit & ~(residual & ~mapped)
    second = np.where(use_unit, unit, np.where(use_regolith, regolith, ""))
    if (mapped & unknown).any() and not till:
        ids = sorted(text_column(samples, "sample_id", missing="")[mapped & unknown])
        findings.append(
            Finding(
                "regolith-not-known", "note",
                f"{medium}: the regolith of {int((mapped & unknown).sum())} samples is not known "
                f"({name_some(ids)}); they were taken as residual and their "
                "background is that of the bedrock unit below. Say 'residual' or what was "
                "transported in the column regolith.",
            )
        )  # fmt: skip
    full = np.full(n, "", dtype=object)
    for i in range(n):
        if second[i]:
            full[i] = JOIN.join(p for p in (prefix[i], second[i]) if p)
    if (
        len(set(full) - {""}) > (0 if several else 1)
        or (len(set(full) - {""}) == 1 and (full == "").any())
        or (not several and (full != "").all() and n)
    ):
        chains.append(full)
    return chains


def join_below(min_n: int) -> int:
    """Give the number of samples below which a domain joins its parent: a third of `min_n`."""
    return max(-(-min_n // 3), 1)


def own_share(n: int, min_n: int) -> float:
    """Say how much of a pooled background is the domain's own.

    It rises in a straight line from 0 at a third of `min_n` values to 1 at `min_n`, so that one
    more sample never makes a jump (our rule, no source).

    Parameters
    ----------
    n : int
        Values of the element in the domain.
    min_n : int
        Values that a domain needs to stand alone.

    Returns
    -------
    float
        Between 0 and 1; the rest comes from the parent.

    Examples
    --------
    >>> own_share(10, 30), own_share(20, 30), own_share(45, 30)
    (0.0, 0.5, 1.0)
    """
    least = join_below(min_n)
    if n >= min_n:
        return 1.0
    return max(0.0, (n - least) / max(min_n - least, 1))
