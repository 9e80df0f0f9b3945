"""Which method, with which options: from a name, a ready object, or the campaign's defaults."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.background.chosen import Chosen
from geochem.background.guideline import NAME as GUIDELINE
from geochem.background.guideline import Guideline, guideline_for
from geochem.errors import WrongCall
from geochem.model.finding import Finding

if TYPE_CHECKING:
    from geochem.model.threshold import Threshold

#: k of the rows of a table when nothing is said: possible and probable
POSSIBLE, PROBABLE = 2.0, 3.0


def choose(method: Any, options: Mapping[str, Any] | None = None) -> list[Any]:
    """Make the method objects that a table is made with.

    Parameters
    ----------
    method : str or object
        A name that the registry knows, or a ready method such as ``MedianMad(k=3)``.
    options : mapping, optional
        Options of a named method. None: the campaign's defaults, that is log10 where the method
        offers it, and k = 2 (possible) and k = 3 (probable) for median + k MAD.

    Returns
    -------
    list of objects with `fit`
        One, or two for the defaults of median + k MAD.

    Raises
    ------
    WrongCall
        If the name or an option is unknown, or options came with a ready object.
    """
    from geochem import plugins

    if not isinstance(method, str):
        if isinstance(method, type) or not hasattr(method, "fit"):
            raise WrongCall(
                f"method must be a name or a ready object such as MedianMad(k=3), got {method!r}."
            )
        if options:
            raise WrongCall(
                f"options {dict(options)!r} came with a ready object; set them when it is made."
            )
        return [method]
    if options is not None:
        return [plugins.make("thresholds", method, dict(options))]
    names = {o.name for o in plugins.options_of(plugins.load("thresholds", method))}
    defaults: dict[str, Any] = {"log": True} if "log" in names else {}
    if method == "median_mad":
        return [
            plugins.make("thresholds", method, {**defaults, "k": k}) for k in (POSSIBLE, PROBABLE)
        ]
    return [plugins.make("thresholds", method, defaults)]


def with_campaign_log(method: Any, options: Mapping[str, Any] | None) -> Mapping[str, Any] | None:
    """Keep the campaign's log10 when options are given that do not speak of it.

    Parameters
    ----------
    method : str or object
        As in `choose`.
    options : mapping, optional
        As in `choose`.

    Returns
    -------
    mapping or None
        `options`, with ``log = True`` added where the method offers it and nothing else is said.
    """
    from geochem import plugins

    if options is None or not isinstance(method, str) or "log" in options:
        return options
    names = {o.name for o in plugins.options_of(plugins.load("thresholds", method))}
    return {"log": True, **options} if "log" in names else options


def k_of(record: Threshold) -> float:
    """Give the k of a threshold, NaN where the method has none or another was used instead.

    Parameters
    ----------
    record : Threshold
        As fitted.

    Returns
    -------
    float
        k. [-]
    """
    k = record.parameters.get("k")
    return float(k) if isinstance(k, int | float) else float("nan")


@dataclass(frozen=True, slots=True)
class OwnChoice:
    """What the user says about the threshold of one element.

    Parameters
    ----------
    element : str
        Symbol.
    value : float or None
        The threshold itself, before any method. [mg/kg]
    method : str, object or None
        Another method than the campaign's.
    options : mapping or None
        Its options, or those of the campaign's method.
    reason : str
        Why; recorded.
    on : tuple of str
        Predictors of a regression that is taken off first.
    window : int
        Samples of a moving median that is taken off first; 0 for none.
    values : mapping of str to float
        The threshold itself by medium; stands before `value`. [mg/kg]
    """

    element: str
    value: float | None = None
    method: Any = None
    options: Mapping[str, Any] | None = None
    reason: str = ""
    on: tuple[str, ...] = ()
    window: int = 0
    values: Mapping[str, float] = field(default_factory=dict)

    def for_medium(self, medium: str) -> OwnChoice | None:
        """Give what holds in one medium; None when nothing is said about it."""
        if medium in self.values:
            return replace(self, value=self.values[medium], values={})
        if self.value is None and not (self.method or self.options or self.on or self.window):
            return None
        return replace(self, values={})

    def words(self, base: Threshold) -> str:
        """Say for the table what was chosen, and what median + 2 MAD would have been."""
        if self.value is not None:
            if base.method != "median_mad" or not np.isfinite(base.value):
                return ""
            return f"Median + 2 MAD of log10 values would be {base.value:.3g} mg/kg."
        return f"Chosen by the user: {self.reason.rstrip('.')}." if self.reason else ""


def own_choice(element: str, given: Mapping[str, Any]) -> OwnChoice:
    """Check what is said about one element.

    Parameters
    ----------
    element : str
        Symbol.
    given : mapping
        Keys ``value``, ``method``, ``options``, ``on``, ``window``, ``reason``; empty ones count
        as not given.

    Returns
    -------
    OwnChoice
        Checked.

    Raises
    ------
    WrongCall
        If a key is unknown, the value is not a positive number, or nothing is chosen.
    """
    possible = ("value", "values", "method", "options", "on", "window", "reason")
    odd = sorted(set(given) - set(possible))
    if odd:
        raise WrongCall(
            f"background.element.{element} has unknown keys {', '.join(odd)}; "
            f"possible: {', '.join(possible)}."
        )
    value, method, options = given.get("value"), given.get("method"), given.get("options")
    values = dict(given.get("values") or {})
    for one in ([] if value is None else [value]) + list(values.values()):
        if isinstance(one, bool) or not isinstance(one, int | float) or not 0 < one < np.inf:
            raise WrongCall(
                f"background.element.{element} value must be a positive number of mg/kg, got {one!r}."
            )
    on, window = given.get("on") or (), given.get("window") or 0
    if value is None and not values and not method and not options and not on and not window:
        raise WrongCall(
            f"background.element.{element} chooses nothing; give a value [mg/kg], a method, "
            "options, 'on' or 'window'."
        )
    if on and window:
        raise WrongCall(
            f"background.element.{element}: give 'on' (regression) or 'window' (moving median), not "
            "both."
        )
    if (on or window) and not str(given.get("reason") or "").strip():
        raise WrongCall(
            f"background.element.{element}: a background that follows other values can take an "
            "anomaly away; give the 'reason' for it."
        )
    return OwnChoice(
        element, None if value is None else float(value), method or None, options or None,
        str(given.get("reason") or "").strip(), tuple([on] if isinstance(on, str) else on),
        int(window), {m: float(v) for m, v in values.items()},
    )  # fmt: skip


def methods_for(
    method: Any,
    options: Mapping[str, Any] | None,
    own: OwnChoice | None = None,
    guidelines: Mapping[str, Guideline] | None = None,
) -> list[Any]:
    """Make the methods of one element: the chosen value, its own method, or the campaign's.

    Parameters
    ----------
    method, options : as in `choose`
        Of the campaign.
    own : OwnChoice, optional
        Of the element.
    guidelines : mapping of str to Guideline, optional
        For the method ``guideline``.

    Returns
    -------
    list of objects with `fit`
        One or more.
    """
    if own is not None:
        if own.value is not None:
            return [Chosen(own.value, own.reason)]
        if own.method == GUIDELINE:
            return [guideline_for(own.element, guidelines)]
        if own.method is not None and own.method != method:
            method, options = own.method, None
        options = options if own.options is None else own.options
    return choose(method, with_campaign_log(method, options))


def choice_findings(
    choices: Mapping[str, OwnChoice], media: Collection[str] = ()
) -> list[Finding]:
    """Record the thresholds that a person set.

    Parameters
    ----------
    choices : mapping of str to OwnChoice
        By element.
    media : collection of str
        That the samples have.

    Returns
    -------
    list of Finding
        One per chosen value: a note with the reason, a warning without; one per medium that was
        chosen for and that no sample has.
    """
    findings = []
    for element in sorted(choices):
        own = choices[element]
        said = [] if own.value is None else [f"{own.value:g} mg/kg"]
        said += [f"{v:g} mg/kg in {m}" for m, v in own.values.items()]
        if not said:
            continue
        unknown = sorted(set(own.values) - set(media))
        if unknown:
            findings.append(
                Finding(
                    "threshold-medium-unknown", "warning",
                    f"{element}: a threshold was chosen for {', '.join(unknown)}, which no sample is; "
                    f"the samples are {', '.join(sorted(media)) or 'of no medium'}. It has no effect.",
                    element=element,
                )
            )  # fmt: skip
        text = f"{element}: the threshold {', '.join(said)} was chosen by the user"
        if own.reason:
            findings.append(
                Finding(
                    "threshold-chosen", "note", f"{text}: {own.reason.rstrip('.')}.",
                    element=element,
                )
            )  # fmt: skip
        else:
            findings.append(
                Finding(
                    "threshold-chosen", "warning",
                    f"{text} without a reason; write one beside it, readers will ask.",
                    element=element,
                )
            )  # fmt: skip
    return findings
