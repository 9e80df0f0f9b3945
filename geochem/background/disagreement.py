"""Where domain and whole survey tell different stories: a mineralised unit erases itself."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from geochem.background.domains import WHOLE, Domains
from geochem.model.finding import Finding

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

#: k of "possible"
_K = 2.0
#: a unit with more than this share beyond k = 2 is suspicious
_MANY = 0.2
#: share of samples that only one of the two backgrounds calls anomalous
_DIFFERENT = 0.1


def compare_with_survey(
    medium: str, domains: Domains, scores: Mapping[str, Array]
) -> list[Finding]:
    """Warn of units that are mostly anomalous, and where the two backgrounds disagree.

    Parameters
    ----------
    medium : str
        Which samples.
    domains : Domains
        Of them.
    scores : mapping of str to ndarray, shape (n, 2)
        Per element: score against the own domain and against the whole survey of the medium.

    Returns
    -------
    list of Finding
        At most two per domain; elements are named in them.
    """
    findings = []
    for domain in sorted(set(domains.label)):
        at = domains.label == domain
        n = int(at.sum())
        many, different = [], []
        for element, z in scores.items():
            if not np.isfinite(z[at]).any():
                continue
            own, survey = z[at, 0] >= _K, z[at, 1] >= _K
            share = max(float(own.mean()), float(survey.mean()))
            if share > _MANY:
                many.append(f"{element} ({100 * share:.0f} %)")
            gap = float((own != survey).mean())
            if domain != WHOLE and gap > _DIFFERENT:
                side = "survey" if survey.sum() > own.sum() else "domain"
                different.append(f"{element} ({100 * gap:.0f} %, more beyond the {side}'s)")
        if many:
            findings.append(
                Finding(
                    "domain-mostly-anomalous", "warning",
                    f"{medium}, domain '{domain}': more than {100 * _MANY:.0f} % of its {n} "
                    f"samples are beyond k = {_K:g} for {', '.join(many)}. A mineralised or "
                    "naturally rich unit hides its own anomalies: look at the score against the "
                    "whole survey too, and at the division into domains.",
                    element=many[0].split(" ")[0] if len(many) == 1 else None,
                )
            )  # fmt: skip
        if different:
            findings.append(
                Finding(
                    "domain-and-survey-disagree", "warning",
                    f"{medium}, domain '{domain}': domain and whole survey disagree on which of "
                    f"its {n} samples are beyond k = {_K:g} for {', '.join(different)}. Both "
                    "scores are kept; say which one you trust.",
                    element=different[0].split(" ")[0] if len(different) == 1 else None,
                )
            )  # fmt: skip
    return findings
