"""`run` and `check`: the whole job on one campaign file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, Protocol

from geochem.campaign.history import start_register, write_snapshot
from geochem.campaign.memory import check_campaign, parse_size
from geochem.campaign.operations import CHECKED_BY, OPERATIONS, Operation, carry_out
from geochem.campaign.provenance import write_run_record
from geochem.campaign.publish import own_files, working_on
from geochem.campaign.rendering import render_all
from geochem.campaign.settings import Settings, read_campaign
from geochem.campaign.stages import (
    FOLDER,
    Kept,
    Stages,
    digest,
    file_hashes,
    keys_of,
    result_key,
)
from geochem.campaign.survey_paths import SURVEY_STEPS, survey_paths
from geochem.campaign.week import week_of
from geochem.errors import GeochemError, WrongCall
from geochem.model.bundle import Bundle, CampaignInfo
from geochem.model.finding import Finding

#: records that the outputs get
_KEPT = (
    "inputs", "layers", "survey", "spacings", "quality", "progress", "compositions", "background",
    "evidence", "surfaces", "catchments", "targets", "previous", "levelling", "dispatch",
    "decisions", "comparisons",
)  # fmt: skip


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


@dataclass(frozen=True, slots=True, eq=False)
class CheckResult:
    """What a check found.

    Parameters
    ----------
    survey, quality : Survey, QualityReport
        As in a run.
    findings : tuple of Finding
        Of every operation so far.
    """

    survey: Any
    quality: Any
    findings: tuple[Finding, ...]

    @property
    def usable(self) -> bool:
        """False when a finding is an error."""
        return all(f.severity != "error" for f in self.findings)

    def as_json(self) -> dict[str, Any]:
        """Give the document of `check --json`."""
        columns = ["source", "batch", "element", "verdict", "reason"]
        survey = self.survey
        return {
            "samples": len(survey.samples) + len(survey.unlocated),
            "located": len(survey.samples),
            "results": len(survey.results),
            "controls": int(survey.controls["sample_id"].nunique()),
            "verdicts": self.quality.verdicts[columns].to_dict("records"),
            "findings": [f.as_json() for f in self.findings],
        }


def check(campaign_path: str | Path, *, until: date | None = None) -> CheckResult:
    """Read and join everything and judge its quality; write nothing.

    Parameters
    ----------
    campaign_path : str or Path
        Campaign file, or its folder.
    until : date, optional
        As in `run`.

    Returns
    -------
    CheckResult
        Survey, quality, findings.

    Raises
    ------
    WrongCall
        If the campaign file is wrong.
    DataRefused
        If the data cannot be used at all.
    """
    settings = read_campaign(campaign_path)
    names = [o.name for o in OPERATIONS]
    state: dict[str, Any] = {"until": until}
    operations = OPERATIONS[: names.index(CHECKED_BY) + 1]
    _, findings = carry_out(state, settings, operations, keep=("survey", "quality"))
    return CheckResult(state["survey"], state["quality"], tuple(findings))


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
    methods = _check_methods(settings)
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

    if paths:
        return _run_survey(settings, paths, folder, clock, jobs, allowed, scheduler, tell)
    if scheduler is not None:
        raise WrongCall(
            "--scheduler is for a survey in Parquet files; this campaign is worked on this machine. "
            "Leave it out."
        )
    given = {"until": until, "clock": datetime(clock.year, clock.month, clock.day)}
    with working_on(folder, clock) as work:
        stages = Stages(settings.folder / FOLDER)
        kept = Kept(stages, keys_of(OPERATIONS, settings, given, clock.date()))
        job = _Job(settings, given, clock, until, kept)
        whole = result_key(kept.keys, settings, methods)
        since = _unchanged(stages, folder, whole, settings, clock)
        if since is not None:
            for _ in range(total):
                tell("Nothing has changed")
            said = (
                f"nothing has changed since the run of {since}: its result was checked file by "
                "file and stands."
            )
            return RunResult(folder, job.bundle, (*work.messages, said), {}, kept=True)

        def starts(operation: Operation) -> None:
            if operation.name == "join" and "assays" in job.state:
                values = sum(len(read.results) for read in job.state["assays"])
                check_campaign(len(job.state["field_log"]), values, allowed)
            tell(operation.title)

        bundle = job.bundle(starts)
        timings = job.timings
        making = work.start()
        timings.update(render_all(methods, bundle, making, jobs=jobs, tell=tell))
        previous, decided = job.state["previous"], settings.decisions
        write_run_record(
            making,
            inputs=[*job.state["inputs"], *([decided.path] if decided else [])],
            base=settings.folder,
            settings=settings.plain(),
            clock=clock.isoformat(),
            previous={"date": previous.day, "sha256": previous.sha256},
            timings=timings,
        )
        written = work.finish()
        work.messages += _remember(settings, bundle, clock)
        failed = _into_database(settings, bundle)
        work.messages += failed
        if written == folder and not failed:
            _sign_off(stages, folder, whole, settings, clock)
        stages.tidy()
    if progress is not None:
        progress("Done", total, total)
    return RunResult(written, lambda: bundle, tuple(work.messages), timings)


class _Job:
    """The records of one run, worked out or taken from stages when they are first wanted."""

    def __init__(
        self,
        settings: Settings,
        given: dict[str, Any],
        clock: datetime,
        until: date | None,
        kept: Kept | None,
    ) -> None:
        self.settings, self.clock, self.until, self.kept = settings, clock, until, kept
        self.state = dict(given)
        self.timings: dict[str, float] = {}
        self._bundle: Bundle | None = None

    def bundle(self, report: Callable[[Operation], None] | None = None) -> Bundle:
        """Give all records."""
        if self._bundle is None:
            self.timings, findings = carry_out(
                self.state, self.settings, OPERATIONS, keep=_KEPT, report=report, kept=self.kept
            )
            self._bundle = _bundle(self.settings, self.state, self.clock, self.until, findings)
        return self._bundle


def bundle_of(campaign_path: str | Path) -> Bundle:
    """Work out all records of a campaign and write nothing.

    Parameters
    ----------
    campaign_path : str or Path
        Campaign file, or its folder.

    Returns
    -------
    Bundle
        What the renderers of a run would get.
    """
    settings = read_campaign(campaign_path)
    clock = datetime.now().replace(microsecond=0)
    given = {"until": None, "clock": datetime(clock.year, clock.month, clock.day)}
    return _Job(settings, given, clock, None, None).bundle()


def _receipt_key(folder: Path) -> str:
    return digest(str(folder))


def _unchanged(
    stages: Stages, folder: Path, whole: str, settings: Settings, clock: datetime
) -> str | None:
    """Say when the result was made, if nothing it depends on and no file of it has changed."""
    try:
        receipt = stages.take(_receipt_key(folder), "receipt")
    except KeyError:
        return None
    if receipt["whole"] != whole or receipt["snapshot"] != _snapshot_hash(settings, clock):
        return None
    if file_hashes(folder, receipt["files"]) != receipt["files"]:
        return None
    since: str = receipt["clock"]
    return since


def _sign_off(
    stages: Stages, folder: Path, whole: str, settings: Settings, clock: datetime
) -> None:
    """Note what the result consists of, for `_unchanged`."""
    receipt = {
        "whole": whole,
        "clock": clock.isoformat(" "),
        "snapshot": _snapshot_hash(settings, clock),
        "files": file_hashes(folder, sorted(own_files(folder))),
    }
    stages.keep(_receipt_key(folder), "receipt", receipt)


def _snapshot_hash(settings: Settings, clock: datetime) -> str:
    name = f"{clock.date().isoformat()}.json"
    return file_hashes(settings.folder / "history", [name])[name]


def _run_survey(
    settings: Settings, paths: list[Path], folder: Path, clock: datetime, jobs: int,
    memory: int | None, scheduler: str | None, tell: Any,
) -> RunResult:  # fmt: skip
    from geochem.campaign.survey_run import run_survey

    if settings.decisions is not None:
        raise WrongCall(
            f"{settings.decisions.path.name}: decisions speak of targets and of thresholds per "
            "element; a survey in Parquet files has neither. Leave out --decisions."
        )
    with working_on(folder, clock) as work:
        making = work.start()
        bundle, timings = run_survey(
            settings,
            paths,
            making,
            clock,
            jobs=jobs,
            memory=memory,
            scheduler=scheduler,
            tell=tell,
        )
        write_run_record(
            making, inputs=[settings.path, *paths], base=settings.folder,
            settings=settings.plain(), clock=clock.isoformat(),
            previous={"date": None, "sha256": None}, timings=timings,
        )  # fmt: skip
        written = work.finish()
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


def _check_methods(settings: Settings) -> list[tuple[str, Any, dict[str, Any]]]:
    """Check every method and option of the campaign file before a long run."""
    from geochem import plugins
    from geochem.background.guideline import NAME as GUIDELINE
    from geochem.surfaces.options import surface_options

    background = settings.table("background")
    wanted = [("thresholds", background["method"], background["options"])]
    wanted += [
        ("thresholds", given["method"] or background["method"], given["options"])
        for given in background["element"].values()
        if given["value"] is None and given["method"] != GUIDELINE
    ]
    for group, name, options in wanted:
        plugins.make(group, name, options)
    plugins.load("rankers", settings.table("targets")["ranker"])
    surface_options(settings.table("surfaces")["options"])
    outputs = settings.table("outputs")
    names = outputs["renderers"] or plugins.names("renderers")
    for name in outputs["options"]:
        if name not in names:
            raise WrongCall(
                f"[outputs.options.{name}]: '{name}' is not among the renderers that run: "
                f"{', '.join(names)}."
            )
    methods = []
    for name in names:
        renderer = plugins.load("renderers", name)
        options = plugins.check_options(
            name, plugins.options_of(renderer, "render"), outputs["options"].get(name, {})
        )
        methods.append((name, renderer(), _with_files(settings, name, options)))
    return methods


def _with_files(settings: Settings, name: str, options: dict[str, Any]) -> dict[str, Any]:
    """Resolve options that name a file, which by rule end in ``_file``, beside the campaign file."""
    resolved = dict(options)
    for key, value in options.items():
        if key.endswith("_file") and value:
            path = settings.resolve(value)
            if not path.is_file():
                raise WrongCall(f"[outputs.options.{name}] {key}: there is no file {path}.")
            resolved[key] = str(path)
    return resolved


def _bundle(
    settings: Settings,
    state: dict[str, Any],
    clock: datetime,
    until: date | None,
    findings: list[Finding],
) -> Bundle:
    survey, background = state["survey"], state["background"]
    previous = state["previous"]
    return Bundle(
        info=campaign_info(settings, survey.samples, clock, until),
        survey=survey,
        layers=state["layers"],
        spacings=state["spacings"],
        quality=state["quality"],
        thresholds=background.thresholds,
        threshold_records=background.threshold_records,
        probability_plots=background.probability_plots,
        backgrounds=background.backgrounds,
        levelling=state["levelling"],
        compositions=state["compositions"],
        evidence=state["evidence"],
        surfaces=state["surfaces"],
        catchments=state["catchments"],
        targets=state["targets"],
        progress={
            **state["progress"],
            "previous": previous.day and previous.day.isoformat(),
            "week": week_of(settings, state, clock),
        },
        settings=settings.plain(),
        findings=tuple(findings),
        domains=background.domains,
        decisions=state["decisions"],
        comparisons=state["comparisons"],
        shifts={
            e: dict(zip(background.domains["sample_id"], s.tolist(), strict=True))
            for e, s in background.shifts.items()
        },
    )


def campaign_info(
    settings: Settings, samples: Any, clock: datetime, until: date | None
) -> CampaignInfo:
    """Fill in the title block of every page.

    Parameters
    ----------
    settings : Settings
        The campaign.
    samples : geopandas.GeoDataFrame
        Located samples; true north is told at their centre.
    clock : datetime
        Of the run.
    until : date, optional
        As in `run`.

    Returns
    -------
    CampaignInfo
        For a bundle.
    """
    from pyproj import CRS, Proj, Transformer

    from geochem.version import __version__

    crs = CRS.from_user_input(settings.top["crs"])
    convergence = float("nan")
    if len(samples):
        west, south, east, north = samples.total_bounds
        to_degrees = Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
        lon, lat = to_degrees.transform((west + east) / 2, (south + north) / 2)
        convergence = -float(Proj(crs).get_factors(lon, lat).meridian_convergence)
    top = settings.top
    return CampaignInfo(
        title=top["title"],
        crs=top["crs"],
        crs_name=crs.name,
        convergence=convergence,
        clock=clock,
        until=until,
        prepared_by=top["prepared_by"],
        qualified_person=top["qualified_person"],
        report_date=top["report_date"],
        seed=settings.seed,
        version=__version__,
    )
