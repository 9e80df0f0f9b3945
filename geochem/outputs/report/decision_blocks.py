"""What a decisions file said, for the report."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from geochem.outputs.report.blocks import Block, Heading, Paragraph, Table
from geochem.outputs.wording import concentration

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle

_EFFECTS = {
    "dropped": "dropped in this run",
    "recorded": "recorded",
    "register": "the register stands",
}


def decision_blocks(bundle: Bundle) -> list[Block]:
    """List thresholds and targets that were decided on.

    Parameters
    ----------
    bundle : Bundle
        Records.

    Returns
    -------
    list of Block
        Empty when the run had no decisions file.
    """
    given = bundle.decisions
    if not given:
        return []
    who = given.get("by") or "no name given"
    day = given.get("saved") or bundle.info.clock.date().isoformat()
    blocks: list[Block] = [
        Heading("Decisions"),
        Paragraph(
            f"This run obeyed {given['file']} ({who}, {day}). It counts more than the campaign "
            "file. The register of targets is not changed by it: add a row there to keep a "
            "target dropped without the file."
        ),
    ]
    if given["elements"]:
        rows = [
            (symbol, _chosen(symbol, d), d["reason"] or "no reason given")
            for symbol, d in sorted(given["elements"].items())
        ]
        blocks.append(
            Table(("element", "chosen threshold", "reason"), rows, widths=(0.12, 0.23, 0.65))
        )
    if given["targets"]:
        known = set(bundle.targets.targets["target"].astype(str))
        targets = [
            (
                name, d["choice"], d["note"] or "-",
                ", ".join(t for t in (d["by"], d["date"]) if t) or "-",
                _EFFECTS[d["effect"]] if name in known else "no such target in this run",
            )
            for name, d in sorted(given["targets"].items())
        ]  # fmt: skip
        blocks.append(
            Table(
                ("target", "decision", "note", "by", "effect"), targets,
                widths=(0.1, 0.12, 0.4, 0.2, 0.18),
            )
        )  # fmt: skip
    if given["others"]:
        blocks.append(Paragraph(f"It also set {', '.join(given['others'])}."))
    return blocks


def _chosen(symbol: str, given: Mapping[str, Any]) -> str:
    """Say the value for every medium, and those by medium."""
    said = [concentration(symbol, given["value"])] if "value" in given else []
    said += [f"{concentration(symbol, v)} in {m}" for m, v in given.get("values", {}).items()]
    return ", ".join(said)
