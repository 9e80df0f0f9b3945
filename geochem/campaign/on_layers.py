"""Operations on one layer: what each step of a run gives, written beside the features it is about.

Each function takes the layer as a small campaign of its own (`LayerWork`) and typed options, lets
the steps of a run do the work up to the one it needs, and says which columns or shapes go out and
how they are drawn. No mathematics here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import numpy as np

from geochem.campaign.operations import OPERATIONS, carry_out
from geochem.campaign.settings import check_settings
from geochem.campaign.wiring import used_samples
from geochem.errors import DataRefused, WrongCall
from geochem.model.finding import Finding
from geochem.plugins import Bounds

if TYPE_CHECKING:
    import xml.etree.ElementTree as ET

    import geopandas as gpd

    from geochem.model.surface import Surface


@dataclass(slots=True)
class LayerWork:
    """One layer of points as a campaign.

    Parameters
    ----------
    path : Path
        A GeoPackage with one layer whose column ``feature`` numbers the features.
    crs : str
        Working CRS.
    medium, source : str
        What the points are, what made the values.
    seed : int
        Of random steps.
    tell : callable
        Told each step: title, done, total.
    findings : list of Finding
        Of all steps.
    """

    path: Path
    crs: str
    medium: str
    source: str
    seed: int
    tell: Callable[[str, int, int], None]
    findings: list[Finding] = field(default_factory=list)

    def work(self, until: str, **tables: Mapping[str, Any]) -> dict[str, Any]:
        """Let the steps of a run do their work up to one of them; give all records."""
        given = {"path": self.path.name, "columns": {"id": "feature"}}
        raw = {
            "title": "one layer",
            "crs": self.crs,
            "seed": self.seed,
            "samples": [{**given, "medium": self.medium}],
            "assays": [{**given, "source": self.source}],
            **tables,
        }
        settings = check_settings(raw, self.path.with_name("layer.toml"))
        names = [o.name for o in OPERATIONS]
        steps = [
            o
            for o in OPERATIONS[: names.index(until) + 1]
            if o.name not in ("progress", "surfaces") or o.name == until
        ]
        from datetime import datetime

        state: dict[str, Any] = {"until": None, "clock": datetime(2000, 1, 1)}
        done = 0

        def report(operation: Any) -> None:
            nonlocal done
            self.tell(operation.title, done, len(steps))
            done += 1

        keep = {name for o in steps for name in (*o.inputs, *o.outputs)}
        _, found = carry_out(state, settings, steps, keep=sorted(keep), report=report)
        self.findings += [f for f in found if f.severity != "note"]
        if not len(state["survey"].samples):
            raise DataRefused("no feature of the layer could be used as a located sample.")
        return state


@dataclass(frozen=True, slots=True, eq=False)
class LayerAnswer:
    """What goes out.

    Parameters
    ----------
    columns : pandas.DataFrame or None
        ``feature`` and the new columns; they are joined to the features of the input.
    shapes : geopandas.GeoDataFrame or None
        Features of their own.
    surface : Surface or None
        A grid.
    style : callable
        Gives the style document for the name of the layer.
    """

    style: Callable[[str], ET.Element]
    columns: Any = None
    shapes: gpd.GeoDataFrame | None = None
    surface: Surface | None = None


def common_options(
    *,
    medium: str = "soil",
    source: Literal["laboratory", "pxrf"] = "laboratory",
    crs: str = "",
    seed: Annotated[int, Bounds(0, None)] = 1,
) -> None:
    """Name the options that every operation has.

    Parameters
    ----------
    medium : str, default "soil"
        What the points are, when the layer has no such column: soil, till, rock, stream sediment.
    source : {"laboratory", "pxrf"}, default "laboratory"
        What made the values; gates of portable XRF apply to the second.
    crs : str, optional
        Projected CRS in metres to work in; by default that of the layer.
    seed : int, default 1
        Of random steps.
    """


def _columns(samples: Any, **values: Any) -> Any:
    import pandas as pd

    return pd.DataFrame({"feature": samples["sample_id"].to_numpy(), **values})


def _graded(title: str, column: str, values: Any) -> Callable[[str], ET.Element]:
    from geochem.outputs.classes import class_limits
    from geochem.outputs.gis.styles import graded_style

    known = np.asarray(values, dtype=float)
    limits, _ = class_limits(known[np.isfinite(known)])
    return lambda layer: graded_style(layer, title, column, limits)


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
    """
    table = {"elements": elements or [], "max_below": max_below}
    state = work.work("compose", composition=table)
    if not state["compositions"]:
        raise DataRefused("there are too few samples or elements for a composition.")
    composition = state["compositions"][0]
    import pandas as pd

    names = [f"{part}_clr" for part in composition.parts]
    columns = pd.DataFrame(composition.clr, columns=names)
    columns.insert(0, "feature", composition.sample_id)
    columns["composition_distance"] = composition.distance
    title = "Robust distance of the composition"
    style = _graded(title, "composition_distance", composition.distance)
    return LayerAnswer(style, columns=columns)


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
    """
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
    beyond = (values > limit) & certain
    columns = _columns(
        samples,
        **{f"{element}_ppm": values, f"{element}_threshold": limit, f"{element}_beyond": beyond},
    )
    from geochem.outputs.gis.styles import flag_style

    words = (f"{element} beyond the threshold", "not beyond")
    return LayerAnswer(
        lambda layer: flag_style(layer, f"{element}, {method}", f"{element}_beyond", words),
        columns=columns,
    )


def _evidence(work: LayerWork, elements: list[str] | None, association: str) -> dict[str, Any]:
    table: dict[str, Any] = {"seek": elements or []}
    if association:
        table["association"] = association
    return work.work("anomalies", targets=table)


def score(
    work: LayerWork, *, elements: list[str] | None = None, association: str = ""
) -> LayerAnswer:
    """Score every sample against its background: elements one by one, and associations.

    Parameters
    ----------
    work : LayerWork
        The layer.
    elements : list of str, optional
        Sought elements; none: all associations compete.
    association : str, optional
        A preset by name.
    """
    state = _evidence(work, elements, association)
    evidence = state["evidence"]
    table = evidence.anomalies
    columns = _columns(
        table,
        domain=table["domain"].to_numpy(),
        **{c: table[c].to_numpy() for c in table.columns if c.endswith(("_z", "_p"))},
        **{f"score_{n}": evidence.scores[n].to_numpy() for n in evidence.scores.columns},
    )
    shown = [c for c in columns.columns if c.startswith("score_")] or [
        c for c in columns.columns if c.endswith("_z")
    ]
    if not shown:
        raise DataRefused("no element of the layer could be scored.")
    return LayerAnswer(_graded(shown[0], shown[0], columns[shown[0]]), columns=columns)


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
    """
    from geochem.anomalies import spatial
    from geochem.stats.local_statistics import getis_ord_gi_star
    from geochem.stats.neighbours import nearest

    state = _evidence(work, [element], "")
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
    columns = _columns(
        table, **{f"{element}_gi_star": star, f"{element}_gi_barren": null[element]}
    )
    from geochem.outputs.gis.styles import graded_style

    return LayerAnswer(
        lambda layer: graded_style(
            layer, f"{element}: neighbourhood against barren ground", f"{element}_gi_barren",
            [1.0, 2.0, 3.0, 4.0],
        ),
        columns=columns,
    )  # fmt: skip


def clusters(
    work: LayerWork, *, elements: list[str] | None = None, association: str = ""
) -> LayerAnswer:
    """Group the anomalous samples by what is raised together.

    Parameters
    ----------
    work : LayerWork
        The layer.
    elements : list of str, optional
        Sought elements; none: all associations compete.
    association : str, optional
        A preset by name.
    """
    from geochem.outputs.gis.styles import category_style

    state = _evidence(work, elements, association)
    evidence = state["evidence"]
    group = evidence.anomalies["group"]
    columns = _columns(evidence.anomalies, group=group.to_numpy(dtype=float, na_value=np.nan))
    names = dict(zip(evidence.clusters["group"], evidence.clusters["driving"], strict=True))
    return LayerAnswer(
        lambda layer: category_style(layer, "Groups", "group", names), columns=columns
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
    elements: list[str] | None = None,
    association: str = "",
    wanted: Annotated[int, Bounds(1, 1000)] = 10,
    max_spacing_m: Annotated[float, Bounds(1.0, None)] = 2000.0,
) -> LayerAnswer:
    """Draw and rank outlines around anomalous samples that belong together.

    Parameters
    ----------
    work : LayerWork
        The layer.
    elements : list of str, optional
        Sought elements; none: all associations compete.
    association : str, optional
        A preset by name.
    wanted : int, default 10
        At most so many; a cap, never a quota.
    max_spacing_m : float, default 2000.0
        Coarser sampling gives no outlines. [m]
    """
    from geochem.model import tables as contract
    from geochem.outputs.gis.renderer import contract_frame
    from geochem.outputs.gis.styles import polygon_style

    table: dict[str, Any] = {
        "seek": elements or [], "wanted": wanted, "max_spacing_m": max_spacing_m,
    }  # fmt: skip
    if association:
        table["association"] = association
    report = work.work("targets", targets=table)["targets"]
    if not len(report.targets):
        work.findings.append(Finding("no-outline", "warning", report.why_none))
    return LayerAnswer(
        lambda layer: polygon_style(layer, "Targets, for follow-up", "target", "#b5391c", ""),
        shapes=contract_frame(report.targets, contract.TARGETS),
    )


def check_element(work: LayerWork, names: list[str]) -> None:
    """Refuse an element that no column of the layer holds.

    Parameters
    ----------
    work : LayerWork
        The layer.
    names : list of str
        As given.
    """
    from geochem.read.assays import read_assays

    read = read_assays(
        [work.path], assay=work.source, source=work.source, columns={"id": "feature"}
    )
    there = sorted(set(read.analytes["element"]))
    for name in names:
        if name not in there:
            raise WrongCall(
                f"the layer has no column of '{name}'; elements found: {', '.join(there) or 'none'}."
            )
