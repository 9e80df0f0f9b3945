"""Everything about samples but their values: place, medium, field log, batches, findings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.model.tables import SAMPLES
from geochem.outputs.webmap.packing import pack, pack_codes, pack_flags, pack_values

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from geochem.model.bundle import Bundle
    from geochem.outputs.webmap.points import Points

#: column -> what the panel calls it
_LABELS = {
    "depth_from": "depth from", "depth_to": "depth to", "fraction_um": "fraction sampled [µm]",
    "elevation": "elevation [m]", "accuracy_m": "position accuracy [m]",
    "planned_id": "planned point", "prep_batch": "preparation batch",
    "prep_order": "order in the batch", "sieve_um": "sieved to [µm]",
    "powder_ml": "powder [ml]", "die_mm": "die [mm]", "die_fill": "die fill [share]",
    "binder_pct": "binder [%]", "moisture_pct": "moisture [%]", "use": "use of the data",
    "file": "field log", "row": "row in the field log",
}  # fmt: skip
_PREPARATION = {
    "prep_batch", "prep_order", "sieve_um", "powder_ml", "die_mm", "die_fill", "binder_pct",
    "mill", "moisture_pct",
}  # fmt: skip
_LEFT_OUT = {"sample_id", "medium", "geometry", "role", "parent", "standard", "x", "y", "crs"}
_MOST_FINDINGS = 3000


def sample_entry(bundle: Bundle, points: Points, origin: tuple[float, float]) -> dict[str, Any]:
    """Pack position, medium, domain and the field log of all symbols.

    Parameters
    ----------
    bundle : Bundle
        All records.
    points : Points
        What is drawn.
    origin : tuple of float
        Positions are whole decimetres east and north of it. [m]

    Returns
    -------
    dict
        ``n, total, cell, x, y, ids, media, medium, zones, zone, weights, context, details,
        assays, findings, count, group``.
    """
    media = _by_frequency(points.medium)
    medium = _codes(points.medium, media)
    zones, zone = zones_of(points)
    entry: dict[str, Any] = {
        "n": len(points),
        "total": points.total,
        "cell": points.cell,
        "x": pack(np.rint((points.easting - origin[0]) * 10).astype(np.int32)),
        "y": pack(np.rint((points.northing - origin[1]) * 10).astype(np.int32)),
        "ids": [str(i) for i in points.ids],
        "media": media,
        "medium": pack_codes(medium, len(media)),
        "zones": [list(z) for z in zones],
        "zone": pack_codes(zone, len(zones) + 1),
        "weights": _weights(points),
        "group": pack(np.nan_to_num(points.group, nan=0).astype(np.uint16)),
        "context": None,
        "details": [],
        "assays": [],
        "findings": {},
        "reread": {},
        "count": None,
    }
    if points.frame is None:
        entry["count"] = pack(points.count.astype(np.uint32))
        return entry
    frame = points.frame
    if "use" in frame.columns:
        entry["context"] = pack_flags((frame["use"] == "context").to_numpy(dtype=bool))
    entry["details"] = _details(frame)
    entry["assays"] = _assays(bundle, points)
    entry["findings"] = _findings(bundle, points)
    entry["reread"] = _reread(bundle, points)
    return entry


def zones_of(points: Points) -> tuple[list[tuple[str, str]], npt.NDArray[np.int64]]:
    """Give a number to each pair of medium and domain that has a background; 0 is none.

    Parameters
    ----------
    points : Points
        What is drawn.

    Returns
    -------
    zones : list of (medium, domain)
        Sorted; number i + 1 is ``zones[i]``.
    zone : ndarray of int, shape (n,)
        Number per symbol.
    """
    import pandas as pd

    has = np.array([d is not None for d in points.domain], dtype=bool)
    zone = np.zeros(len(points), dtype=np.int64)
    if not has.any():
        return [], zone
    pairs = pd.MultiIndex.from_arrays([points.medium[has], points.domain[has]])
    unique = sorted(set(pairs))
    zone[has] = 1 + pd.MultiIndex.from_tuples(unique).get_indexer(pairs)
    return [(str(m), str(d)) for m, d in unique], zone


def _weights(points: Points) -> dict[str, Any] | None:
    """Pack declustering weights; None when all that count are equal."""
    known = points.weight[points.weight > 0]
    if not len(known) or np.ptp(known) < 1e-9:
        return None
    return pack_values(np.where(points.weight > 0, points.weight, np.nan))


def _by_frequency(texts: npt.NDArray[np.object_]) -> list[str]:
    names, counts = np.unique(texts.astype(str), return_counts=True)
    return [str(names[i]) for i in np.lexsort((names, -counts))]


def _codes(texts: npt.NDArray[np.object_], names: list[str]) -> npt.NDArray[np.int64]:
    import pandas as pd

    return pd.Index(names).get_indexer(pd.Index(texts.astype(str)))


def _details(frame: pd.DataFrame) -> list[dict[str, Any]]:
    names = [c for c in SAMPLES if c in frame.columns]
    names += [
        str(c)
        for c in frame.columns
        if c not in SAMPLES and "_ppm" not in str(c) and str(c) not in _LEFT_OUT
    ]
    made = []
    for name in names:
        if name in _LEFT_OUT:
            continue
        packed = _column(frame[name])
        if packed is None:
            continue
        made.append(
            {
                "name": name,
                "label": _LABELS.get(name, name.replace("_", " ")),
                "about": "preparation" if name in _PREPARATION else "place",
                **packed,
            }
        )
    return made


def _column(column: pd.Series) -> dict[str, Any] | None:
    """Pack one column of the field log: codes of texts, or four-digit numbers when too many."""
    import pandas as pd

    if pd.api.types.is_datetime64_any_dtype(column):
        column = column.dt.strftime("%Y-%m-%d").astype(object)
    if pd.api.types.is_float_dtype(column):
        numbers = column.to_numpy(dtype=float)
        known = np.isfinite(numbers)
        if not known.any():
            return None
        unique = np.unique(numbers[known])
        if len(unique) > 4000:
            return {"as": "number", "values": pack_values(numbers)}
        codes = np.where(known, np.searchsorted(unique, np.where(known, numbers, unique[0])), -1)
        texts = [f"{v:.10g}" for v in unique]
    else:
        codes, found = pd.factorize(column, sort=False, use_na_sentinel=True)
        if not len(found):
            return None
        texts = [str(v) for v in found]
    if len(texts) == 1 and (codes == 0).all():
        return {"as": "same", "text": texts[0]}
    return {"as": "code", "texts": texts, "codes": pack_codes(codes + 1, len(texts) + 1)}


def _assays(bundle: Bundle, points: Points) -> list[dict[str, Any]]:
    """Say for each assay in which batch, file and row a sample was read."""
    import pandas as pd

    results = bundle.survey.results
    if not len(results):
        return []
    at = pd.Index(points.ids).get_indexer(pd.Index(results["sample_id"]))
    assay_code, assays = pd.factorize(results["assay"], sort=True)
    key = np.where(at >= 0, assay_code * np.int64(len(points)) + at, -1)
    row = results["row"].to_numpy(dtype=float, na_value=np.nan)
    order = np.lexsort((np.nan_to_num(row, nan=0.0), key))
    ordered = key[order]
    keep = (ordered >= 0) & np.r_[True, ordered[1:] != ordered[:-1]]
    first = results.iloc[order[keep]]
    sample = at[order[keep]]
    made = []
    for i, assay in enumerate(assays):
        mine = assay_code[order[keep]] == i
        part, where = first[mine], sample[mine]
        if not len(part):  # an assay of controls or of samples without position only
            continue
        entry: dict[str, Any] = {"assay": str(assay), "source": str(part["source"].iloc[0])}
        for column in ("batch", "file"):
            codes, found = pd.factorize(part[column], sort=True, use_na_sentinel=True)
            full = np.zeros(len(points), dtype=np.int64)
            full[where] = codes + 1
            entry[column] = {
                "texts": [str(v) for v in found],
                "codes": pack_codes(full, len(found) + 1),
            }
        rows = np.zeros(len(points), dtype=np.uint32)
        rows[where] = part["row"].to_numpy(dtype=float, na_value=0.0)
        entry["row"] = pack(rows)
        made.append(entry)
    return made


def _findings(bundle: Bundle, points: Points) -> dict[str, list[list[str]]]:
    import pandas as pd

    about = [f for f in bundle.findings if f.sample_id][:_MOST_FINDINGS]
    at = pd.Index(points.ids).get_indexer(pd.Index([f.sample_id for f in about], dtype=object))
    made: dict[str, list[list[str]]] = {}
    for finding, i in zip(about, at, strict=True):
        if i >= 0:
            made.setdefault(str(int(i)), []).append([finding.severity, finding.message])
    return made


def _reread(bundle: Bundle, points: Points) -> dict[str, str]:
    import pandas as pd

    reread = bundle.quality.reread
    if not len(reread):
        return {}
    at = pd.Index(points.ids).get_indexer(pd.Index(reread["sample_id"]))
    return {
        str(int(i)): str(reason) for i, reason in zip(at, reread["reason"], strict=True) if i >= 0
    }


def verdict_entries(bundle: Bundle) -> dict[str, Any]:
    """Give warnings and failures per assay, batch and element; what passed is left out.

    Parameters
    ----------
    bundle : Bundle
        All records.

    Returns
    -------
    dict
        ``texts`` (verdict, reason and action in words), ``by`` (assay -> batch -> element ->
        number of a text) and ``batches`` (assay -> batch -> verdict of the whole batch).
    """
    verdicts = bundle.quality.verdicts
    texts: dict[tuple[str, str, str], int] = {}
    by: dict[str, dict[str, dict[str, int]]] = {}
    bad = verdicts[verdicts["verdict"].isin(["warn", "fail"]).to_numpy(dtype=bool)]
    for row in bad.itertuples(index=False):
        text = (str(row.verdict), str(row.reason or ""), str(row.action or ""))
        number = texts.setdefault(text, len(texts))
        batches = by.setdefault(str(row.assay), {})
        batches.setdefault(str(row.batch), {})[str(row.element)] = number
    whole: dict[str, dict[str, str]] = {}
    for row in bundle.quality.batches.itertuples(index=False):
        if row.verdict != "pass":
            whole.setdefault(str(row.assay), {})[str(row.batch)] = str(row.verdict)
    return {"texts": [list(t) for t in texts], "by": by, "batches": whole}
