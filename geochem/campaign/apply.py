"""`apply`: one operation on one layer of any vector file, for desktop hosts."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from geochem import plugins
from geochem.campaign.layer_file import (
    DRIVERS,
    WORKED_ON,
    PointLayer,
    as_campaign,
    check_not_open,
    open_layer,
    split_layer,
    write_answer,
)
from geochem.campaign.operations import ON_LAYERS, Operation
from geochem.errors import DataRefused, WrongCall, unknown
from geochem.model.finding import Finding

#: of files and layers; leaves room for endings where names may have 255 bytes
_LONGEST_NAME = 200
#: names of devices, which Windows opens instead of a file
_RESERVED = re.compile("CON|PRN|AUX|NUL|(COM|LPT)[0-9]", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Applied:
    """What an operation on a layer gave.

    Parameters
    ----------
    path, style : Path
        The file with the answer, the style document beside it.
    layer : str
        Name of the layer.
    rows : int
        Features written; 0 for a grid.
    findings : tuple of Finding
        Warnings and errors about the data.
    """

    path: Path
    style: Path
    layer: str
    rows: int
    findings: tuple[Finding, ...]


def apply(
    operation: str,
    layer: str,
    out: str,
    options: Mapping[str, Any] | None = None,
    *,
    progress: Callable[[str, int, int], None] | None = None,
) -> Applied:
    """Carry out one operation on one layer.

    Parameters
    ----------
    operation : str
        Name, see `operations.ON_LAYERS`.
    layer : str
        ``path`` or ``path:layer`` of points, a local file.
    out : str
        ``path`` or ``path:layer``; a new file, or a GeoPackage that gets the layer.
    options : mapping, optional
        Of the operation.
    progress : callable, optional
        Told each step: title, done, total.

    Returns
    -------
    Applied
        Where the answer stands.

    Raises
    ------
    WrongCall
        If the operation, an option or a path is wrong.
    DataRefused
        If the layer cannot be used; nothing is written.
    """
    chosen = next((o for o in ON_LAYERS if o.name == operation), None)
    if chosen is None:
        raise unknown("operation", operation, [o.name for o in ON_LAYERS])
    given = plugins.check_options(operation, chosen.options(), options or {})
    _check_required(chosen, given)
    tell = progress or (lambda *_: None)
    goal, goal_layer = _goal(out, chosen)
    check_not_open(goal)
    points = open_layer(layer)
    if goal.exists() and goal.samefile(points.path) and goal_layer == points.layer:
        raise WrongCall(
            f"--out is the layer that is read, '{layer}'; give the answer a layer or file of its own."
        )
    own = {o.name for o in plugins.options_of_function(chosen.load())}
    shared = {k: v for k, v in given.items() if k not in own}
    with tempfile.TemporaryDirectory(prefix="geochem-") as name, _told_of(points):
        work = as_campaign(points, Path(name), shared, tell)
        work.check_elements(
            [given["element"]] if "element" in given else given.get("elements") or []
        )
        answer = chosen.load()(work, **{k: v for k, v in given.items() if k in own})
        rows, style, renamed = write_answer(answer, points, work, goal, goal_layer, Path(name))
    tell("Done", 1, 1)
    file = points.path.name
    told = [
        replace(f, message=_of_input(f.message, file), file=f.file and _of_input(f.file, file))
        for f in work.findings
    ]
    if told and points.id_column is None:
        told.append(
            Finding(
                "features-numbered", "note",
                f"'{file}' has no column of sample ids that names every feature and no two alike; "
                f"here the features are named by their number, the first is {points.ids[0]}.", file,
            )
        )  # fmt: skip
    return Applied(goal, style, goal_layer, rows, (*told, *renamed))


def _of_input(text: str, file: str) -> str:
    """Let a sentence speak of the file that the user gave."""
    return text.replace(WORKED_ON, file)


@contextmanager
def _told_of(points: PointLayer) -> Iterator[None]:
    """Let refusals speak of the file that the user gave."""
    try:
        yield
    except DataRefused as refusal:
        raise DataRefused([_of_input(r, points.path.name) for r in refusal.reasons]) from refusal


def _check_required(operation: Operation, given: Mapping[str, Any]) -> None:
    for option in operation.options():
        if option.required and option.name not in given:
            raise WrongCall(
                f"'{operation.name}' needs the option '{option.name}', for example "
                f"--option {option.name}=Cu."
            )


def _goal(out: str, operation: Operation) -> tuple[Path, str]:
    text, layer = split_layer(out)
    path = Path(text)
    raster = operation.outputs == ("raster",)
    allowed = [".tif"] if raster else list(DRIVERS)
    if path.suffix.lower() not in allowed:
        raise WrongCall(
            f"--out is '{out}'; '{operation.name}' writes a file that ends with "
            f"{', '.join(allowed)}."
        )
    if not os.path.isdir(path.parent):  # noqa: PTH112 - says no to what no path can be
        raise WrongCall(f"--out is '{out}'; there is no folder '{path.parent}'.")
    name = layer or (path.stem if path.suffix.lower() != ".gpkg" else operation.name)
    reserved = _RESERVED.fullmatch(path.name.partition(".")[0])
    if "\0" in text or reserved or len(path.name.encode()) > _LONGEST_NAME:
        raise WrongCall(f"'{path.name[:80]}' can be no name of a file; choose another for --out.")
    if len(name) > _LONGEST_NAME or not re.fullmatch(r"[\w .-]+", name):
        raise WrongCall(
            f"'{name[:80]}' can be no name of a layer: letters, digits, spaces and _ . - are "
            f"allowed, up to {_LONGEST_NAME}."
        )
    return path, name


def parse_options(operation: str, texts: list[str]) -> dict[str, Any]:
    """Understand ``k=v`` texts by the kinds of an operation's options.

    Parameters
    ----------
    operation : str
        Name.
    texts : list of str
        As given on the command line; lists with commas.

    Returns
    -------
    dict
        Values by name.

    Raises
    ------
    WrongCall
        If a text has no ``=``, or its value is not of the option's kind.

    Examples
    --------
    >>> parse_options("threshold", ["element=Cu", "k=2.5", "by=geology,regolith"])
    {'element': 'Cu', 'k': 2.5, 'by': ['geology', 'regolith']}
    """
    chosen = next((o for o in ON_LAYERS if o.name == operation), None)
    if chosen is None:
        raise unknown("operation", operation, [o.name for o in ON_LAYERS])
    kinds = {o.name: o.kind for o in chosen.options()}
    given: dict[str, Any] = {}
    for text in texts:
        name, sign, value = text.partition("=")
        if not sign:
            raise WrongCall(f"--option takes name=value, got '{text}'.")
        kind = kinds.get(name, "str")
        if kind.startswith("list of "):
            parts = [p.strip() for p in value.split(",") if p.strip()]
            given[name] = [_value(name, kind[8:], p) for p in parts]
        else:
            given[name] = _value(name, kind, value)
    return given


def _value(name: str, kind: str, text: str) -> Any:
    try:
        if kind == "int":
            return int(text)
        if kind == "float":
            return float(text)
    except ValueError:
        raise WrongCall(f"option '{name}' must be {kind}, got '{text}'.") from None
    if kind == "bool":
        words = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}
        if text.lower() not in words:
            raise WrongCall(f"option '{name}' must be true or false, got '{text}'.")
        return words[text.lower()]
    return text


def applied_lines(done: Applied) -> list[str]:
    """Say what was written.

    Parameters
    ----------
    done : Applied
        Of `apply`.

    Returns
    -------
    list of str
        Lines for the terminal.
    """
    what = f"{done.rows} features, layer {done.layer}" if done.rows else "written"
    lines = [f"{done.path}: {what}", f"{done.style}: its style"]
    lines += [f"  {f.severity}: {f.message}" for f in done.findings[:10]]
    return lines
