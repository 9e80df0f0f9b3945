"""Small maps of a run: density of sampling, progress, quality, groups; threshold classes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.model.tables import values_of
from geochem.outputs.figures.domains import domain_pairs
from geochem.outputs.figures.small_maps import Kind, SmallMap, Squares
from geochem.outputs.figures.style import INK, MUTED, NO_DATA, PAPER, RAMP
from geochem.outputs.figures.symbols import graded_style, positions

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model.bundle import Bundle

    Flags = npt.NDArray[np.bool_]

_HOLLOW: dict[str, Any] = {"marker": "o", "ms": 1.8, "mfc": "none", "mec": NO_DATA, "mew": 0.5}
_PALE: dict[str, Any] = {"marker": "o", "ms": 1.8, "mfc": "#d8d4cb", "mec": "none", "mew": 0}
_STRONG: dict[str, Any] = {"marker": "s", "ms": 3.2, "mfc": RAMP[4], "mec": PAPER, "mew": 0.3}
_MIDDLE: dict[str, Any] = {"marker": "o", "ms": 2.6, "mfc": RAMP[2], "mec": "none", "mew": 0}
_CROSS: dict[str, Any] = {"marker": "x", "ms": 3.4, "mec": "#a23c2c", "mew": 0.9}
_TRIANGLE: dict[str, Any] = {"marker": "^", "ms": 3.4, "mfc": "#d08a1d", "mec": INK, "mew": 0.3}


def overview_maps(bundle: Bundle) -> list[SmallMap]:
    """List the small maps that a run allows.

    Parameters
    ----------
    bundle : Bundle
        Records.

    Returns
    -------
    list of SmallMap
        Density always; progress where there are results of two sources; quality where batches
        were judged; groups where they were found.
    """
    made = [density_map(bundle), progress_map(bundle), quality_map(bundle), group_map(bundle)]
    return [m for m in made if m is not None]


def density_map(bundle: Bundle) -> SmallMap:
    """Count samples on square cells of a round size, about five to the median cell."""
    x, y = positions(bundle.survey.samples)
    extent = max(np.ptp(x), np.ptp(y), 100.0)
    wanted = np.sqrt(5 * max(np.ptp(x) * np.ptp(y), 1e4) / max(len(x), 1))
    cell = _round(float(np.clip(wanted, extent / 60, extent / 6)))
    ix, iy = np.floor(x / cell), np.floor(y / cell)
    corners, number = np.unique(np.column_stack([ix, iy]), axis=0, return_counts=True)
    per_km2 = number / (cell / 1000) ** 2
    limits = _round_limits(per_km2)
    place = np.searchsorted(limits, per_km2, side="right")
    shade = [RAMP[i] for i in np.round(np.linspace(0, 5, len(limits) + 1)).astype(int)]
    kinds = []
    for k in range(len(limits) + 1):
        here = place == k
        low = "" if k == 0 else f"{limits[k - 1]:g}"
        text = f"{low} to {limits[k]:g}" if k and k < len(limits) else (
            f"< {limits[0]:g}" if k == 0 and limits else f"{low} and more" if k else "all cells"
        )  # fmt: skip
        kinds.append(
            Squares(text, corners[here, 0] * cell, corners[here, 1] * cell, cell, shade[k])
        )
    return SmallMap(
        "Density [samples per km\u00b2]", tuple(kinds),
        f"Number of cells, {cell:g} m wide; all media together.",
    )  # fmt: skip


def progress_map(bundle: Bundle) -> SmallMap | None:
    """Show what has been read and what has come back; planned places that are still open."""
    samples, results = bundle.survey.samples, bundle.survey.results
    x, y = positions(samples)
    sources = [s for s in ("pxrf", "laboratory") if (results["source"] == s).any()]
    ids = samples["sample_id"]
    has = {
        s: ids.isin(results.loc[results["source"] == s, "sample_id"]).to_numpy() for s in sources
    }
    read = has.get("pxrf", np.zeros(len(samples), dtype=bool))
    back = has.get("laboratory", np.zeros(len(samples), dtype=bool))
    kinds = []
    open_points = bundle.progress.get("open_points") or []
    if open_points:
        at = np.array(open_points, dtype=float)
        kinds.append(Kind("planned, not taken", at[:, 0], at[:, 1],
                          {"marker": "+", "ms": 3.4, "mec": MUTED, "mew": 0.7}))  # fmt: skip
    if len(sources) < 2 and not kinds and (read | back).all():
        return None
    kinds += _kinds(x, y, [
        ("taken, no result yet", ~read & ~back, _HOLLOW),
        ("read with portable XRF", read & ~back, _MIDDLE),
        ("laboratory result back", back, _STRONG),
    ])  # fmt: skip
    return SmallMap("Progress", tuple(kinds))


def quality_map(bundle: Bundle) -> SmallMap | None:
    """Show the worst verdict of the batches that a sample was analysed in."""
    verdicts = bundle.quality.verdicts
    results = bundle.survey.results
    key = verdicts.loc[verdicts["key_element"].to_numpy(dtype=bool, na_value=False)]
    judged = key if len(key) else verdicts
    if not len(judged):
        return None
    order = {"pass": 1, "warn": 2, "fail": 3}
    worst: dict[tuple[str, str], int] = {}
    for assay, batch, verdict in zip(
        judged["assay"], judged["batch"], judged["verdict"], strict=True
    ):
        at = (str(assay), str(batch))
        worst[at] = max(worst.get(at, 0), order.get(str(verdict), 0))
    seen = results[["sample_id", "assay", "batch"]].drop_duplicates()
    level = [
        worst.get((str(a), str(b)), 0) for a, b in zip(seen["assay"], seen["batch"], strict=True)
    ]
    samples = bundle.survey.samples
    by_id = seen.assign(level=level).groupby("sample_id", sort=False)["level"].max()
    code = by_id.reindex(samples["sample_id"]).fillna(-1).to_numpy(dtype=int)
    again = samples["sample_id"].isin(bundle.quality.reread["sample_id"]).to_numpy()
    x, y = positions(samples)
    kinds = _kinds(x, y, [
        ("not analysed", code == -1, _HOLLOW),
        ("batch not judged", (code == 0) & ~again, {**_HOLLOW, "mec": RAMP[2]}),
        ("batch passed", (code == 1) & ~again, _PALE),
        ("batch with a warning", (code == 2) & ~again, _MIDDLE),
        ("batch failed", (code == 3) & ~again, _TRIANGLE),
        ("to be read again", again, _CROSS),
    ])  # fmt: skip
    return SmallMap("Quality of the batches", kinds, "Worst verdict of key elements.")


def group_map(bundle: Bundle) -> SmallMap | None:
    """Show groups of samples that are alike; what drives them stands in the legend."""
    anomalies, clusters = bundle.evidence.anomalies, bundle.evidence.clusters
    if not len(anomalies) or "driving" not in clusters.columns or not len(clusters):
        return None
    group = anomalies["group"].to_numpy(dtype=float, na_value=np.nan)
    if not np.isfinite(group).any():
        return None
    x, y = positions(anomalies)
    marks = ("s", "^", "D", "v", "P", "X", "h", "p")
    fills = (RAMP[5], "#d08a1d", "#2d7f8e", RAMP[2], "#4f5b2f", "#a23c2c", "#7b8a3c", "#3c3c3c")
    plain: list[Any] = []
    strong: list[Any] = []
    rows = clusters.sort_values("n", ascending=False, kind="stable").head(9)
    for number, driving in zip(rows["group"], rows["driving"], strict=True):
        here = group == float(number)
        if driving == "background":
            plain.append((f"{int(number)}: background", here, _PALE))
            continue
        k = len(strong)
        style = {"marker": marks[k % 8], "ms": 3.2, "mfc": fills[k % 8], "mec": PAPER, "mew": 0.3}
        strong.append((f"{int(number)}: {driving}", here, style))
    kinds = _kinds(x, y, [("in no group", ~np.isfinite(group), _HOLLOW), *plain, *strong])
    return SmallMap("Groups of samples that are alike", kinds, "+ raised, - low.")


def class_maps(bundle: Bundle, elements: list[str]) -> list[SmallMap]:
    """Make one small map per element: background, possible, probable, limits.

    Parameters
    ----------
    bundle : Bundle
        Records.
    elements : list of str
        Symbols.

    Returns
    -------
    list of SmallMap
        Only elements that have thresholds.
    """
    from geochem.outputs.figures.captions import threshold_per_sample

    samples = bundle.survey.samples
    x, y = positions(samples)
    made = []
    for element in elements:
        limit, words = threshold_per_sample(bundle, element)
        if not words:
            continue
        v = values_of(samples, element)
        known = np.isfinite(v.value)
        third = _third(bundle, element, limit)
        detected = known & ~v.below
        beyond = detected & (v.value > limit)
        probable = beyond & (v.value > third)
        undecided = v.below & known & (v.value > limit)
        unjudged = known & ~np.isfinite(limit)
        kinds = _kinds(x, y, [
            ("not analysed, or no threshold", ~known | unjudged, _HOLLOW),
            ("below detection", v.below & known & ~undecided & ~unjudged,
             {"marker": "x", "ms": 2.2, "mec": NO_DATA, "mew": 0.5}),
            ("background", detected & ~beyond & ~unjudged, _PALE),
            ("undecided: limit beyond threshold", undecided,
             {"marker": "s", "ms": 2.4, "mfc": "none", "mec": "#7d766b", "mew": 0.4}),
            ("possible anomaly", beyond & ~probable, graded_style(3, 5.0)),
            ("probable anomaly", probable, graded_style(5, 6.0)),
        ], keep_empty=True)  # fmt: skip
        n = int((beyond & ~probable).sum()), int(probable.sum())
        made.append(SmallMap(f"{element}: {n[0]} possible, {n[1]} probable", kinds))
    return made


def index_maps(bundle: Bundle, most: int = 6) -> list[SmallMap]:
    """Make one small map per index, ratio, balance or enrichment factor that has a threshold.

    Parameters
    ----------
    bundle : Bundle
        Records.
    most : int, default 6
        Maps at most, in the order of the campaign file.

    Returns
    -------
    list of SmallMap
        Background, and beyond the threshold of the sample's medium.
    """
    samples = bundle.survey.samples
    x, y = positions(samples)
    table = bundle.thresholds[bundle.thresholds["element"].isin(samples.columns)]
    made = []
    for column in dict.fromkeys(table["element"]):
        mine = table[(table["element"] == column).to_numpy(dtype=bool)]
        limit = samples["medium"].map(dict(zip(mine["medium"], mine["value"], strict=True)))
        limit = limit.to_numpy(dtype=float, na_value=np.nan)
        value = samples[column].to_numpy(dtype=float)
        judged = np.isfinite(value) & np.isfinite(limit)
        beyond = judged & (value > limit)
        kinds = _kinds(x, y, [
            ("no value, or no threshold", ~judged, _HOLLOW),
            ("background", judged & ~beyond, _PALE),
            ("beyond median + 2 MAD", beyond, graded_style(4, 5.0)),
        ], keep_empty=True)  # fmt: skip
        kind, _, name = column.partition("_")
        title = {"ratio": name.replace("_", "/"), "enrichment": f"EF {name}"}.get(kind, name)
        made.append(SmallMap(f"{title}: {int(beyond.sum())} beyond", kinds))
    return made[:most]


def _third(bundle: Bundle, element: str, limit: npt.NDArray[np.float64]) -> Any:
    """Give location + 3 scales of each sample's own background, not below its threshold."""
    import pandas as pd

    anomalies, samples = bundle.evidence.anomalies, bundle.survey.samples
    mine = bundle.backgrounds[(bundle.backgrounds["element"] == element).to_numpy(dtype=bool)]
    value = 10.0 ** (mine["location"] + 3 * mine["scale"]).to_numpy(dtype=float)
    table = dict(zip(zip(mine["medium"], mine["domain"], strict=True), value, strict=True))
    pair_of, pairs = domain_pairs(anomalies)
    limits = [table.get((m, d), table.get((m, "all"), np.nan)) for m, d in pairs]
    given = np.array([*limits, np.nan])[pair_of]
    at = pd.Index(anomalies["sample_id"]).get_indexer(pd.Index(samples["sample_id"]))
    third = np.full(len(samples), np.nan)
    third[at >= 0] = given[at[at >= 0]]
    return np.fmax(third, limit)


def _kinds(
    x: npt.NDArray[np.float64],
    y: npt.NDArray[np.float64],
    rows: list[tuple[str, Flags, dict[str, Any]]],
    *,
    keep_empty: bool = False,
) -> tuple[Kind, ...]:
    return tuple(
        Kind(text, x[here], y[here], style)
        for text, here, style in rows
        if keep_empty or here.any()
    )


def _round(length: float) -> float:
    power = 10.0 ** np.floor(np.log10(length))
    return float(next(m * power for m in (1, 2, 5, 10) if m * power >= length * 0.999))


def _round_limits(values: npt.NDArray[np.float64]) -> list[float]:
    """Give up to four limits of 1, 2 or 5 times a power of ten that part the cells."""
    wanted = np.percentile(values, [25, 50, 75, 95])
    found = sorted({_round(float(w)) for w in wanted if w > 0})
    return [f for f in found if values.min() < f <= values.max()]
