"""From accepted values to what associations are sought in: departures, and sparse elements.

What lives here: which elements of which assay go in, for every medium. What does not: the formulas
(`residuals`, `whitening`), the order of the search (`search`).
Test to copy: `tests/anomalies/test_departures.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from geochem.anomalies import gates, learned, residuals, spatial, univariate, whitening
from geochem.elements import element_rank
from geochem.model.tables import assays_of, laboratory_assays, values_of
from geochem.stats.robust import mad

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    import pandas as pd

    FloatArray = npt.NDArray[np.float64]

#: an accepted value below detection less often than this needs no help from a laboratory
SEEN_ENOUGH = 0.3
#: so many values of a domain weigh as much as all the others
FEW_IN_DOMAIN = 10


def usable(
    gate: Mapping[tuple[str, str], gates.Gate], element: str, n: int
) -> npt.NDArray[np.bool_]:
    """Mark the values of an element that may be used, of all media."""
    may = np.zeros(n, dtype=bool)
    for (_, e), g in gate.items():
        if e == element and g.open:
            may |= g.usable
    return may


def covers_of(rows: gpd.GeoDataFrame) -> npt.NDArray[np.object_]:
    """Name the cover of each sample: what a regolith map or the field log says, residual apart."""
    if "regolith" not in rows.columns:
        return np.full(len(rows), "", dtype=object)
    named = [v if isinstance(v, str) else "" for v in rows["regolith"].tolist()]
    plain = ["" if v.strip().lower() in ("", "unmapped") or "residual" in v.lower() else v
             for v in named]  # fmt: skip
    return np.array(plain, dtype=object)


def logs_of(
    table: univariate.BackgroundTable,
    gate: Mapping[tuple[str, str], gates.Gate],
    rows: gpd.GeoDataFrame,
    where: univariate.Places,
) -> dict[str, tuple[FloatArray, univariate.Levels]]:
    """Give log10 of what may be used, expectations in the place of limits, and the background."""
    out = {}
    for element in sorted({e for _, e in gate}, key=element_rank):
        v = values_of(rows, element)
        known = usable(gate, element, len(rows)) & (v.value > 0)
        level = table.levels(where, element)
        log = np.where(known, np.log10(np.where(known, v.value, 1.0)), np.nan)
        log = residuals.expected_log(log, v.below & known, level.location, level.scale)
        out[element] = log, level
    return out


def departures_of(
    logs: Mapping[str, tuple[FloatArray, univariate.Levels]],
    gate: Mapping[tuple[str, str], gates.Gate],
    rows: gpd.GeoDataFrame,
    media: npt.NDArray[np.object_],
    domains: npt.NDArray[np.object_],
    weight: FloatArray,
    places: Sequence[spatial.Ground],
    batches: Mapping[str, str] | None,
) -> dict[str, residuals.Residuals]:
    """Make the departures of every medium that has a background of its own."""
    covers = covers_of(rows)
    batch = None
    if batches:
        batch = np.array([batches.get(s, "") for s in rows["sample_id"]], dtype=object)
    doubts = {e: _doubts(rows, e, level) for e, (_, level) in logs.items()}
    out = {}
    for medium in sorted(set(media.tolist()) - {"rock"}):
        at = np.flatnonzero(media == medium)
        position = np.full(len(media), -1, dtype=np.intp)
        position[at] = np.arange(len(at))
        mine = {e: log[at] for e, (log, _) in logs.items() if gate[medium, e].open}
        shown = {e: 1.0 - float(values_of(rows, e).below[at].mean()) for e in mine}
        fields = [
            residuals.Field(position[g.rows], g.metres, g.spacing)
            for g in places
            if g.medium == medium
        ]
        out[medium] = residuals.residuals_of(
            mine, shown, domains[at], covers[at], fields, weight[at],
            None if batch is None else batch[at], {e: doubts[e][at] for e in mine},
        )  # fmt: skip
    return out


def _doubts(rows: gpd.GeoDataFrame, element: str, level: univariate.Levels) -> FloatArray:
    """Give the standard error of each log10, or of what may stand behind its limit."""
    v = values_of(rows, element)
    with np.errstate(divide="ignore", invalid="ignore"):
        log = np.log10(v.value)
    return residuals.expected_log_error(
        v.relative_error, log, v.below, level.location, level.scale
    )


def sparse_scores(
    logs: Mapping[str, tuple[FloatArray, univariate.Levels]], elements: set[str]
) -> dict[str, tuple[FloatArray, float]]:
    """Give z, limits included, and usual spread of the elements of the associations."""
    out = {}
    for element in sorted(elements, key=element_rank):
        log, level = logs[element]
        known = np.isfinite(log) & (level.scale > 0)
        if known.any():
            z = np.where(known, (log - level.location) / level.scale, np.nan)
            out[element] = z, float(np.median(level.scale[known]))
    return out


def mostly_seen(rows: gpd.GeoDataFrame, gate: Mapping[tuple[str, str], gates.Gate]) -> set[str]:
    """List the elements that may be used in a medium and are mostly above detection there."""
    seen = set()
    for (_, element), g in gate.items():
        if g.open and g.usable.any():
            below = values_of(rows, element).below[g.usable]
            if below.mean() <= learned.MOST_BELOW:
                seen.add(element)
    return seen


def laboratory_beside(
    rows: gpd.GeoDataFrame,
    domains: npt.NDArray[np.object_],
    at: npt.NDArray[np.intp],
    analytes: pd.DataFrame,
    gate: Mapping[tuple[str, str], gates.Gate],
    elements: set[str],
) -> dict[str, tuple[FloatArray, float]]:
    """Score what a laboratory measured in some samples while the accepted value says little.

    The accepted value of an element is the assay that covers most samples. Where nearly all of it
    lies below detection (antimony, silver, tungsten, molybdenum by portable XRF) a laboratory's
    values on one sample in eight tell more than all the limits together.

    Parameters
    ----------
    rows : geopandas.GeoDataFrame
        All scored samples.
    domains : ndarray of str, shape (n_samples,)
        Domain of each.
    at : ndarray of int
        Samples of one medium.
    analytes : pandas.DataFrame
        Which assay is a laboratory's.
    gate : mapping of (medium, element) to Gate
        Which accepted values count.
    elements : set of str
        Of the associations.

    Returns
    -------
    dict of str to (ndarray of shape (n_samples,), float)
        z against the domain, and the usual spread, as `sparse_scores`; elements whose accepted
        values come from a laboratory or are mostly seen are not among them.
    """
    if not len(at) or not len(analytes):
        return {}
    medium = str(rows["medium"].iloc[at[0]])
    laboratories = laboratory_assays(analytes)
    out = {}
    for element in sorted(elements, key=element_rank):
        own = gate.get((medium, element))
        if own is not None and own.open:
            seen = values_of(rows, element).below[at].mean() <= SEEN_ENOUGH
            if own.source == "laboratory" or seen:
                continue
        best: tuple[int, FloatArray, npt.NDArray[np.bool_]] | None = None
        for assay in assays_of(rows, element):
            if assay not in laboratories:
                continue
            v = values_of(rows, element, assay)
            known = np.isfinite(v.value[at]) & (v.value[at] > 0)
            seen_here = int((known & ~v.below[at]).sum())
            if seen_here < whitening.FEWEST_SPARSE or seen_here < 0.5 * known.sum():
                continue
            if best is None or seen_here > best[0]:
                log = np.where(known, np.log10(np.where(known, v.value[at], 1.0)), np.nan)
                best = seen_here, log, v.below[at] & known
        if best is not None:
            z, scale = _against_domains(best[1], best[2], domains[at])
            if scale > 0:
                whole = np.full(len(rows), np.nan)
                whole[at] = z
                out[element] = whole, scale
    return out


def _against_domains(
    log: FloatArray, below: npt.NDArray[np.bool_], domains: npt.NDArray[np.object_]
) -> tuple[FloatArray, float]:
    """Give robust scores; the middle of a domain leans on the whole where it has few values."""
    known = np.isfinite(log)
    middle = float(np.median(log[known]))
    level = np.full(len(log), middle)
    for name in sorted(set(domains.tolist())):
        mine = known & (domains == name)
        n = int(mine.sum())
        if n:
            share = n / (n + FEW_IN_DOMAIN)
            level[domains == name] = middle + share * (float(np.median(log[mine])) - middle)
    scale = mad((log - level)[known])
    filled = residuals.expected_log(log, below, level, np.full(len(log), scale))
    with np.errstate(invalid="ignore", divide="ignore"):
        return (filled - level) / scale, float(scale)
