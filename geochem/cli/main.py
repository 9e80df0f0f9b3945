"""The commands."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Sequence
from datetime import datetime
from typing import Any

import click

from geochem.cli.terminal import progress_bar, say, table
from geochem.errors import GeochemError
from geochem.version import __version__

REFUSED, WRONG_CALL = 1, 2


@click.group(
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Trust, map and rank exploration geochemistry: field log and assays in, ranked targets "
    "on an offline map out. Start with: geochem demo",
)
@click.version_option(__version__, message="geochem %(version)s")
def commands() -> None:
    """Hold the commands."""


@commands.command()
@click.argument("folder", metavar="DIR")
@click.option("--from", "sources", metavar="FILE", multiple=True, help="a table or layer to use")
@click.argument("more", metavar="[FILE ...]", nargs=-1)
def new(folder: str, sources: tuple[str, ...], more: tuple[str, ...]) -> None:
    """Start a campaign folder: a commented campaign file and blank sheets.

    With --from, the campaign file is filled from what the files hold.
    """
    from geochem.campaign.starter import start_campaign

    started = start_campaign(folder, [*sources, *more])
    say(f"Started {started.campaign_file}")
    for line in started.messages:
        say(f"  {line}")
    say(f"Next: fill in what is marked, then run: geochem check {started.campaign_file}")


@commands.command()
@click.argument("file", metavar="FILE")
@click.option("--crs", metavar="CRS", help="of the coordinates, for example EPSG:4326")
@click.option("--sheet", metavar="NAME", help="sheet of a workbook")
@click.option("--json", "as_json", is_flag=True, help="one JSON document on standard output")
def inspect(file: str, crs: str | None, sheet: str | None, *, as_json: bool) -> None:
    """Say how one table is understood and what is wrong; write nothing."""
    from geochem.read.inspection import inspect_table

    inspection = inspect_table(file, crs=crs, sheet=sheet)
    if as_json:
        _say_json(inspection.as_json())
    else:
        say(inspection.as_text())
    if any(f.severity == "error" for f in inspection.findings):
        sys.exit(REFUSED)


@commands.command()
@click.argument("campaign", metavar="CAMPAIGN")
@click.option("--json", "as_json", is_flag=True, help="one JSON document on standard output")
def check(campaign: str, *, as_json: bool) -> None:
    """Read and join everything, print findings and verdicts; write nothing."""
    from geochem.campaign.checking import check as check_campaign
    from geochem.campaign.summary import check_lines

    result = check_campaign(campaign)
    if as_json:
        _say_json(result.as_json())
    else:
        for line in check_lines(result):
            say(line)
    if not result.usable:
        sys.exit(REFUSED)


@commands.command()
@click.argument("campaign", metavar="CAMPAIGN")
@click.option("--out", metavar="DIR", help="result folder [default: results/ beside CAMPAIGN]")
@click.option("--until", metavar="DATE", help="redraw what was known on that day, like 2026-03-20")
@click.option("--decisions", metavar="FILE", help="decisions.toml, as the map page saves it")
@click.option("--jobs", metavar="N", default=1, show_default=True, help="processes; 2 draw sooner")
@click.option("--memory", metavar="SIZE", help="memory that may be used, like 4G; kept or refused")
@click.option(
    "--scheduler", metavar="ADDRESS", help="Dask scheduler, for a survey in Parquet files"
)
def run(
    campaign: str, out: str | None, until: str | None, decisions: str | None, jobs: int,
    memory: str | None, scheduler: str | None,
) -> None:  # fmt: skip
    """Do the main job: trust, join, find, rank, draw and write."""
    _run(campaign, out, until, decisions=decisions, jobs=jobs, memory=memory, scheduler=scheduler)


@commands.command()
@click.argument("campaign", metavar="CAMPAIGN")
@click.option("--out", metavar="DIR", help="folder of the plan [default: plan/ beside CAMPAIGN]")
def plan(campaign: str, out: str | None) -> None:
    """Plan: sampling layout, laboratory dispatch, field sheets."""
    from geochem.campaign.planner import plan as plan_campaign
    from geochem.campaign.planner import plan_lines

    for line in plan_lines(plan_campaign(campaign, out)):
        say(line)


@commands.command()
@click.argument("folder", metavar="[DIR]", required=False, default="geochem-demo")
def demo(folder: str) -> None:
    """Write the demonstration campaign (all invented) and run it."""
    from geochem.campaign.demonstration import write_demonstration

    campaign = write_demonstration(folder)
    say(f"The demonstration campaign (place and numbers are invented) stands in {campaign.parent}")
    _run(str(campaign), None, None)


@commands.command()
@click.argument("operation", metavar="OPERATION")
@click.argument("layer", metavar="INPUT[:LAYER]")
@click.option("--out", metavar="OUTPUT[:LAYER]", required=True, help="where the answer goes")
@click.option("--option", "options", metavar="K=V", multiple=True, help="of the operation")
@click.option("--progress", type=click.Choice(["json"]), help="progress as JSON lines")
def apply(
    operation: str, layer: str, out: str, options: tuple[str, ...], progress: str | None
) -> None:
    """Carry out one operation on one layer of any local vector file.

    Operations and their options: geochem plugins --describe
    """
    from geochem.campaign.apply import applied_lines, parse_options
    from geochem.campaign.apply import apply as apply_operation

    given = parse_options(operation, list(options))
    if progress is None:
        with progress_bar() as tell:
            done = apply_operation(operation, layer, out, given, progress=tell)
        for line in applied_lines(done):
            say(line)
        return

    def tell_json(title: str, step: int, total: int) -> None:
        _say_json_line({"progress": round(100 * step / max(total, 1)), "message": title})

    done = apply_operation(operation, layer, out, given, progress=tell_json)
    _say_json_line(
        {
            "out": str(done.path), "layer": done.layer, "style": str(done.style),
            "rows": done.rows, "findings": [f.as_json() for f in done.findings],
        }
    )  # fmt: skip


@commands.command()
@click.option("--check", "checked", metavar="NAME", help="test a method or plug-in")
@click.option("--describe", "described", is_flag=True, help="operations and options as JSON")
@click.option("--json", "as_json", is_flag=True, help="one JSON document on standard output")
def plugins(checked: str | None, *, described: bool, as_json: bool) -> None:
    """List methods and plug-ins with their options."""
    if checked is not None:
        _check_plugin(checked, as_json=as_json)
        return
    if described:
        from geochem.campaign.describe import describe

        _say_json(describe())
        return
    from geochem.campaign.summary import plugin_rows

    rows = plugin_rows()
    if as_json:
        _say_json(rows)
        return
    say(
        table(
            [(r["group"], r["name"], r["from"], r["summary"]) for r in rows],
            ("group", "name", "from", "what it does"),
        )
    )
    say()
    for row in rows:
        for option in row["options"]:
            say(f"{row['name']}: {option['name']} ({option['kind']}) = {option['default']!r}")


def _check_plugin(name: str, *, as_json: bool) -> None:
    from geochem.testing import check_named

    faults = check_named(name)
    if as_json:
        _say_json({"name": name, "faults": faults})
    for fault in [] if as_json else faults:
        say(f"  {fault}")
    if faults:
        say(f"geochem: {name} has {len(faults)} faults and should not be used.", error=True)
        sys.exit(REFUSED)
    if not as_json:
        say(f"{name} passes the checks that the built-in methods pass.")


def _run(campaign: str, out: str | None, until: str | None, **options: Any) -> None:
    from geochem.campaign.runner import run as run_campaign
    from geochem.campaign.summary import run_lines

    day = None
    if until is not None:
        try:
            day = datetime.strptime(until, "%Y-%m-%d").date()
        except ValueError:
            raise click.UsageError(
                f"--until takes a date like 2026-03-20, got '{until}'."
            ) from None
    with progress_bar() as tell:
        result = run_campaign(campaign, out, until=day, progress=tell, **options)
    for line in run_lines(result):
        say(line)


def _say_json(document: Any) -> None:
    sys.stdout.write(json.dumps(document, ensure_ascii=True, indent=1, default=str) + "\n")


def _say_json_line(document: Any) -> None:
    sys.stdout.write(json.dumps(document, ensure_ascii=True, default=str) + "\n")
    sys.stdout.flush()


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; no traceback reaches the user.

    Parameters
    ----------
    arguments : sequence of str, optional
        Instead of those of the process.
    """
    given = list(sys.argv[1:] if arguments is None else arguments)
    if arguments is None and not os.environ.get("GEOCHEM_TRACEBACK"):
        # half-written files of other libraries would complain when they are cleared away
        sys.unraisablehook = lambda _: None
    try:
        status = commands.main(args=given, prog_name="geochem", standalone_mode=False)
        sys.exit(status if isinstance(status, int) else 0)
    except click.exceptions.Abort:
        say("stopped; the last good result is untouched.", error=True)
        sys.exit(130)
    except click.ClickException as error:
        _refuse([error.format_message()], WRONG_CALL, given)
    except GeochemError as error:
        _refuse(str(error).splitlines(), error.exit_status, given)
    except KeyboardInterrupt:
        say("stopped; the last good result is untouched.", error=True)
        sys.exit(130)
    except (OSError, MemoryError) as error:
        _refuse([_system_sentence(error)], REFUSED, given)
    except Exception as error:
        if os.environ.get("GEOCHEM_TRACEBACK"):
            raise
        _refuse([_fault_sentence(error)], REFUSED, given)


def _system_sentence(error: OSError | MemoryError) -> str:
    if isinstance(error, MemoryError):
        return "there is not enough memory for this campaign on this machine."
    name = f" '{error.filename}'" if error.filename else ""
    return f"the system refused{name}: {error.strerror or error}. Close programs that use it, or \
check the disk and the rights, and run again."


def _fault_sentence(error: Exception) -> str:
    return (
        f"a fault of this program, not of your data, stopped the work ({type(error).__name__}: "
        f"{error}); the last good result is untouched. Please report this line; with "
        "GEOCHEM_TRACEBACK=1 in the environment the place of the fault is shown."
    )


def _refuse(reasons: Sequence[str], status: int, arguments: Sequence[str]) -> None:
    if "--json" in arguments:
        findings = [
            {
                "code": "refused", "severity": "error", "file": None, "row": None,
                "column": None, "message": reason,
            }
            for reason in reasons
        ]  # fmt: skip
        _say_json({"findings": findings})
    for reason in reasons:
        say(f"geochem: {reason}", error=True)
    sys.exit(status)
