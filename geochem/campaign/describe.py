"""Descriptions for other programs: options as JSON Schema, operations as OGC process descriptions.

Everything comes from the signatures and docstrings of the functions that do the work, so that a
form made from a description asks for what the function takes. The process descriptions follow OGC
API - Processes - Part 1: Core 1.0 (OGC 18-062r2), clause 7.10, with inputs in the JSON Schema
subset of its OpenAPI definition.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from geochem import plugins
from geochem.version import __version__

if TYPE_CHECKING:
    from geochem.campaign.operations import Operation
    from geochem.plugins import Option

_TYPES = {"bool": "boolean", "int": "integer", "float": "number", "str": "string"}


def option_schema(option: Option, words: str = "") -> dict[str, Any]:
    """Describe one option as JSON Schema.

    Parameters
    ----------
    option : Option
        From the signature.
    words : str, optional
        What it means, for people.

    Returns
    -------
    dict
        A schema of one value. An option that may be left out has no null: leave it out.

    Examples
    --------
    >>> from geochem.plugins import Option
    >>> option_schema(Option("k", "float", 2.0, low=0.0))
    {'type': 'number', 'minimum': 0.0, 'default': 2.0}
    """
    if option.kind.startswith("list of "):
        inner = replace(option, kind=option.kind[8:], default=inspect.Parameter.empty)
        schema: dict[str, Any] = {"type": "array", "items": option_schema(inner)}
    elif option.kind == "choice":
        kind = type(option.choices[0]).__name__
        schema = {"type": _TYPES.get(kind, "string"), "enum": list(option.choices)}
    else:
        schema = {"type": _TYPES[option.kind]}
        if option.low is not None:
            schema["minimum"] = option.low
        if option.high is not None:
            schema["maximum"] = option.high
    if option.default is not inspect.Parameter.empty and option.default is not None:
        schema["default"] = _plain(option.default)
    if words:
        schema["description"] = words
    return schema


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def options_schema(title: str, options: Sequence[Option], words: dict[str, str]) -> dict[str, Any]:
    """Describe all options of a method as one JSON Schema (draft 2020-12).

    Parameters
    ----------
    title : str
        Name of the method.
    options : sequence of Option
        From its signature.
    words : dict of str to str
        Their meanings, from `documented`.

    Returns
    -------
    dict
        Of an object that has no other keys.
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": title,
        "type": "object",
        "properties": {o.name: option_schema(o, words.get(o.name, "")) for o in options},
        "required": [o.name for o in options if o.required],
        "additionalProperties": False,
    }


def documented(doc: str | None) -> tuple[str, dict[str, str]]:
    """Take the summary and the meanings of parameters out of a numpy docstring.

    Parameters
    ----------
    doc : str or None
        The docstring.

    Returns
    -------
    summary : str
        First line.
    meanings : dict of str to str
        By parameter.

    Examples
    --------
    >>> documented('''Do it.
    ...
    ... Parameters
    ... ----------
    ... a, b : float
    ...     How much. [m]
    ... ''')
    ('Do it.', {'a': 'How much. [m]', 'b': 'How much. [m]'})
    """
    text = inspect.cleandoc(doc or "")
    summary = text.split("\n\n", 1)[0].replace("\n", " ")
    section = re.search(r"^Parameters\n-+\n(.*?)(?=^\S[^\n]*\n-{3,}$|\Z)", text, re.M | re.S)
    meanings: dict[str, str] = {}
    names: list[str] = []
    for line in section.group(1).splitlines() if section else []:
        if line and not line.startswith(" "):
            names = [n.strip() for n in line.partition(" :")[0].split(",")]
        elif line.strip():
            for name in names:
                meanings[name] = f"{meanings.get(name, '')} {line.strip()}".strip()
    return summary, meanings


def method_schema(group: str, method: Any) -> dict[str, Any]:
    """Describe the options of a method or plug-in.

    Parameters
    ----------
    group : str
        Its group.
    method : type
        Its class.

    Returns
    -------
    dict
        JSON Schema.
    """
    function = plugins.OPTIONS_OF.get(group)
    doc = method.__doc__ if function is None else getattr(method, function).__doc__
    options = plugins.options_of(method, function)
    return options_schema(method.name, options, documented(doc)[1])


def process_description(operation: Operation) -> dict[str, Any]:
    """Describe an operation on a layer as an OGC API - Processes process.

    Parameters
    ----------
    operation : Operation
        One of `operations.ON_LAYERS`.

    Returns
    -------
    dict
        A process description.
    """
    words: dict[str, str] = {}
    for function in operation.functions():
        words.update(documented(function.__doc__)[1])
    raster = operation.outputs == ("raster",)
    inputs: dict[str, Any] = {
        "layer": {
            "title": "Layer of points",
            "description": "A local vector file that GDAL reads, one feature per sample.",
            "minOccurs": 1,
            "maxOccurs": 1,
            "schema": {
                "oneOf": [
                    {"type": "string", "contentMediaType": "application/geopackage+sqlite3",
                     "contentEncoding": "binary"},
                    {"type": "string", "contentMediaType": "application/geo+json"},
                ]
            },
        }
    }  # fmt: skip
    for option in operation.options():
        inputs[option.name] = {
            "title": option.name.replace("_", " "),
            "description": words.get(option.name, ""),
            "minOccurs": int(option.required),
            "maxOccurs": 1,
            "schema": option_schema(option),
        }
    grid = {"type": "string", "contentMediaType": "image/tiff; application=geotiff",
            "contentEncoding": "binary"}  # fmt: skip
    layer = {"type": "string", "contentMediaType": "application/geopackage+sqlite3",
             "contentEncoding": "binary"}  # fmt: skip
    return {
        "id": operation.name,
        "title": operation.title,
        "description": documented(operation.load().__doc__)[0],
        "version": __version__,
        "jobControlOptions": ["sync-execute"],
        "outputTransmission": ["reference"],
        "inputs": inputs,
        "outputs": {
            "out": {
                "title": "Grid" if raster else "Layer",
                "description": "What the operation gives.",
                "schema": grid if raster else layer,
            },
            "style": {
                "title": "Style",
                "description": "OGC Styled Layer Descriptor 1.0.0 beside it.",
                "schema": {"type": "string", "contentMediaType": "application/vnd.ogc.sld+xml"},
            },
        },
    }


def describe() -> dict[str, Any]:
    """Describe everything: the operations on layers, and the methods with their options.

    Returns
    -------
    dict
        ``processes``: process descriptions; ``methods``: JSON Schema by group and name. A plug-in
        that cannot be loaded is left out.
    """
    from geochem.campaign.operations import ON_LAYERS

    methods: dict[str, dict[str, Any]] = {}
    for group in plugins.GROUPS:
        methods[group] = {}
        for entry in plugins.entries(group):
            try:
                method = plugins.load(group, entry.name)
                methods[group][entry.name] = method_schema(group, method)
            except Exception:  # a broken plug-in is named by `geochem plugins`
                continue
    return {"processes": [process_description(o) for o in ON_LAYERS], "methods": methods}
