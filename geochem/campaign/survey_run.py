"""The survey run: millions of samples from Parquet, in blocks of bounded memory.

What a campaign of a few thousand samples gets (targets, follow-up, holes) needs a geologist for
each; what a national survey needs first is thresholds by unit, a score for every value and a map.
The tasks in `survey_tasks` are carried out one after another, by a few processes, or by a Dask
cluster that the user runs; the numbers are the same.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.campaign import survey_tasks as tasks
from geochem.campaign.memory import check_survey
from geochem.campaign.settings import Settings
from geochem.errors import DataRefused, WrongCall
from geochem.model import tables as contract
from geochem.model.finding import Finding
from geochem.read.survey_table import SurveyTable, open_survey

if TYPE_CHECKING:
    import pandas as pd

#: cells of the map at most
MAP_CELLS = 20_000
Many = Callable[..., Iterator[Any]]


@dataclass(frozen=True, slots=True, eq=False)
class SurveyLevels:
    """What the survey as a whole says.

    Parameters
    ----------
    table : SurveyTable
        The survey.
    medium : str
        Of all samples.
    by : tuple of str
        Columns that name the unit.
    units : tuple of str
        Their names.
    parts : tuple of str
        Elements of the composition.
    thresholds, backgrounds : pandas.DataFrame
        Contracts.
    levels : dict of str to ndarray, shape (n_units, 6)
        As `survey_tasks.score_block` takes them.
    grid : Grid
        Of the map.
    findings : tuple of Finding
        What was noticed.
    """

    table: SurveyTable
    medium: str
    by: tuple[str, ...]
    units: tuple[str, ...]
    parts: tuple[str, ...]
    thresholds: pd.DataFrame
    backgrounds: pd.DataFrame
    levels: dict[str, Any]
    grid: tasks.Grid
    findings: tuple[Finding, ...]


@contextmanager
def workers(jobs: int, scheduler: str | None) -> Iterator[Many]:
    """Offer a function that carries out tasks and gives their results in order.

    Parameters
    ----------
    jobs : int
        Processes on this machine.
    scheduler : str, optional
        Address of a Dask scheduler, for example ``tcp://127.0.0.1:8786``; its workers must see the
        same files under the same names.

    Yields
    ------
    callable
        ``many(function, *iterables)``, like `map`.

    Raises
    ------
    WrongCall
        If the scheduler does not answer.
    """
    if scheduler:
        from geochem.optional import require

        distributed = require("distributed", extra="cluster", purpose="use a Dask scheduler")
        try:
            client = distributed.Client(scheduler, timeout="10s")
        except (OSError, ValueError, TimeoutError) as error:
            raise WrongCall(
                f"no Dask scheduler answers at '{scheduler}' ({error}); start one with: dask "
                "scheduler, or leave --scheduler out."
            ) from None
        with client:

            def spread(function: Callable[..., Any], *iterables: Iterable[Any]) -> Iterator[Any]:
                for future in client.map(function, *iterables, pure=False):
                    yield future.result()

            yield spread
    elif jobs > 1:
        # spawned, not forked: pyarrow's threads do not survive a fork
        with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
            yield pool.map
    else:
        yield map


def find_levels(settings: Settings, table: SurveyTable, scratch: Path, many: Many) -> SurveyLevels:
    """Find units, composition, exact medians and thresholds.

    Parameters
    ----------
    settings : Settings
        The campaign.
    table : SurveyTable
        The survey.
    scratch : Path
        Folder that every worker sees.
    many : callable
        From `workers`.

    Returns
    -------
    SurveyLevels
        All that the second pass needs.

    Raises
    ------
    DataRefused
        If no position or no value can be used.
    """
    import pandas as pd

    background = settings.table("background")
    for name in background["by"]:
        if name not in table.columns:
            raise WrongCall(
                f"[background] by: the survey has no column '{name}'; it has: "
                f"{', '.join(sorted(c for c in table.columns if '_ppm' not in c))}."
            )
    wanted = tuple(background["by"])
    by = (("medium",) if "medium" in table.columns and "medium" not in wanted else ()) + wanted
    seen = list(
        many(tasks.look, _same(table, table.blocks), table.blocks, _same(by, table.blocks))
    )
    medium = settings.tables["samples"][0]["medium"] or ""
    if by[:1] == ("medium",) and by != wanted:
        media = {unit.split(" | ")[0] for s in seen for unit in s.units}
        if len(media) == 1:  # one medium for all: it is no unit
            medium = media.pop()
            by = wanted
            seen = [_without_medium(s, bool(wanted)) for s in seen]
    units = tuple(sorted({unit for s in seen for unit in s.units}))
    findings, parts = _counted(settings, table, seen)
    per_block = table.blocks
    starts = list(
        many(tasks.log_means, _same(table, per_block), per_block, _same(by, per_block),
             _same(units, per_block), _same(parts, per_block))
    )  # fmt: skip
    code = np.concatenate([s[0] for s in starts])
    mean = np.concatenate([s[1] for s in starts])
    del starts
    lost = int(np.isnan(mean).sum()) if parts else 0
    if lost:
        findings.append(
            Finding(
                "composition-incomplete", "note",
                f"{lost} of {table.n} samples lack a part of the composition and have no log-ratio.",
            )
        )  # fmt: skip
    np.save(scratch / "order.npy", np.argsort(code, kind="stable"))
    np.save(scratch / "start.npy", np.searchsorted(np.sort(code), np.arange(len(units) + 1)))
    np.save(scratch / "mean.npy", mean)
    del code, mean
    elements = table.elements
    found = list(
        many(
            _levels_task,
            [(table, e, units, scratch, e in parts, medium, background["method"],
              background["options"] or None, background["min_n"]) for e in elements],
        )
    )  # fmt: skip
    thresholds = contract.conform(
        pd.DataFrame([r for f in found for r in f.thresholds]), contract.THRESHOLDS
    )
    backgrounds = contract.conform(
        pd.DataFrame([r for f in found for r in f.backgrounds]), contract.BACKGROUNDS
    )
    levels = _levels(thresholds, backgrounds, medium, units, elements)
    for element, one in zip(elements, found, strict=True):
        levels[element] = np.column_stack([levels[element], one.clr])
    bounds = np.array([s.bounds for s in seen])
    if np.isnan(bounds).all():
        raise DataRefused("no sample of the survey has a usable position.")
    return SurveyLevels(
        table, medium, by, units, parts, thresholds, backgrounds, levels,
        _grid(bounds), tuple(findings),
    )  # fmt: skip


def _same(value: Any, items: Sequence[Any]) -> list[Any]:
    return [value] * len(items)


def _levels_task(given: tuple[Any, ...]) -> tasks.ElementLevels:
    table, element, units, scratch, part, medium, method, options, min_n = given
    return tasks.element_levels(
        table, element, units, scratch, part=part, medium=medium, method=method,
        options=options, min_n=min_n,
    )  # fmt: skip


def _without_medium(seen: tasks.Look, wanted: bool) -> tasks.Look:  # noqa: FBT001
    from dataclasses import replace

    units = {u.split(" | ", 1)[1] for u in seen.units} if wanted else {tasks.ALL}
    return replace(seen, units=tuple(sorted(units)))


def _counted(
    settings: Settings, table: SurveyTable, seen: Sequence[tasks.Look]
) -> tuple[list[Finding], tuple[str, ...]]:
    """Say what cannot be used, and which elements are parts of the composition."""
    findings = []
    unlocated = sum(s.unlocated for s in seen)
    if unlocated:
        findings.append(
            Finding(
                "no-position", "warning",
                f"{unlocated} of {table.n} samples have no position: they count in the statistics and "
                "are not on the map.",
            )
        )  # fmt: skip
    measured = np.sum([s.measured for s in seen], axis=0)
    below = np.sum([s.below for s in seen], axis=0)
    refused = np.sum([s.refused for s in seen], axis=0)
    composition = settings.table("composition")
    parts = []
    for j, element in enumerate(table.elements):
        if refused[j]:
            findings.append(
                Finding(
                    "not-positive", "warning",
                    f"{refused[j]} values of {element} are zero or negative; they count as missing.",
                    column=f"{element}_ppm",
                )
            )  # fmt: skip
        if composition["elements"] and element not in composition["elements"]:
            continue
        share = below[j] / measured[j] if measured[j] else 1.0
        if measured[j] < 0.5 * table.n or share > composition["max_below"]:
            findings.append(
                Finding(
                    "composition-part-left-out", "note",
                    f"{element} is left out of the composition: {measured[j]} of {table.n} samples "
                    f"have a value, {100 * share:.0f} % of them below detection.",
                    column=f"{element}_ppm",
                )
            )  # fmt: skip
            continue
        parts.append(element)
    if not measured.any():
        raise DataRefused("the survey holds no value that can be used.")
    return findings, tuple(parts) if len(parts) > 1 else ()


def _levels(
    thresholds: pd.DataFrame, backgrounds: pd.DataFrame, medium: str, units: tuple[str, ...],
    elements: Sequence[str],
) -> dict[str, Any]:  # fmt: skip
    from geochem.anomalies.univariate import BackgroundTable, Places

    known = BackgroundTable(backgrounds.fillna({"medium": ""}), thresholds.fillna({"medium": ""}))
    places = Places(tuple((medium, u) for u in units), np.arange(len(units)))
    out = {}
    for element in elements:
        at = known.levels(places, element)
        out[element] = np.column_stack([at.location, at.scale, at.threshold, at.threshold_sd])
    return out


def _grid(bounds: Any) -> tasks.Grid:
    """Choose cells of a round side, so that the map has no more than it can show."""
    west, south = np.nanmin(bounds[:, 0]), np.nanmin(bounds[:, 1])
    east, north = np.nanmax(bounds[:, 2]), np.nanmax(bounds[:, 3])
    area = max(east - west, 1.0) * max(north - south, 1.0)
    least = np.sqrt(area / MAP_CELLS)
    power = 10.0 ** np.floor(np.log10(least))
    side = float(min(m * power for m in (1, 2, 5, 10) if m * power >= least))
    west, south = float(np.floor(west / side) * side), float(np.floor(south / side) * side)
    return tasks.Grid(west, south, side, int((east - west) // side) + 1)


def score(found: SurveyLevels, folder: Path, many: Many) -> tasks.Cells:
    """Write the score of every value, block by block, and sum up the cells of the map.

    Parameters
    ----------
    found : SurveyLevels
        From `find_levels`.
    folder : Path
        Where the parts are written.
    many : callable
        From `workers`.

    Returns
    -------
    Cells
        Of the whole survey; cells without a position are left out.
    """
    blocks = found.table.blocks
    made = many(
        tasks.score_block, _same(found.table, blocks), blocks, _same(found.by, blocks),
        _same(found.units, blocks), _same(found.levels, blocks), _same(found.parts, blocks),
        _same(found.grid, blocks), _same(folder, blocks),
    )  # fmt: skip
    total: tasks.Cells | None = None
    for one in made:  # in the order of the survey, so that sums are the same on any cluster
        total = one if total is None else _together(total, one)
    assert total is not None
    keep = total.cell >= 0
    return tasks.Cells(*(getattr(total, f)[keep] for f in tasks.Cells.__dataclass_fields__))


def _together(a: tasks.Cells, b: tasks.Cells) -> tasks.Cells:
    cell = np.union1d(a.cell, b.cell)
    at_a, at_b = np.searchsorted(cell, a.cell), np.searchsorted(cell, b.cell)
    made: dict[str, Any] = {"cell": cell}
    for name in ("rows", "measured", "below", "beyond", "log_sum", "highest"):
        one, two = getattr(a, name), getattr(b, name)
        start = -np.inf if name == "highest" else 0
        whole = np.full((len(cell), *one.shape[1:]), start, dtype=one.dtype)
        whole[at_a] = one
        if name == "highest":
            whole[at_b] = np.maximum(whole[at_b], two)
        else:
            whole[at_b] += two
        made[name] = whole
    return tasks.Cells(**made)


def run_survey(
    settings: Settings, paths: Sequence[Path], making: Path, clock: datetime, *, jobs: int,
    memory: int | None, scheduler: str | None, tell: Callable[[str], None],
) -> tuple[Any, dict[str, float]]:  # fmt: skip
    """Carry out a survey run into a folder in the making.

    Parameters
    ----------
    settings : Settings
        The campaign.
    paths : sequence of Path
        From `survey_paths`.
    making : Path
        Result folder in the making.
    clock : datetime
        Of the run.
    jobs : int
        Processes on this machine.
    memory : int, optional
        Bytes that may be used at most.
    scheduler : str, optional
        Address of a Dask scheduler.
    tell : callable
        Told the title of what starts.

    Returns
    -------
    bundle : Bundle
        Of the cells of the map.
    timings : dict of str to float
        Seconds per step.

    Raises
    ------
    WrongCall
        If the memory does not suffice, or the campaign file names what the survey does not have.
    DataRefused
        If the survey cannot be used.
    """
    from shutil import rmtree

    from geochem.campaign.survey_outputs import cells_bundle, write_outputs

    timings: dict[str, float] = {}
    start = time.perf_counter()

    def done(name: str) -> None:
        nonlocal start
        now = time.perf_counter()
        timings[name], start = now - start, now

    table = open_survey(paths)
    jobs = check_survey(table, jobs, memory)
    scratch = making / ".scratch"
    scratch.mkdir()
    with workers(jobs, scheduler) as many:
        tell("Exact medians and thresholds by unit")
        found = find_levels(settings, table, scratch, many)
        done("levels")
        tell("Scores of every value")
        (making / "anomalies").mkdir()
        cells = score(found, making / "anomalies", many)
        done("scores")
    rmtree(scratch)
    tell("Map and tables")
    bundle = cells_bundle(settings, found, cells, clock)
    write_outputs(bundle, found, cells, making)
    done("outputs")
    return bundle, timings
