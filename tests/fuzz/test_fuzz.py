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
