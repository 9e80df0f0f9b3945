"""The week in the report."""

from __future__ import annotations

from dataclasses import replace

from geochem.outputs.report.renderer import ReportRenderer
from geochem.outputs.report.week import week_blocks

WEEK = {
    "since": "2026-03-13",
    "grown": {"collected": 40, "read": 38, "sent": 0},
    "new": [{"element": "Cu", "judged": 40, "beyond": 3, "highest_z": 4.2, "samples": "A1, A2, A3"}],
    "moves": [
        {"target": "T03", "rank": 1, "previous_rank": 2, "moved": "up",
         "why": "a laboratory confirmed it; score 60 to 85"},
        {"target": "T01", "rank": None, "previous_rank": 1, "moved": "gone", "why": "none"},
    ],
    "delays": [
        {"laboratory": "Quill (invented)", "job": "N26-2", "sent": "2026-02-01", "samples": 40,
         "back": 3, "days": 47.0, "state": "late"},
    ],
    "hit_rate": [
        {"medium": "soil", "element": "Cu", "pairs": 60, "flagged": 12, "confirmed": 9,
         "rate": 0.75, "low": 0.51, "high": 0.9, "missed": 2},
    ],
    "spend": [{"what": "samples collected", "number": 40, "cost": 480.0}],
}  # fmt: skip


def test_the_week_is_told(bundle, tmp_path):
    progress = {**bundle.progress, "week": WEEK}
    ReportRenderer().render(replace(bundle, progress=progress), tmp_path, pdf=False)
    page = (tmp_path / "report.html").read_text("utf-8")
    for words in ("Since 2026-03-13: +40 collected, +38 read by portable XRF.",
                  "a laboratory confirmed it; score 60 to 85", "gone", "3 of 40",
                  "Ask for job N26-2: 47 days out.", "9 of 12", "75 (51 to 90)", "480"):  # fmt: skip
        assert words in page


def test_without_an_earlier_day_it_says_so():
    first = {
        **WEEK,
        "since": None,
        "new": [],
        "moves": [],
        "delays": [],
        "hit_rate": [],
        "spend": [],
    }
    texts = [getattr(b, "text", "") for b in week_blocks({"week": first})]
    assert any("nothing to compare with yet" in t for t in texts)
    assert week_blocks({}) == []
