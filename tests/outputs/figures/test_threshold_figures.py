from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from geochem.background import compare
from geochem.errors import WrongCall
from geochem.outputs.figures.comparison import draw_comparison
from geochem.outputs.figures.concentration_area import draw_concentration_area
from geochem.outputs.figures.distribution import draw_distribution
from geochem.outputs.figures.layout import page_of
from geochem.outputs.figures.renderer import figure_jobs


@pytest.fixture(scope="module")
def made():
    rng = np.random.default_rng(0)
    x = np.concatenate([rng.lognormal(3, 0.35, 900), rng.lognormal(5.5, 0.4, 50)])
    frame = pd.DataFrame({"medium": "soil", "Cu_ppm": x, "Cu_ppm_below": x < 13})
    frame.loc[frame["Cu_ppm_below"], "Cu_ppm"] = 13.0
    return compare(frame, "Cu", bootstrap=0, chosen=90.0, reason="orientation survey")


def _texts(ax):
    return " ".join(t.get_text() for a in page_of(ax).axes for t in a.texts)


def test_every_method_has_a_row_at_its_value(made):
    ax = draw_comparison(made)
    lower = page_of(ax).axes[1]
    points = {
        line.get_gid()[7:]: line.get_xdata()[0]
        for line in lower.lines if (line.get_gid() or "").startswith("method ")
    }  # fmt: skip
    rows = made.table.loc[np.isfinite(made.table["value"])].set_index("label")["value"]
    assert points == pytest.approx(rows.to_dict())
    words = _texts(ax)
    for word in ("Recommended:", "Chosen: 90 ppm", "orientation survey", "Two methods agree on"):
        assert word in words
    assert lower.get_xlabel() == "Cu [ppm], log scale"


def test_distribution_shows_all_values_and_limits_apart(made):
    ax = draw_distribution(made, used=made.records["median + 2 MAD, log"])
    lines = {line.get_gid(): line for a in page_of(ax).axes for line in a.lines if line.get_gid()}
    assert len(lines["values"].get_xdata()) + len(lines["limits"].get_xdata()) == 950
    assert set(lines["limits"].get_xdata()) == {13.0}
    assert lines["median"].get_xdata()[0] == pytest.approx(np.median(made.values), rel=0.02)
    # shares of the classes add up to all
    assert sum(p.get_height() for p in ax.patches) == pytest.approx(100, abs=0.01)


def test_concentration_area_bends_where_the_fit_says(made):
    fit = made.records["concentration-number"]
    ax = draw_concentration_area(fit, "Cu")
    lines = {line.get_gid(): line for line in ax.lines if line.get_gid()}
    assert lines["threshold"].get_xdata()[0] == pytest.approx(fit.value)
    assert lines["piece 1"].get_xdata()[-1] == pytest.approx(lines["piece 2"].get_xdata()[0])
    assert f"slope {fit.details['slopes'][1]:.2f}" in _texts(ax)
    assert ax.get_xscale() == ax.get_yscale() == "log"
    with pytest.raises(WrongCall, match="carries no curve"):
        draw_concentration_area(made.records["mixture of two"], "Cu")


def test_drawn_in_a_run(bundle, made):
    names = [n for n, _, _ in figure_jobs(replace(bundle, comparisons={("soil", "Cu"): made}))]
    assert {"thresholds_Cu", "distribution_Cu", "concentration_area_Cu"} <= set(names)
