"""Keys of the campaign file that ask for something in numbers of their own.

What lives here: their checks, and what the steps are given. What does not: kinds and defaults of
keys (`keys.py`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from geochem.errors import WrongCall

if TYPE_CHECKING:
    from geochem.anomalies.clusters import Way
    from geochem.anomalies.presets import Preset
    from geochem.campaign.settings import Settings


def grouping(table: Mapping[str, Any]) -> Way:
    """Read how anomalous samples are grouped.

    Parameters
    ----------
    table : mapping
        [anomalies], with ``grouping`` and ``options``.

    Returns
    -------
    Way
        Checked.

    Raises
    ------
    WrongCall
        If an option is not known or no number of its kind.
    """
    from geochem.anomalies.clusters import Way

    known: dict[str, Any] = {"most": int, "smallest": int, "contiguity": (int, float)}
    wrong = [
        k
        for k, v in table["options"].items()
        if k not in known or isinstance(v, bool) or not isinstance(v, known[k])
    ]
    if wrong:
        raise WrongCall(
            f"[anomalies] options has {', '.join(map(repr, wrong))}; it takes whole numbers most "
            "and smallest, and contiguity between 0 and 1."
        )
    return Way(table["grouping"], **table["options"])


def own_presets(settings: Settings) -> tuple[Preset, ...] | None:
    """Read the associations that the user puts in the place of the presets.

    Parameters
    ----------
    settings : Settings
        With ``targets.presets``.

    Returns
    -------
    tuple of Preset or None
        None when the campaign names no file.

    Raises
    ------
    DataRefused
        If the file is not there or faulty.
    """
    from geochem.anomalies.presets import read_presets
    from geochem.read.source_file import check_local

    text = settings.table("targets")["presets"]
    if not text:
        return None
    path = settings.resolve(text)
    check_local(path)
    return read_presets(path)


def budget(follow_up: Mapping[str, float], points_per_day: int) -> int | None:
    """Turn the samples and days that [targets] follow_up allows into samples.

    Parameters
    ----------
    follow_up : mapping of str to float
        ``samples``, ``days``, both or neither.
    points_per_day : int
        Of [planning].

    Returns
    -------
    int or None
        The smaller of the two; None without either.

    Raises
    ------
    WrongCall
        If there is another key, or a number below zero.

    Examples
    --------
    >>> budget({"samples": 100, "days": 2}, 40), budget({}, 40)
    (80, None)
    """
    unknown = sorted(set(follow_up) - {"samples", "days"})
    negative = [k for k, v in follow_up.items() if not v >= 0]
    if unknown or negative:
        raise WrongCall(
            f"[targets] follow_up has {', '.join(unknown or negative)}; it takes samples and "
            "days, each 0 or more."
        )
    limits = [follow_up["samples"]] if "samples" in follow_up else []
    if "days" in follow_up:
        limits.append(follow_up["days"] * points_per_day)
    return int(min(limits)) if limits else None
