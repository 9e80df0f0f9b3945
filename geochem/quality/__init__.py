"""Trust in the numbers: standards, blanks, duplicates, calibration, verdicts.

What lives here: one file per kind of control (`standards`, `blanks`, `duplicates`), `calibration`
of portable XRF to the laboratory, `trust` classes, `verdicts` per batch and element, `limits` (all
editable numbers with their source), `judge` that strings them together.
What does not: formulas without tables (`geochem.stats`), which value is accepted
(`geochem.samples`), drawing.
To add a check: a file with one function from the arranged tables to a table of rows with `verdict`
and `reason`; let `verdicts` read it. Test to copy: `tests/quality/test_standards.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from geochem.quality.judge import judge_quality
    from geochem.quality.limits import QualityLimits
    from geochem.quality.summary import summary_lines
    from geochem.quality.treat import judge_and_treat

__all__ = ["QualityLimits", "judge_and_treat", "judge_quality", "summary_lines"]

_WHERE = {
    "judge_and_treat": "geochem.quality.treat",
    "judge_quality": "geochem.quality.judge",
    "QualityLimits": "geochem.quality.limits",
    "summary_lines": "geochem.quality.summary",
}


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        from importlib import import_module

        return getattr(import_module(_WHERE[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
