"""`plan`: layout, ids, the day's points, dispatch, orientation; from the campaign file to sheets.

No mathematics here: this file translates `[planning]` into the calls of the planning step, and
its records into what the sheets show.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.campaign.operations import OPERATIONS, carry_out
from geochem.campaign.plan_day import day_of
from geochem.campaign.plan_laboratory import controls_of, dispatch_of, orientation_of
from geochem.campaign.plan_layout import layout_of, mass_of
from geochem.campaign.provenance import write_run_record
from geochem.campaign.publish import working_on
from geochem.campaign.settings import Settings, read_campaign
from geochem.errors import DataRefused
from geochem.model.bundle import CampaignInfo
from geochem.model.finding import Finding

if TYPE_CHECKING:
    from geochem.outputs.sheets.content import PlanContent

#: records a plan may use
_KEPT = (
    "inputs", "field_log", "standards", "layers", "survey", "spacings", "plan", "dispatch",
    "background", "evidence", "targets",
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class PlanResult:
    """What a plan gave.

    Parameters
    ----------
    folder : Path
        The folder of the plan.
    content : PlanContent
        All records.
    messages : tuple of str
        Sentences about the folder.
    """

    folder: Path
    content: PlanContent
    messages: tuple[str, ...]

    def __repr__(self) -> str:
        return f"PlanResult: {self.folder}"


def plan(campaign_path: str | Path, out: str | Path | None = None) -> PlanResult:
    """Plan: where to sample, what to send, what the crew carries tomorrow.

    Parameters
    ----------
    campaign_path : str or Path
        Campaign file, or its folder.
    out : str or Path, optional
        Folder of the plan; default ``plan`` beside the campaign file.

    Returns
    -------
    PlanResult
        Folder, records, messages.

    Raises
    ------
    WrongCall
        If the campaign file is wrong.
    DataRefused
        If there is nothing to plan with; nothing is written.
    """
    settings = read_campaign(campaign_path)
    clock = datetime.now().replace(microsecond=0)
    folder = Path(out).resolve() if out is not None else settings.folder / "plan"
    from geochem.outputs.sheets.writer import write_sheets

    with working_on(folder, clock) as work:
        state, findings = _known(settings, clock)
        content = _content(settings, state, clock, findings)
        making = work.start()
        write_sheets(content, making)
        write_run_record(
            making, inputs=state["inputs"], base=settings.folder, settings=settings.plain(),
            clock=clock.isoformat(), previous={}, timings={},
        )  # fmt: skip
        return PlanResult(work.finish(), content, tuple(work.messages))


def _known(settings: Settings, clock: datetime) -> tuple[dict[str, Any], list[Finding]]:
    """Carry out what a plan needs of a run: nothing more than reading before the first sample."""
    state: dict[str, Any] = {"until": None, "clock": clock}
    by_name = {o.name: o for o in OPERATIONS}
    wanted = {name for o in OPERATIONS for name in o.inputs}
    _, findings = carry_out(state, settings, [by_name["read"]], keep=(*wanted, "inputs"))
    if len(state["field_log"]):
        names = [o.name for o in OPERATIONS]
        first = names[1 : names.index("progress") + 1]
        rest = [n for n in names[names.index("progress") + 1 :] if n != "surfaces"]
        _, found = carry_out(state, settings, [by_name[n] for n in first], keep=(*wanted, *_KEPT))
        findings += found
        if len(state["survey"].results):
            _, found = carry_out(state, settings, [by_name[n] for n in rest], keep=_KEPT)
            findings += found
    return state, findings


def _content(
    settings: Settings, state: Mapping[str, Any], clock: datetime, findings: list[Finding]
) -> PlanContent:
    from geochem.outputs.sheets.content import PlanContent

    noticed: list[Finding] = [f for f in findings if f.code in _PASSED_ON]
    laid = layout_of(settings, state)
    noticed += laid.findings
    dispatch = dispatch_of(settings, state)
    noticed += dispatch.findings
    day = day_of(settings, state, laid.points)
    noticed += day.findings
    # tomorrow comes first in the series of ids
    new = list(laid.points["planned_id"]) if laid.points is not None else []
    names = [*(n for n in day.names if n not in set(new)), *new]
    controls = controls_of(settings, state, names)
    noticed += controls.findings
    orientation, found = orientation_of(settings, state)
    noticed += found
    content = PlanContent(
        info=_info(settings, state, clock, laid.middle),
        layout=laid.points,
        layout_facts=laid.facts,
        trade_off=laid.trade_off,
        body_words=laid.body_words,
        mass=mass_of(settings),
        crew=controls.crew,
        analysis=controls.analysis,
        key=controls.key,
        day=controls.named(day.stops),
        day_facts=day.facts,
        start=day.start,
        around={n: f for n in _AROUND if (f := state["layers"].get(n)) is not None},
        gaps=day.gaps,
        sheet=dispatch.sheet,
        umpire=dispatch.umpire,
        crosswalk=dispatch.crosswalk,
        dispatch_facts=dispatch.facts,
        orientation=orientation,
        labels=settings.table("planning")["labels"],
        findings=tuple(noticed),
    )
    if (
        all(
            part is None
            for part in (content.layout, content.day, content.sheet, content.orientation)
        )
        and not content.mass
    ):
        raise DataRefused(
            "there is nothing to plan yet: give [planning] a layout with spacings and [layers] a "
            "boundary, or a field log with readings to choose from for the laboratory, or a [plan] "
            "with points that are still to be sampled."
        )
    if content.labels and content.crew is not None:
        from geochem.optional import require

        require("segno", extra="plan", purpose="draw QR codes on labels")
    return content


_AROUND = ("boundary", "keep_out", "access", "streams")
#: findings of reading that matter for a plan
_PASSED_ON = ("crs-grid-missing", "crs-operation-area")


def _info(
    settings: Settings,
    state: Mapping[str, Any],
    clock: datetime,
    middle: tuple[float, float] | None,
) -> CampaignInfo:
    from pyproj import CRS

    from geochem.planning.north import convergence
    from geochem.version import __version__

    top = settings.top
    place = middle
    if place is None and state.get("survey") is not None and len(state["survey"].samples):
        west, south, east, north = state["survey"].samples.total_bounds
        place = ((west + east) / 2, (south + north) / 2)
    info = CampaignInfo(
        title=top["title"], crs=top["crs"], crs_name=CRS.from_user_input(top["crs"]).name,
        convergence=float("nan"), clock=clock, prepared_by=top["prepared_by"],
        qualified_person=top["qualified_person"], report_date=top["report_date"],
        seed=settings.seed, version=__version__,
    )  # fmt: skip
    if place is None:
        return info
    return replace(info, convergence=convergence(top["crs"], *place))


def plan_lines(result: PlanResult) -> list[str]:
    """Say what was planned and what to open.

    Parameters
    ----------
    result : PlanResult
        Of `plan`.

    Returns
    -------
    list of str
        Lines for the terminal.
    """
    content = result.content
    lines = ["", content.info.title]
    for name, facts in (
        ("Layout", content.layout_facts), ("Day", content.day_facts),
        ("Laboratory", content.dispatch_facts),
    ):  # fmt: skip
        if facts:
            lines.append(f"  {name}")
            lines += [f"    {label}: {text}" for label, text in facts]
    if content.mass:
        lines.append(f"  Sample mass: {content.mass[-1]}")
    if content.orientation is not None:
        best = content.orientation.loc[content.orientation["rank"] == 1]
        lines.append(
            f"  Orientation survey: best way per element in orientation.csv ({len(best)})"
        )
    lines += [f"  {f.severity}: {f.message}" for f in content.findings]
    lines += [f"  {message}" for message in result.messages]
    lines += ["", f"Open {result.folder / 'plan.pdf'}"]
    if content.sheet is not None or content.key is not None:
        lines.append(
            "The folder office/ says which ids are controls: it does not go to crew or laboratory."
        )
    lines.append("Local codes, permits and licensed practice come first.")
    return lines
