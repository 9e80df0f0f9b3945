"""The collector of garbage rests during a run and is as before afterwards."""

import gc

import pytest

from geochem.campaign import memory


def test_the_collector_is_as_before_afterwards_even_when_a_run_fails():
    before = gc.get_threshold()
    seen = []

    @memory.collecting_seldom()
    def fails():
        seen.append(gc.get_threshold())
        raise KeyError("any")

    with pytest.raises(KeyError):
        fails()
    assert seen == [memory.SELDOM]
    assert gc.get_threshold() == before


def test_giving_back_memory_is_harmless_anywhere(monkeypatch):
    memory.give_back()

    def other_library(name):
        raise OSError(name)

    monkeypatch.setattr(memory.ctypes, "CDLL", other_library)
    memory.give_back()
