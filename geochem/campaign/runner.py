"""`run`: the whole job on one campaign file."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, Protocol

from geochem.campaign.history import start_register, write_snapshot
from geochem.campaign.memory import check_campaign, collecting_seldom, give_back, parse_size
from geochem.campaign.methods import check_methods, files_of
from geochem.campaign.operations import OPERATIONS, Operation
from geochem.campaign.provenance import write_run_record
from geochem.campaign.publish import working_on
from geochem.campaign.receipt import sign_off, unchanged_since
from geochem.campaign.records import Job
from geochem.campaign.rendering import render_all
from geochem.campaign.settings import Settings, read_campaign
from geochem.campaign.stages import FOLDER, Kept, Stages, keys_of, result_key
from geochem.campaign.survey_paths import SURVEY_STEPS, survey_paths
from geochem.campaign.wiring_inputs import outside_files
from geochem.errors import GeochemError, WrongCall
from geochem.model.bundle import Bundle


class Progress(Protocol):
    """What a progress bar must understand."""

    def __call__(self, title: str, done: int, total: int) -> None:
        """Take the title of what starts now, and how many of how many are done."""


@dataclass(frozen=True, slots=True, eq=False)
class RunResult:
    """What a run gave.

    Parameters
    ----------
    folder : Path
        The result folder.
    records : callable
        Gives all records, see `bundle`.
    messages : tuple of str
        Sentences about the folder (a file was open, an earlier run was mended).
    timings : dict of str to float
        Seconds per operation and renderer that ran.
    kept : bool
        Nothing had changed: the result of an earlier run was checked and stands.
    """

    folder: Path
    records: Callable[[], Bundle]
    messages: tuple[str, ...]
    timings: dict[str, float]
    kept: bool = False

    @property
    def bundle(self) -> Bundle:
        """All records; of a kept result they are taken from its stages when first asked for."""
        return self.records()

    def __repr__(self) -> str:
        if self.kept:
            return f"RunResult: unchanged, result in {self.folder}"
        targets = len(self.bundle.targets.targets)
        return f"RunResult: {targets} targets, result in {self.folder}"


@collecting_seldom()
def run(
    campaign_path: str | Path,
    out: str | Path | None = None,
    *,
    until: date | None = None,
    decisions: str | Path | None = None,
    jobs: int = 1,
    memory: str | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> RunResult:
    """Do the whole job: read, trust, join, find, rank, draw, write.

    A campaign whose samples are Parquet is a survey: it is worked in blocks, and gives thresholds
    by unit, scores of every value and a map of cells (see `campaign.survey_run`).

    Parameters
    ----------
    campaign_path : str or Path
        Campaign file, or its folder.
    out : str or Path, optional
        Result folder; default ``results`` beside the campaign file.
    until : date, optional
        Redraw the state of a past day from what was known then.
    decisions : str or Path, optional
        A decisions file, as the map page saves it; counts more than the campaign file.
    jobs : int, default 1
        Processes; with 2 the figures are drawn beside the other outputs (not on Windows).
    memory : str, optional
        Kept or refused before anything is written, for example ``"4G"``.
    scheduler : str, optional
        Address of a Dask scheduler, for a survey.
    progress : callable, optional
        Told what starts: ``progress(title, done, total)``.

    Returns
    -------
    RunResult
        Folder, records, timings.

    Raises
    ------
    WrongCall
        If the campaign file or the decisions file is wrong.
    DataRefused
        If the data cannot be used at all; nothing is written.
    """
    if jobs < 1:
        raise WrongCall(f"jobs is {jobs}; at least one process is needed.")
    settings = read_campaign(campaign_path, decisions)
    methods = check_methods(settings)
    clock = datetime.now().replace(microsecond=0)
    if until is not None:
        clock = datetime(until.year, until.month, until.day)
    folder = Path(out).resolve() if out is not None else settings.folder / "results"
    allowed = parse_size(memory) if memory is not None else None
    paths = survey_paths(settings)
    total = SURVEY_STEPS if paths else len(OPERATIONS) + len(methods)
    done = 0

    def tell(title: str) -> None:
        nonlocal done
        if progress is not None:
            progress(title, done, total)
        done += 1

    given = {"until": until, "clock": datetime(clock.year, clock.month, clock.day)}
    if paths:
        return _run_survey(settings, paths, folder, clock, given, jobs, allowed, scheduler, tell)
    if scheduler is not None:
        raise WrongCall(
            "--scheduler is for a survey in Parquet files; this campaign is worked on this machine. "
            "Leave it out."
        )
    with working_on(folder, clock) as work:
        stages = Stages(settings.folder / FOLDER)
        kept = Kept(stages, keys_of(OPERATIONS, settings, given, clock.date()))
        job = Job(settings, given, clock, until, kept)
        whole = result_key(kept.keys, settings, methods)
        since = unchanged_since(stages, folder, whole, settings, clock)
        if since is not None:
            for _ in range(total):
                tell("Nothing has changed")
            return _unchanged(folder, since, job.bundle, work.messages)

        fitting = jobs

        def starts(operation: Operation) -> None:
            nonlocal fitting
            if operation.name == "join" and "assays" in job.state:
                values = sum(len(read.results) for read in job.state["assays"])
                fitting = check_campaign(len(job.state["field_log"]), values, jobs, allowed)
            tell(operation.title)

        bundle = job.bundle(starts)
        timings = job.timings
        give_back()
        making = work.start()
        if fitting < jobs:
            work.messages.append(
                f"--memory {memory} allows {fitting} of {jobs} processes; the files are the same."
            )
        timings.update(render_all(methods, bundle, making, jobs=fitting, tell=tell))
        previous, decided = job.state["previous"], settings.decisions
        write_run_record(
            making,
            inputs=[
                *job.state["inputs"],
                *files_of(settings, methods),
                *([decided.path] if decided else []),
            ],
            base=settings.folder,
            settings=settings.plain(),
            clock=clock.isoformat(),
            previous={"date": previous.day, "sha256": previous.sha256},
            timings=timings,
        )
        written = work.finish()
        work.messages += [f.message for f in outside_files(settings, files_of(settings, methods))]
        work.messages += _remember(settings, bundle, clock)
        failed = _into_database(settings, bundle)
        work.messages += failed
        if written == folder and not failed:
            sign_off(stages, folder, whole, settings, clock)
        stages.tidy()
    if progress is not None:
        progress("Done", total, total)
    return RunResult(written, lambda: bundle, tuple(work.messages), timings)


def _unchanged(
    folder: Path, since: str, records: Callable[[], Bundle], messages: list[str]
) -> RunResult:
    said = (
        f"nothing has changed since the run of {since}: its result was checked file by file and "
        "stands."
    )
    return RunResult(folder, records, (*messages, said), {}, kept=True)


def _run_survey(
    settings: Settings, paths: list[Path], folder: Path, clock: datetime, given: dict[str, Any],
    jobs: int, memory: int | None, scheduler: str | None, tell: Any,
) -> RunResult:  # fmt: skip
    from geochem.campaign.survey_run import run_survey

    def survey(making: Path) -> tuple[Bundle, dict[str, float]]:
        return run_survey(
            settings,
            paths,
            making,
            clock,
            jobs=jobs,
            memory=memory,
            scheduler=scheduler,
            tell=tell,
        )

    def again() -> Bundle:
        with tempfile.TemporaryDirectory(prefix="geochem-") as name:
            return survey(Path(name))[0]

    if settings.decisions is not None:
        raise WrongCall(
            f"{settings.decisions.path.name}: decisions speak of targets and of thresholds per "
            "element; a survey in Parquet files has neither. Leave out --decisions."
        )
    with working_on(folder, clock) as work:
        stages = Stages(settings.folder / FOLDER)
        whole = result_key(keys_of(OPERATIONS, settings, given, clock.date()), settings, [])
        since = unchanged_since(stages, folder, whole, settings, clock)
        if since is not None:
            for _ in range(SURVEY_STEPS):
                tell("Nothing has changed")
            return _unchanged(folder, since, again, work.messages)
        making = work.start()
        bundle, timings = survey(making)
        write_run_record(
            making, inputs=[settings.path, *paths], base=settings.folder,
            settings=settings.plain(), clock=clock.isoformat(),
            previous={"date": None, "sha256": None}, timings=timings,
        )  # fmt: skip
        written = work.finish()
        if written == folder:
            sign_off(stages, folder, whole, settings, clock)
    tell("Done")
    return RunResult(written, lambda: bundle, tuple(work.messages), timings)


def _into_database(settings: Settings, bundle: Bundle) -> list[str]:
    """Write into PostGIS where it is asked for; the result stands already, a failure is told."""
    outputs = settings.table("outputs")
    if not outputs["postgis"]:
        return []
    from geochem.outputs.gis.postgis import write_postgis

    try:
        write_postgis(bundle, outputs["postgis"], outputs["postgis_schema"])
    except GeochemError as error:
        return [f"the result stands, but {error}"]
    return []


def _remember(settings: Settings, bundle: Bundle, clock: datetime) -> list[str]:
    """Write the snapshot of the day; the result stands already, so a failure is only told."""
    history = settings.folder / "history"
    try:
        write_snapshot(
            history, clock.date(), settings.top["crs"], bundle.targets.targets,
            {k: v for k, v in bundle.progress.items() if k not in ("week", "open_points")},
        )  # fmt: skip
        start_register(history)
    except OSError as error:
        return [
            f"the result stands, but today's snapshot could not be written into {history} "
            f"({error.strerror}); later runs compare with an older day. Check the disk and the "
            "rights of that folder and run again."
        ]
    return []
