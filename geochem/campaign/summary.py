"""Closing words of a run and of a check, as plain lines."""

from __future__ import annotations

from collections import Counter
from typing import Any

from geochem import plugins
from geochem.campaign.checking import CheckResult
from geochem.campaign.runner import RunResult
from geochem.model.finding import Finding


def run_lines(result: RunResult) -> list[str]:
    """Say what a run found and what to open.

    Parameters
    ----------
    result : RunResult
        Of `geochem.run`.

    Returns
    -------
    list of str
        Lines for the terminal.
    """
    from geochem.outputs.report.content import headline
    from geochem.quality.summary import summary_lines

    if result.kept:
        return ["", *result.messages, f"Open {result.folder / 'index.html'}"]
    bundle = result.bundle
    survey, report = bundle.survey, bundle.targets
    lines = ["", bundle.info.title]
    if bundle.progress.get("cells"):  # a survey in Parquet
        lines += [f"  {line}" for line in headline(bundle)]
        return [
            *lines,
            f"  {_counts(bundle.findings)}",
            "",
            f"Open {result.folder / 'index.html'}",
        ]
    lines += [
        f"  {len(survey.samples)} samples on the map, {len(survey.unlocated)} without a usable "
        f"position; {len(survey.results)} values of {len(survey.elements)} elements.",
    ]
    lines += [f"  {line}" for line in summary_lines(bundle.quality)[:8]]
    if len(report.targets):
        lines.append(f"  {len(report.targets)} targets, {len(report.holes)} proposed holes, "
                     f"{len(report.follow_up)} follow-up samples:")  # fmt: skip
        for row in report.targets.head(5).itertuples():
            lines.append(
                f"    {row.rank}. {row.target}  {row.elements}  at {row.easting:.0f} E "
                f"{row.northing:.0f} N, {row.area_ha:.0f} ha; next: {row.next_step}"
            )
    else:
        lines.append(f"  {report.why_none}")
    lines.append(f"  {_counts(bundle.findings)}")
    lines += [f"  {message}" for message in result.messages]
    lines += [
        "",
        f"Open {result.folder / 'index.html'}",
        "Portable XRF is screening, not assay; a surface anomaly is not a resource.",
    ]
    return lines


def check_lines(result: CheckResult, most: int = 6) -> list[str]:
    """Say in one screen what a check found.

    Parameters
    ----------
    result : CheckResult
        Of `geochem.check`.
    most : int, default 6
        Findings listed at most, errors always; the rest are counted.

    Returns
    -------
    list of str
        Lines for the terminal: what passed, what to read again, what to do tomorrow, then the
        worst findings.
    """
    from geochem.quality.summary import evening_lines

    survey = result.survey
    lines = [
        f"{len(survey.samples)} samples located, {len(survey.unlocated)} not; "
        f"{len(survey.results)} values; {survey.controls['sample_id'].nunique()} controls.",
        "",
        *evening_lines(result.quality, result.findings),
        "",
        _counts(result.findings),
    ]
    order = ("error", "warning", "note")
    ranked = sorted(result.findings, key=lambda f: order.index(f.severity))
    shown = max(most, sum(f.severity == "error" for f in ranked))
    for finding in ranked[:shown]:
        place = ":".join(
            str(part) for part in (finding.file, finding.row, finding.column) if part is not None
        )
        text = f"  {finding.severity:7} {place + '  ' if place else ''}{finding.message}"
        whole = len(text) <= 240 or finding.severity == "error"
        lines.append(text if whole else text[:237] + "...")
    if len(ranked) > shown:
        lines.append(
            f"  and {len(ranked) - shown} more: geochem check --json, or findings.csv after a run"
        )
    return lines


def _counts(findings: tuple[Finding, ...]) -> str:
    counts = Counter(f.severity for f in findings)
    return (
        f"{counts['error']} errors, {counts['warning']} warnings and {counts['note']} notes "
        "about the data."
    )


def plugin_rows() -> list[dict[str, Any]]:
    """List every method with its options.

    Returns
    -------
    list of dict
        ``group, name, from, summary, reference, options``; a plug-in that cannot be loaded says so
        in ``summary``.
    """
    rows = []
    for group in plugins.GROUPS:
        function = plugins.OPTIONS_OF.get(group)
        for entry in plugins.entries(group):
            row: dict[str, Any] = {
                "group": group,
                "name": entry.name,
                "from": entry.distribution,
                "summary": "",
                "reference": "",
                "options": [],
            }
            try:
                method = plugins.load(group, entry.name)
                row["summary"] = getattr(method, "summary", "")
                row["reference"] = getattr(method, "reference", "")
                row["options"] = [
                    {
                        "name": o.name,
                        "kind": o.kind,
                        "default": None if o.default is o.default.__class__ else o.default,
                        "choices": list(o.choices),
                    }
                    for o in plugins.options_of(method, function)
                ]
            except Exception as error:  # a broken plug-in is listed, not fatal
                row["summary"] = f"cannot be loaded: {error}"
            rows.append(row)
    return rows
