"""What the data themselves offer beside presets and measurements: found associations, proxies.

What lives here: the calls, per medium, and the sentences. What does not: any formula.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from geochem.anomalies import association_score, clusters
from geochem.anomalies.learned_associations import FEWEST_ELEMENTS, clumping, learn
from geochem.model.evidence import Association, Composition, FoundAssociation, Proxy
from geochem.model.finding import Finding

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

#: an element below detection more often is not looked at
MOST_BELOW = 0.30


def find(
    ids: npt.NDArray[np.object_],
    media: npt.NDArray[np.object_],
    domains: npt.NDArray[np.object_],
    xy: FloatArray,
    weight: FloatArray,
    compositions: Sequence[Composition],
    dense: Mapping[str, FloatArray],
    presets: Sequence[Association],
    *,
    seed: int = 1,
) -> tuple[FoundAssociation, ...]:
    """Find associations of every medium and score them as presets are scored.

    Parameters
    ----------
    ids, media, domains : ndarray of str, shape (n,)
        Samples in order of their ids.
    xy : ndarray, shape (n, 2)
        Easting and northing. [m]
    weight : ndarray, shape (n,)
        Declustering weights.
    compositions : sequence of Composition
        Log-ratios per medium.
    dense : mapping of str to ndarray, shape (n,)
        Robust z of the elements that are mostly detected and may count.
    presets : sequence of Association
        Those that are scored.
    seed : int, default 1
        Of random steps.

    Returns
    -------
    tuple of FoundAssociation
        By medium.
    """
    import pandas as pd

    found: list[FoundAssociation] = []
    for c in compositions:
        columns = [i for i, e in enumerate(c.parts) if e in dense]
        at = pd.Index(ids).get_indexer(pd.Index(c.sample_id))
        there = (at >= 0) & (media[np.maximum(at, 0)] == c.medium)
        if len(columns) < FEWEST_ELEMENTS or not there.any():
            continue
        order = np.argsort(at[there])
        rows = at[there][order]
        names = [c.parts[i] for i in columns]
        standard = clusters.standardise(c.clr[there][order][:, columns], domains[rows])
        some = learn(c.medium, names, standard, presets, seed=seed)
        for f in some:
            z = {e: dense[e][rows] for e in f.association.weights}
            none = {e: np.zeros(len(rows), dtype=bool) for e in z}
            score = association_score.score(
                f.association, z, none, weight[rows], recentre=c.medium != "rock"
            )
            beyond, clumped = clumping(score.values, xy[rows, 0], xy[rows, 1])
            found.append(replace(f, beyond=beyond, clumped=clumped))
    return tuple(found)


def said(found: Sequence[FoundAssociation], proxies: Sequence[Proxy]) -> tuple[Finding, ...]:
    """Say what was found and what can be predicted.

    Parameters
    ----------
    found : sequence of FoundAssociation
        From `find`.
    proxies : sequence of Proxy
        From `proxy.predict_laboratory`.

    Returns
    -------
    tuple of Finding
        Notes.
    """
    out = []
    if found:
        named = "; ".join(
            f"{f.association.title.split(': ', 1)[1]} ({100 * f.share:.0f} % of the variance)"
            for f in found
        )
        out.append(
            Finding(
                "associations-found", "note",
                f"elements that go together in these data: {named}. Rock types, cover and grain "
                "size do that as well as mineralisation, so no target comes from them; one that "
                "makes sense can be given as [targets] association.",
            )
        )  # fmt: skip
    for p in proxies:
        if p.used:
            text = (
                f"proxy: {p.element} is predicted in {len(p.sample_id)} {p.medium} samples without "
                f"a laboratory value, from {len(p.predictors)} other elements: {p.reason}; error "
                f"factor {10**p.error:.1f}. It is evidence only and enters no score."
            )
            out.append(Finding("proxy-used", "note", text, element=p.element))
        else:
            text = f"no proxy for {p.element} in {p.medium}: {p.reason}."
            out.append(Finding("proxy-not-used", "note", text, element=p.element))
    return tuple(out)
