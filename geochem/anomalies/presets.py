"""The associations that compete when none is named: those of the package, or the user's own file.

What lives here: reading `associations.toml` and files of its form. What does not: who competes in
a campaign (`associations`).
To add a preset: a table in `associations.toml`. Test to copy: `tests/anomalies/test_presets.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeGuard

import numpy as np

from geochem.elements import SYMBOLS, element_rank
from geochem.errors import DataRefused, GeochemError, WrongCall, nearest, unknown
from geochem.model.evidence import Association

#: keys of one association; it needs a name and weights
KEYS = ("name", "title", "commodities", "weights", "rim", "size_km2", "source")


@dataclass(frozen=True, slots=True)
class Preset:
    """One row of the data file.

    Parameters
    ----------
    association : Association
        Name, title, weights, source; nothing is known yet about what was measured.
    commodities : tuple of str
        Elements one would mine.
    """

    association: Association
    commodities: tuple[str, ...]


def presets_text() -> str:
    """Give the file of presets that comes with the package, to be copied and edited.

    Examples
    --------
    >>> "[[association]]" in presets_text()
    True
    """
    from importlib.resources import files

    return (files("geochem.anomalies") / "associations.toml").read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def presets() -> tuple[Preset, ...]:
    """Read the presets that come with the package.

    Returns
    -------
    tuple of Preset
        In the order of the file.

    Examples
    --------
    >>> presets()[0].association.name
    'porphyry_copper'
    """
    return _parsed(presets_text(), "associations.toml")


def read_presets(path: str | Path) -> tuple[Preset, ...]:
    """Read a file of associations that takes the place of the presets.

    Parameters
    ----------
    path : str or Path
        TOML with one ``[[association]]`` per kind of deposit: ``name`` and signed ``weights`` per
        element, and if known ``title``, ``commodities`` (elements one would mine; default: those
        of positive weight), ``rim`` (elements around the middle), ``size_km2`` (least and most)
        and ``source``.

    Returns
    -------
    tuple of Preset
        In the order of the file.

    Raises
    ------
    DataRefused
        With one sentence per fault: the file is not there or no TOML, it holds no association, a
        key is missing or unknown, a name comes twice, a weight is no number but zero, a symbol is
        unknown.
    """
    path = Path(path)
    if not path.is_file():
        raise DataRefused(f"{path.name}: the file of associations is not there ({path}).")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as fault:
        raise DataRefused(
            f"{path.name} is no text in UTF-8 (byte {fault.start}); save it as UTF-8."
        ) from fault
    return _parsed(text, path.name)


def _parsed(text: str, file: str) -> tuple[Preset, ...]:
    import tomllib

    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise DataRefused(f"{file} is no valid TOML: {fault}.") from fault
    rows = given.get("association")
    if not isinstance(rows, list) or not rows or not all(isinstance(r, dict) for r in rows):
        raise DataRefused(
            f"{file} holds no association; write one table [[association]] with 'name' and "
            "'weights' per kind of deposit."
        )
    faults = [
        f"{file}: unknown table or key '{key}'; possible: association.{nearest(key, KEYS)}"
        for key in given if key != "association"
    ]  # fmt: skip
    made: dict[str, Preset] = {}
    for number, row in enumerate(rows, 1):
        try:
            preset = _preset(row)
        except GeochemError as fault:
            faults.append(f"{file}: association {number}: {fault}")
            continue
        name = preset.association.name
        if name in made:
            faults.append(f"{file}: association {number}: the name '{name}' comes twice; use two.")
        made[name] = preset
    if faults:
        raise DataRefused(faults)
    return tuple(made.values())


def _preset(row: Mapping[str, Any]) -> Preset:
    for key in row:
        if key not in KEYS:
            raise unknown("key", key, KEYS)
    name = row.get("name")
    if not isinstance(name, str) or not name.replace("_", "").isalnum() or not name.isascii():
        raise WrongCall(
            f"'name' is {name!r}; it becomes a column: letters, digits and _ in quotes, like "
            '"skarn_copper".'
        )
    weights = row.get("weights")
    if not isinstance(weights, Mapping) or not weights:
        raise WrongCall(f"'{name}' needs 'weights', like {{ Cu = 1.0, Mo = 0.8, Mn = -0.3 }}.")
    checked = checked_weights(weights)
    mined = _elements(row, "commodities", name, [e for e, w in checked.items() if w > 0])
    rim = _elements(row, "rim", name, [])
    title, source = row.get("title", name.replace("_", " ")), row.get("source", "the user's file")
    if not isinstance(title, str) or not isinstance(source, str):
        raise WrongCall(f"'title' and 'source' of '{name}' must be texts in quotes.")
    size = row.get("size_km2")
    if size is not None:
        pair = isinstance(size, list) and len(size) == 2
        if not pair or not all(_number(v) and v > 0 for v in size) or size[0] > size[1]:
            raise WrongCall(
                f"'size_km2' of '{name}' is {size!r}; give the least and the most usual size, like "
                "[0.05, 5.0]."
            )
        size = (float(size[0]), float(size[1]))
    return Preset(Association(name, title, checked, source=source, rim=rim, size_km2=size), mined)


def _number(value: object) -> TypeGuard[float]:
    """Say whether it is a finite number: a file may hold anything, and true is none."""
    return (
        isinstance(value, int | float) and not isinstance(value, bool) and bool(np.isfinite(value))
    )


def _elements(row: Mapping[str, Any], key: str, name: str, default: list[str]) -> tuple[str, ...]:
    given = row.get(key, default)
    if not isinstance(given, list) or not all(isinstance(e, str) for e in given):
        raise WrongCall(f"'{key}' of '{name}' must be a list like [\"Cu\", \"Au\"].")
    for element in given:
        if element not in SYMBOLS:
            raise unknown(f"element in '{key}' of '{name}'", element, SYMBOLS)
    return tuple(given)


def checked_weights(given: Mapping[str, float]) -> dict[str, float]:
    """Check signed weights.

    Parameters
    ----------
    given : mapping of str to float
        As a file or a caller gave them.

    Returns
    -------
    dict of str to float
        By atomic number.

    Raises
    ------
    WrongCall
        If an element is not known, or a weight is no number or zero.

    Examples
    --------
    >>> checked_weights({"Zn": 1, "Cu": 0.5})
    {'Cu': 0.5, 'Zn': 1.0}
    """
    for element, weight in given.items():
        if element not in SYMBOLS:
            raise unknown("element in the association", element, SYMBOLS)
        if not _number(weight) or weight == 0:
            raise WrongCall(
                f"the weight of {element} in the association is {weight!r}; give a number that is "
                "not zero (negative where depletion counts), or leave the element out."
            )
    return {e: float(given[e]) for e in sorted(given, key=element_rank)}
