"""The built-ins pass the checks that plug-in authors get, and the checks can fail."""

from __future__ import annotations

import numpy as np
import pytest

from geochem import plugins, testing
from geochem.model.threshold import Threshold


@pytest.mark.parametrize(
    ("group", "name"), [(g, n) for g, table in plugins.BUILT_IN.items() for n in table]
)
def test_built_ins_conform(group, name):
    assert testing.check_plugin(group, name) == []


class Careless:
    name = "careless"
    summary = "takes the largest value and ruins the input"
    reference = "none"
    needs = ()

    def __init__(self, k: float = 1.0):
        self.k = k

    def fit(self, values, *, below=None, above=None, coordinates=None, weights=None):
        value = float(values[0])
        values[:] = 0.0
        return Threshold(value, np.nan, np.nan, "careless", {}, len(values))


def test_a_careless_method_is_found_out():
    faults = testing.check_threshold(Careless)
    assert any("changed its input" in f for f in faults)
    assert any("on no value raised" in f for f in faults)


class Hidden:
    name = "hidden"
    summary = "hides its options"
    reference = "none"
    needs = ()

    def __init__(self, **options):
        self.options = options


def test_hidden_options_are_refused():
    assert any("named keyword" in f for f in testing.check_threshold(Hidden))


def test_the_example_of_the_developers_page_passes():
    import re
    from pathlib import Path

    from geochem.testing import check_threshold

    page = (Path(__file__).parent.parent / "DEVELOPERS.md").read_text("utf-8")
    section = page.partition("## How to add a threshold method")[2].partition("\n## ")[0]
    (code,) = re.findall(r"```python\n(.*?)```", section, re.DOTALL)
    names: dict[str, object] = {}
    exec(compile(code, "DEVELOPERS.md", "exec"), names)
    assert check_threshold(names["UpperTenth"]) == []
    (entry,) = re.findall(r'= "my_package:(\w+)"', section)
    assert entry in names
