"""A high of coarse gold that stands alone makes no outline; beside another it counts."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from geochem.model.evidence import Association
from geochem.targets.ground import Sites
from geochem.targets.inside import elements_beyond


class EverythingCounts:
    def may_count(self, element, medium, inside, peak):
        return True


@pytest.mark.parametrize(("alone", "enough"), [([0], False), ([], True), ([0, 1], False)])
@pytest.mark.parametrize("high", [[0], [0, 1]])
def test_singles_count_in_no_element_condition(alone, enough, high):
    n = 5
    z = pd.DataFrame({"Au": np.zeros(n), "Cu": np.zeros(n)})
    z.loc[high, "Au"] = 6.0
    frame = pd.DataFrame({"medium": ["soil"] * n})
    flag = np.isin(np.arange(n), alone)
    sites = Sites(
        frame, np.arange(n), z, z, np.zeros((n, 1)), np.zeros((n, 1)), (), alone={"Au": flag}
    )
    samples = gpd.GeoDataFrame({"Au_ppm": np.full(n, 0.1), "Cu_ppm": np.full(n, 30.0)})
    association = Association("gold", "Gold", {"Au": 1.0, "Cu": 0.5})
    beyond, meets = elements_beyond(
        sites, np.arange(n), association, samples, EverythingCounts(), ("Au",)
    )
    assert beyond == ["Au"]  # named all the same
    # two highs of which one has a neighbour that is high count
    assert meets == (enough or set(high) - set(alone) != set())
