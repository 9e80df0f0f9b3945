"""The methods that a campaign file asks for, and their options: checked before a long run."""

from __future__ import annotations

from typing import Any

from geochem.campaign.settings import Settings
from geochem.errors import WrongCall


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
        If a method is unknown or refuses an option, or a file that an option names is not there.
    """
    from geochem import plugins
    from geochem.background.guideline import NAME as GUIDELINE
    from geochem.surfaces.options import surface_options

    background = settings.table("background")
    wanted = [("thresholds", background["method"], background["options"])]
    wanted += [
        ("thresholds", given["method"] or background["method"], given["options"])
        for given in background["element"].values()
        if given["value"] is None and given["method"] != GUIDELINE
    ]
    for group, name, options in wanted:
        plugins.make(group, name, options)
    plugins.load("rankers", settings.table("targets")["ranker"])
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


def _with_files(settings: Settings, name: str, options: dict[str, Any]) -> dict[str, Any]:
    """Resolve options that name a file, which by rule end in ``_file``, beside the campaign file."""
    resolved = dict(options)
    for key, value in options.items():
        if key.endswith("_file") and value:
            path = settings.resolve(value)
            if not path.is_file():
                raise WrongCall(f"[outputs.options.{name}] {key}: there is no file {path}.")
            resolved[key] = str(path)
    return resolved
