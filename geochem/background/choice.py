"""Which method, with which options: from a name, a ready object, or the campaign's defaults."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from geochem.errors import WrongCall

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
