"""The swap survives a stop at every single step, a file held open, and leftovers of killed runs."""

from __future__ import annotations

import json
import os
from datetime import datetime
from pathlib import Path

from geochem.campaign.publish import publish, recover, working_on, workshop

CLOCK = datetime(2026, 3, 20, 12, 0, 0)
FILES = ["map.html", "figures/a.png", "figures/b.png"]


class Stopped(BaseException):
    """The process ends here: no handler of ordinary errors may run."""


def make_result(folder: Path, text: str) -> None:
    for name in FILES:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)
    (folder / "run.json").write_text(json.dumps({"files": FILES}))


def content(folder: Path) -> dict[str, str]:
    return {
        p.relative_to(folder).as_posix(): p.read_text() for p in folder.rglob("*") if p.is_file()
    }


class Stopper:
    """Counts every change of the disk and stops before number `at`."""

    def __init__(self, monkeypatch, at):
        self.count, self.at = 0, at
        for name in ("rename", "replace", "unlink", "rmdir", "mkdir", "open", "fsync", "remove"):
            self._wrap(monkeypatch, name)

    def _wrap(self, monkeypatch, name):
        original = getattr(os, name)

        def counted(*args, **kwargs):
            self.count += 1
            if self.count == self.at:
                raise Stopped
            return original(*args, **kwargs)

        monkeypatch.setattr(os, name, counted)


def stop_at(monkeypatch, at, work):
    with monkeypatch.context() as patch:
        stopper = Stopper(patch, at)
        try:
            work()
        except Stopped:
            return True, stopper.count
    return False, stopper.count


def test_stopped_before_every_single_step(tmp_path, monkeypatch):
    at, outcomes = 0, set()
    while True:
        at += 1
        out = tmp_path / str(at) / "results"
        out.mkdir(parents=True)
        make_result(out, "old")
        (out / "mine.txt").write_text("mine")
        (out / "figures" / "mine too.txt").write_text("mine")
        making = workshop(out)
        make_result(making, "new")
        stopped, _ = stop_at(monkeypatch, at, lambda m=making, o=out: publish(m, o, CLOCK))
        if not stopped:
            break
        recover(out)
        found = content(out)
        assert found.pop("mine.txt") == "mine", at
        assert found.pop("figures/mine too.txt") == "mine", at
        assert set(found) == {*FILES, "run.json"}, at
        words = {found[name] for name in FILES}
        assert len(words) == 1, at
        outcomes |= words
        assert [p.name for p in out.parent.iterdir()] == ["results"], at
    assert at > 20
    assert outcomes == {"old", "new"}


def test_the_mending_itself_may_be_stopped_at_every_step(tmp_path, monkeypatch):
    at = 0
    while True:
        at += 1
        out = tmp_path / str(at) / "results"
        out.mkdir(parents=True)
        make_result(out, "new")
        aside = out.with_name(".results.previous")
        aside.mkdir()
        make_result(aside, "old")
        (aside / "mine.txt").write_text("mine")
        (out.parent / ".results.swap.json").write_text("{")
        stopped, _ = stop_at(monkeypatch, at, lambda o=out: recover(o))
        recover(out)
        found = content(out)
        assert found.pop("mine.txt") == "mine", at
        assert {found[name] for name in FILES} == {"new"}, at
        assert len(found) == len(FILES) + 1, at
        assert [p.name for p in out.parent.iterdir()] == ["results"], at
        if not stopped:
            break
    assert at > 10


def test_a_file_of_the_user_that_is_held_open_is_carried_over_later(tmp_path, monkeypatch):
    out = tmp_path / "results"
    out.mkdir()
    make_result(out, "old")
    (out / "mine.txt").write_text("mine")
    making = workshop(out)
    make_result(making, "new")
    original = Path.replace

    def replace(self, goal):
        if self.name == "mine.txt":
            raise PermissionError(13, "The process cannot access the file")
        return original(self, goal)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", replace)
        done = publish(making, out, CLOCK)
    assert "the next run carries it over" in done.message
    assert (out / "map.html").read_text() == "new"
    assert "finished" in recover(out)
    assert (out / "mine.txt").read_text() == "mine"
    assert [p.name for p in tmp_path.iterdir()] == ["results"]


def test_two_results_beside_in_one_second_get_two_names(tmp_path, monkeypatch):
    out = tmp_path / "results"
    out.mkdir()
    make_result(out, "old")

    def rename(self, goal, original=Path.rename):
        if self == out:
            raise PermissionError(13, "in use")
        return original(self, goal)

    monkeypatch.setattr(Path, "rename", rename)
    names = set()
    for _ in range(2):
        making = workshop(out)
        make_result(making, "new")
        names.add(publish(making, out, CLOCK).folder.name)
    assert len(names) == 2


def test_what_a_killed_run_was_making_is_cleared(tmp_path):
    out = tmp_path / "results"
    workshop(out)
    (tmp_path / ".results.gone-x" / "previous").mkdir(parents=True)
    (tmp_path / ".other.making-x").mkdir()
    with working_on(out, CLOCK):
        pass
    assert [p.name for p in tmp_path.iterdir()] == [".other.making-x"]
