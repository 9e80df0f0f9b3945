"""Decisions made by a person: an overlay of the campaign file, and a word on each target.

The map page saves a ``decisions.toml``; ``geochem run --decisions`` obeys it. It may set the same
keys as the campaign file in the tables that say *how* the work is done (`OVERLAID`), and choose
for targets: ``[targets.decision.T03] choice = "reject", note = "..."``. Decisions count more than
the campaign file and less than the command line. They never write to ``history/register.csv``,
which is the user's: where both speak of a target, the later date counts and a finding says so.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.campaign.toml_file import read_toml
from geochem.errors import WrongCall, nearest
from geochem.model.finding import Finding, name_some

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.targets import TargetReport

#: tables of the campaign file that decisions may overlay
OVERLAID = (
    "quality", "composition", "background", "anomalies", "surfaces", "targets", "planning",
    "outputs",
)  # fmt: skip
CHOICES = ("accept", "hold", "reject")
_ABOUT = {"campaign": str, "run": str, "saved": date, "by": str}
_CHOICE_KEYS = ("choice", "note", "by", "date")
_TARGET = re.compile(r"[A-Za-z0-9_-]{1,40}")


@dataclass(frozen=True, slots=True)
class TargetChoice:
    """A word on one target.

    Parameters
    ----------
    choice : str
        One of `CHOICES`.
    note, by : str
        Why, and who.
    day : date, optional
        When.
    """

    choice: str
    note: str = ""
    by: str = ""
    day: date | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Decisions:
    """A checked decisions file.

    Parameters
    ----------
    path : Path
        The file.
    about : dict of str to str
        ``campaign, run, saved, by`` as the file says.
    overlay : dict
        Tables of the campaign file, as parsed.
    targets : dict of str to TargetChoice
        By name of the target.
    findings : tuple of Finding
        What was noticed when it was laid over a campaign file.
    """

    path: Path
    about: dict[str, str]
    overlay: dict[str, Any]
    targets: dict[str, TargetChoice]
    findings: tuple[Finding, ...] = ()

    def plain(self) -> dict[str, Any]:
        """Give everything as plain values, for `run.json`."""
        targets = {
            name: {
                "choice": c.choice, "note": c.note, "by": c.by,
                "date": c.day.isoformat() if c.day else "",
            }
            for name, c in self.targets.items()
        }  # fmt: skip
        return {"file": self.path.name, **self.about, "overlay": self.overlay, "targets": targets}


def read_decisions(path: str | Path) -> Decisions:
    """Read and check a decisions file by itself.

    Parameters
    ----------
    path : str or Path
        The TOML file.

    Returns
    -------
    Decisions
        Checked.

    Raises
    ------
    WrongCall
        With every fault of the file, one sentence each.
    """
    path = Path(path).resolve()
    if not path.is_file():
        raise WrongCall(
            f"there is no decisions file '{path}'; save one on the map page, or leave out "
            "--decisions."
        )
    raw = read_toml(path)
    faults: list[str] = []
    about = _about(raw.pop("decisions", {}), faults)
    targets = _choices(raw, faults)
    _check_overlay(raw, path, faults)
    if faults:
        raise WrongCall("\n".join(f"{path.name}: {fault}" for fault in faults))
    return Decisions(path, about, raw, targets)


def _about(given: Any, faults: list[str]) -> dict[str, str]:
    if not isinstance(given, Mapping):
        faults.append("'decisions' must be a table: write [decisions] before its keys.")
        return {}
    for name, value in given.items():
        if name not in _ABOUT:
            faults.append(
                f"[decisions] unknown key '{name}'; known: {', '.join(_ABOUT)}."
                f"{nearest(name, _ABOUT)}"
            )
        elif not isinstance(value, _ABOUT[name]):
            wanted = "a date like 2026-03-20" if _ABOUT[name] is date else "a text in quotes"
            faults.append(f"[decisions] '{name}' must be {wanted}, got {value!r}.")
    return {name: str(value) for name, value in given.items() if name in _ABOUT}


def _choices(raw: dict[str, Any], faults: list[str]) -> dict[str, TargetChoice]:
    """Take the choices on targets out of the parsed file and check them."""
    table = raw.get("targets")
    if not isinstance(table, Mapping) or "decision" not in table:
        return {}
    rest = {k: v for k, v in table.items() if k != "decision"}
    given = table["decision"]
    raw["targets"] = rest
    if not rest:
        del raw["targets"]
    if not isinstance(given, Mapping):
        faults.append("[targets] 'decision' must be a table: write [targets.decision.T01].")
        return {}
    made = {}
    for name, row in given.items():
        where = f"[targets.decision.{name}]"
        if not isinstance(row, Mapping):
            faults.append(f"{where} must be a table with 'choice' and 'note'.")
            continue
        if not _TARGET.fullmatch(name):
            faults.append(f"{where}: '{name[:40]}' is no name of a target, like T03.")
            continue
        for key in row:
            if key not in _CHOICE_KEYS:
                faults.append(
                    f"{where} unknown key '{key}'; known: {', '.join(_CHOICE_KEYS)}."
                    f"{nearest(key, _CHOICE_KEYS)}"
                )
        choice = row.get("choice")
        if choice not in CHOICES:
            faults.append(
                f"{where} 'choice' is {choice!r}; allowed: {', '.join(CHOICES)}."
                f"{nearest(str(choice), CHOICES)}"
            )
            continue
        texts = {key: row.get(key, "") for key in ("note", "by")}
        for key, text in texts.items():
            if not isinstance(text, str):
                faults.append(f"{where} '{key}' must be a text in quotes, got {text!r}.")
        day = row.get("date")
        if isinstance(day, datetime):
            day = day.date()
        if day is not None and not isinstance(day, date):
            faults.append(f"{where} 'date' must be a date like 2026-03-20, got {day!r}.")
            day = None
        made[name] = TargetChoice(
            choice, str(texts["note"]).strip(), str(texts["by"]).strip(), day
        )
    return made


def _check_overlay(raw: dict[str, Any], path: Path, faults: list[str]) -> None:
    """Check the keys against those of the campaign file, in sentences that name this file."""
    from geochem.campaign.settings import check_settings

    for name in list(raw):
        if name not in OVERLAID:
            faults.append(
                f"'{name}' is nothing that a decision may set; allowed: "
                f"{', '.join(f'[{n}]' for n in OVERLAID)} and [targets.decision.T01]. Data, title "
                f"and CRS stay in the campaign file.{nearest(name, OVERLAID)}"
            )
    known = {name: deepcopy(table) for name, table in raw.items() if name in OVERLAID}
    least = {"title": "-", "crs": "EPSG:32735", "samples": [{"path": "-"}]}
    try:
        check_settings({**least, **known}, path)
    except WrongCall as refusal:
        faults += [line.removeprefix(f"{path.name}: ") for line in str(refusal).splitlines()]


def lay_over(
    campaign: Mapping[str, Any], decisions: Decisions
) -> tuple[dict[str, Any], tuple[Finding, ...]]:
    """Lay decisions over a parsed campaign file.

    Parameters
    ----------
    campaign : mapping
        Parsed TOML; not changed.
    decisions : Decisions
        Checked.

    Returns
    -------
    dict
        The campaign file as if it said what was decided. What is said about an element replaces
        what the campaign file says about it as a whole.
    tuple of Finding
        One per value of the campaign file that is replaced, and one when the decisions were made
        on a campaign of another title.
    """
    merged: dict[str, Any] = deepcopy(dict(campaign))
    name = decisions.path.name
    findings: list[Finding] = []

    def set_one(table: dict[str, Any], key: str, value: Any, where: str) -> None:
        if key in table and table[key] != value:
            findings.append(
                Finding(
                    "decision-over-campaign-file", "note",
                    f"{where} is {_short(value)} by {name}, in place of {_short(table[key])} in "
                    "the campaign file.",
                    file=name,
                )
            )  # fmt: skip
        table[key] = deepcopy(value)

    for table_name, given in decisions.overlay.items():
        table = merged.setdefault(table_name, {})
        if not isinstance(table, dict):
            continue  # said when the campaign file is checked
        for key, value in given.items():
            if table_name == "background" and key == "element":
                elements = table.setdefault("element", {})
                for symbol, row in value.items():
                    set_one(elements, symbol, row, f"[background.element.{symbol}]")
            else:
                set_one(table, key, value, f"[{table_name}] {key}")
    title, own = decisions.about.get("campaign"), campaign.get("title")
    if title and own and title != own:
        findings.append(
            Finding(
                "decisions-other-campaign", "warning",
                f"{name} was saved for the campaign '{title}', this one is '{own}'; names of "
                "targets may mean other places. The decisions are used as they stand.",
                file=name,
            )
        )  # fmt: skip
    return merged, tuple(findings)


def _short(value: Any) -> str:
    text = str(value)
    return text if len(text) <= 80 else text[:77] + "..."


def over_register(
    register: pd.DataFrame, decisions: Decisions
) -> tuple[pd.DataFrame, dict[str, str], list[Finding]]:
    """Join rejections to the register of a run; the file itself is not touched.

    Parameters
    ----------
    register : pandas.DataFrame
        ``target, status, date, by, reason`` as the user wrote it.
    decisions : Decisions
        Checked.

    Returns
    -------
    pandas.DataFrame
        With a row ``dropped`` for each rejected target whose register is silent or older.
    dict of str to str
        Per decided target what the decision does: ``dropped``, ``recorded`` or ``register``.
    list of Finding
        Where register and decision do not agree.
    """
    import pandas as pd

    newest: dict[str, tuple[date | None, str]] = {}
    for row in register.itertuples(index=False):
        stamp = pd.to_datetime(str(row.date or ""), errors="coerce")
        day: date | None = stamp.date() if isinstance(stamp, pd.Timestamp) else None
        target = str(row.target).strip()
        old = newest.get(target)
        if old is None or (day or date.min) >= (old[0] or date.min):
            newest[target] = (day, str(row.status))
    saved = _day(decisions.about.get("saved"))
    effects: dict[str, str] = {}
    findings: list[Finding] = []
    rows = []
    for target, c in decisions.targets.items():
        day = c.day or saved
        known_day, status = newest.get(target, (None, "new"))
        when = f" ({known_day})" if known_day else ""
        effects[target] = "recorded"
        if c.choice != "reject":
            if c.choice == "accept" and status in ("dropped", "merged"):
                effects[target] = "register"
                findings.append(
                    Finding(
                        "decision-and-register", "warning",
                        f"{target} is accepted in {decisions.path.name}, but register.csv says "
                        f"'{status}'{when}; the register stands. Add a row to it to take the "
                        "target up again.",
                        file=decisions.path.name,
                    )
                )  # fmt: skip
            continue
        if status == "dropped":
            effects[target] = "dropped"
            continue
        later = known_day is None or (day is not None and day >= known_day)
        if status != "new" and not later:
            effects[target] = "register"
            findings.append(
                Finding(
                    "decision-and-register", "warning",
                    f"{target} is rejected in {decisions.path.name} ({day or 'no date'}), but "
                    f"register.csv says '{status}' later{when}; the register stands.",
                    file=decisions.path.name,
                )
            )  # fmt: skip
            continue
        if status != "new":
            findings.append(
                Finding(
                    "decision-and-register", "warning",
                    f"{target} is rejected in {decisions.path.name} ({day or 'no date'}); "
                    f"register.csv says '{status}'{when}, earlier, so it is dropped in this run. "
                    "register.csv was not changed.",
                    file=decisions.path.name,
                )
            )  # fmt: skip
        effects[target] = "dropped"
        rows.append(
            {
                "target": target, "status": "dropped", "by": c.by, "reason": c.note,
                # without any date the row must still be the newest one
                "date": (day or known_day or date.max.replace(year=2200)).isoformat(),
            }
        )  # fmt: skip
    if not rows:
        return register, effects, findings
    added = pd.DataFrame(rows, columns=list(register.columns), dtype=object)
    both = pd.concat([register, added], ignore_index=True) if len(register) else added
    return both, effects, findings


def _day(text: str | None) -> date | None:
    try:
        return date.fromisoformat(text or "")
    except ValueError:
        return None


def mark_report(
    report: TargetReport, decisions: Decisions, effects: Mapping[str, str], used: tuple[str, ...]
) -> tuple[TargetReport, list[Finding]]:
    """Write the notes of rejected targets into their rows, and name decisions without a target.

    Parameters
    ----------
    report : TargetReport
        Of this run.
    decisions : Decisions
        Checked.
    effects : mapping of str to str
        From `over_register`.
    used : tuple of str
        Names that targets of earlier days had.

    Returns
    -------
    TargetReport
        `evidence_against` and `next_step` of dropped targets say who rejected them and why.
    list of Finding
        Decisions on targets that this run does not have.
    """
    targets = report.targets.copy()
    names = targets["target"].astype(str).to_list()
    for target, c in decisions.targets.items():
        if effects.get(target) != "dropped" or target not in names:
            continue
        at = targets.index[names.index(target)]
        who = ", ".join(t for t in (c.by, c.day.isoformat() if c.day else "") if t)
        said = f"Rejected{f' ({who})' if who else ''}: {c.note.rstrip('.') or 'no note'}."
        targets.loc[at, "evidence_against"] = f"{said} {targets.loc[at, 'evidence_against'] or ''}"
        targets.loc[at, "next_step"] = f"none: rejected in {decisions.path.name}"
    findings = []
    unknown = [t for t in decisions.targets if t not in names]
    for kind, here in (
        (
            "is a target of an earlier day that this run does not have",
            [t for t in unknown if t in used],
        ),
        ("is no target of this campaign", [t for t in unknown if t not in used]),
    ):
        if here:
            findings.append(
                Finding(
                    "decision-without-target", "warning",
                    f"{decisions.path.name} decides on {name_some(here)}, which {kind}; it has no "
                    f"effect. Targets of this run: {name_some(names) or 'none'}.",
                    file=decisions.path.name,
                )
            )  # fmt: skip
    return replace(report, targets=targets), findings


def for_outputs(
    decisions: Decisions, effects: Mapping[str, str], measured: set[str]
) -> tuple[dict[str, Any], list[Finding]]:
    """Give what the outputs show, and name elements that have no values.

    Parameters
    ----------
    decisions : Decisions
        Checked.
    effects : mapping of str to str
        From `over_register`.
    measured : set of str
        Elements with thresholds in this run.

    Returns
    -------
    dict
        For `Bundle.decisions`.
    list of Finding
        Elements that were decided on but have no values here.
    """
    plain = decisions.plain()
    rows = (decisions.overlay.get("background") or {}).get("element") or {}
    elements: dict[str, dict[str, Any]] = {}
    for symbol, row in rows.items():
        chosen: dict[str, Any] = {"value": float(row["value"])} if "value" in row else {}
        if row.get("values"):
            chosen["values"] = {str(m): float(v) for m, v in row["values"].items()}
        if chosen:
            elements[symbol] = {**chosen, "reason": str(row.get("reason", ""))}
    others = [
        f"[{name}] {key}"
        for name, table in decisions.overlay.items()
        for key in table
        if (name, key) != ("background", "element")
    ]
    others += [f"[background.element.{s}]" for s in rows if s not in elements]
    targets = {
        name: {**row, "effect": effects.get(name, "recorded")}
        for name, row in plain["targets"].items()
    }
    absent = sorted(set(rows) - measured)
    findings = []
    if absent:
        findings.append(
            Finding(
                "decision-without-values", "warning",
                f"{decisions.path.name} decides on {name_some(absent)}, which has no threshold in "
                "this campaign; it has no effect.",
                file=decisions.path.name,
            )
        )  # fmt: skip
    return {
        "file": decisions.path.name, "by": decisions.about.get("by", ""),
        "saved": decisions.about.get("saved", ""), "elements": elements, "targets": targets,
        "others": others,
    }, findings  # fmt: skip
