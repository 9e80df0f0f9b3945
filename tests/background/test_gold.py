"""Gold: detected values only, coarse grains, single highs named and never changed."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from geochem.background.gold import describe_gold


@pytest.fixture
def field():
    """A 10 x 10 grid, most below 2 ppb; one lone high and a group of four."""
    east, north = (a.ravel() for a in np.meshgrid(np.arange(10), np.arange(10)))
    value = np.full(100, 0.002)
    below = np.ones(100, dtype=bool)
    rng = np.random.default_rng(0)
    seen = rng.choice(100, 40, replace=False)
    value[seen], below[seen] = rng.uniform(0.002, 0.02, 40), False
    for x, y in ((8, 8), (1, 1), (1, 2), (2, 1), (2, 2)):
        value[10 * y + x], below[10 * y + x] = 0.8, False
    return gpd.GeoDataFrame(
        {"sample_id": [f"G{i:02d}" for i in range(100)], "medium": "soil", "Au_ppm": value,
         "Au_ppm_below": below, "Au_ppm_above": False, "Au_ppm_err": np.nan},
        geometry=gpd.points_from_xy(100 * east, 100 * north), crs="EPSG:32735",
    )  # fmt: skip


def pairs(role, cv, n=12):
    return pd.DataFrame({"element": ["Au"], "role": [role], "n_used": [n], "cv_pct": [cv]})


def test_a_lone_high_is_named_and_kept(field):
    before = field["Au_ppm"].copy()
    (gold,), findings = describe_gold(field, thresholds={("soil", "Au"): 0.1})
    assert gold.single.tolist() == ["G88"]
    assert len(gold.high) == 5
    assert gold.peak == 0.8
    assert field["Au_ppm"].equals(before)
    (said,) = findings
    assert said.code == "single-highs"
    assert "100 ppb" in said.message
    assert "G88" in said.message


def test_statistics_are_of_detected_values(field):
    (gold,), _ = describe_gold(field)
    seen = field.loc[~field["Au_ppm_below"], "Au_ppm"]
    assert gold.n == 100
    assert gold.n_detected == len(seen)
    assert gold.median == pytest.approx(seen.median())
    assert gold.cut == pytest.approx(seen.quantile(0.95))


@pytest.mark.parametrize(
    ("role", "cv", "n", "coarse"),
    [("field_duplicate", 55, 12, True), ("field_duplicate", 35, 12, False),
     ("pulp_duplicate", 35, 12, True), ("pulp_duplicate", 35, 4, False)],
)  # fmt: skip
def test_duplicates_tell_of_coarse_grains(field, role, cv, n, coarse):
    (gold,), findings = describe_gold(field, duplicates=pairs(role, cv, n))
    assert gold.coarse is coarse
    assert ("coarse-gold" in [f.code for f in findings]) is coarse


def test_no_gold_and_no_detection(field):
    assert describe_gold(field.drop(columns="Au_ppm")) == ((), ())
    (gold,), findings = describe_gold(field.assign(Au_ppm_below=True))
    assert gold.n_detected == 0
    assert np.isnan(gold.peak)
    assert not len(gold.high)
    assert findings == ()
