"""A campaign as files: as field crews, instruments and a laboratory would hand them over."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from geochem import units

from .campaign import Campaign
from .layers import write_layers, write_truth
from .measurement import GOLD_LIMITS, LABORATORY
from .settings import Settings
from .slips import Slip, spoil
from .standards import certificate
from .wording import SHEETS, campaign_file

if TYPE_CHECKING:
    import pandas as pd

_FIELD_LOG = (
    "sample_id", "medium", "kind", "grid", "line", "station", "planned_id", "easting", "northing",
    "elevation", "accuracy_m", "date", "crew", "horizon", "depth_from", "depth_to", "fraction_um",
    "lithology", "alteration", "role", "parent", "standard", "prep_batch", "prep_order",
    "sieve_um", "powder_ml", "die_mm", "die_fill", "mill", "moisture_pct", "notes",
)  # fmt: skip

#: shown as whole numbers by the instrument; the others with one decimal below 100
_WHOLE = {"Al", "K", "Ca", "Ti", "Mn", "Fe"}


def write_campaign(campaign: Campaign, folder: Path, *, truth: Path | None = None) -> list[Slip]:
    """Write all input files of a campaign, slips included.

    Parameters
    ----------
    campaign : Campaign
        Simulated.
    folder : Path
        Made if needed; files of the same name are replaced.
    truth : Path, optional
        Where the GeoJSON of what was planted goes; it should not lie in `folder`.

    Returns
    -------
    list of Slip
        What was put in wrong on purpose.
    """
    folder.mkdir(parents=True, exist_ok=True)
    settings = campaign.settings
    field_log = field_log_table(campaign)
    readings = readings_table(campaign)
    laboratory = laboratory_table(campaign)
    slips = spoil(settings, field_log, readings, laboratory)
    _add_notes(field_log, campaign)
    _write_csv(folder / "field_log.csv", field_log.rename(columns={"sample_id": "Sample ID"}))
    _write_csv(folder / "readings.csv", readings)
    _write_workbook(folder / "laboratory.xlsx", campaign, laboratory)
    rows = certificate(campaign.laboratory.elements, settings.elements, settings.digestion)
    _write_rows(folder / "standards.csv", list(rows[0]), [list(row.values()) for row in rows])
    plan = campaign.sites.plan
    easting, northing = campaign.ground.to_map(
        plan["along"].to_numpy(float), plan["across"].to_numpy(float)
    )
    _write_rows(
        folder / "plan.csv",
        ["planned_id", "easting", "northing"],
        zip(plan["planned_id"], _fixed(easting, 1), _fixed(northing, 1), strict=True),
    )
    sent = campaign.laboratory.table
    _write_rows(
        folder / "dispatch.csv",
        ["sample_id", "laboratory", "job", "sent"],
        (
            (s, "Quill Assay (invented)", j, d.isoformat())
            for s, j, d in zip(sent["sample_id"], sent["job"], sent["sent"], strict=True)
        ),
    )
    layers = write_layers(campaign, folder)
    text = campaign_file(settings, layers)
    (folder / "campaign.toml").write_text(text, encoding="utf-8", newline="\n")
    if truth is not None:
        write_truth(campaign, truth, slips)
    return slips


def field_log_table(campaign: Campaign) -> pd.DataFrame:
    """Give the field log as text, without slips; laboratory controls come last.

    Parameters
    ----------
    campaign : Campaign
        Simulated.

    Returns
    -------
    pandas.DataFrame
        All columns text.
    """
    import pandas as pd

    ground = campaign.ground
    table = campaign.collection.table
    along, across = table["along"].to_numpy(float), table["across"].to_numpy(float)
    easting, northing = ground.to_map(along, across)
    here = np.isfinite(along)
    height = np.full(len(table), np.nan)
    rng = np.random.default_rng(campaign.settings.seed)
    height[here] = ground.height(along[here], across[here]) + rng.normal(0, 3, here.sum())
    columns: dict[str, list[str]] = {
        "easting": _fixed(easting, 0),
        "northing": _fixed(northing, 0),
        "elevation": _fixed(height, 0),
    }
    places = {"depth_from": 2, "depth_to": 2, "powder_ml": 1, "die_fill": 2, "moisture_pct": 1}
    for name in _FIELD_LOG:
        if name in columns:
            continue
        if name not in table:
            columns[name] = [""] * len(table)
        elif name == "date":
            columns[name] = [day.isoformat() for day in table["date"]]
        elif table[name].dtype.kind in "if":
            columns[name] = _fixed(table[name].to_numpy(float), places.get(name, 0))
        else:
            columns[name] = ["" if pd.isna(cell) else str(cell) for cell in table[name]]
    log = pd.DataFrame({name: columns[name] for name in _FIELD_LOG}, dtype=object)
    controls = campaign.laboratory.controls
    if len(controls):
        more = pd.DataFrame("", index=range(len(controls)), columns=list(_FIELD_LOG), dtype=object)
        for name in ("sample_id", "medium", "role"):
            more[name] = controls[name].to_numpy(dtype=object)
        more["standard"] = ["" if pd.isna(cell) else cell for cell in controls["standard"]]
        more["date"] = [day.isoformat() for day in controls["date"]]
        log = pd.concat([log, more], ignore_index=True)
    return log.astype(object)


def _add_notes(log: pd.DataFrame, campaign: Campaign) -> None:
    """Let the crew say what it saw, where it saw something."""
    table = campaign.collection.table
    n = len(table)
    notes = np.array([""] * len(log), dtype=object)
    short = (table["powder_ml"] < 5).to_numpy()
    wet = (table["moisture_pct"] > 20).to_numpy()
    along, across = table["along"].to_numpy(float), table["across"].to_numpy(float)
    cover = campaign.ground.cover_share(np.nan_to_num(along, nan=1e9), np.nan_to_num(across))
    notes[:n][cover > 0] = "transported?"
    here = np.isfinite(along)
    dark = np.zeros(n, dtype=bool)
    dark[here] = campaign.ground.organic(along[here], across[here]) > 0.4
    notes[:n][dark] = "dark, organic"
    notes[:n][wet] = "wet, not dried"
    notes[:n][short] = "little material"
    log["notes"] = notes


def readings_table(campaign: Campaign) -> pd.DataFrame:
    """Give the readings as the instruments deliver them, without slips.

    Parameters
    ----------
    campaign : Campaign
        Simulated.

    Returns
    -------
    pandas.DataFrame
        All columns text; a value under three times its error is ``<LOD``; errors at two sigma.
    """
    import pandas as pd

    readings, settings = campaign.readings, campaign.settings
    table = readings.table
    start = datetime.combine(settings.first_day, datetime.min.time())
    columns: dict[str, object] = {
        "Reading": [str(number) for number in table["reading"]],
        "Time": [
            (start + timedelta(days=int(d), seconds=int(s))).strftime("%Y-%m-%d %H:%M:%S")
            for d, s in zip(table["day"], table["second"], strict=True)
        ],
        "Instrument": table["instrument"].tolist(),
        "Mode": ["soil"] * len(table),
        "Seconds": [f"{settings.seconds:.0f}"] * len(table),
        "Batch": table["batch"].tolist(),
        "Sample": table["sample_id"].tolist(),
        "Role": table["role"].tolist(),
        "Standard": table["standard"].tolist(),
    }
    for number, element in enumerate(settings.elements):
        value, error = readings.value[:, number], readings.error[:, number]
        below = value < 3.0 * error
        columns[f"{element} ppm"] = [
            "<LOD" if low else text
            for low, text in zip(below.tolist(), _shown(value, element), strict=True)
        ]
        columns[f"{element} +/-"] = _shown(2.0 * error, element)
    return pd.DataFrame(columns, dtype=object)


def _shown(values: np.ndarray, element: str) -> list[str]:
    if element in _WHOLE:
        return [f"{v:.0f}" for v in values.tolist()]
    return [f"{v:.1f}" if v < 100 else f"{v:.0f}" for v in values.tolist()]


def laboratory_table(campaign: Campaign) -> pd.DataFrame:
    """Give the laboratory's results as text, those that came back, without slips.

    Parameters
    ----------
    campaign : Campaign
        Simulated.

    Returns
    -------
    pandas.DataFrame
        ``Sample, Job, Reported`` and one column per element; text in the laboratory's unit.
    """
    import pandas as pd

    laboratory = campaign.laboratory
    back = laboratory.table["returned"].to_numpy(dtype=bool)
    sent = laboratory.table[back].reset_index(drop=True)
    columns: dict[str, object] = {
        "Sample": sent["sample_id"].tolist(),
        "Job": sent["job"].tolist(),
        "Reported": [day.isoformat() for day in sent["reported"]],
    }
    for number, element in enumerate(laboratory.elements):
        unit, low, high = _laboratory_unit(element)
        values = laboratory.value[back, number] / units.factor(unit)
        step = 10.0 ** np.floor(np.log10(low))
        decimals = max(0, round(-np.log10(step)))
        cells = []
        for value in values.tolist():
            if value < low:
                cells.append(f"<{low:g}")
            elif value > high:
                cells.append(f">{high:.0f}")
            else:
                kept = float(f"{value:.3g}") if value >= 100 else value
                cells.append(f"{kept:.{decimals}f}" if value < 100 else f"{kept:.0f}")
        columns[element] = cells
    return pd.DataFrame(columns, dtype=object)


def _laboratory_unit(element: str) -> tuple[str, float, float]:
    if element == "Au":
        return ("ppb", *GOLD_LIMITS)
    unit, low, high, _ = LABORATORY[element]
    return unit, low, high


def _write_workbook(path: Path, campaign: Campaign, table: pd.DataFrame) -> None:
    """Write two sheets, each with rows for unit, method and limit under the header."""
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    first = ["Sample", "Job", "Reported"]
    sheets = {
        SHEETS[campaign.settings.digestion][0]: (
            [e for e in campaign.laboratory.elements if e != "Au"],
            SHEETS[campaign.settings.digestion][1],
        ),
        "Gold": (["Au"], "Fire assay 30 g ICP"),
    }
    for name, (elements, method) in sheets.items():
        sheet = book.create_sheet(name)
        sheet.append([*first, *elements])
        sheet.append(["Unit", "", "", *(_laboratory_unit(e)[0] for e in elements)])
        sheet.append(["Method", "", "", *(method for _ in elements)])
        sheet.append(["Lower limit", "", "", *(_laboratory_unit(e)[1] for e in elements)])
        for row in table[[*first, *elements]].itertuples(index=False):
            # a workbook holds numbers as numbers, and marks as text
            cells = [cell if cell[:1] in "<>" else float(cell) for cell in row[3:]]
            sheet.append([*row[:3], *cells])
    buffer = io.BytesIO()
    book.save(buffer)
    path.write_bytes(_without_clock(buffer.getvalue()))


def _without_clock(data: bytes) -> bytes:
    """Take the time of writing out of a workbook, so that the same seed gives the same bytes."""
    import re

    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as source,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for name in source.namelist():
            content = source.read(name)
            if name == "docProps/core.xml":
                content = re.sub(
                    rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z", b"2026-01-01T00:00:00Z", content
                )
            entry = zipfile.ZipInfo(name, (2026, 1, 1, 0, 0, 0))
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o600 << 16
            target.writestr(entry, content)
    return out.getvalue()


def _fixed(values: object, decimals: int) -> list[str]:
    return [
        "" if v != v else f"{v:.{decimals}f}" for v in np.asarray(values, dtype=float).tolist()
    ]


def _write_csv(path: Path, table: pd.DataFrame) -> None:
    columns = [table[name].tolist() for name in table.columns]
    _write_rows(path, list(table.columns), zip(*columns, strict=True))


def _write_rows(path: Path, header: list[str], rows: Iterable[Iterable[object]]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def make_campaign_folder(
    settings: Settings, folder: Path, *, truth: Path | None = None
) -> Campaign:
    """Simulate a campaign and write it.

    Parameters
    ----------
    settings : Settings
        For example one of `settings.NAMED`.
    folder : Path
        Made if needed.
    truth : Path, optional
        As in `write_campaign`.

    Returns
    -------
    Campaign
        With everything that is true, for scoring.
    """
    from .campaign import simulate

    campaign = simulate(settings)
    write_campaign(campaign, folder, truth=truth)
    return campaign
