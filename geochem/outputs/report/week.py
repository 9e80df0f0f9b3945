"""The week: what grew, what moved in rank and why, laboratory delays, hit rate, spend."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from geochem.outputs.report.blocks import Block, Bullets, Heading, Paragraph, Table
from geochem.outputs.wording import figure

_WORDS = {
    "collected": "collected", "located": "with a usable position", "read": "read by portable XRF",
    "sent": "sent to a laboratory", "returned": "returned by a laboratory",
}  # fmt: skip
_MOVED = {"new": "new", "up": "up", "down": "down", "same": "-", "gone": "gone"}
#: rows of one table
_MOST = 20


def week_blocks(progress: Mapping[str, Any], leading: Sequence[str] = ()) -> list[Block]:
    """Tell what changed.

    Parameters
    ----------
    progress : mapping
        `Bundle.progress`; its key ``week`` holds plain rows (absent: nothing is told).
    leading : sequence of str
        Elements whose hit rate is shown; default: all.

    Returns
    -------
    list of Block
        A section, or nothing.
    """
    week = progress.get("week")
    if not week:
        return []
    blocks = [*_change(week), *_delays(week["delays"]), *_hits(week["hit_rate"], leading)]
    blocks += _spend(week["spend"])
    return [Heading("This week"), *blocks] if blocks else []


def _change(week: Mapping[str, Any]) -> list[Block]:
    if week["since"] is None:
        return [Paragraph("There is no snapshot of an earlier day: nothing to compare with yet.")]
    grown = [f"{n:+d} {_WORDS[k]}" for k, n in week["grown"].items() if n]
    said = ", ".join(grown) if grown else "no sample was added"
    blocks: list[Block] = [Paragraph(f"Since {week['since']}: {said}.")]
    blocks += _new(week["new"])
    if not week["moves"]:
        return [*blocks, Paragraph("No target on either day.")]
    rows = [
        (
            str(m["target"]),
            "-" if m["previous_rank"] is None else str(m["previous_rank"]),
            "-" if m["rank"] is None else str(m["rank"]),
            _MOVED[m["moved"]],
            str(m["why"]),
        )
        for m in week["moves"]
    ]
    caption = "Ranks of that day and of today, and what changed in the record of each target."
    return [*blocks, Table(("target", "was", "now", "", "why"), rows, caption,
                           (0.1, 0.08, 0.08, 0.1, 0.64))]  # fmt: skip


def _new(rows: Sequence[Mapping[str, Any]]) -> list[Block]:
    if not rows:
        return [Paragraph("No sample that is new lies beyond its background.")]
    cells = [
        (
            str(r["element"]),
            f"{r['beyond']} of {r['judged']}",
            figure(r["highest_z"], 2),
            r["samples"],
        )
        for r in rows[:_MOST]
    ]
    return [
        Table(
            ("element", "beyond", "highest z", "samples"), cells,
            "New samples beyond their background (median + 2 robust standard deviations of their "
            "domain); the highest are named.", (0.12, 0.14, 0.14, 0.6),
        )
    ]  # fmt: skip


def _delays(rows: Sequence[Mapping[str, Any]]) -> list[Block]:
    if not rows:
        return []
    late = [r for r in rows if r["state"] == "late"]
    order = {"late": 0, "waiting": 1, "back": 2}
    shown = sorted(rows, key=lambda r: (order[r["state"]], -(r["days"] or 0.0)))[:_MOST]
    cells = [
        (
            str(r["laboratory"] or "-"), str(r["job"] or "-"), str(r["sent"] or "not recorded"),
            f"{r['back']} of {r['samples']}",
            "-" if r["days"] is None else f"{r['days']:.0f}", str(r["state"]),
        )
        for r in shown
    ]  # fmt: skip
    blocks: list[Block] = [
        Table(
            ("laboratory", "job", "sent", "back", "days", ""), cells,
            "Days from sending to the median receipt, or until now. Late: waited for longer than "
            "any job that came back took.",
        )
    ]  # fmt: skip
    if late:
        blocks.append(
            Bullets([f"Ask for job {r['job'] or '-'}: {r['days']:.0f} days out." for r in late])
        )
    return blocks


def _hits(rows: Sequence[Mapping[str, Any]], leading: Sequence[str]) -> list[Block]:
    if leading:
        rows = [r for r in rows if r["element"] in leading]
    if not rows:
        return []
    cells = [
        (
            str(r["medium"]), str(r["element"]), str(r["pairs"]),
            f"{r['confirmed']} of {r['flagged']}",
            "-" if r["rate"] is None
            else f"{100 * r['rate']:.0f} ({100 * r['low']:.0f} to {100 * r['high']:.0f})",
            str(r["missed"]),
        )
        for r in rows[:_MOST]
    ]  # fmt: skip
    return [
        Table(
            ("medium", "element", "pairs", "confirmed", "hit rate [%] (90 %)", "missed"), cells,
            "Of the samples that portable XRF put beyond the threshold of their medium, those that "
            "the laboratory puts there too (interval: Wilson 1927); missed: beyond at the "
            "laboratory only. Samples sent were chosen, and a calibration was fitted to the same pairs: "
            "the rate speaks for samples like these.",
        )
    ]  # fmt: skip


def _spend(rows: Sequence[Mapping[str, Any]]) -> list[Block]:
    if not rows:
        return []
    cells = [(str(r["what"]), str(r["number"]), figure(r["cost"], 6)) for r in rows]
    cells.append(("together", "", figure(sum(r["cost"] for r in rows), 6)))
    caption = "Spend so far: what the log and the lists hold, times [planning] cost."
    return [Table(("", "number", "cost"), cells, caption, (0.5, 0.2, 0.3))]
