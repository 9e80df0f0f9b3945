"""The methods that a campaign file asks for, and their options: checked before a long run."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import Any

from geochem.campaign import asked
from geochem.campaign.settings import Settings
from geochem.errors import DataRefused, WrongCall


def check_methods(settings: Settings) -> list[tuple[str, Any, dict[str, Any]]]:
    """Check every method and option of the campaign file before a long run.

    Parameters
    ----------
    settings : Settings
        The campaign.

    Returns
    -------
    list of (str, renderer, dict)
        What is written: name, the renderer, its options.

    Raises
    ------
    WrongCall
        If a method or association is unknown or refuses an option, or a file that an option names
        is not there.
    DataRefused
        If the user's file of associations is faulty.
    """
    from geochem import plugins
    from geochem.anomalies.associations import choose
    from geochem.background.guideline import NAME as GUIDELINE
    from geochem.surfaces.options import surface_options

    background = settings.table("background")
    wanted = [("thresholds", background["method"], background["options"])]
    wanted += [
        ("thresholds", given["method"] or background["method"], given["options"])
        for given in background["element"].values()
        if given["value"] is None and not given["values"] and given["method"] != GUIDELINE
    ]
    for group, name, options in wanted:
        plugins.make(group, name, options)
    targets = settings.table("targets")
    plugins.load("rankers", targets["ranker"])
    choose(targets["seek"], targets["association"], asked.own_presets(settings))
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


def files_of(settings: Settings, methods: list[tuple[str, Any, dict[str, Any]]]) -> list[Path]:
    """List the files that methods read: guidelines, own associations, options of renderers.

    Parameters
    ----------
    settings : Settings
        The campaign.
    methods : list of (str, renderer, dict)
        From `check_methods`.

    Returns
    -------
    list of Path
        Each is there.
    """
    named = [settings.table("background")["guidelines"], settings.table("targets")["presets"]]
    return [settings.resolve(text) for text in named if text] + [
        Path(value)
        for _, _, options in methods
        for key, value in options.items()
        if key.endswith("_file") and value
    ]


def _with_files(settings: Settings, name: str, options: dict[str, Any]) -> dict[str, Any]:
    """Resolve options that name a file, which by rule end in ``_file``, beside the campaign file."""
    resolved = dict(options)
    for key, value in options.items():
        if key.endswith("_file") and value:
            resolved[key] = str(_checked_file(settings.resolve(value), f"{name}] {key}"))
    return resolved


def _checked_file(path: Path, option: str) -> Path:
    """Refuse a file that is not there or elsewhere, or a document that would fill the memory."""
    from geochem.read.source_file import check_local, check_unpacked

    try:
        check_local(path)
        if zipfile.is_zipfile(path):
            check_unpacked(path, "document", "give another one")
    except DataRefused as refusal:
        raise WrongCall(f"[outputs.options.{option}: {refusal}") from refusal
    return path
