"""Registry of methods: built-ins as text references, other people's through entry points.

What lives here: the four groups, the table of built-ins, loading, and reading the options of a
method from its signature. To add a built-in: one line in `BUILT_IN`. Other packages declare, for
example, ``[project.entry-points."geochem.thresholds"]`` with ``my_name = "my_package:MyMethod"``.
A built-in always wins over an entry point of the same name; a broken plug-in is a warning that
names its distribution.
"""

from __future__ import annotations

import inspect
import sys
import typing
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.metadata import EntryPoint, entry_points
from types import NoneType, SimpleNamespace, UnionType
from typing import Any, Literal

from geochem.errors import WrongCall, nearest, unknown

GROUPS = ("readers", "thresholds", "rankers", "renderers")

BUILT_IN: dict[str, dict[str, str]] = {
    "readers": {
        "delimited": "geochem.read.delimited:DelimitedReader",
        "workbook": "geochem.read.workbook:WorkbookReader",
    },
    "thresholds": {
        "median_mad": "geochem.background.median_mad:MedianMad",
        "tukey_fence": "geochem.background.tukey_fence:TukeyFence",
        "percentile": "geochem.background.percentile:Percentile",
        "probability_plot": "geochem.background.probability_plot:ProbabilityPlot",
        "mean_sd": "geochem.background.mean_sd:MeanSd",
        "mixture": "geochem.background.mixture:Mixture",
        "concentration_area": "geochem.background.concentration_area:ConcentrationArea",
        "concentration_number": "geochem.background.concentration_number:ConcentrationNumber",
        "adjusted_boxplot": "geochem.background.adjusted_boxplot:AdjustedBoxplot",
        "natural_breaks": "geochem.background.natural_breaks:NaturalBreaks",
        "extreme_tail": "geochem.background.extreme_tail:ExtremeTail",
        "moving_window": "geochem.background.moving_window:MovingWindow",
    },
    "rankers": {
        "weighted_criteria": "geochem.targets.weighted_criteria:WeightedCriteria",
    },
    "renderers": {
        "figures": "geochem.outputs.figures.renderer:FiguresRenderer",
        "tables": "geochem.outputs.tables.renderer:TablesRenderer",
        "gis": "geochem.outputs.gis.renderer:GisRenderer",
        "map": "geochem.outputs.webmap.renderer:MapRenderer",
        "report": "geochem.outputs.report.renderer:ReportRenderer",
        "slides": "geochem.outputs.slides.renderer:SlidesRenderer",
        "start_page": "geochem.outputs.start_page.renderer:StartPageRenderer",
    },
}

#: Tests set this so that nothing installed on the machine leaks in.
_sealed = False


@dataclass(frozen=True, slots=True)
class PluginEntry:
    """One name in a group.

    Parameters
    ----------
    group, name : str
        Without the ``geochem.`` prefix of the entry-point group.
    reference : str
        ``module:object``.
    distribution : str
        Who brings it; ``"geochem"`` for built-ins.
    """

    group: str
    name: str
    reference: str
    distribution: str


@dataclass(frozen=True, slots=True)
class Option:
    """One option of a method, from its signature.

    Parameters
    ----------
    name : str
        Keyword.
    kind : str
        ``bool``, ``int``, ``float``, ``str``, ``choice`` or ``list of ...``.
    default : object
        Its default.
    choices : tuple
        For ``choice``.
    optional : bool
        Whether None is allowed.
    low, high : float or None
        Bounds of a number, both allowed themselves.
    """

    name: str
    kind: str
    default: Any
    choices: tuple[Any, ...] = ()
    optional: bool = False
    low: float | None = None
    high: float | None = None

    @property
    def required(self) -> bool:
        """Whether it must be given."""
        return self.default is inspect.Parameter.empty and not self.optional


@dataclass(frozen=True, slots=True)
class Bounds:
    """Bounds of an option, written ``Annotated[float, Bounds(0, 1)]``.

    Parameters
    ----------
    low, high : float or None
        Smallest and largest allowed value; None where there is no bound.
    """

    low: float | None = None
    high: float | None = None


#: the method of a class that takes the options; elsewhere it is ``__init__``
OPTIONS_OF = {"renderers": "render", "readers": "read", "rankers": "rank"}


def _check_group(group: str) -> None:
    if group not in GROUPS:
        raise unknown("plug-in group", group, GROUPS)


@lru_cache(maxsize=16)
def _installed(group: str, find: Any, _path: tuple[str, ...]) -> tuple[EntryPoint, ...]:
    """Read the metadata of all distributions once: it takes 15 ms each time."""
    return tuple(sorted(find(group=group), key=lambda p: (p.name, p.value)))


def entries(group: str) -> list[PluginEntry]:
    """List what a group has, built-ins first, each kind by name.

    Parameters
    ----------
    group : {"readers", "thresholds", "rankers", "renderers"}
        Which kind.

    Returns
    -------
    list of PluginEntry
        Nothing is imported.
    """
    _check_group(group)
    found = [PluginEntry(group, n, r, "geochem") for n, r in BUILT_IN[group].items()]
    if _sealed:
        return found
    taken = {e.name: e for e in found}
    for point in _installed(f"geochem.{group}", entry_points, tuple(sys.path)):
        who = point.dist.name if point.dist is not None else "an unknown distribution"
        if point.name in taken:
            warnings.warn(
                f"the plug-in '{point.name}' of {who} is left aside: "
                f"{taken[point.name].distribution} already brings that name in {group}.",
                stacklevel=2,
            )
            continue
        entry = PluginEntry(group, point.name, point.value, who)
        taken[point.name] = entry
        found.append(entry)
    return found


def names(group: str) -> list[str]:
    """List the names in a group.

    Parameters
    ----------
    group : str
        As in `entries`.

    Returns
    -------
    list of str
        Built-ins first.
    """
    return [e.name for e in entries(group)]


def load(group: str, name: str) -> Any:
    """Load one method.

    Parameters
    ----------
    group, name : str
        For example ``"thresholds", "median_mad"``.

    Returns
    -------
    type
        The class.

    Raises
    ------
    WrongCall
        If there is no such name, or a plug-in cannot be imported.

    Examples
    --------
    >>> load("thresholds", "median_mad").__name__
    'MedianMad'
    """
    entry = next((e for e in entries(group) if e.name == name), None)
    if entry is None:
        raise unknown(f"name in {group}", name, names(group))
    try:
        return EntryPoint(name, entry.reference, f"geochem.{group}").load()
    except Exception as error:
        if entry.distribution == "geochem":
            raise
        raise WrongCall(
            f"the plug-in '{name}' of {entry.distribution} cannot be loaded ({error}); "
            f"mend or uninstall that package, or choose another of: {', '.join(names(group))}."
        ) from error


def options_of(method: Any, function: str | None = None) -> list[Option]:
    """Read the options of a method from its signature.

    Parameters
    ----------
    method : type
        A class; its ``__init__`` is read, or the keyword-only arguments of `function`.
    function : str, optional
        Name of a method, for example ``"render"``.

    Returns
    -------
    list of Option
        In the order of the signature.

    Raises
    ------
    WrongCall
        If an option is not typed as bool, int, float, str, Literal or a list of these.
    """
    if function is None and method.__init__ is object.__init__:
        return []
    target = method.__init__ if function is None else getattr(method, function)
    return _options(target, method.__name__, keyword_only=function is not None)


def options_of_function(function: Any) -> list[Option]:
    """Read the options of a function: its keyword-only arguments.

    Parameters
    ----------
    function : callable
        With typed keyword-only arguments.

    Returns
    -------
    list of Option
        In the order of the signature.

    Raises
    ------
    WrongCall
        As `options_of`.
    """
    return _options(function, function.__name__, keyword_only=True)


def _options(target: Any, owner: str, *, keyword_only: bool) -> list[Option]:
    names_known = getattr(target, "__globals__", {})
    found = []
    for parameter in inspect.signature(target).parameters.values():
        if parameter.kind in (parameter.VAR_KEYWORD, parameter.VAR_POSITIONAL):
            raise WrongCall(f"{owner} takes *args or **kwargs; an option must be a named keyword.")
        if parameter.name == "self" or (
            keyword_only and parameter.kind is not parameter.KEYWORD_ONLY
        ):
            continue
        # one annotation at a time: those of other arguments may name types that are imported
        # for the type checker only
        one = SimpleNamespace(__annotations__={parameter.name: parameter.annotation})
        hints = typing.get_type_hints(one, globalns=names_known, include_extras=True)
        option = Option(parameter.name, "", parameter.default)
        found.append(_with_kind(option, hints[parameter.name], owner))
    return found


def _with_kind(option: Option, hint: Any, owner: str) -> Option:
    """Fill in what an annotation says of an option."""
    origin = typing.get_origin(hint)
    if origin is typing.Annotated:
        inner, *notes = typing.get_args(hint)
        for note in notes:
            if isinstance(note, Bounds):
                option = replace(option, low=note.low, high=note.high)
        return _with_kind(option, inner, owner)
    if origin in (typing.Union, UnionType):
        left = [a for a in typing.get_args(hint) if a is not NoneType]
        if len(left) == 1:
            return _with_kind(replace(option, optional=True), left[0], owner)
    if origin is Literal:
        return replace(option, kind="choice", choices=typing.get_args(hint))
    if hint in (bool, int, float, str):
        return replace(option, kind=hint.__name__)
    if origin in (list, tuple) or str(origin) == "<class 'collections.abc.Sequence'>":
        one = _with_kind(option, typing.get_args(hint)[0], owner)
        return replace(one, kind=f"list of {one.kind}")
    raise WrongCall(
        f"the option '{option.name}' of {owner} is typed {hint!r}; "
        "allowed are bool, int, float, str, Literal and lists of these."
    )


def make(group: str, name: str, options: Mapping[str, Any] | None = None) -> Any:
    """Load a method and make it with checked options.

    Parameters
    ----------
    group, name : str
        As in `load`.
    options : mapping, optional
        Keyword options.

    Returns
    -------
    object
        The ready method.

    Raises
    ------
    WrongCall
        If an option is unknown or has the wrong kind.
    """
    method = load(group, name)
    return method(**check_options(name, options_of(method), options or {}))


def check_options(name: str, known: list[Option], options: Mapping[str, Any]) -> dict[str, Any]:
    """Check options against what a method knows.

    Parameters
    ----------
    name : str
        Of the method, for the message.
    known : list of Option
        From `options_of`.
    options : mapping
        As given.

    Returns
    -------
    dict
        The same options, whole numbers made float where a float is asked for.

    Raises
    ------
    WrongCall
        With what came, what is allowed and the nearest name.
    """
    by_name = {o.name: o for o in known}
    checked: dict[str, Any] = {}
    for key, value in options.items():
        if key not in by_name:
            allowed = ", ".join(by_name) or "none"
            raise WrongCall(
                f"'{name}' has no option '{key}'; options: {allowed}.{nearest(key, by_name)}"
            )
        checked[key] = _check_value(name, by_name[key], value)
    return checked


def _check_value(name: str, option: Option, value: Any) -> Any:
    if value is None and option.optional:
        return None
    kind = option.kind
    if kind.startswith("list of "):
        if not isinstance(value, list | tuple):
            raise WrongCall(f"option '{option.name}' of '{name}' must be a list, got {value!r}.")
        one = replace(option, kind=kind[8:], optional=False)
        return [_check_value(name, one, v) for v in value]
    if kind == "choice":
        if value not in option.choices:
            raise unknown(f"value of option '{option.name}'", str(value), map(str, option.choices))
        return value
    fits = {
        "bool": isinstance(value, bool),
        "int": isinstance(value, int) and not isinstance(value, bool),
        "float": isinstance(value, int | float) and not isinstance(value, bool),
        "str": isinstance(value, str),
    }[kind]
    if not fits:
        raise WrongCall(f"option '{option.name}' of '{name}' must be {kind}, got {value!r}.")
    for bound, words, outside in (
        (option.low, "at least", lambda low: value < low),
        (option.high, "at most", lambda high: value > high),
    ):
        if bound is not None and kind in ("int", "float") and outside(bound):
            raise WrongCall(
                f"option '{option.name}' of '{name}' must be {words} {bound:g}, got {value!r}."
            )
    return float(value) if kind == "float" else value
