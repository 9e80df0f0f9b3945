"""The campaign file: read, checked whole before anything runs, defaults filled in."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from copy import deepcopy
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

from geochem.campaign.decisions import Decisions, lay_over, read_decisions
from geochem.campaign.keys import (
    ELEMENT_BACKGROUND,
    LAYER,
    TABLES,
    TOP,
    Key,
)
from geochem.campaign.toml_file import read_toml
from geochem.elements import SYMBOLS
from geochem.errors import WrongCall, nearest


@dataclass(frozen=True, slots=True, eq=False)
class Settings:
    """A checked campaign file.

    Parameters
    ----------
    path : Path
        The file.
    top : dict
        Keys outside tables (`keys.TOP`), defaults filled in.
    tables : dict
        Every table of `keys.TABLES`, defaults filled in; arrays as lists; ``standards``, ``plan``
        and ``dispatch`` are None when not given.
    layers : dict of str to dict
        ``{"path": Path, "field": str or None}`` by layer name.
    decisions : Decisions, optional
        What was laid over the file; the tables hold it already.
    """

    path: Path
    top: dict[str, Any]
    tables: dict[str, Any]
    layers: dict[str, dict[str, Any]]
    decisions: Decisions | None = None

    @property
    def folder(self) -> Path:
        """Where relative paths start."""
        return self.path.parent

    @property
    def seed(self) -> int:
        """Seed of every random step."""
        return int(self.top["seed"])

    def table(self, name: str) -> dict[str, Any]:
        """Give one table with its defaults."""
        found: dict[str, Any] = self.tables[name]
        return found

    def files(self, paths: str | list[str]) -> list[Path]:
        """Find the files that a path, list or pattern of the campaign file means.

        Parameters
        ----------
        paths : str or list of str
            As given; relative to the campaign file.

        Returns
        -------
        list of Path
            Sorted where they come from a pattern.

        Raises
        ------
        WrongCall
            If a pattern matches nothing or a file does not exist.
        """
        found: list[Path] = []
        for text in [paths] if isinstance(paths, str) else paths:
            if any(mark in text for mark in "*?["):
                hits = _matches(self.folder, text)
                if not hits:
                    raise WrongCall(
                        f"{self.path.name}: no file matches the pattern '{text}' in {self.folder}."
                    )
                found += hits
            else:
                found.append(self.resolve(text))
        return found

    def resolve(self, text: str) -> Path:
        """Give the path that a text of the campaign file means."""
        return (self.folder / text).resolve() if not Path(text).is_absolute() else Path(text)

    def only(self, names: Iterable[str]) -> Settings:
        """Give a view that holds nothing but what a step obeys.

        Parameters
        ----------
        names : iterable of str
            Tables (``"background"``), single keys (``"targets.seek"``), ``"layers"``,
            ``"decisions"``. The working CRS and the seed are always there.

        Returns
        -------
        Settings
            Without the other tables and keys: reading one is an error, so that a step cannot
            obey what the hash of its stage does not know.
        """
        tables: dict[str, Any] = {}
        for name in names:
            table, _, key = name.partition(".")
            found = self.tables.get(table)
            if key and isinstance(found, Mapping):
                tables.setdefault(table, {})[key] = found[key]
            elif table in self.tables:
                tables[table] = found
        top = {key: self.top[key] for key in ("crs", "seed")}
        layers = self.layers if "layers" in names else {}
        return Settings(
            self.path, top, tables, layers, self.decisions if "decisions" in names else None
        )

    def plain(self) -> dict[str, Any]:
        """Give everything as plain values, for `run.json`."""
        return _plain(
            {
                **self.top,
                **{k: v for k, v in self.tables.items() if v is not None},
                "layers": self.layers,
                "decisions": None if self.decisions is None else self.decisions.plain(),
            },
            self.folder,
        )


def _matches(folder: Path, pattern: str) -> list[Path]:
    if Path(pattern).is_absolute():
        anchor = Path(Path(pattern).anchor)
        return sorted(anchor.glob(str(Path(pattern).relative_to(anchor))))
    return sorted(folder.glob(pattern))


def _plain(value: Any, folder: Path) -> Any:
    if isinstance(value, Mapping):
        return {k: _plain(v, folder) for k, v in value.items() if v is not None}
    if isinstance(value, list | tuple):
        return [_plain(v, folder) for v in value]
    if isinstance(value, Path):
        return value.relative_to(folder).as_posix() if value.is_relative_to(folder) else str(value)
    if isinstance(value, date | datetime):
        return value.isoformat()
    return value


def read_campaign(path: str | Path, decisions: str | Path | None = None) -> Settings:
    """Read and check a campaign file.

    Parameters
    ----------
    path : str or Path
        The TOML file, or a folder that holds ``campaign.toml``.
    decisions : str or Path, optional
        A decisions file to lay over it.

    Returns
    -------
    Settings
        Checked, defaults filled in.

    Raises
    ------
    WrongCall
        With every fault of the file, one sentence each.
    """
    path = Path(path)
    if path.is_dir():
        path = path / "campaign.toml"
    if not path.is_file():
        raise WrongCall(
            f"there is no campaign file '{path}'; give the path of a campaign.toml, "
            "or start one with: geochem new DIR"
        )
    raw = read_toml(path)
    settings = check_settings(deepcopy(raw), path.resolve())
    if decisions is None:
        return settings
    decided = read_decisions(decisions)
    merged, findings = lay_over(raw, decided)
    decided = replace(decided, findings=findings)
    return replace(check_settings(merged, path.resolve()), decisions=decided)


def check_settings(raw: Mapping[str, Any], path: Path) -> Settings:
    """Check the content of a campaign file.

    Parameters
    ----------
    raw : mapping
        Parsed TOML.
    path : Path
        Where it stands; relative paths start at its folder.

    Returns
    -------
    Settings
        Checked, defaults filled in.

    Raises
    ------
    WrongCall
        With every fault, one sentence each.
    """
    faults: list[str] = []
    known = [*TOP, *TABLES, "layers"]
    for name in raw:
        if name not in known:
            faults.append(f"unknown key or table '{name}'.{nearest(name, known)}")
    top = _check_keys({k: v for k, v in raw.items() if k in TOP}, TOP, "", faults)
    tables: dict[str, Any] = {}
    for name, table in TABLES.items():
        given = raw.get(name)
        if table.many:
            rows = [given] if isinstance(given, Mapping) else given
            if rows is not None and not (
                isinstance(rows, list) and all(isinstance(r, Mapping) for r in rows)
            ):
                faults.append(f"'{name}' must be a table: write [[{name}]] before its keys.")
                rows = None
            tables[name] = [
                _check_keys(row, table.keys, f"[[{name}]] {i + 1}: ", faults)
                for i, row in enumerate(rows or [])
            ]
        elif given is None and any(k.required for k in table.keys.values()):
            tables[name] = None
        elif given is not None and not isinstance(given, Mapping):
            faults.append(f"'{name}' must be a table: write [{name}] before its keys.")
            tables[name] = None
        else:
            tables[name] = _check_keys(given or {}, table.keys, f"[{name}] ", faults)
    if not tables["samples"]:
        faults.append("there is no [[samples]] table: name at least one field log.")
    _name_assays(tables["assays"], faults)
    _check_elements(tables, faults)
    _check_database(tables["outputs"], faults)
    layers = _check_layers(raw.get("layers", {}), path.parent, faults)
    if faults:
        raise WrongCall("\n".join(f"{path.name}: {fault}" for fault in faults))
    return Settings(path, top, tables, layers)


def _check_database(outputs: Mapping[str, Any] | None, faults: list[str]) -> None:
    """Refuse a password in the campaign file; it would be stored and shared with it."""
    text = (outputs or {}).get("postgis") or ""
    if re.search(r"password\s*=|://[^/@]*:[^/@]*@", text, re.IGNORECASE):
        faults.append(
            "[outputs] 'postgis' must not hold a password: leave it out and put it into the "
            "environment variable GEOCHEM_POSTGIS_PASSWORD."
        )


def _check_keys(
    given: Mapping[str, Any], keys: Mapping[str, Key], where: str, faults: list[str]
) -> dict[str, Any]:
    checked: dict[str, Any] = {}
    for name in given:
        if name not in keys:
            faults.append(
                f"{where}unknown key '{name}'; known: {', '.join(keys)}.{nearest(name, keys)}"
            )
    for name, key in keys.items():
        if name not in given:
            if key.required:
                faults.append(f"{where}'{name}' is missing ({key.meaning}).")
            checked[name] = deepcopy(key.default)
            continue
        value = given[name]
        fits, wanted = _fits(value, key.kind)
        if not fits:
            faults.append(f"{where}'{name}' must be {wanted}, got {value!r} ({key.meaning}).")
            checked[name] = deepcopy(key.default)
            continue
        if key.choices and value not in key.choices:
            faults.append(
                f"{where}'{name}' is {value!r}; allowed: {', '.join(key.choices)}."
                f"{nearest(str(value), key.choices)}"
            )
        if key.kind == "texts" and isinstance(value, str) and name != "path":
            value = [value]
        checked[name] = value
    return checked


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _fits(value: Any, kind: str) -> tuple[bool, str]:
    texts = isinstance(value, list) and all(isinstance(v, str) for v in value)
    table = isinstance(value, Mapping)
    return {
        "text": (isinstance(value, str), "a text in quotes"),
        "whole": (isinstance(value, int) and not isinstance(value, bool), "a whole number"),
        "number": (_is_number(value), "a number"),
        "flag": (isinstance(value, bool), "true or false"),
        "date": (isinstance(value, date), "a date without quotes, like 2026-03-20"),
        "texts": (isinstance(value, str) or texts, "a text or a list of texts"),
        "table": (table, "a table { key = value }"),
        "numbers": (
            table and all(_is_number(v) for v in value.values()),
            "a table of numbers { name = 1.5 }",
        ),
        "text or table": (
            isinstance(value, str) or (table and all(_is_number(v) for v in value.values())),
            "a name in quotes or a table of numbers",
        ),
        "whole or list": (
            isinstance(value, int) or (isinstance(value, list) and all(map(_is_number, value))),
            "a row number or a list of row numbers",
        ),
    }[kind]


def _name_assays(assays: list[dict[str, Any]], faults: list[str]) -> None:
    """Give an assay the name of its source, unless two tables share the source."""
    for number, assay in enumerate(assays, 1):
        if assay["name"]:
            continue
        if sum(a["source"] == assay["source"] for a in assays) > 1:
            faults.append(
                f"[[assays]] {number}: 'name' is missing; it is needed because two tables have "
                f"the source '{assay['source']}'. The same name continues one assay, another name "
                "makes another."
            )
        assay["name"] = assay["source"]
    for name in dict.fromkeys(a["name"] for a in assays):
        if len({a["source"] for a in assays if a["name"] == name}) > 1:
            faults.append(f"[[assays]]: '{name}' stands for two sources; use two names.")


def _check_elements(tables: dict[str, Any], faults: list[str]) -> None:
    lists = [("quality", "key_elements"), ("composition", "elements"), ("surfaces", "elements"),
             ("targets", "seek"), ("anomalies", "elements")]  # fmt: skip
    for table, key in lists:
        for symbol in (tables[table] or {}).get(key) or []:
            _check_symbol(symbol, f"[{table}] '{key}'", faults)
    association = (tables["targets"] or {}).get("association")
    if isinstance(association, Mapping):
        for symbol in association:
            _check_symbol(symbol, "[targets] 'association'", faults)
    background = tables["background"] or {}
    for symbol, given in (background.get("element") or {}).items():
        _check_symbol(symbol, "[background.element]", faults)
        if not isinstance(given, Mapping):
            faults.append(f"[background.element.{symbol}] must be a table.")
            continue
        background["element"][symbol] = _check_keys(
            given, ELEMENT_BACKGROUND, f"[background.element.{symbol}] ", faults
        )
        own = background["element"][symbol]
        given_values = {"'value'": own["value"]} if own["value"] is not None else {}
        given_values |= {f"'values' of {m}": v for m, v in (own["values"] or {}).items()}
        faults.extend(
            f"[background.element.{symbol}] {key} must be a positive number of ppm (mg/kg), got {v!r}."
            for key, v in given_values.items() if not 0 < v < float("inf")
        )  # fmt: skip
        if all(own[k] in (None, "", {}, []) for k in own if k != "reason"):
            faults.append(
                f"[background.element.{symbol}] chooses nothing: give 'value' or 'values' [ppm], 'method', "
                "'options', 'on' or 'window'."
            )


def _check_symbol(symbol: str, where: str, faults: list[str]) -> None:
    if symbol not in SYMBOLS:
        close = symbol[:1].upper() + symbol[1:].lower()
        hint = f" Did you mean '{close}'?" if close in SYMBOLS else ""
        faults.append(f"{where}: '{symbol}' is no element symbol.{hint}")


def _check_layers(given: Any, folder: Path, faults: list[str]) -> dict[str, dict[str, Any]]:
    if not isinstance(given, Mapping):
        faults.append("'layers' must be a table: write [layers] before its keys.")
        return {}
    layers: dict[str, dict[str, Any]] = {}
    for name, value in given.items():
        row = {"path": value} if isinstance(value, str) else value
        if not isinstance(row, Mapping):
            faults.append(f"[layers] '{name}' must be a path in quotes or {{ path = , field = }}.")
            continue
        checked = _check_keys(row, LAYER, f"[layers] {name}: ", faults)
        if checked["path"]:
            text = checked["path"]
            checked["path"] = Path(text) if Path(text).is_absolute() else (folder / text).resolve()
        layers[name] = checked
    return layers
