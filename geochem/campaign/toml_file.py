"""A TOML file of the user as plain values, its faults as sentences."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from geochem.errors import WrongCall

#: no campaign file is as long as this [bytes]
_LONGEST = 5_000_000
#: tables and lists inside one another; the deepest key of a campaign file stands at four
_DEEPEST = 20


def read_toml(path: Path) -> dict[str, Any]:
    """Read a campaign or decisions file.

    Parameters
    ----------
    path : Path
        The file; it exists.

    Returns
    -------
    dict
        Plain values.

    Raises
    ------
    WrongCall
        If it is too long or nested too deeply, not UTF-8, or not valid TOML.
    """
    if path.stat().st_size > _LONGEST:
        raise WrongCall(
            f"{path.name} has {path.stat().st_size / 1e6:.0f} MB; it is some other file."
        )
    try:
        content = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise WrongCall(f"{path.name} is not UTF-8 text; save it as UTF-8.") from None
    except RecursionError:
        raise _too_deep(path) from None
    except ValueError as error:  # TOML faults, and numbers and dates that are none
        raise WrongCall(
            f"{path.name} is not valid TOML: {str(error)[:200]}. Texts stand in quotes; on Windows "
            "write paths with / or in single quotes."
        ) from None
    level: list[Any] = [content]
    for _ in range(_DEEPEST):
        level = [
            value
            for outer in level
            for value in (outer.values() if isinstance(outer, dict) else outer)
            if isinstance(value, dict | list)
        ]
    if level:
        raise _too_deep(path)
    return content


def _too_deep(path: Path) -> WrongCall:
    return WrongCall(
        f"{path.name} nests brackets or tables too deeply; a list stands in one pair of brackets."
    )
