"""Writes all sheets and files of a plan into a folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from geochem.model.finding import findings_frame
from geochem.outputs.sheets.points import write_package, write_waypoints
from geochem.outputs.sheets.tables import write_book, write_csv

if TYPE_CHECKING:
    import pandas as pd

    from geochem.outputs.sheets.content import PlanContent

#: what nobody but the office sees
OFFICE = "office"


def write_sheets(content: PlanContent, folder: Path) -> list[Path]:
    """Write what the plan holds.

    Parameters
    ----------
    content : PlanContent
        Records.
    folder : Path
        Existing folder.

    Returns
    -------
    list of Path
        What was written.
    """
    from geochem.outputs.sheets.field_sheet import write_field_sheet
    from geochem.outputs.sheets.labels import write_labels
    from geochem.outputs.sheets.note import write_note

    folder = Path(folder)
    written = _layout(content, folder) + _ids(content, folder) + _dispatch(content, folder)
    curve = None
    if content.trade_off is not None:
        from geochem.outputs.sheets.curve import write_trade_off

        curve = write_trade_off(
            content.trade_off, folder / "chance_and_cost.png", content.body_words
        )
        written += [curve, write_csv(content.trade_off, folder / "chance_and_cost.csv")]
    if content.day is not None and len(content.day):
        written.append(write_field_sheet(content, folder / "field_sheet.pdf"))
        written += _day(content, folder)
    if content.gaps is not None:
        written.append(write_csv(content.gaps, folder / "plan_state.csv"))
    if content.orientation is not None:
        written.append(write_csv(content.orientation, folder / "orientation.csv"))
    if content.labels and content.key is not None:
        # controls among the others: a bag without a label would give them away
        ids = list(content.key["sample_id"])
        written.append(write_labels(ids, content.info, folder / "labels.pdf"))
    written.append(write_note(content, folder / "plan.pdf", curve))
    written.append(write_csv(findings_frame(content.findings), folder / "findings.csv"))
    return written


def _layout(content: PlanContent, folder: Path) -> list[Path]:
    points = content.layout
    if points is None:
        return []
    notes = [f"{a}: {b}" for a, b in content.layout_facts]
    texts = [
        f"line {a}, station {b}" for a, b in zip(points["line"], points["station"], strict=True)
    ]
    return [
        write_csv(points, folder / "layout.csv"),
        write_book({"layout": points}, folder / "layout.xlsx", notes),
        write_waypoints(points, folder / "layout.gpx", name="planned_id", text=texts),
        write_package({"layout": points}, folder / "layout.gpkg"),
    ]


def _ids(content: PlanContent, folder: Path) -> list[Path]:
    if content.key is None or content.crew is None or content.analysis is None:
        return []
    (folder / OFFICE).mkdir(exist_ok=True)
    return [
        write_csv(content.crew, folder / "ids.csv"),
        write_csv(content.analysis, folder / "analysis_order.csv"),
        write_csv(content.key, folder / OFFICE / "ids_key.csv"),
        write_csv(_controls(content.key), folder / OFFICE / "issued_controls.csv"),
    ]


def _dispatch(content: PlanContent, folder: Path) -> list[Path]:
    if content.sheet is None or content.crosswalk is None:
        return []
    (folder / OFFICE).mkdir(exist_ok=True)
    notes = [
        f"{content.info.title}, {content.info.clock:%Y-%m-%d}",
        "Please analyse in the order of this list. Portable-XRF values of these samples exist.",
        "Material is fine powder: it may hold respirable crystalline silica.",
    ]
    written = [
        write_csv(content.sheet, folder / "submission.csv"),
        write_book({"submission": content.sheet}, folder / "submission.xlsx", notes),
        write_csv(content.crosswalk, folder / OFFICE / "crosswalk.csv"),
        write_csv(_controls(content.crosswalk), folder / OFFICE / "dispatch_controls.csv"),
    ]
    if content.umpire is not None and len(content.umpire):
        written.append(write_csv(content.umpire, folder / "submission_umpire.csv"))
    return written


#: columns of the sheet that the crew fills, as a field log calls them
_TO_FILL = (
    "easting", "northing", "accuracy_m", "date", "medium", "horizon", "depth_from", "depth_to",
    "fraction_um", "lithology", "moisture_pct", "notes",
)  # fmt: skip


def _blank_log(day: pd.DataFrame) -> pd.DataFrame:
    """Make the day's sheet a field log: what is planned to the right, what is read is empty."""
    import pandas as pd

    log = pd.DataFrame(
        {
            "sample_id": day["sample_id"], "planned_id": day["point"],
            **dict.fromkeys(_TO_FILL), "stop": day["stop"], "go_to_east": day["easting"],
            "go_to_north": day["northing"], "leg_m": day["leg_m"], "why": day["why"],
            "detail": day["detail"], "second_bag": day["also"],
        }
    )  # fmt: skip
    return log.reset_index(drop=True)


def _controls(key: pd.DataFrame) -> pd.DataFrame:
    """Leave in controls only: routine samples are in the field log already."""
    columns = [c for c in ("sample_id", "role", "parent", "standard", "medium") if c in key]
    return key.loc[key["role"] != "routine", columns].reset_index(drop=True)


def _day(content: PlanContent, folder: Path) -> list[Path]:
    day = content.day
    if day is None:
        return []
    blank = _blank_log(day)
    texts = [f"{a}: {b or ''}" for a, b in zip(day["why"], day["detail"], strict=True)]
    names = [
        a if isinstance(a, str) and a else b
        for a, b in zip(day["sample_id"], day["point"], strict=True)
    ]
    return [
        write_csv(blank, folder / "field_sheet.csv"),
        write_book({"points": blank}, folder / "field_sheet.xlsx",
                   [f"{a}: {b}" for a, b in content.day_facts]),
        write_waypoints(day.assign(shown=names), folder / "field_points.gpx", name="shown",
                        text=texts),
        write_package({"field_points": day}, folder / "field_points.gpkg"),
    ]  # fmt: skip
