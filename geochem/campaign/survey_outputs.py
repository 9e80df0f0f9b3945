"""What a survey run shows: cells on the map, thresholds, findings, and the scores beside them."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.campaign.settings import Settings
from geochem.model import tables as contract
from geochem.model.bundle import Bundle, CampaignInfo
from geochem.model.evidence import Evidence
from geochem.model.finding import findings_frame
from geochem.model.layers import Layers
from geochem.model.quality import (
    BLANK_CHECKS,
    DUPLICATE_PAIRS,
    DUPLICATE_SUMMARY,
    STANDARD_CHECKS,
    QualityReport,
)
from geochem.model.survey import Survey
from geochem.model.targets import TargetReport
from geochem.model.threshold import Threshold

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from geochem.campaign.survey_run import SurveyLevels
    from geochem.campaign.survey_tasks import Cells

_WHY_NONE = (
    "No targets: a survey run scores every value and draws no outlines. Run the ground that "
    "interests you as a campaign of its own."
)


def cells_bundle(settings: Settings, found: SurveyLevels, cells: Cells, clock: datetime) -> Bundle:
    """Make records of the cells of the map, each in the place of a sample.

    Parameters
    ----------
    settings : Settings
        The campaign.
    found : SurveyLevels
        Thresholds of the survey.
    cells : Cells
        Sums over the cells.
    clock : datetime
        Of the run.

    Returns
    -------
    Bundle
        For the map and the start page; the value of a cell is the geometric mean of its values, with
        limits counted as limits, and it is below detection when all of them are.
    """
    samples = _cell_samples(settings, found, cells)
    anomalies = _cell_anomalies(found, cells, samples)
    elements = found.table.elements
    return Bundle(
        info=_info(settings, samples, clock, found.grid.side),
        survey=Survey(
            samples, contract.empty(contract.RESULTS), contract.empty(contract.CONTROLS),
            samples.iloc[:0].drop(columns="geometry"), contract.empty(contract.ANALYTES),
        ),
        layers=_layers(settings),
        spacings=(),
        quality=_no_quality(),
        thresholds=found.thresholds,
        threshold_records=_records(found),
        probability_plots={},
        backgrounds=found.backgrounds,
        compositions=(),
        evidence=Evidence(
            anomalies, anomalies[[f"{e}_z" for e in elements]], elements, {}, (),
            anomalies[[]].copy(), anomalies[[]].copy(), _no_clusters(),
        ),
        surfaces=(),
        targets=_no_targets(samples.crs),
        progress={"collected": found.table.n, "located": int(cells.rows.sum()),
                  "cells": len(samples), "cell_m": found.grid.side},
        settings=settings.plain(),
        findings=found.findings,
    )  # fmt: skip


def _cell_samples(settings: Settings, found: SurveyLevels, cells: Cells) -> gpd.GeoDataFrame:
    import geopandas as gpd
    import pandas as pd

    grid = found.grid
    row, column = np.divmod(cells.cell, grid.columns)
    x = grid.west + (column + 0.5) * grid.side
    y = grid.south + (row + 0.5) * grid.side
    width = len(str(len(cells.cell)))
    plain = pd.DataFrame(
        {
            "sample_id": [f"cell {k + 1:0{width}d}" for k in range(len(cells.cell))],
            "medium": found.medium or "survey",
            "notes": [f"{n} samples in a cell of {grid.side:g} m" for n in cells.rows],
        }
    )
    plain = contract.conform(plain, contract.SAMPLES)
    columns: dict[str, Any] = {}
    for j, element in enumerate(found.table.elements):
        n = cells.measured[:, j]
        with np.errstate(divide="ignore", invalid="ignore"):
            columns[f"{element}_ppm"] = np.where(n > 0, 10.0 ** (cells.log_sum[:, j] / n), np.nan)
        columns[f"{element}_ppm_below"] = (n > 0) & (cells.below[:, j] == n)
        columns[f"{element}_ppm_above"] = np.zeros(len(n), dtype=bool)
        columns[f"{element}_ppm_err"] = np.full(len(n), np.nan)
    frame = pd.concat([plain, pd.DataFrame(columns)], axis=1)
    return gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(x, y), crs=settings.top["crs"])


def _cell_anomalies(
    found: SurveyLevels, cells: Cells, samples: gpd.GeoDataFrame
) -> gpd.GeoDataFrame:
    """Give the highest z in each cell, and the share of its values beyond their threshold."""
    import geopandas as gpd
    import pandas as pd

    columns: dict[str, Any] = {
        "sample_id": samples["sample_id"], "medium": samples["medium"], "domain": "all",
        "easting": samples.geometry.x, "northing": samples.geometry.y,
    }  # fmt: skip
    for j, element in enumerate(found.table.elements):
        high, n = cells.highest[:, j], cells.measured[:, j]
        columns[f"{element}_z"] = np.where(np.isfinite(high), high, np.nan)
        columns[f"{element}_p"] = np.where(n > 0, cells.beyond[:, j] / np.maximum(n, 1), np.nan)
    frame = pd.DataFrame(columns).assign(group=pd.array([pd.NA] * len(samples), dtype="Int64"))
    return gpd.GeoDataFrame(frame, geometry=samples.geometry, crs=samples.crs)


def _info(
    settings: Settings, samples: gpd.GeoDataFrame, clock: datetime, side: float
) -> CampaignInfo:
    from geochem.campaign.records import campaign_info
    from geochem.outputs.wording import distance

    info = campaign_info(settings, samples, clock, None)
    return replace(info, title=f"{info.title}: mean of cells of {distance(side)}")


def _layers(settings: Settings) -> Layers:
    from geochem.read.layers import read_layers

    return read_layers(settings.layers, settings.top["crs"])[0]


def _records(found: SurveyLevels) -> dict[tuple[str, str, str], Threshold]:
    """Make records of the whole survey's thresholds, for the legend of the map."""
    table: Any = found.thresholds
    rows = table.loc[table["domain"] == "all"].drop_duplicates("element")
    return {
        (found.medium or "survey", "all", str(r.element)): Threshold(
            float(r.value), float(r.low), float(r.high), str(r.method), {"k": r.k}, int(r.n),
            int(r.n_below), str(r.transform), "", (),
        )
        for r in rows.itertuples()
    }  # fmt: skip


def _no_quality() -> QualityReport:
    import pandas as pd

    pairs = [
        "element",
        "assay",
        "reference_assay",
        "sample_id",
        "x",
        "y",
        "x_err",
        "y_err",
        "used",
    ]
    return QualityReport(
        contract.empty(contract.QUALITY), contract.empty(STANDARD_CHECKS),
        contract.empty(BLANK_CHECKS), contract.empty(DUPLICATE_PAIRS),
        contract.empty(DUPLICATE_SUMMARY), (), pd.DataFrame(columns=pairs),
        pd.DataFrame(columns=["batch", "sample_id", "reason"]),
    )  # fmt: skip


def _no_clusters() -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(columns=["group", "n", "driving", "profile"])


def _no_targets(crs: Any) -> TargetReport:
    import geopandas as gpd
    import pandas as pd

    def none(columns: dict[str, str]) -> gpd.GeoDataFrame:
        return gpd.GeoDataFrame(
            contract.empty(columns), geometry=gpd.GeoSeries([], crs=crs), crs=crs
        )

    leads = dict.fromkeys(
        ("lead", "medium", "association", "elements", "samples", "reason"), "text"
    )
    criteria = ["target", "criterion", "value", "scaled", "weight", "statement"]
    return TargetReport(
        none(contract.TARGETS), none(leads), pd.DataFrame(columns=["target", "sample_id"]),
        pd.DataFrame(columns=criteria), none(contract.FOLLOW_UP), none(contract.HOLES), _WHY_NONE,
    )  # fmt: skip


def write_outputs(bundle: Bundle, found: SurveyLevels, cells: Cells, folder: Path) -> None:
    """Write map, tables and start page; the scores of the values stand there already.

    Parameters
    ----------
    bundle : Bundle
        From `cells_bundle`.
    found : SurveyLevels
        Thresholds.
    cells : Cells
        Of the map.
    folder : Path
        Result folder in the making.
    """
    import pandas as pd

    from geochem.outputs.start_page.renderer import StartPageRenderer
    from geochem.outputs.text_cells import disarmed
    from geochem.outputs.webmap.renderer import MapRenderer

    samples = bundle.survey.samples
    table = pd.DataFrame(
        {"cell": samples["sample_id"], "easting": samples.geometry.x,
         "northing": samples.geometry.y, "samples": cells.rows}
    )  # fmt: skip
    columns: dict[str, Any] = {}
    for j, element in enumerate(found.table.elements):
        columns[f"{element}_ppm"] = samples[f"{element}_ppm"]
        columns[f"{element}_n"] = cells.measured[:, j]
        columns[f"{element}_n_below"] = cells.below[:, j]
        columns[f"{element}_n_beyond"] = cells.beyond[:, j]
    frames = {
        "cells": pd.concat([table, pd.DataFrame(columns)], axis=1),
        "thresholds": found.thresholds,
        "findings": findings_frame(bundle.findings),
    }
    for name, frame in frames.items():
        disarmed(frame).to_csv(
            folder / f"{name}.csv", index=False, encoding="utf-8", lineterminator="\n"
        )
    MapRenderer().render(bundle, folder)
    StartPageRenderer().render(bundle, folder)
