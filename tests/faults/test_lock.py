"""One run per result folder; the lock says who holds it and ends with its holder."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from datetime import datetime

import pytest

from geochem.campaign import lock
from geochem.campaign.lock import hold, lock_path
from geochem.errors import DataRefused

CLOCK = datetime(2026, 3, 20, 12, 0, 0)
HOLDER = """
import sys, time
from datetime import datetime
from pathlib import Path
from geochem.campaign.lock import hold
with hold(Path(sys.argv[1]), datetime(2026, 3, 20, 12, 0, 0)):
    print("held", flush=True)
    time.sleep(60)
"""


@pytest.fixture
def holder(tmp_path):
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(tmp_path / "results")],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout.readline() == "held\n"
    yield process
    process.kill()
    process.wait()
    process.stdout.close()


def test_a_second_run_is_told_who_works_there(tmp_path, holder):
    with (
        pytest.raises(
            DataRefused, match=f"process {holder.pid} on this computer, since 2026-03-20 12"
        ),
        hold(tmp_path / "results", CLOCK),
    ):
        pass


def test_a_killed_holder_gives_the_folder_free(tmp_path, holder):
    holder.send_signal(signal.SIGTERM if os.name == "nt" else signal.SIGKILL)
    holder.wait()
    with hold(tmp_path / "results", CLOCK):
        assert lock_path(tmp_path / "results").exists()
    assert list(tmp_path.iterdir()) == []


def test_the_clock_decides_nothing(tmp_path, holder):
    for clock in (datetime(1990, 1, 1), datetime(2200, 1, 1)):
        with pytest.raises(DataRefused), hold(tmp_path / "results", clock):
            pass
    stale = lock_path(tmp_path / "other")
    stale.write_text('{"computer": "x", "process": 1, "since": "2999-01-01"}')
    with hold(tmp_path / "other", CLOCK):
        pass


@pytest.mark.skipif(os.name == "nt", reason="Windows always locks")
@pytest.mark.parametrize(("process", "free"), [(os.getppid(), False), (2**22 + 1, True)])
def test_a_disk_that_cannot_lock_goes_by_the_named_process(tmp_path, monkeypatch, process, free):
    import errno
    import fcntl
    import json
    import socket

    def flock(*_):
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(fcntl, "flock", flock)
    said = {"computer": socket.gethostname(), "process": process, "since": "x"}
    lock_path(tmp_path / "results").write_text(json.dumps(said))
    if free:
        with hold(tmp_path / "results", CLOCK):
            pass
        return
    with pytest.raises(DataRefused, match="being written"), hold(tmp_path / "results", CLOCK):
        pass


def test_parents_that_were_made_for_nothing_are_removed(tmp_path):
    with pytest.raises(DataRefused), hold(tmp_path / "a" / "b" / "results", CLOCK):
        raise DataRefused("no sample could be used")
    assert list(tmp_path.iterdir()) == []


def test_a_read_only_folder_is_a_sentence(tmp_path, monkeypatch):
    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(lock.os, "open", refuse)
    with (
        pytest.raises(
            DataRefused, match=r"cannot write beside .*results.*Permission denied.*--out"
        ),
        hold(tmp_path / "results", CLOCK),
    ):
        pass
