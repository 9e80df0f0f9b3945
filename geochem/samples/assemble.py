"""From field logs, assays and layers to one survey; wiring only."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from geochem.coordinates import working_crs
from geochem.errors import WrongCall
from geochem.model.finding import Finding, name_some
from geochem.model.survey import Survey
from geochem.model.tables import ANALYTES, FIELD_LOG, RESULTS, SAMPLES, conform, empty
from geochem.samples.combine import combine_assays
from geochem.samples.controls import take_controls
from geochem.samples.doubled import judge_doubled
from geochem.samples.join import join_results
from geochem.samples.layers import join_layers
from geochem.samples.locate import locate_samples
from geochem.samples.one_place import judge_places
from geochem.samples.preparation import check_preparation
from geochem.samples.reissued import judge_reissued

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from geochem.model.layers import Layers
    from geochem.model.reading import AssayRead

#: columns of the field log that do not travel with the samples
_LEFT_BEHIND = ("x", "y", "crs", "received", "file", "row")


def assemble_survey(
    field_log: pd.DataFrame,
    assays: Sequence[AssayRead],
    layers: Layers,
    *,
    crs: object,
    prefer_repeat: str = "mean",
) -> Survey:
    """Join results to samples, place them, check their preparation and put the assays beside.

    Parameters
    ----------
    field_log : pandas.DataFrame
        Contract `tables.FIELD_LOG`, all field logs together; further columns are kept as text.
    assays : sequence of AssayRead
        As read; may be empty.
    layers : Layers
        In the campaign CRS.
    crs : object
        The campaign CRS: projected, in metres.
    prefer_repeat : {"mean", "median", "newest"}, default "mean"
        What to make of repeat shots; see `combine_assays`.

    Returns
    -------
    Survey
        No accepted values yet (`accept_values` adds them). `samples` have, after the contract
        columns: ``stage``, ``use``, the field log's own columns, ``preparation``, one column per
        layer, the assays' columns. ``use`` is ``"context"`` for samples that are shown only.

    Raises
    ------
    WrongCall
        If the CRS is not projected in metres, or `prefer_repeat` is unknown.
    DataRefused
        If positions could be converted only by a ballpark shift, or a layer clashes with a column.
    """
    import geopandas as gpd
    import pandas as pd

    target = working_crs(crs)
    if "sample_id" not in field_log.columns:
        raise WrongCall("the field log has no column sample_id; give the table a reader returned.")
    findings: list[Finding] = []
    log, found = judge_doubled(conform(field_log, FIELD_LOG, extra=True))
    findings += found
    results, twice = judge_reissued(_stack([a.results for a in assays], RESULTS))
    findings += twice
    said = _stack_roles([a.roles for a in assays])
    depths = {
        (str(assay), sample): depth
        for a in assays
        if a.depths
        for assay in a.results["assay"].unique()
        for sample, depth in a.depths.items()
    }
    joined = join_results(log, results, said, depths)
    findings += joined.findings
    controls, found = take_controls(joined.results, joined.roles)
    findings += found
    routine = log.loc[~log["sample_id"].isin(joined.roles["sample_id"])].reset_index(drop=True)
    routine = routine.assign(role="routine")
    routine["medium"], unnamed = _media(routine)
    findings += unnamed
    boundary = layers.get("boundary")
    placed = locate_samples(routine, target, boundary=boundary)
    findings += placed.findings
    replaced, found = judge_places(routine, placed.x, placed.y)
    findings += found
    routine["use"] = np.where(replaced, "context", routine["use"].fillna("full"))
    preparation, found = check_preparation(routine)
    findings += found
    described = _describe(routine)
    described["preparation"] = preparation
    taken = {str(c): described[c].to_numpy(dtype=object) for c in described.columns}
    joined_layers, found = join_layers(placed.x, placed.y, layers, taken=taken)
    findings += found
    combined = combine_assays(
        described["sample_id"].to_numpy(), joined.results, joined.roles,
        prefer_repeat=prefer_repeat, reread_own=joined.reread_own,
    )  # fmt: skip
    findings += combined.findings
    kept = described.drop(columns=[c for c in joined_layers if c in described.columns])
    order = [*described.columns, *(c for c in joined_layers if c not in described.columns)]
    text = pd.DataFrame(joined_layers, index=kept.index, dtype=object)
    wide = pd.concat(
        [pd.concat([kept, text], axis=1)[order], pd.DataFrame(combined.columns, index=kept.index)],
        axis=1,
    )
    here = np.isfinite(placed.x)
    samples = gpd.GeoDataFrame(
        wide.loc[here].reset_index(drop=True),
        geometry=gpd.points_from_xy(placed.x[here], placed.y[here]),
        crs=target,
    )
    if not len(routine):
        findings.append(
            Finding("no-samples", "error", "the field logs hold no routine sample with an id.")
        )
    return Survey(
        samples=samples,
        results=joined.results,
        controls=controls,
        unlocated=wide.loc[~here].reset_index(drop=True),
        analytes=_stack([a.analytes for a in assays], ANALYTES, extra=True),
        findings=tuple(findings),
    )


def _stack(
    frames: list[pd.DataFrame], columns: dict[str, str], *, extra: bool = False
) -> pd.DataFrame:
    import pandas as pd

    filled = [f for f in frames if len(f)]
    if not filled:
        return empty(columns)
    together = pd.concat(filled, ignore_index=True) if len(filled) > 1 else filled[0]
    if all(list(f.columns) == list(columns) for f in filled):
        return together.reset_index(drop=True)  # as the contract says already; millions of rows
    return conform(together, columns, extra=extra)


def _stack_roles(frames: list[pd.DataFrame]) -> pd.DataFrame:
    return _stack(
        frames, {"sample_id": "text", "role": "text", "parent": "text", "standard": "text"}
    )


def _media(routine: pd.DataFrame) -> tuple[npt.NDArray[np.object_], list[Finding]]:
    """Call the medium of samples without one "other": mapped only, no statistics."""
    medium = routine["medium"].to_numpy(dtype=object, copy=True)
    unknown = np.array([m is None or not str(m).strip() for m in medium], dtype=bool)
    if not unknown.any():
        return medium, []
    medium[unknown] = "other"
    ids = routine.loc[unknown, "sample_id"].tolist()
    return medium, [
        Finding(
            "medium-missing", "warning",
            f"{len(ids)} samples have no medium and are mapped only, as 'other': "
            f"{name_some(ids)}; give a column medium, or medium = 'soil' (or what it is) beside "
            "the path of the field log.",
            column="medium", sample_id=str(ids[0]),
        )
    ]  # fmt: skip


def _describe(routine: pd.DataFrame) -> pd.DataFrame:
    """Take what the field log says about a sample: contract columns, then its own, as text."""
    own = [c for c in routine.columns if c not in SAMPLES and c not in _LEFT_BEHIND]
    clash = {c: f"{c}_logged" for c in own if c in ("preparation", "geometry")}
    renamed = routine.rename(columns=clash)
    own = [clash.get(c, c) for c in own]
    columns = {**SAMPLES, **{str(c): "text" for c in own}}
    return conform(renamed, columns)
