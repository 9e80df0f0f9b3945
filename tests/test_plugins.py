"""The registry: built-ins first, broken ones named, options checked."""

from __future__ import annotations

from importlib.metadata import EntryPoint
from typing import Literal

import pytest

from geochem import plugins
from geochem.errors import WrongCall


class Method:
    name = "mine"
    summary = "a method for tests"

    def __init__(
        self,
        k: float = 2.0,
        log: bool = False,
        side: Literal["upper", "lower"] = "upper",
        limits: list[float] | None = None,
    ):
        self.k, self.log, self.side, self.limits = k, log, side, limits


@pytest.fixture
def installed(monkeypatch):
    """Pretend that entry points are installed."""

    def install(**points):
        monkeypatch.setattr(plugins, "_sealed", False)
        made = [EntryPoint(n, v, "geochem.thresholds") for n, v in points.items()]
        monkeypatch.setattr(
            plugins,
            "entry_points",
            lambda group: made if group == "geochem.thresholds" else [],
        )

    return install


def test_an_entry_point_is_found_after_the_built_ins(installed):
    installed(mine="collections:OrderedDict")
    assert plugins.names("thresholds")[-1] == "mine"
    assert plugins.load("thresholds", "mine").__name__ == "OrderedDict"


def test_a_built_in_wins_and_says_so(installed):
    installed(median_mad="collections:OrderedDict")
    with pytest.warns(UserWarning, match="already brings that name"):
        assert plugins.load("thresholds", "median_mad").__name__ == "MedianMad"


def test_a_broken_plugin_fails_only_when_used(installed):
    installed(broken="no_such_module:Thing")
    assert plugins.load("thresholds", "median_mad").__name__ == "MedianMad"
    with pytest.raises(WrongCall, match="cannot be loaded"):
        plugins.load("thresholds", "broken")


def test_unknown_names_list_what_there_is():
    with pytest.raises(WrongCall, match="Did you mean 'median_mad'"):
        plugins.load("thresholds", "median_madd")
    with pytest.raises(WrongCall, match="unknown plug-in group"):
        plugins.names("threshold")


def test_options_come_from_the_signature():
    found = {o.name: (o.kind, o.choices, o.optional) for o in plugins.options_of(Method)}
    assert found == {
        "k": ("float", (), False),
        "log": ("bool", (), False),
        "side": ("choice", ("upper", "lower"), False),
        "limits": ("list of float", (), True),
    }


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"kk": 1}, "has no option 'kk'; options: k, log, side, limits. Did you mean 'k'?"),
        ({"k": "2"}, "option 'k' of 'mine' must be float, got '2'"),
        ({"k": True}, "must be float"),
        ({"side": "left"}, "unknown value of option 'side' 'left'; possible: lower, upper"),
        ({"limits": 3}, "must be a list"),
    ],
)
def test_wrong_options_are_sentences(options, message):
    with pytest.raises(WrongCall) as caught:
        plugins.check_options("mine", plugins.options_of(Method), options)
    assert message in str(caught.value)


def test_whole_numbers_pass_as_float():
    known = plugins.options_of(Method)
    assert plugins.check_options("mine", known, {"k": 3, "limits": [1, 2]}) == {
        "k": 3.0,
        "limits": [1.0, 2.0],
    }
