"""Map of targets, leads, follow-up and holes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.figures.base_map import area_path
from geochem.outputs.figures.layout import Caption, Window, box_of
from geochem.outputs.figures.map_sheet import start_map
from geochem.outputs.figures.panel import Block, Entry
from geochem.outputs.figures.score_map import draw_scores, score_entries
from geochem.outputs.figures.style import (
    ACCENT,
    INK,
    OUTLINE,
    OUTLINE_WASH,
    PAPER,
    literal,
    styled,
)  # fmt: skip
from geochem.outputs.figures.symbols import medium_style, positions, put, symbol_size
from geochem.outputs.figures.text_fit import text_width
from geochem.outputs.leading import split_elements

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    from matplotlib.axes import Axes

    from geochem.model.bundle import CampaignInfo
    from geochem.model.evidence import Association, Evidence
    from geochem.model.layers import Layers
    from geochem.model.targets import TargetReport

OUTLINE_STYLE: dict[str, Any] = {"facecolor": OUTLINE_WASH, "edgecolor": OUTLINE, "lw": 1.5}
LEAD_STYLE: dict[str, Any] = {
    "facecolor": "none",
    "edgecolor": OUTLINE,
    "lw": 0.9,
    "linestyle": (0, (3, 2)),
}
_FOLLOW: dict[str, Any] = {"marker": "+", "ms": 4.6, "mec": ACCENT, "mew": 1.0}
_HOLE: dict[str, Any] = {"marker": "s", "ms": 4.4, "mfc": PAPER, "mec": INK, "mew": 1.1}
_DRILLED: dict[str, Any] = {"marker": "o", "ms": 4.6, "mfc": INK, "mec": PAPER, "mew": 0.6}


@styled
def draw_targets(
    report: TargetReport,
    samples: gpd.GeoDataFrame,
    *,
    evidence: Evidence | None = None,
    association: Association | None = None,
    layers: Layers | None = None,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Show ranked outlines over the samples that led to them.

    Parameters
    ----------
    report : TargetReport
        Targets, leads, follow-up, holes; no target is said in words.
    samples : geopandas.GeoDataFrame
        All located samples.
    evidence, association : Evidence, Association, optional
        Shade the samples by this score; without them samples are plain.
    layers, info, caption, ax
        As in `draw_samples`.

    Returns
    -------
    Axes
        The map.
    """
    x, y = positions(samples)
    frames = (report.targets, report.leads, report.follow_up, report.holes)
    around = [tuple(float(v) for v in f.total_bounds) for f in frames if len(f)]
    sheet = start_map(ax, layers, (x, y), also=around)  # type: ignore[arg-type]
    ax, window = sheet.ax, sheet.window
    blocks = _draw_samples(ax, x, y, samples, evidence, association, window)
    marks = _draw_plans(ax, report, layers, window)
    draw_outlines(ax, report, x, y, window)
    outlines = []
    if len(report.targets):
        outlines.append(
            Entry("target: rank and name", f"{len(report.targets)}", patch=OUTLINE_STYLE)
        )
    if len(report.leads):
        outlines.append(
            Entry("lead: too few samples or lines", f"{len(report.leads)}",
                  patch={**LEAD_STYLE, "linestyle": "--"})
        )  # fmt: skip
    blocks = [*_target_list(report), Block("Outlines and plans", (*outlines, *marks)), *blocks]
    title = "Targets, ranked for follow-up" if len(report.targets) else "No target"
    return sheet.finish(blocks, Caption(title, report.why_none), info=info, caption=caption)


def _target_list(report: TargetReport) -> list[Block]:
    if not len(report.targets):
        return [Block("No target", note=report.why_none)]
    entries = tuple(
        Entry(f"{literal(t.target, 12)}  {_elements(t.elements)}", _status(t), badge=str(t.rank))
        for t in report.targets.itertuples()
    )
    more = "Order of follow-up, not of value."
    return [Block("Rank, target, elements, status", entries, note=more, keep=5)]


def _elements(text: object, most: int = 4) -> str:
    names = split_elements(text)
    return ", ".join(names[:most]) + (" ..." if len(names) > most else "")


def _status(row: Any) -> str:
    return literal(row.status or "new", 14)


def _draw_samples(
    ax: Axes,
    x: npt.NDArray[np.float64],
    y: npt.NDArray[np.float64],
    samples: gpd.GeoDataFrame,
    evidence: Evidence | None,
    association: Association | None,
    window: Window,
) -> list[Block]:
    scored = evidence is not None and association is not None
    # of very many samples the symbols must not hide the outlines
    least = 2.6 if len(x) <= 20_000 else 1.0
    size = symbol_size(ax, x, y, window, least=least, most=6.0)
    if not scored or evidence is None or association is None:
        style = {**medium_style("soil", size * 0.6)}
        put(ax, x, y, style, zorder=3, label="samples")
        return [Block("", (Entry("samples", f"{len(x)}", marker=style),))] if len(x) else []
    px, py = positions(evidence.anomalies)
    score = evidence.scores[association.name].to_numpy(dtype=float)
    medium = evidence.anomalies["medium"].fillna("not stated").to_numpy(dtype=object)
    rest = ~samples["sample_id"].isin(evidence.anomalies["sample_id"]).to_numpy()
    style = {"marker": "D", "ms": 2.2, "mfc": "none", "mec": "#5f5a52", "mew": 0.5}
    entries = score_entries(score, size)
    if put(ax, x[rest], y[rest], style, zorder=2.7, label="not scored"):
        entries.append(Entry("media that are not scored", f"{int(rest.sum())}", marker=style))
    draw_scores(ax, px, py, score, medium, size)
    title = f"{association.title}: score [standard deviations], number of samples"
    return [Block(title, tuple(entries))]


def _draw_plans(
    ax: Axes, report: TargetReport, layers: Layers | None, window: Window
) -> list[Entry]:
    entries = []
    if len(report.follow_up):
        x, y = positions(report.follow_up)
        style = _FOLLOW if len(x) <= 60 else {**_FOLLOW, "ms": 2.8, "mew": 0.6}
        put(ax, x, y, style, zorder=4.4, label="follow-up")
        entries.append(Entry("follow-up sample, proposed", f"{len(x)}", marker=style))
    drilled = None if layers is None else layers.get("drilled")
    if drilled is not None and len(drilled):
        points = drilled.geometry.representative_point()
        x, y = points.x.to_numpy(dtype=float), points.y.to_numpy(dtype=float)
        seen = (x > window[0]) & (x < window[1]) & (y > window[2]) & (y < window[3])
        if put(ax, x[seen], y[seen], _DRILLED, zorder=5.1, label="drilled"):
            entries.append(Entry("existing hole", f"{int(seen.sum())}", marker=_DRILLED))
    if len(report.holes):
        x, y = positions(report.holes)
        flat = report.holes["length"].to_numpy(dtype=float) * np.cos(
            np.radians(report.holes["dip"].to_numpy(dtype=float))
        )
        azimuth = np.radians(report.holes["azimuth"].to_numpy(dtype=float))
        # so short a line is lost on a regional map: never less than half a centimetre
        shortest = 0.22 * (window[1] - window[0]) / box_of(ax)[2]
        flat = np.maximum(np.nan_to_num(flat), shortest)
        for k in range(len(x)):
            if azimuth[k] == azimuth[k]:
                ax.plot(
                    [x[k], x[k] + flat[k] * np.sin(azimuth[k])],
                    [y[k], y[k] + flat[k] * np.cos(azimuth[k])],
                    color=INK, lw=1.1, zorder=5.2, solid_capstyle="butt",
                )  # fmt: skip
        put(ax, x, y, _HOLE, zorder=5.3, label="holes")
        concept = int((report.holes["status"] == "concept").sum())
        words = "proposed hole and direction" + (f" ({concept} as concept)" if concept else "")
        entries.append(Entry(words, f"{len(x)}", marker=_HOLE))
    return entries


def draw_outlines(
    ax: Axes,
    report: TargetReport,
    x: npt.NDArray[np.float64],
    y: npt.NDArray[np.float64],
    window: Window,
) -> None:
    """Draw leads, then targets with rank and name.

    Parameters
    ----------
    ax : Axes
        The map.
    report : TargetReport
        With `targets` and `leads`.
    x, y : ndarray, shape (n,)
        Samples, which labels avoid. [m]
    window : tuple of float
        West, east, south, north of the map. [m]
    """
    from matplotlib.collections import PathCollection

    for frame, style, label in (
        (report.leads, LEAD_STYLE, "leads"),
        (report.targets, OUTLINE_STYLE, "targets"),
    ):
        paths = [
            area_path(part)
            for shape in frame.geometry
            if shape is not None and not shape.is_empty
            for part in getattr(shape, "geoms", [shape])
            if part.geom_type == "Polygon"
        ]
        if paths:
            ax.add_collection(
                PathCollection(
                    paths, zorder=4.5, gid=label,
                    **{("linestyles" if k == "linestyle" else k): v for k, v in style.items()},
                ),
                autolim=False,
            )  # fmt: skip
    _draw_labels(ax, report.targets, x, y, window)


def _draw_labels(
    ax: Axes,
    targets: gpd.GeoDataFrame,
    x: npt.NDArray[np.float64],
    y: npt.NDArray[np.float64],
    window: Window,
) -> None:
    """Put rank and name beside each outline where they hide least."""
    per_inch = (window[1] - window[0]) / box_of(ax)[2]
    targets = targets.loc[~(targets.geometry.isna() | targets.geometry.is_empty)]
    taken = [(float(w), float(s), float(e), float(n)) for w, s, e, n in targets.bounds.to_numpy()]
    for k, row in enumerate(targets.itertuples()):
        text = f"{row.rank}  {literal(row.target, 12)}"
        wide = (text_width(text, 8.5, "bold") + 0.1) * per_inch
        high = 0.19 * per_inch
        west, south, east, north = taken[k]
        cx, cy, gap = (west + east) / 2, (south + north) / 2, 0.04 * per_inch
        options = [
            (east + gap, north - high / 2), (west - gap - wide, north - high / 2),
            (cx - wide / 2, north + gap), (cx - wide / 2, south - gap - high),
            (east + gap, cy - high / 2), (west - gap - wide, cy - high / 2),
            (east + gap, south - high / 2), (west - gap - wide, south - high / 2),
            (cx - wide / 2, cy - high / 2),
        ]  # fmt: skip
        best = min(
            range(len(options)),
            key=lambda i: (_cost(options[i], wide, high, taken, x, y, window, skip=k), i),
        )
        left, bottom = options[best]
        taken.append((left, bottom, left + wide, bottom + high))
        _lead_to(ax, row.geometry, (left + wide / 2, bottom + high / 2), 0.35 * per_inch)
        ax.text(
            left + wide / 2, bottom + high / 2, text, size=8.5, weight="bold", color=PAPER,
            ha="center", va="center", zorder=6,
            bbox={"boxstyle": "round,pad=0.22", "fc": OUTLINE, "ec": PAPER, "lw": 0.6},
        )  # fmt: skip


def _lead_to(ax: Axes, shape: Any, middle: tuple[float, float], far: float) -> None:
    """Draw a thin line from a label to its outline when they stand apart."""
    from shapely import Point
    from shapely.ops import nearest_points

    if shape is None or shape.is_empty or shape.distance(Point(middle)) < far * 0.6:
        return
    near = nearest_points(shape, Point(middle))[0]
    ax.plot([near.x, middle[0]], [near.y, middle[1]], color=OUTLINE, lw=0.9, zorder=5.5)


def _cost(
    corner: tuple[float, float],
    wide: float,
    high: float,
    taken: list[tuple[float, float, float, float]],
    x: npt.NDArray[np.float64],
    y: npt.NDArray[np.float64],
    window: Window,
    *,
    skip: int,
) -> float:
    left, bottom = corner
    right, top = left + wide, bottom + high
    if left < window[0] or right > window[1] or bottom < window[2] or top > window[3]:
        return 1e6
    hit = sum(
        200.0 * (max(0.0, min(right, e) - max(left, w)) * max(0.0, min(top, n) - max(bottom, s)))
        / (wide * high)
        for i, (w, s, e, n) in enumerate(taken)
        if i != skip
    )  # fmt: skip
    return hit + float(((x > left) & (x < right) & (y > bottom) & (y < top)).sum())
