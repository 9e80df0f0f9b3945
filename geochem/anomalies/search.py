"""`search_anomalies`: from accepted values and backgrounds to the evidence of every sample.

What lives here: the order of the steps and the tables they end in. What does not: any formula.
The order: rows, gates (`gates`), who counts (`associations`), z and probability (`univariate`),
scores (`association_score`), coherence (`spatial`), groups (`medium_groups`).
Test to copy: `tests/anomalies/test_search.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.anomalies import (
    association_score,
    associations,
    clusters,
    departures,
    gates,
    learned,
    medium_groups,
    multivariate,
    proxy,
    residuals,
    rivals,
    spatial,
    univariate,
    whitening,
)
from geochem.anomalies.behind_limits import behind_limits
from geochem.elements import element_rank
from geochem.errors import WrongCall
from geochem.model.background import BackgroundReport
from geochem.model.evidence import Association, Composition, Detectors, Evidence
from geochem.model.finding import Finding
from geochem.model.layers import Spacing
from geochem.model.quality import Calibration
from geochem.model.tables import Values, elements_of, values_of

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    import pandas as pd

    from geochem.anomalies.presets import Preset
    from geochem.stats.beyond import Behind

    FloatArray = npt.NDArray[np.float64]

#: media of which evidence is made, if they have a background
MEDIA = ("soil", "till", "stream sediment", "rock")


def search_anomalies(
    samples: gpd.GeoDataFrame,
    background: BackgroundReport,
    compositions: Sequence[Composition],
    spacings: Sequence[Spacing],
    *,
    analytes: pd.DataFrame,
    calibrations: Sequence[Calibration] = (),
    seek: Sequence[str] = (),
    association: str | Mapping[str, float] | None = None,
    own_presets: Sequence[Preset] | None = None,
    batches: Mapping[str, str] | None = None,
    grouping: clusters.Way | None = None,
    seed: int = 1,
) -> Evidence:
    """Score every located sample of a medium that has a background.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        Located routine samples with accepted values; not changed.
    background : BackgroundReport
        Domains, backgrounds, thresholds.
    compositions : sequence of Composition
        Log-ratio view per medium; may be empty.
    spacings : sequence of Spacing
        Geometry per medium and grid.
    analytes : pandas.DataFrame
        Contract `tables.ANALYTES`: which assay an accepted value comes from.
    calibrations : sequence of Calibration
        Those that pass open the gate of a portable-XRF element.
    seek : sequence of str
        Sought elements; none: all associations compete.
    association : str or mapping of str to float, optional
        Name of a preset, or own signed weights.
    own_presets : sequence of Preset, optional
        Associations that compete in the place of the presets, from `presets.read_presets`.
    batches : mapping of str to str, optional
        Batch of each sample id, of the assay that covers most samples: steps between neighbouring
        batches are taken out of the scores.
    grouping : Way, optional
        How anomalous samples are grouped; default: normal mixtures.
    seed : int, default 1
        Of random steps.

    Returns
    -------
    Evidence
        Rows sorted by `sample_id`.

    Raises
    ------
    WrongCall
        If an element or association is not known, or sample ids are doubled.
    """
    chosen = associations.choose(seek, association, own_presets)
    rows, media, domains, weight = _rows(samples, background)
    findings: list[Finding] = []
    elements = elements_of(rows)
    gate = gates.decide(rows, elements, media, analytes, calibrations)
    open_elements, excluded = gates.reasons(gate, elements)
    table = univariate.BackgroundTable(background.backgrounds, background.thresholds)
    where = univariate.places(media, domains)
    open_elements, no_background = _with_background(table, open_elements, where)
    excluded |= no_background
    scored, said = associations.usable(chosen, open_elements)
    findings.extend(said)
    sought_open = [e for e in seek if e in open_elements]
    sign = associations.signs(scored, sought_open)
    for element in open_elements:
        if element not in sign:
            excluded[element] = "not sought and in none of the associations that are scored"
    findings += _said_about_gates(seek, excluded, gate)

    values = {e: values_of(rows, e) for e in sign}
    z, z_all, p = _univariate(
        table, gate, values, where, sign, _shifts(rows, background), _populations(background),
        behind_limits(compositions, rows["sample_id"]),
    )  # fmt: skip
    easting, northing = rows.geometry.x.to_numpy(), rows.geometry.y.to_numpy()
    grids = (
        rows["grid"].to_numpy(dtype=object)
        if "grid" in rows.columns
        else np.full(len(rows), "", dtype=object)
    )
    places = spatial.grounds(media, grids, easting, northing, spacings)
    logs = departures.logs_of(table, gate, rows, where)
    left = departures.departures_of(logs, gate, rows, media, domains, weight, places, batches)
    sparse = departures.sparse_scores(logs, {e for a in scored for e in a.used})
    scored, scores, parts, detectors, also_said = _scores(
        scored, z, values, gate, media, weight, left, sparse, rows, domains, analytes, seed
    )
    findings += also_said
    explained = _explained(scored, left, media, domains, departures.covers_of(rows))
    coherent, _ = spatial.coherence(scores, places, seed=seed)
    by_id = dict(zip(rows["sample_id"], domains, strict=True))
    findings += multivariate.outlier_findings(
        multivariate.outliers(compositions, tuple(sign), by_id)
    )
    xy = np.column_stack([easting, northing])
    way = clusters.Way() if grouping is None else grouping
    label, groups = medium_groups.groups_of(
        rows, compositions, media, domains, z, scores, coherent, seed, way, xy
    )
    seen = departures.sparse_scores(logs, departures.mostly_seen(rows, gate))
    dense = {e: v for e, (v, _) in seen.items()}
    found = learned.find(
        rows["sample_id"].to_numpy(dtype=object), media, domains, xy, weight, compositions, dense,
        scored, seed=seed,
    )  # fmt: skip
    measured = {e: values_of(rows, e) for e in elements}
    proxies = proxy.predict_laboratory(
        rows["sample_id"].to_numpy(dtype=object),
        media,
        xy,
        measured,
        dense,
        gate,
        tuple(sign),
        seed=seed,
    )
    findings += learned.said(found, proxies)
    anomalies = _table(rows, media, domains, easting, northing, z, p, label)
    return Evidence(
        anomalies=anomalies,
        z_all=_frame({f"{e}_z": v for e, v in z_all.items()}, len(rows)),
        elements=tuple(sign),
        excluded={e: excluded[e] for e in sorted(excluded, key=element_rank)},
        associations=scored,
        scores=_frame(scores, len(rows)),
        coherence=_frame(coherent, len(rows)),
        clusters=groups,
        findings=tuple(findings),
        explained=explained,
        found=found,
        proxies=proxies,
        detectors=detectors,
        **{part: _frame(columns, len(rows)) for part, columns in parts.items()},
    )


def _rows(
    samples: gpd.GeoDataFrame, background: BackgroundReport
) -> tuple[gpd.GeoDataFrame, npt.NDArray[np.object_], npt.NDArray[np.object_], FloatArray]:
    """Take the samples that have a background, sorted, with medium, domain and weight."""
    import pandas as pd

    if samples["sample_id"].duplicated().any():
        raise WrongCall("the samples table holds a sample_id twice; each sample needs one row.")
    known = background.domains[["sample_id", "domain", "weight"]]
    media_with = set(background.backgrounds["medium"].dropna())
    keep = samples["medium"].isin(MEDIA).to_numpy() & (
        samples["sample_id"].isin(known["sample_id"]).to_numpy()
        | ((samples["medium"] == "rock").to_numpy() & ("rock" in media_with))
    )
    keep &= (samples.geometry.notna() & ~samples.geometry.is_empty).to_numpy()
    rows = samples[keep].sort_values("sample_id", kind="stable").reset_index(drop=True)
    joined = rows[["sample_id"]].merge(known, on="sample_id", how="left", validate="1:1")
    domain = np.array(
        [univariate.ALL if pd.isna(d) else str(d) for d in joined["domain"]], dtype=object
    )
    weight = joined["weight"].to_numpy(dtype=float, na_value=np.nan)
    weight = np.where(np.isfinite(weight) & (weight > 0), weight, 1.0)
    return rows, rows["medium"].to_numpy(dtype=object), domain, weight


def _with_background(
    table: univariate.BackgroundTable,
    elements: Sequence[str],
    where: univariate.Places,
) -> tuple[list[str], dict[str, str]]:
    usable, without = [], {}
    for element in elements:
        if np.isfinite(table.levels(where, element).location).any():
            usable.append(element)
        else:
            without[element] = "no usable background (too few values, or no spread)"
    return usable, without


def _univariate(
    table: univariate.BackgroundTable,
    gate: Mapping[tuple[str, str], gates.Gate],
    values: Mapping[str, Values],
    where: univariate.Places,
    sign: Mapping[str, int],
    shifts: Mapping[str, FloatArray],
    populations: Mapping[tuple[str, str], tuple[FloatArray, FloatArray, FloatArray]],
    behind: Mapping[tuple[str, str], Behind],
) -> tuple[dict[str, FloatArray], dict[str, FloatArray], dict[str, FloatArray]]:
    whole = univariate.Places(
        tuple((medium, univariate.ALL) for medium, _ in where.keys), where.code
    )
    z: dict[str, FloatArray] = {}
    z_all: dict[str, FloatArray] = {}
    p: dict[str, FloatArray] = {}
    for element, s in sign.items():
        usable = departures.usable(gate, element, len(where.code))
        own = table.levels(where, element, s, shifts.get(element))
        z[element] = univariate.robust_z(values[element], usable, own)
        z_all[element] = univariate.robust_z(
            values[element], usable, table.levels(whole, element, s)
        )
        p[element] = np.full(len(where.code), np.nan)
        for medium in sorted({m for m, _ in where.keys}):
            inside = np.array([m == medium for m, _ in where.keys], dtype=bool)[where.code]
            chance = univariate.probability_beyond(
                values[element], usable & inside, own, s, populations.get((medium, element)),
                shifts.get(element), behind.get((medium, element)),
            )  # fmt: skip
            p[element] = np.where(inside, chance, p[element])
    return z, z_all, p


def _populations(
    background: BackgroundReport,
) -> dict[tuple[str, str], tuple[FloatArray, FloatArray, FloatArray]]:
    """Give share, mean and spread of the fitted populations by medium and element."""
    found = {}
    for key, fit in background.probability_plots.items():
        rows = fit.details.get("populations")
        if rows:
            weight, mean, sd = (
                np.array([p[name] for p in rows], dtype=float) for name in ("weight", "mean", "sd")
            )
            found[key] = (weight, mean, sd)
    return found


def _shifts(rows: gpd.GeoDataFrame, background: BackgroundReport) -> dict[str, FloatArray]:
    """Bring the drift of backgrounds to the rows that are scored."""
    import pandas as pd

    if not background.shifts:
        return {}
    at = pd.Index(background.domains["sample_id"]).get_indexer(pd.Index(rows["sample_id"]))
    return {e: np.where(at >= 0, s[at], 0.0) for e, s in background.shifts.items()}


def _explained(
    scored: Sequence[Association],
    left: Mapping[str, residuals.Residuals],
    media: npt.NDArray[np.object_],
    domains: npt.NDArray[np.object_],
    covers: npt.NDArray[np.object_],
) -> pd.DataFrame:
    """Compare associations and rivals where the ground around a sample is known."""
    n = len(media)
    columns: dict[str, npt.NDArray[Any]] = {
        "association_gain": np.full(n, np.nan), "rival_gain": np.full(n, np.nan),
        "rival": np.full(n, None, dtype=object),
    }  # fmt: skip
    for medium, own in left.items():
        if not (scored and own.spatial and whitening.can_be_whitened(own)):
            continue
        at = np.flatnonzero(media == medium)
        found = rivals.explain(scored, own, domains[at], covers[at] != "")
        columns["association_gain"][at] = found.association_gain
        columns["rival_gain"][at] = found.rival_gain
        columns["rival"][at] = found.rival
    frame = _frame(columns, n)
    frame["rival"] = frame["rival"].astype(object)
    return frame


def _scores(
    scored: Sequence[Association],
    z: Mapping[str, FloatArray],
    values: Mapping[str, Values],
    gate: Mapping[tuple[str, str], gates.Gate],
    media: npt.NDArray[np.object_],
    weight: FloatArray,
    left: Mapping[str, residuals.Residuals],
    sparse: Mapping[str, tuple[FloatArray, float]],
    samples: gpd.GeoDataFrame,
    domains: npt.NDArray[np.object_],
    analytes: pd.DataFrame,
    seed: int,
) -> tuple[
    tuple[Association, ...],
    dict[str, FloatArray],
    dict[str, dict[str, FloatArray]],
    tuple[Detectors, ...],
    list[Finding],
]:
    """Score each medium: whitened where that can be, else as a weighted sum of z."""
    n = len(media)
    named = {e for a in scored for e in a.weights}
    from_laboratory: set[str] = set()
    parts = {
        part: {a.name: np.full(n, np.nan) for a in scored}
        for part in ("dense", "sparse", "ratio", "noise")
    }
    detectors: list[Detectors] = []
    said: list[Finding] = []
    below = {e: values[e].below & departures.usable(gate, e, n) for e in z}
    out: dict[str, FloatArray] = {a.name: np.full(n, np.nan) for a in scored}
    thin: list[str] = []
    for medium in sorted(set(media.tolist())):
        rows = np.flatnonzero(media == medium)
        own = left.get(medium)
        if own is not None and whitening.can_be_whitened(own):
            others = {e: (v[rows], s) for e, (v, s) in sparse.items() if e not in own.elements}
            laboratory = departures.laboratory_beside(
                samples, domains, rows, analytes, gate, named
            )
            from_laboratory |= set(laboratory)
            if laboratory:
                said.append(_laboratory_helps(medium, laboratory))
            others |= {e: (v[rows], s) for e, (v, s) in laboratory.items()}
            found = whitening.whitened_scores(scored, own, others, weight[rows], seed=seed)
            made = {a.name: (found[a.name].values, found[a.name].elements) for a in scored}
            for a in scored:
                parts["dense"][a.name][rows] = found[a.name].dense
                parts["sparse"][a.name][rows] = found[a.name].sparse
                parts["ratio"][a.name][rows] = found[a.name].ratio
                parts["noise"][a.name][rows] = found[a.name].noise
            detectors.append(
                Detectors(
                    medium, own.elements, samples["sample_id"].to_numpy(dtype=object)[rows],
                    own.values.astype(np.float32), {a.name: found[a.name].vectors for a in scored},
                    own.batch, own.batch_error,
                )
            )  # fmt: skip
        else:
            made = {}
            for a in scored:
                s = association_score.score(
                    a,
                    {e: z[e][rows] for e in a.used},
                    {e: below[e][rows] for e in a.used},
                    weight[rows],
                    recentre=medium != "rock",
                )
                made[a.name] = s.values, s.elements
        for a in scored:
            column, elements = made[a.name]
            if len(elements) >= associations.FEWEST:
                out[a.name][rows] = column
            else:
                thin.append(f"{a.name} in {medium}")
    if thin:
        said.append(
            Finding(
                "association-not-measured-in-medium",
                "note",
                f"Fewer than {associations.FEWEST} elements are usable for "
                f"{', '.join(thin[:5])}{' and others' if len(thin) > 5 else ''}; "
                "those samples have no score for it.",
            )
        )
    helped = tuple(
        replace(
            a,
            used=(*a.used, *(e for e in a.missing if e in from_laboratory)),
            missing=tuple(e for e in a.missing if e not in from_laboratory),
        )
        for a in scored
    )
    return helped, out, parts, tuple(detectors), said


def _laboratory_helps(medium: str, laboratory: Mapping[str, tuple[FloatArray, float]]) -> Finding:
    counts = [f"{e} ({int(np.isfinite(v).sum())})" for e, (v, _) in laboratory.items()]
    return Finding(
        "laboratory-values-in-scores",
        "note",
        f"{medium}: many accepted values of {', '.join(laboratory)} lie below detection, so "
        f"laboratory values count beside them in the scores of associations: {', '.join(counts)} "
        "samples. Maps and tables keep the accepted values; [quality] prefer changes which those "
        "are.",
    )


def _table(
    rows: gpd.GeoDataFrame,
    media: npt.NDArray[np.object_],
    domains: npt.NDArray[np.object_],
    easting: FloatArray,
    northing: FloatArray,
    z: Mapping[str, FloatArray],
    p: Mapping[str, FloatArray],
    label: FloatArray,
) -> gpd.GeoDataFrame:
    import geopandas as gpd
    import pandas as pd

    data: dict[str, object] = {
        "sample_id": rows["sample_id"].to_numpy(dtype=object),
        "medium": media,
        "domain": domains,
        "easting": easting,
        "northing": northing,
        **{f"{e}_z": v for e, v in z.items()},
        **{f"{e}_p": v for e, v in p.items()},
        "group": pd.Series(label).astype("Int64").array,
    }
    frame = pd.DataFrame(data, index=pd.RangeIndex(len(rows)))
    for name in ("sample_id", "medium", "domain"):
        frame[name] = frame[name].astype(object)
    geometry = gpd.GeoSeries(rows.geometry.to_numpy(), index=frame.index, crs=rows.crs)
    return gpd.GeoDataFrame(frame, geometry=geometry, crs=rows.crs)


def _frame(columns: Mapping[str, npt.NDArray[Any]], n: int) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(dict(columns), index=pd.RangeIndex(n))


def _said_about_gates(
    seek: Sequence[str],
    excluded: Mapping[str, str],
    gate: Mapping[tuple[str, str], gates.Gate],
) -> list[Finding]:
    out = []
    for element in seek:
        measured = any(e == element for _, e in gate)
        if element in excluded or not measured:
            why = excluded.get(element, "it was not measured")
            out.append(
                Finding(
                    "sought-element-not-usable",
                    "warning",
                    f"{element} is sought but does not count: {why}. Its pathfinders are used in "
                    "its place; have it analysed by a laboratory.",
                    element=element,
                )
            )
    gated = [e for e in excluded if "laboratory" in excluded[e] and e not in set(seek)]
    if gated:
        out.append(
            Finding(
                "element-gated",
                "note",
                f"{', '.join(gated)} by portable XRF do not count in scores or ranks without a "
                "laboratory or a calibration that passes.",
            )
        )
    return out
