import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from geochem.model.background import Gold
from geochem.outputs.figures.gold import draw_gold
from geochem.outputs.figures.layout import page_of


@pytest.fixture
def soil():
    """Forty samples, ten of them below 2 ppb; three high, one of these alone."""
    value = np.r_[np.full(10, 0.002), np.geomspace(0.003, 0.03, 27), 0.4, 0.5, 0.9]
    return gpd.GeoDataFrame(
        {"sample_id": [f"G{i:02d}" for i in range(40)], "medium": "soil", "Au_ppm": value,
         "Au_ppm_below": value == 0.002},
        geometry=gpd.points_from_xy(np.arange(40.0), np.zeros(40)), crs="EPSG:32735",
    )  # fmt: skip


def describe(**changed):
    ids = np.array(["G37", "G38", "G39"], dtype=object)
    return Gold(**{
        "element": "Au", "medium": "soil", "n": 40, "n_detected": 30, "median": 0.009, "p90": 0.03,
        "peak": 0.9, "coarse": True, "duplicate_cv_pct": 52.0, "high": ids, "single": ids[2:],
        "cut": 0.1,
    } | changed)  # fmt: skip


def points(ax, name):
    return next(line.get_xdata() for line in ax.lines if line.get_gid() == name)


def test_detected_values_alone_in_ppb_and_singles_marked(soil, words_of, inside_page):
    ax = draw_gold(describe(), soil)
    assert len(points(ax, "detected")) == 27
    assert points(ax, "high") == pytest.approx([400, 500])
    assert points(ax, "single") == pytest.approx([900])
    words = " ".join(words_of(ax))
    assert "Single: G39 (900)" in words
    assert "30 of 40 samples detected, median of these 9 ppb" in words
    assert ax.get_xscale() == "log"
    inside_page(ax)


def test_coarse_grains_are_said_beside_the_duplicates(soil, words_of, inside_page):
    pairs = pd.DataFrame(
        {"element": ["Au"] * 4 + ["Cu"], "role": ["field_duplicate"] * 5, "first": [1.0, 2, 3, 4, 9],
         "second": [2.0, 1, 6, 4, 9], "used": [True, True, True, False, True]}
    )  # fmt: skip
    ax = draw_gold(describe(median=2.0, cut=5.0), soil, pairs=pairs)
    other = page_of(ax).axes[1]
    assert points(other, "pairs field_duplicate").tolist() == [1, 2, 3]
    words = " ".join(words_of(ax))
    assert "52 % (CV)" in words
    assert "second [g/t]" in words
    inside_page(ax)
