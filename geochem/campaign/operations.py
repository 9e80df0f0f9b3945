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
from typing import Any

from geochem.model.finding import Finding


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
        Tables of the campaign file that it obeys.
    function : str
        ``module:function``; called with the settings and the inputs by name; returns the outputs
        by name and a list of findings.
    """

    name: str
    title: str
    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    tables: tuple[str, ...]
    function: str

    def load(self) -> Callable[..., tuple[dict[str, Any], Sequence[Finding]]]:
        """Import the function."""
        module, _, name = self.function.partition(":")
        loaded: Callable[..., tuple[dict[str, Any], Sequence[Finding]]] = getattr(
            importlib.import_module(module), name
        )
        return loaded


_HERE = "geochem.campaign.wiring"

OPERATIONS: tuple[Operation, ...] = (
    Operation(
        "read", "Reading tables and layers", ("until",),
        ("field_log", "assays", "standards", "layers", "inputs"),
        ("samples", "assays", "standards"), f"{_HERE}:read_inputs",
    ),
    Operation(
        "join", "Joining assays to positions", ("field_log", "assays", "layers"),
        ("survey",), (), f"{_HERE}:join_survey",
    ),
    Operation(
        "judge", "Judging standards, blanks and duplicates", ("survey", "standards", "until"),
        ("quality", "survey"), ("quality",), f"{_HERE}:judge",
    ),
    Operation(
        "accept", "Choosing the accepted values", ("survey", "quality"),
        ("survey", "spacings"), ("quality",), f"{_HERE}:accept",
    ),
    Operation(
        "progress", "Comparing plan, log and laboratory", ("survey", "field_log", "until"),
        ("progress", "plan"), ("plan", "dispatch"), f"{_HERE}:count_progress",
    ),
    Operation(
        "compose", "Log-ratios", ("survey",), ("compositions",), ("composition",),
        f"{_HERE}:compose",
    ),
    Operation(
        "background", "Backgrounds and thresholds", ("survey", "spacings"), ("background",),
        ("background",), f"{_HERE}:describe",
    ),
    Operation(
        "anomalies", "Anomalies and associations",
        ("survey", "background", "compositions", "spacings", "quality"), ("evidence",),
        ("anomalies", "targets"), f"{_HERE}:search",
    ),
    Operation(
        "surfaces", "Surfaces", ("survey", "evidence", "spacings", "layers"), ("surfaces",),
        ("surfaces",), f"{_HERE}:interpolate",
    ),
    Operation(
        "targets", "Targets, follow-up and holes",
        ("survey", "evidence", "background", "spacings", "layers", "quality", "clock",
         "until"),
        ("targets", "previous"), ("targets",), f"{_HERE}:propose",
    ),
)  # fmt: skip

#: `check` stops after this one
CHECKED_BY = "accept"


def carry_out(
    state: dict[str, Any],
    settings: Any,
    operations: Sequence[Operation],
    *,
    keep: Sequence[str] = (),
    report: Callable[[Operation], None] | None = None,
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

    Returns
    -------
    dict of str to float
        Seconds per operation.
    list of Finding
        Of all operations, in order.
    """
    timings: dict[str, float] = {}
    findings: list[Finding] = []
    for number, operation in enumerate(operations):
        if report is not None:
            report(operation)
        start = time.perf_counter()
        given: Mapping[str, Any] = {name: state[name] for name in operation.inputs}
        outputs, found = operation.load()(settings, **given)
        missing = set(operation.outputs) - set(outputs)
        if missing:
            raise RuntimeError(f"operation {operation.name} gave no {', '.join(sorted(missing))}")
        state.update(outputs)
        findings += found
        timings[operation.name] = time.perf_counter() - start
        wanted = {*keep, *(name for later in operations[number + 1 :] for name in later.inputs)}
        for name in [name for name in state if name not in wanted]:
            del state[name]
    return timings, findings
