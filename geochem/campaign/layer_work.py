"""One layer of points as a small campaign: how every operation on a layer is set up and answered.

An operation (see `on_layers.py`) takes `LayerWork`, lets the steps of a run work up to the one it
needs, and gives a `LayerAnswer`. The options that several operations share are named here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import numpy as np

from geochem.campaign.operations import carry_out, steps_to
from geochem.campaign.settings import check_settings
from geochem.errors import DataRefused, WrongCall
from geochem.model.finding import Finding
from geochem.plugins import Bounds

if TYPE_CHECKING:
    import xml.etree.ElementTree as ET

    import geopandas as gpd
    import numpy.typing as npt

    from geochem.model.surface import Surface

#: long steps that only the operation about them needs
_ONLY_WHEN_ASKED = ("progress", "surfaces")


@dataclass(slots=True)
class LayerWork:
    """One layer of points as a campaign.

    Parameters
    ----------
    path : Path
        A GeoPackage with one layer, whose column `key` holds the id of each feature.
    key : str
        Column of ids.
    batch : str
        Name of the batch, when the layer has no such column.
    crs : str
        Working CRS.
    shared : mapping
        Values of the shared options that were given.
    tell : callable
        Told each step: title, done, total.
    findings : list of Finding
        Of all steps.
    """

    path: Path
    key: str
    batch: str
    crs: str
    shared: Mapping[str, Any]
    tell: Callable[[str, int, int], None]
    findings: list[Finding] = field(default_factory=list)

    @property
    def source(self) -> str:
        """What made the values."""
        return str(self.shared.get("source", "laboratory"))

    @property
    def seed(self) -> int:
        """Seed of random steps."""
        return int(self.shared.get("seed", 1))

    @property
    def sought(self) -> dict[str, Any]:
        """Keys of ``[targets]`` that the shared options give."""
        table = {"seek": self.shared.get("elements") or []}
        association = self.shared.get("association")
        return {**table, "association": association} if association else table

    def work(self, until: str, **tables: Mapping[str, Any]) -> dict[str, Any]:
        """Let the steps of a run do their work up to one of them; give all records."""
        given = {"path": self.path.name, "columns": {"id": self.key}}
        raw = {
            "title": "one layer",
            "crs": self.crs,
            "seed": self.seed,
            "samples": [{**given, "medium": self.shared.get("medium", "soil")}],
            "assays": [{**given, "source": self.source, "batch": self.batch}],
            **tables,
        }
        settings = check_settings(raw, self.path.with_name("layer.toml"))
        steps = [o for o in steps_to(until) if o.name not in _ONLY_WHEN_ASKED or o.name == until]
        state: dict[str, Any] = {"until": None, "clock": datetime(2000, 1, 1)}
        done = 0

        def report(operation: Any) -> None:
            nonlocal done
            self.tell(operation.title, done, len(steps))
            done += 1

        keep = {name for o in steps for name in (*o.inputs, *o.outputs)}
        _, found = carry_out(state, settings, steps, keep=sorted(keep), report=report)
        # the layer is read twice, as a field log and as results: what both say is said once
        self.findings += dict.fromkeys(f for f in found if f.severity != "note")
        if not len(state["survey"].samples):
            raise DataRefused("no feature of the layer could be used as a located sample.")
        return state

    def check_elements(self, names: list[str]) -> None:
        """Refuse an element that no column of the layer holds."""
        from geochem.read.assays import read_assays

        read = read_assays(
            [self.path], assay=self.source, source=self.source, columns={"id": self.key}
        )
        there = sorted(set(read.analytes["element"]))
        for name in names:
            if name not in there:
                raise WrongCall(
                    f"the layer has no column of '{name}'; elements found: "
                    f"{', '.join(there) or 'none'}."
                )


@dataclass(frozen=True, slots=True, eq=False)
class LayerAnswer:
    """What goes out.

    Parameters
    ----------
    style : callable
        Gives the style document for the name of the layer.
    columns : pandas.DataFrame or None
        New columns, by the id of the feature; they are joined to the features of the input.
    shapes : geopandas.GeoDataFrame or None
        Features of their own.
    surface : Surface or None
        A grid.
    """

    style: Callable[[str], ET.Element]
    columns: Any = None
    shapes: gpd.GeoDataFrame | None = None
    surface: Surface | None = None


def columns_of(ids: npt.ArrayLike, values: Mapping[str, Any]) -> Any:
    """Put new columns on the ids of their features.

    Parameters
    ----------
    ids : array of str, shape (n,)
        Ids.
    values : mapping of str to array, shape (n,)
        New columns.

    Returns
    -------
    pandas.DataFrame
        For `LayerAnswer`.
    """
    import pandas as pd

    return pd.DataFrame(
        {name: np.asarray(column) for name, column in values.items()},
        index=pd.Index(np.asarray(ids, dtype=object)),
    )


def graded(title: str, column: str, values: npt.ArrayLike) -> Callable[[str], ET.Element]:
    """Grade points by one of the new columns.

    Parameters
    ----------
    title, column : str
        Title of the legend, name of the column.
    values : array of float, shape (n,)
        What it holds; the classes are made from the known ones.

    Returns
    -------
    callable
        For `LayerAnswer`.
    """
    from geochem.outputs.classes import class_limits
    from geochem.outputs.gis.styles import graded_style

    known = np.asarray(values, dtype=float)
    limits, _ = class_limits(known[np.isfinite(known)])
    return lambda layer: graded_style(layer, title, column, limits)


def every_operation(
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


def what_is_sought(*, elements: list[str] | None = None, association: str = "") -> None:
    """Name the options of operations that look for something.

    Parameters
    ----------
    elements : list of str, optional
        Sought elements; none: all associations compete.
    association : str, optional
        A preset by name.
    """
