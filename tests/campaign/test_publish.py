"""The last good result survives whatever happens during a swap."""

from __future__ import annotations

import json
from datetime import datetime

import pytest

from geochem.campaign import publish as module
from geochem.campaign.publish import publish, recover, workshop

CLOCK = datetime(2026, 3, 20, 12, 0, 0)


def make_result(folder, text):
    folder.mkdir(exist_ok=True)
    (folder / "map.html").write_text(text)
    (folder / "run.json").write_text(json.dumps({"files": ["map.html"]}))


def test_first_result(tmp_path):
    making = workshop(tmp_path / "results")
    make_result(making, "new")
    done = publish(making, tmp_path / "results", CLOCK)
    assert (done.folder / "map.html").read_text() == "new"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["results"]


def test_the_users_own_files_stay_and_old_ones_of_ours_go(tmp_path):
    out = tmp_path / "results"
    make_result(out, "old")
    (out / "run.json").write_text(json.dumps({"files": ["map.html", "figures/old.png"]}))
    (out / "figures").mkdir()
    (out / "figures" / "old.png").write_text("old")
    (out / "my notes.txt").write_text("mine")
    making = workshop(out)
    make_result(making, "new")
    publish(making, out, CLOCK)
    assert (out / "map.html").read_text() == "new"
    assert (out / "my notes.txt").read_text() == "mine"
    assert not (out / "figures" / "old.png").exists()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["results"]


def test_a_file_of_the_user_that_has_our_name_is_kept_under_another(tmp_path):
    out = tmp_path / "results"
    out.mkdir()
    (out / "map.html").write_text("mine")
    making = workshop(out)
    make_result(making, "new")
    done = publish(making, out, CLOCK)
    assert (out / "map.html").read_text() == "new"
    assert (out / "map-kept1.html").read_text() == "mine"
    assert "map-kept1.html" in done.message


@pytest.mark.parametrize("fail_at", [1, 2])
def test_a_folder_that_cannot_be_renamed_leaves_the_old_result(tmp_path, monkeypatch, fail_at):
    out = tmp_path / "results"
    make_result(out, "old")
    making = workshop(out)
    make_result(making, "new")
    calls = 0
    original = module.Path.rename

    def rename(self, goal):
        nonlocal calls
        calls += 1
        if calls == fail_at:
            raise PermissionError(13, "in use")
        return original(self, goal)

    monkeypatch.setattr(module.Path, "rename", rename)
    done = publish(making, out, CLOCK)
    assert (out / "map.html").read_text() == "old"
    assert done.folder.name == "results-20260320-120000"
    assert (done.folder / "map.html").read_text() == "new"
    assert "results is in use" in done.message


@pytest.mark.parametrize("renamed", [0, 1, 2])
def test_an_interrupted_swap_is_mended(tmp_path, renamed):
    out = tmp_path / "results"
    make_result(out, "old")
    (out / "mine.txt").write_text("mine")
    making = workshop(out)
    make_result(making, "new")
    module._marker(out).write_text(json.dumps({"making": str(making)}))
    if renamed >= 1:
        out.rename(module._aside(out))
    if renamed == 2:
        making.rename(out)
    recover(out)
    assert (out / "map.html").read_text() == ("new" if renamed == 2 else "old")
    assert (out / "mine.txt").read_text() == "mine"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["results"]


def test_nothing_to_recover_says_nothing(tmp_path):
    assert recover(tmp_path / "results") == ""
