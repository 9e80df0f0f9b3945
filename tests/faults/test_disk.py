"""A disk that is full or read-only, a clock that went back: the last good result stands."""

from __future__ import annotations

import errno
import json
import shutil
import subprocess
import sys
from datetime import date, datetime

import pytest

from geochem.campaign.history import read_previous
from geochem.campaign.publish import working_on
from geochem.errors import DataRefused

CLOCK = datetime(2026, 3, 20)
#: run in a name space of its own, where it may mount a small disk
DRIVER = """
import hashlib, json, pathlib, shutil, subprocess, sys
source, disk = map(pathlib.Path, sys.argv[1:])
def sh(*command):
    subprocess.run(command, check=True)
sh("mount", "-t", "tmpfs", "-o", "size=8m", "none", str(disk))
campaign = disk / "campaign"
shutil.copytree(source, campaign)
def tree():
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest()
            for p in sorted((campaign / "results").rglob("*")) if p.is_file()}
def run():
    code = "from geochem.cli.main import main; main()"
    done = subprocess.run([sys.executable, "-c", code, "run", str(campaign)],
                          capture_output=True, text=True)
    return [done.returncode, done.stderr]
good = tree()
file = campaign / "campaign.toml"
file.write_text(file.read_text().replace("seed = 1", "seed = 2"))
answers = {}
with open(disk / "filler", "wb") as filler:
    filler.write(b"0" * (shutil.disk_usage(disk).free - 60_000))
answers["full"] = run()
(disk / "filler").unlink()
answers["left"] = sorted(p.name for p in campaign.iterdir())
sh("mount", "-o", "remount,ro", str(disk))
answers["read-only"] = run()
answers["same"] = tree() == good
print(json.dumps(answers))
"""


def _may_mount() -> bool:
    if not sys.platform.startswith("linux") or shutil.which("unshare") is None:
        return False
    command = ["unshare", "-rm", "sh", "-c", "mount -t tmpfs -o size=1m none /mnt"]
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


@pytest.mark.skipif(not _may_mount(), reason="needs a Linux that lets a user mount a small disk")
def test_a_really_full_and_a_really_read_only_disk(small, tmp_path):
    import geochem

    campaign, disk = tmp_path / "campaign", tmp_path / "disk"
    disk.mkdir()
    small.write_small_campaign(campaign, renderers=["tables", "gis"])
    geochem.run(campaign)
    before = sorted(p.name for p in campaign.iterdir())
    done = subprocess.run(
        ["unshare", "-rm", sys.executable, "-c", DRIVER, str(campaign), str(disk)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    answers = json.loads(done.stdout)
    status, said = answers["full"]
    assert status == 1
    assert "is full" in said
    assert "last good result is untouched" in said
    assert "Traceback" not in said
    assert answers["left"] == before
    status, said = answers["read-only"]
    assert status == 1
    assert "cannot write beside" in said
    assert "Read-only file system" in said
    assert answers["same"]


@pytest.mark.parametrize(
    "error",
    [
        OSError(errno.ENOSPC, "No space left on device"),
        RuntimeError("database or disk is full"),
    ],
)
def test_a_full_disk_is_told_whoever_noticed_it(tmp_path, error):
    def write():
        with working_on(tmp_path / "results", CLOCK) as work:
            work.start()
            raise error

    with pytest.raises(DataRefused, match=r"is full .* MB free"):
        write()
    assert list(tmp_path.iterdir()) == []


def test_another_fault_is_not_called_a_full_disk(tmp_path):
    with pytest.raises(KeyError), working_on(tmp_path / "results", CLOCK):
        raise KeyError("x")


def snapshot(folder, day, target):
    row = {
        "type": "Feature", "properties": {"target": target},
        "geometry": {"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 0]]]},
    }  # fmt: skip
    content = {"date": day, "crs": "EPSG:32735", "progress": {}, "targets": [row]}
    (folder / f"{day}.json").write_text(json.dumps(content))


def test_a_clock_that_went_back_is_told_and_no_name_given_twice(tmp_path):
    snapshot(tmp_path, "2026-03-01", "T01")
    snapshot(tmp_path, "2026-03-20", "T02")
    previous, findings = read_previous(tmp_path, date(2026, 3, 10), "EPSG:32735")
    assert previous.day == date(2026, 3, 1)
    assert previous.used_names == ("T01", "T02")
    assert [f.code for f in findings] == ["clock-went-back"]
    assert "2026-03-20" in findings[0].message
    # a past day that is redrawn on purpose knows nothing of later ones
    past, said = read_previous(tmp_path, date(2026, 3, 10), "EPSG:32735", until=date(2026, 3, 10))
    assert past.used_names == ("T01",)
    assert said == []


def test_a_snapshot_that_cannot_be_written_does_not_take_the_result(small, tmp_path, monkeypatch):
    import geochem
    from geochem.campaign import runner

    def full(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(runner, "write_snapshot", full)
    small.write_small_campaign(tmp_path, renderers=["tables"])
    done = geochem.run(tmp_path)
    assert (done.folder / "samples.csv").exists()
    assert any("snapshot could not be written" in m for m in done.messages)
