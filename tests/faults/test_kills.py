"""Runs killed at random moments; the script does fifty."""

from __future__ import annotations

import os

import pytest


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL there")
def test_killed_runs_leave_a_whole_result(kill_runs, tmp_path):
    counts, faults = kill_runs.kill_many(tmp_path / "campaign", 6, 3)
    assert faults == []
    assert sum(n for words, n in counts.items() if words.startswith("killed")) >= 2
