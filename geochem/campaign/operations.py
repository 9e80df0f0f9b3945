"""The list of what the tool does, in order.

`run` works through the list; progress bars, timings and descriptions come from it. An operation
names its inputs and outputs; the function does no mathematics: it translates the campaign file
into the call of one step (see `wiring.py`). To add a step: one `Operation` here, one function
there.
"""

from __future__ import annotations

import importlib
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from geochem.model.finding import Finding
from geochem.plugins import Option, options_of_function

if TYPE_CHECKING:
    from geochem.campaign.settings import Settings
    from geochem.campaign.stages import Kept


@dataclass(frozen=True, slots=True)
class Operation:
    """One step of the work.

    Parameters
    ----------
    name, title : str
        For machines and for people.
    inputs, outputs : tuple of str
        Names of records in the state of a run.
    tables : tuple of str
        Tables of the campaign file that it obeys, whole or one key (``"targets.seek"``), and
        ``"layers"`` or ``"history"`` where it reads those. It is given settings without the
        others, and the files of whole tables belong to the key of its stage.
    function : str
        ``module:function``; called with the settings and the inputs by name; returns the outputs
        by name and a list of findings.
    opening : bool, default False
        It is worked out anew together with the other opening steps: what passes only between
        them is large and not kept as a stage.
    common : tuple of str
        ``module:function`` of functions whose keyword arguments are options too.
    """

    name: str
    title: str
    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    tables: tuple[str, ...]
    function: str
    opening: bool = False
    common: tuple[str, ...] = ()

    def load(self) -> Callable[..., Any]:
        """Import the function."""
        return _imported(self.function)

    def functions(self) -> list[Callable[..., Any]]:
        """Import the functions whose keyword arguments are the options."""
        return [self.load(), *map(_imported, self.common)]

    def options(self) -> list[Option]:
        """Read the typed options from the signatures."""
        return [o for function in self.functions() for o in options_of_function(function)]


def _imported(reference: str) -> Callable[..., Any]:
    module, _, name = reference.partition(":")
    found: Callable[..., Any] = getattr(importlib.import_module(module), name)
    return found


_HERE = "geochem.campaign.wiring"

OPERATIONS: tuple[Operation, ...] = (
    Operation(
        "read", "Reading tables and layers", ("until",),
        ("field_log", "assays", "standards", "layers", "plan", "dispatch", "inputs"),
        ("samples", "assays", "standards", "layers", "plan", "dispatch"),
        f"{_HERE}_inputs:read_inputs", opening=True,
    ),
    Operation(
        "join", "Joining assays to positions", ("field_log", "assays", "layers"),
        ("survey",), (), f"{_HERE}:join_survey", opening=True,
    ),
    Operation(
        "judge", "Judging standards, blanks and duplicates",
        ("survey", "standards", "dispatch", "until"),
        ("quality", "survey"), ("quality", "dispatch", "targets.seek"), f"{_HERE}:judge",
        opening=True,
    ),
    Operation(
        "accept", "Choosing the accepted values", ("survey", "quality"),
        ("survey", "spacings"), ("quality",), f"{_HERE}:accept", opening=True,
    ),
    Operation(
        "level", "Levelling instruments and batches", ("survey", "quality"),
        ("survey", "levelling"), ("background",), "geochem.campaign.levels:level",
    ),
    Operation(
        "indices", "Indices, ratios and balances", ("survey",), ("survey", "further"),
        ("composition",), "geochem.campaign.levels:add_columns",
    ),
    Operation(
        "progress", "Comparing plan, log and laboratory",
        ("survey", "field_log", "plan", "dispatch", "until"), ("progress",),
        ("plan", "dispatch"),
        f"{_HERE}:count_progress",
    ),
    Operation(
        "compose", "Log-ratios", ("survey",), ("compositions",),
        ("composition", "anomalies.elements"), f"{_HERE}:compose",
    ),
    Operation(
        "background", "Backgrounds and thresholds",
        ("survey", "spacings", "compositions", "layers", "quality", "further"),
        ("background", "gold"),
        (
            "background", "anomalies.elements", "targets.seek", "targets.association",
            "targets.presets",
        ),
        f"{_HERE}:describe",
    ),
    Operation(
        "anomalies", "Anomalies and associations",
        ("survey", "background", "compositions", "spacings", "quality"), ("evidence",),
        (
            "targets.seek", "targets.association", "targets.presets", "anomalies.grouping",
            "anomalies.options",
        ),
        f"{_HERE}:search",
    ),
    Operation(
        "surfaces", "Surfaces", ("survey", "evidence", "background", "spacings", "layers"),
        ("surfaces",),
        ("surfaces", "targets.seek"), f"{_HERE}_ground:interpolate",
    ),
    Operation(
        "catchments", "Catchments of stream sediments", ("survey", "evidence", "layers"),
        ("catchments",), ("surfaces", "targets.seek", "layers"), f"{_HERE}_ground:outline_catchments",
    ),
    Operation(
        "targets", "Targets, follow-up and holes",
        ("survey", "evidence", "background", "spacings", "layers", "catchments", "quality", "gold",
         "clock", "until"),
        ("targets", "previous", "decisions"), ("targets", "planning.points_per_day", "history", "decisions"),
        f"{_HERE}:propose",
    ),
    Operation(
        "comparisons", "Comparing thresholds", ("survey", "background", "evidence", "targets"),
        ("comparisons",), ("background", "targets.seek"), f"{_HERE}:compare_thresholds",
    ),
)  # fmt: skip

_LAYERS = "geochem.campaign.on_layers"
_EVERY = "geochem.campaign.layer_work:every_operation"
_SOUGHT = "geochem.campaign.layer_work:what_is_sought"

#: what `apply` does with one layer; each lets the steps above do the work
ON_LAYERS: tuple[Operation, ...] = tuple(
    Operation(name, title, ("layer",), (gives,), (), f"{_LAYERS}:{name}", common=(*also, _EVERY))
    for name, title, gives, *also in (
        ("log_ratio", "Log-ratios", "layer"),
        ("threshold", "Background and threshold", "layer"),
        ("score", "Scores against background", "layer", _SOUGHT),
        ("gi_star", "Local Gi*", "layer"),
        ("clusters", "Groups of anomalous samples", "layer", _SOUGHT),
        ("surface", "Surface", "raster"),
        ("outlines", "Outlines and ranks", "layer", _SOUGHT),
    )
)

#: `check` stops after this one
CHECKED_BY = "accept"


def steps_to(name: str) -> tuple[Operation, ...]:
    """Give the steps of a run up to one of them, this one among them.

    Parameters
    ----------
    name : str
        Of an operation of a run.

    Returns
    -------
    tuple of Operation
        In order.
    """
    return OPERATIONS[: [o.name for o in OPERATIONS].index(name) + 1]


def carry_out(
    state: dict[str, Any],
    settings: Settings,
    operations: Sequence[Operation],
    *,
    keep: Sequence[str] = (),
    report: Callable[[Operation], None] | None = None,
    kept: Kept | None = None,
) -> tuple[dict[str, float], list[Finding]]:
    """Work through operations; a record that none of the later ones needs is let go.

    Parameters
    ----------
    state : dict
        Records by name; outputs are added to it.
    settings : Settings
        The checked campaign file.
    operations : sequence of Operation
        In order.
    keep : sequence of str
        Names of records wanted after the last operation.
    report : callable, optional
        Told each operation before it starts.
    kept : Kept, optional
        Stages of earlier runs: an operation whose outputs are kept does not run, and what others
        give is kept.

    Returns
    -------
    dict of str to float
        Seconds per operation that ran.
    list of Finding
        Of all operations, in order.
    """
    timings: dict[str, float] = {}
    findings: list[Finding] = []
    ready = kept.ready(operations, keep) if kept is not None else {}
    for number, operation in enumerate(operations):
        if report is not None:
            report(operation)
        outputs: Mapping[str, Any]
        found: Sequence[Finding]
        if number in ready:
            outputs, found = ready.pop(number)
        else:
            start = time.perf_counter()
            given: Mapping[str, Any] = {name: state[name] for name in operation.inputs}
            outputs, found = operation.load()(settings.only(operation.tables), **given)
            missing = set(operation.outputs) - set(outputs)
            if missing:
                raise RuntimeError(
                    f"operation {operation.name} gave no {', '.join(sorted(missing))}"
                )
            timings[operation.name] = time.perf_counter() - start
            if kept is not None:
                kept.keep(number, outputs, found)
        state.update(outputs)
        findings += found
        wanted = {*keep, *(name for later in operations[number + 1 :] for name in later.inputs)}
        for name in [name for name in state if name not in wanted]:
            del state[name]
    return timings, findings
