"""Operations on one layer: what each step of a run gives, written beside the features it is about.

Each function takes the layer as a small campaign of its own and typed options, and says which
columns or shapes go out and how they are drawn. How an operation is set up, and the options that
several share, are in `layer_work.py`. No mathematics here.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

import numpy as np

from geochem.campaign.layer_work import LayerAnswer, LayerWork, columns_of, graded
from geochem.campaign.wiring import used_samples
from geochem.errors import DataRefused
from geochem.model.finding import Finding
from geochem.plugins import Bounds


def log_ratio(
    work: LayerWork,
    *,
    elements: list[str] | None = None,
    max_below: Annotated[float, Bounds(0.0, 1.0)] = 0.3,
) -> LayerAnswer:
    """Centred log-ratios of the elements, values below detection replaced under their limits.

    Parameters
    ----------
    work : LayerWork
        The layer.
    elements : list of str, optional
        Parts of the composition; by default all that qualify.
    max_below : float, default 0.3
        An element above this share below detection is left out. [-]

    Returns
    -------
    LayerAnswer
        ``<El>_clr`` and the robust distance of the composition.
    """
    table = {"elements": elements or [], "max_below": max_below}
    state = work.work("compose", composition=table)
    if not state["compositions"]:
        raise DataRefused("there are too few samples or elements for a composition.")
    composition = state["compositions"][0]
    ratios = dict(zip((f"{p}_clr" for p in composition.parts), composition.clr.T, strict=True))
    column, title = "composition_distance", "Robust distance of the composition"
    return LayerAnswer(
        graded(title, column, composition.distance),
        columns_of(composition.sample_id, {**ratios, column: composition.distance}),
    )


def threshold(
    work: LayerWork,
    *,
    element: str,
    method: str = "median_mad",
    k: Annotated[float, Bounds(0.0, None)] | None = None,
    by: list[str] | None = None,
) -> LayerAnswer:
    """Background and threshold of one element, and who is beyond it.

    Parameters
    ----------
    work : LayerWork
        The layer.
    element : str
        Symbol, for example Cu.
    method : str, default "median_mad"
        Threshold method, see `geochem plugins`.
    k : float, optional
        Option k of the method, when it has one.
    by : list of str, optional
        Columns of the layer that separate domains.

    Returns
    -------
    LayerAnswer
        Value used, threshold of its domain, and whether it is beyond.
    """
    from geochem.outputs.gis.styles import flag_style

    options = {} if k is None else {"k": k}
    table = {"method": method, "options": options, "by": by or []}
    state = work.work("background", background=table, anomalies={"elements": [element]})
    samples = used_samples(state["survey"].samples)
    found = state["background"].thresholds
    rows = found.loc[(found["element"] == element) & found["value"].notna()]
    if not len(rows):
        raise DataRefused(f"no threshold of {element} could be found; see the findings of check.")
    domain = state["background"].domains.set_index("sample_id")["domain"]
    domains = domain.reindex(samples["sample_id"]).fillna("all")
    limits = dict(zip(rows["domain"], rows["value"], strict=True))
    whole = limits.get("all", np.nan)
    limit = np.array([limits.get(d, whole) for d in domains], dtype=float)
    values = samples[f"{element}_ppm"].to_numpy(dtype=float)
    certain = ~samples[f"{element}_ppm_below"].to_numpy()
    flag = f"{element}_beyond"
    words = (f"{element} beyond the threshold", "not beyond")
    return LayerAnswer(
        lambda layer: flag_style(layer, f"{element}, {method}", flag, words),
        columns_of(
            samples["sample_id"],
            {
                f"{element}_used_ppm": values,
                f"{element}_threshold": limit,
                flag: (values > limit) & certain,
            },
        ),
    )


def score(work: LayerWork) -> LayerAnswer:
    """Score every sample against its background: elements one by one, and associations.

    Parameters
    ----------
    work : LayerWork
        The layer.

    Returns
    -------
    LayerAnswer
        ``<El>_z``, ``<El>_p`` and the scores of associations.
    """
    evidence = work.work("anomalies", targets=work.sought)["evidence"]
    table = evidence.anomalies
    columns: dict[str, Any] = {"domain": table["domain"]}
    columns |= {c: table[c] for c in table.columns if c.endswith(("_z", "_p"))}
    columns |= {f"score_{n}": evidence.scores[n] for n in evidence.scores.columns}
    shown = [c for c in columns if c.startswith("score_")] or [
        c for c in columns if c.endswith("_z")
    ]
    if not shown:
        raise DataRefused("no element of the layer could be scored.")
    return LayerAnswer(
        graded(shown[0], shown[0], columns[shown[0]]), columns_of(table["sample_id"], columns)
    )


def gi_star(
    work: LayerWork,
    *,
    element: str,
    neighbours: Annotated[int, Bounds(3, 200)] = 8,
) -> LayerAnswer:
    """Find where high values keep together: Gi* of log values, and against a barren null.

    The analytic Gi* calls much of barren ground hot when neighbours resemble each other anyway;
    the second column is measured against ground simulated from the background's own variogram.

    Parameters
    ----------
    work : LayerWork
        The layer.
    element : str
        Symbol, for example Cu.
    neighbours : int, default 8
        Nearest places that count, in spacings of the grid.

    Returns
    -------
    LayerAnswer
        ``<El>_gi_star`` and ``<El>_gi_barren``.
    """
    from geochem.anomalies import spatial
    from geochem.outputs.gis.styles import graded_style
    from geochem.stats.local_statistics import getis_ord_gi_star
    from geochem.stats.neighbours import nearest

    state = work.work("anomalies", targets={"seek": [element]})
    table = state["evidence"].anomalies
    name = f"{element}_z"
    if name not in table.columns:
        raise DataRefused(f"{element} could not be scored against a background.")
    values = table[name].to_numpy(dtype=float)
    samples = used_samples(state["survey"].samples)
    grids = samples.set_index("sample_id")["grid"].reindex(table["sample_id"]).to_numpy(object)
    places = spatial.grounds(
        table["medium"].to_numpy(object), grids, table["easting"].to_numpy(float),
        table["northing"].to_numpy(float), state["spacings"],
    )  # fmt: skip
    star = np.full(len(values), np.nan)
    for ground in places:
        weights = nearest(ground.scaled, neighbours, include_self=True)
        star[ground.rows] = getis_ord_gi_star(values[ground.rows], weights)
    filled = np.where(np.isfinite(values), values, 0.0)
    null, _ = spatial.coherence({element: filled}, places, seed=work.seed)
    title, shown = f"{element}: neighbourhood against barren ground", f"{element}_gi_barren"
    return LayerAnswer(
        lambda layer: graded_style(layer, title, shown, [1.0, 2.0, 3.0, 4.0]),
        columns_of(table["sample_id"], {f"{element}_gi_star": star, shown: null[element]}),
    )


def clusters(work: LayerWork) -> LayerAnswer:
    """Group the anomalous samples by what is raised together.

    Parameters
    ----------
    work : LayerWork
        The layer.

    Returns
    -------
    LayerAnswer
        ``group``.
    """
    from geochem.outputs.gis.styles import category_style

    evidence = work.work("anomalies", targets=work.sought)["evidence"]
    table = evidence.anomalies
    names = dict(zip(evidence.clusters["group"], evidence.clusters["driving"], strict=True))
    return LayerAnswer(
        lambda layer: category_style(layer, "Groups", "group", names),
        columns_of(
            table["sample_id"], {"group": table["group"].to_numpy(dtype=float, na_value=np.nan)}
        ),
    )


def surface(
    work: LayerWork,
    *,
    element: str,
    method: Literal["ordinary_kriging", "inverse_distance"] = "ordinary_kriging",
    max_cells: Annotated[int, Bounds(100, 5_000_000)] = 30_000,
) -> LayerAnswer:
    """Interpolate one element onto a grid.

    Parameters
    ----------
    work : LayerWork
        The layer.
    element : str
        Symbol, for example Cu.
    method : {"ordinary_kriging", "inverse_distance"}, default "ordinary_kriging"
        How.
    max_cells : int, default 30000
        Cells of the grid at most.

    Returns
    -------
    LayerAnswer
        A grid.
    """
    from geochem.outputs.classes import class_limits
    from geochem.outputs.gis.styles import raster_style

    table = {"elements": [element], "method": method, "max_cells": max_cells}
    state = work.work("surfaces", surfaces=table, targets={"seek": [element]})
    made = [s for s in state["surfaces"] if s.name == f"{element}_ppm"] or list(state["surfaces"])
    if not made:
        raise DataRefused(
            f"no surface of {element}: the samples are too few, too coarse or of a medium that is "
            "not interpolated."
        )
    grid = made[0]
    limits, _ = class_limits(grid.values[np.isfinite(grid.values)])
    return LayerAnswer(lambda layer: raster_style(layer, grid.title, limits), surface=grid)


def outlines(
    work: LayerWork,
    *,
    wanted: Annotated[int, Bounds(1, 1000)] = 10,
    max_spacing_m: Annotated[float, Bounds(1.0, None)] = 2000.0,
) -> LayerAnswer:
    """Draw and rank outlines around anomalous samples that belong together.

    Parameters
    ----------
    work : LayerWork
        The layer.
    wanted : int, default 10
        At most so many; a cap, never a quota.
    max_spacing_m : float, default 2000.0
        Coarser sampling gives no outlines. [m]

    Returns
    -------
    LayerAnswer
        Polygons with the columns of targets.
    """
    from geochem.model import tables as contract
    from geochem.outputs.gis.renderer import contract_frame
    from geochem.outputs.gis.styles import polygon_style

    table = {**work.sought, "wanted": wanted, "max_spacing_m": max_spacing_m}
    report = work.work("targets", targets=table)["targets"]
    if not len(report.targets):
        work.findings.append(Finding("no-outline", "warning", report.why_none))
    return LayerAnswer(
        lambda layer: polygon_style(layer, "Targets, for follow-up", "target", "#b5391c", ""),
        shapes=contract_frame(report.targets, contract.TARGETS),
    )
