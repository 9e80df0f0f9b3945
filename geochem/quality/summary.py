"""The quality of a campaign in a few lines: what passed, what to read again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from geochem.model.finding import Finding, name_some
from geochem.model.quality import QualityReport
from geochem.quality.arrange import records

if TYPE_CHECKING:
    import pandas as pd

#: what a finding of that code means for tomorrow
TOMORROW: dict[str, str] = {
    "standards-drift": "let the instrument warm up and read a standard every twenty samples",
    "standards-too-few": "read standards more often in a batch",
    "batch-not-checked": "put a standard, a blank and a duplicate into every batch",
    "blank-looks-like-a-sample": "check labels of blanks before reading",
    "standard-swapped": "check labels of standards before reading",
    "duplicate-without-parent": "fill in the parent of every duplicate",
    "duplicate-parent-without-result": "read the parents of the duplicates too",
    "duplicates-imprecise": "mill finer, split larger samples, read longer",
    "variance-not-ground": "mill finer, split larger samples, read longer",
    "pellet-thin": "press at least 7 mL of powder",
    "powder-little": "press at least 7 mL of powder",
    "die-underfilled": "fill the die at least by half",
    "pellet-moist": "dry samples before sieving",
    "pellet-binder": "use one share of binder",
    "sieve-coarse": "sieve to 250 um before pressing",
    "standard-without-certificate": "add the certified values of every standard in use",
    "calibration-extrapolated": "send some of the highest readings to the laboratory",
    "calibration-too-few-pairs": "send samples over the whole range to the laboratory",
    "laboratory-late": "ask the laboratory about late jobs",
}


def summary_lines(report: QualityReport) -> list[str]:
    """Give one line per batch that did not pass and one per assay for those that did.

    Parameters
    ----------
    report : QualityReport
        From `judge_quality`.

    Returns
    -------
    list of str
        Failed batches first, then warned, then how many passed.

    Examples
    --------
    A line reads ``xrf / X1-2026-03-04: fail (Cu, Zn read 27-28 % high on STD-B); read 42 samples
    again``.
    """
    batches = report.batches
    if batches.empty:
        return ["no results, so nothing was checked"]
    lines: dict[str, list[str]] = {"fail": [], "warn": []}
    for row in records(batches):
        name = " / ".join(x for x in (row["assay"], row["batch"] or "no batch", row["mode"]) if x)
        if row["verdict"] == "fail":
            word = "read" if row["source"] == "pxrf" else "analyse"
            one = "sample" if row["n_reread"] == 1 else "samples"
            end = f"; {word} {row['n_reread']} {one} again" if row["n_reread"] else ""
            lines["fail"].append(f"{name}: fail ({row['reason']}){end}")
        elif row["verdict"] == "warn":
            end = "used, marked" if row["checked"] else "used"
            lines["warn"].append(f"{name}: warn ({row['reason']}); {end}")
    out = lines["fail"] + lines["warn"]
    for assay, part in batches.groupby("assay", sort=True, observed=True):
        good = int((part["verdict"] == "pass").sum())
        out.append(f"{assay}: {good} of {len(part)} batches pass")
    return out


def evening_lines(report: QualityReport, findings: Sequence[Finding], most: int = 6) -> list[str]:
    """Answer in one screen: what passed, what to read again, what to do better tomorrow.

    Parameters
    ----------
    report : QualityReport
        From `judge_quality`.
    findings : sequence of Finding
        Of all steps so far.
    most : int, default 6
        Lines per part at most; the rest is counted.

    Returns
    -------
    list of str
        Three short parts, each with a heading.
    """
    batches = report.batches
    if batches.empty:
        return ["Passed", "  nothing was checked: there are no results"]
    lines = ["Passed"]
    for assay, part in batches.groupby("assay", sort=True, observed=True):
        good = int((part["verdict"] == "pass").sum())
        warned = int((part["verdict"] == "warn").sum())
        lines.append(
            f"  {assay}: {good} of {len(part)} batches pass"
            + (f", {warned} pass with a warning" if warned else "")
        )
    lines += _newest(batches)
    lines.append("Read again")
    failed = [line for line in summary_lines(report) if ": fail (" in line]
    lines += _first(failed, most) or ["  nothing"]
    if len(report.reread):
        ids = sorted(set(report.reread["sample_id"]))
        lines.append(f"  {len(ids)} samples in all: {name_some(ids)}")
    if report.failed_batches != "use":
        lines.append(f"  values of failed batches: {report.failed_batches}")
    lines.append("Tomorrow")
    done: dict[str, list[str]] = {}
    for finding in sorted(findings, key=lambda f: ("error", "warning", "note").index(f.severity)):
        advice = TOMORROW.get(finding.code)
        if advice is not None and (finding.severity != "note" or finding.code == "pellet-thin"):
            about = finding.element or finding.batch or ""
            done.setdefault(advice, []).append(about)
    said = []
    for advice, places in done.items():
        named = [a for a in dict.fromkeys(places) if a]
        said.append(advice + (f" ({name_some(named, 4)})" if named else ""))
    waiting = report.jobs[report.jobs["n_outstanding"].fillna(0) > 0]
    for row in records(waiting):
        days = row["waiting_days"]
        since = f" for {days:.0f} days" if days == days else ""
        said.append(
            f"{row['n_outstanding']} samples of job {row['job'] or 'without name'} are at the "
            f"laboratory{since}"
        )
    lines += _first(said, most) or ["  nothing to change"]
    return lines


def _newest(batches: pd.DataFrame) -> list[str]:
    """Say how the batches of the last day of reading fared: what was read today, mostly."""
    read = batches[batches["source"].eq("pxrf") & batches["day"].notna()]
    if read.empty:
        return []
    last = read["day"].max()
    today = read[read["day"] == last]
    named = [f"{r['batch'] or 'no batch'} {r['verdict']}" for r in records(today)]
    return [f"  read last, on {last:%Y-%m-%d}: {name_some(named, 6)}"]


def _first(lines: list[str], most: int) -> list[str]:
    """Indent and shorten lines for a terminal; count what is left off."""
    out = [f"  {line if len(line) <= 150 else line[:147] + '...'}" for line in lines[:most]]
    if len(lines) > most:
        out.append(f"  and {len(lines) - most} more")
    return out
