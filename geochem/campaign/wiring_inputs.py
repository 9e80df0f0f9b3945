"""Reading: every table and layer that the campaign file names, as tables; no mathematics here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.campaign.settings import Settings
from geochem.errors import DataRefused
from geochem.model import tables as contract
from geochem.model.finding import Finding, name_some

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.reading import AssayRead

Given = tuple[dict[str, Any], Sequence[Finding]]

_TABLE_OPTIONS = ("columns", "sheet", "separator", "decimal", "encoding", "header_rows")


def read_inputs(settings: Settings, *, until: date | None) -> Given:
    """Read every table and layer that the campaign file names."""
    from geochem.read.assays import read_assays
    from geochem.read.field_log import read_field_log
    from geochem.read.layers import read_layers
    from geochem.read.lists import read_dispatch, read_plan
    from geochem.read.standards import read_standards

    inputs: list[Path] = [settings.path]
    findings: list[Finding] = []
    refusals: list[str] = []
    logs: list[pd.DataFrame] = []
    for table in settings.tables["samples"]:
        for path in settings.files(table["path"]):
            inputs.append(path)
            options = {k: table[k] for k in _TABLE_OPTIONS}
            points = settings.resolve(table["local_grid"]) if table["local_grid"] else None
            inputs += [points] if points is not None else []
            try:
                log = read_field_log(
                    path, medium=table["medium"], grid=table["grid"], stage=table["stage"],
                    use=table["use"], crs=table["crs"], name=table["name"],
                    campaign_crs=settings.top["crs"], local_grid=points,
                    controls=table["controls"], **options,
                )  # fmt: skip
            except DataRefused as refusal:
                refusals += refusal.reasons
                continue
            logs.append(log.frame)
            findings += log.findings
    assays: list[AssayRead] = []
    for table in settings.tables["assays"]:
        paths = settings.files(table["path"])
        inputs += paths
        options = {k: table[k] for k in _TABLE_OPTIONS}
        paths, foreign = _of_plugins(paths, table)
        for read in foreign:
            assays.append(read)
            findings += read.findings
        if not paths:
            continue
        try:
            read = read_assays(
                paths, assay=table["name"], source=table["source"], sigma=table["sigma"],
                batch=table["batch"], laboratory=table["laboratory"], method=table["method"],
                digestion=table["digestion"], fraction_um=table["fraction_um"],
                limits=table["limits"], received=table["received"], analytes=table["analytes"],
                controls=table["controls"], **options,
            )  # fmt: skip
        except DataRefused as refusal:
            refusals += refusal.reasons
            continue
        assays.append(read)
        findings += read.findings
    standards = contract.empty(contract.STANDARDS)
    if settings.tables["standards"] is not None:
        table = settings.tables["standards"]
        for path in settings.files(table["path"]):
            inputs.append(path)
            try:
                certified = read_standards(path, **{k: table[k] for k in _TABLE_OPTIONS})
            except DataRefused as refusal:
                refusals += refusal.reasons
                continue
            standards = _stack([standards, certified.frame], contract.STANDARDS)
            findings += certified.findings
    lists: dict[str, pd.DataFrame | None] = {"plan": None, "dispatch": None}
    for name, reader in (("plan", read_plan), ("dispatch", read_dispatch)):
        if settings.tables[name] is None:
            continue
        path = settings.resolve(settings.tables[name]["path"])
        inputs.append(path)
        try:
            lists[name], found = reader(path)
        except DataRefused as refusal:
            refusals += refusal.reasons
            continue
        findings += found
    if refusals:
        raise DataRefused(refusals)
    layers, layer_findings = read_layers(settings.layers, settings.top["crs"])
    findings += layer_findings
    inputs += [entry["path"] for entry in settings.layers.values()]
    findings += outside_files(settings, inputs)
    field_log = _stack(logs, contract.FIELD_LOG, extra=True)
    field_log["crs"] = field_log["crs"].where(field_log["crs"].notna(), settings.top["crs"])
    if until is not None:
        field_log, assays, found = _known_until(field_log, assays, until)
        findings += found
    outputs = {
        "field_log": field_log,
        "assays": tuple(assays),
        "standards": standards,
        "layers": layers,
        **lists,
        "inputs": tuple(inputs),
    }
    return outputs, findings


def outside_files(settings: Settings, inputs: Sequence[Path]) -> list[Finding]:
    """Say which files lie outside the campaign's folder: it cannot be handed on without them.

    Parameters
    ----------
    settings : Settings
        The campaign.
    inputs : sequence of Path
        Files that are read.

    Returns
    -------
    list of Finding
        One note, or none.
    """
    home = settings.folder.resolve()
    away = sorted({str(p) for p in inputs if not p.resolve().is_relative_to(home)})
    if not away:
        return []
    return [
        Finding(
            "outside-folder",
            "note",
            f"{len(away)} files are read from outside the campaign's folder: {name_some(away)}. "
            "Whoever gets the folder needs them too.",
        )
    ]


def _of_plugins(
    paths: Sequence[Path], table: dict[str, Any]
) -> tuple[list[Path], list[AssayRead]]:
    """Let readers of other packages read the files that they know; give the rest back.

    Which readers there are is decided by what is installed, never by the data.
    """
    from geochem import plugins

    others = [e for e in plugins.entries("readers") if e.distribution != "geochem"]
    rest: list[Path] = []
    reads: list[AssayRead] = []
    for path in paths:
        for entry in others:
            reader = plugins.load("readers", entry.name)()
            if reader.can_read(path):
                reads.append(reader.read(path, source=table["source"], assay=table["name"]))
                break
        else:
            rest.append(path)
    return rest, reads


def _stack(
    frames: Sequence[pd.DataFrame], columns: dict[str, str], *, extra: bool = False
) -> pd.DataFrame:
    import pandas as pd

    filled = [f for f in frames if len(f)]
    if not filled:
        return contract.empty(columns)
    return contract.conform(
        pd.concat(filled, ignore_index=True) if len(filled) > 1 else filled[0],
        columns,
        extra=extra,
    )


def _known_until(
    field_log: pd.DataFrame, assays: Sequence[AssayRead], until: date
) -> tuple[pd.DataFrame, list[AssayRead], list[Finding]]:
    """Leave out what was not known on a day; a record without a date counts as known."""
    import pandas as pd

    end = pd.Timestamp(until) + pd.Timedelta(days=1)
    later = field_log["date"] >= end
    kept = []
    dropped = 0
    for read in assays:
        when = read.results["date_received"].fillna(read.results["date_read"])
        unknown = when >= end
        dropped += int(unknown.sum())
        kept.append(replace(read, results=read.results.loc[~unknown].reset_index(drop=True)))
    note = Finding(
        "until",
        "note",
        f"redrawn as known on {until}: {int(later.sum())} samples and {dropped} results are later "
        "and were left out; records without a date count as known.",
    )
    return field_log.loc[~later].reset_index(drop=True), kept, [note]
