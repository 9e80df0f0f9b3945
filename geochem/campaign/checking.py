"""`check`: read and join everything and judge its quality; write nothing."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from geochem.campaign.operations import CHECKED_BY, carry_out, steps_to
from geochem.campaign.settings import read_campaign
from geochem.model.finding import Finding


@dataclass(frozen=True, slots=True, eq=False)
class CheckResult:
    """What a check found.

    Parameters
    ----------
    survey, quality : Survey, QualityReport
        As in a run.
    findings : tuple of Finding
        Of every operation so far.
    """

    survey: Any
    quality: Any
    findings: tuple[Finding, ...]

    @property
    def usable(self) -> bool:
        """False when a finding is an error."""
        return all(f.severity != "error" for f in self.findings)

    def as_json(self) -> dict[str, Any]:
        """Give the document of `check --json`."""
        columns = ["source", "batch", "element", "verdict", "reason"]
        survey = self.survey
        return {
            "samples": len(survey.samples) + len(survey.unlocated),
            "located": len(survey.samples),
            "results": len(survey.results),
            "controls": int(survey.controls["sample_id"].nunique()),
            "verdicts": self.quality.verdicts[columns].to_dict("records"),
            "findings": [f.as_json() for f in self.findings],
        }


def check(campaign_path: str | Path, *, until: date | None = None) -> CheckResult:
    """Read and join everything and judge its quality; write nothing.

    Parameters
    ----------
    campaign_path : str or Path
        Campaign file, or its folder.
    until : date, optional
        As in `run`.

    Returns
    -------
    CheckResult
        Survey, quality, findings.

    Raises
    ------
    WrongCall
        If the campaign file is wrong.
    DataRefused
        If the data cannot be used at all.
    """
    settings = read_campaign(campaign_path)
    state: dict[str, Any] = {"until": until}
    _, findings = carry_out(state, settings, steps_to(CHECKED_BY), keep=("survey", "quality"))
    return CheckResult(state["survey"], state["quality"], tuple(findings))
