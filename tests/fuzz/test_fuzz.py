"""The bounded fuzz of `inspect`, outside the default tests."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

_spec = importlib.util.spec_from_file_location(
    "fuzz_inspect", Path(__file__).with_name("fuzz_inspect.py")
)
fuzz = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(fuzz)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_inspect_never_breaks(tmp_path):
    number, faults, longest = fuzz.run(7, seconds=90, cases=400, folder=tmp_path)
    assert faults == []
    assert number >= 100
    assert longest < fuzz.LONGEST_S


_spec = importlib.util.spec_from_file_location(
    "fuzz_settings", Path(__file__).with_name("fuzz_settings.py")
)
fuzz_settings = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(fuzz_settings)


def test_what_once_broke_the_campaign_file_is_a_sentence_now(tmp_path):
    kept = sorted(fuzz_settings.CORPUS.glob("*.toml"))
    assert kept
    for path in kept:
        copy = tmp_path / "file.toml"
        copy.write_bytes(path.read_bytes())
        assert fuzz_settings.check(copy) is None, path.name


def test_campaign_and_decisions_files_never_break(tmp_path):
    number, faults = fuzz_settings.run(11, seconds=20, cases=200, folder=tmp_path)
    assert faults == []
    assert number >= 50


@pytest.mark.slow
def test_campaign_and_decisions_files_never_break_for_long(tmp_path):
    number, faults = fuzz_settings.run(12, seconds=120, cases=5000, folder=tmp_path)
    assert faults == []
    assert number >= 500
