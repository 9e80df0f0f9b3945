"""Charts: axes, points, lines and words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from geochem.errors import WrongCall
from geochem.outputs.figures import captions
from geochem.outputs.figures.biplot import draw_biplot
from geochem.outputs.figures.boxplots import draw_boxplot, draw_boxplots
from geochem.outputs.figures.calibration import draw_calibration
from geochem.outputs.figures.probability import draw_probability
from geochem.outputs.figures.standards import draw_standard
from geochem.outputs.leading import leading_elements


def _line(ax, gid):
    return next(line for line in ax.lines if line.get_gid() == gid)


def test_probability_axis_is_a_normal_score_scale(bundle, words_of):
    fit = bundle.probability_plots["soil", "Cu"]
    ax = draw_probability(fit, "Cu", medium="soil", info=bundle.info)
    ticks = {t.get_text(): x for x, t in zip(ax.get_xticks(), ax.get_xticklabels(), strict=True)}
    # quantiles of the standard normal distribution, from scipy's own implementation
    assert ticks["50"] == pytest.approx(0.0)
    assert ticks["95"] == pytest.approx(norm.ppf(0.95))
    assert ax.get_yscale() == "log"
    assert ax.get_ylabel() == "Cu [ppm], log scale"
    points = _line(ax, "values")
    below = fit.details["below"]
    assert len(points.get_xdata()) == (~below).sum()
    assert np.allclose(points.get_ydata(), 10 ** fit.details["log10"][~below])


def test_probability_populations_and_threshold_lie_where_the_fit_says(bundle, words_of):
    fit = bundle.probability_plots["soil", "Cu"]
    ax = draw_probability(fit, "Cu", medium="soil")
    background = fit.details["populations"][0]
    x, y = _line(ax, "population 1").get_data()
    assert np.allclose(np.log10(y), background["mean"] + background["sd"] * np.asarray(x))
    assert _line(ax, "threshold probability_plot").get_ydata()[0] == pytest.approx(fit.value)
    assert any("background: 95 %" in w for w in words_of(ax))


def test_probability_says_the_share_below_detection(bundle, words_of):
    fit = bundle.probability_plots["soil", "Au"]
    assert fit.n_below
    words = " ".join(words_of(draw_probability(fit, "Au")))
    assert f"{fit.n_below} (" in words
    assert "below detection" in words
    assert "Au [ppb]" in words


def test_a_fit_without_positions_is_refused(bundle):
    bare = replace(bundle.probability_plots["soil", "Cu"], details={})
    with pytest.raises(WrongCall, match="no plotting positions"):
        draw_probability(bare, "Cu")


def test_boxes_show_quartiles_and_counts(bundle, words_of):
    samples = bundle.survey.samples
    soil = samples[(samples["medium"] == "soil").to_numpy()]
    ax = draw_boxplot(soil, "Zn", threshold=100.0)
    names = [t.get_text() for t in ax.get_yticklabels()]
    k = names.index("granodiorite")
    inside = soil.loc[soil["geology"] == "granodiorite", "Zn_ppm"].dropna()
    box = min(
        (p for p in ax.patches if abs(p.get_y() + 0.24 - k) < 1e-9), key=lambda p: p.get_width()
    )
    assert box.get_x() == pytest.approx(np.quantile(inside, 0.25))
    assert box.get_x() + box.get_width() == pytest.approx(np.quantile(inside, 0.75))
    assert f"n {len(inside)}" in " ".join(words_of(ax))
    assert _line(ax, "threshold").get_xdata()[0] == 100.0
    assert ax.get_xlabel() == "Zn [ppm]"


def test_box_page_fits(bundle, inside_page):
    soil = bundle.survey.samples[(bundle.survey.samples["medium"] == "soil").to_numpy()]
    inside_page(draw_boxplots(soil, ["Cu", "Au", "As", "Mo", "Fe", "Mn", "Zn"], info=bundle.info))


def test_biplot_names_rays_and_explains(bundle, words_of):
    composition = bundle.compositions[0]
    ax = draw_biplot(composition, samples=bundle.survey.samples, info=bundle.info)
    words = words_of(ax)
    long = np.hypot(*composition.loadings[:, :2].T)
    for part, length in zip(composition.parts, long, strict=True):
        assert length < 0.12 * long.max() or part in words
    share = f"{100 * composition.explained[0]:.0f} %"
    assert share in ax.get_xlabel()
    drawn = sum(len(v.get_xdata()) for v in ax.lines if (v.get_gid() or "").startswith("samples"))
    assert drawn == len(composition.scores)
    (x0, x1), (y0, y1) = ax.get_xlim(), ax.get_ylim()
    box = ax.get_position()
    wide, high = ax.figure.get_size_inches()
    per_inch = (x1 - x0) / (box.width * wide), (y1 - y0) / (box.height * high)
    assert per_inch[0] == pytest.approx(per_inch[1])  # one unit is equally long both ways


def test_standards_stand_in_order_and_failures_are_ringed(bundle):
    checks = bundle.quality.standards
    shuffled = checks.sample(frac=1, random_state=3)
    ax = draw_standard(shuffled, "Cu", assay="xrf", limit_pct=20.0)
    mine = checks[(checks["element"] == "Cu") & (checks["assay"] == "xrf")].sort_values(
        "date_read"
    )
    failed = np.flatnonzero((mine["verdict"] == "fail").to_numpy()) + 1
    assert list(_line(ax, "fail").get_xdata()) == list(failed)
    assert len(failed) == 4
    drawn = [line for line in ax.lines if (line.get_gid() or "").startswith("standard")]
    assert sum(len(line.get_xdata()) for line in drawn) == len(mine)
    assert {float(line.get_ydata()[0]) for line in ax.lines if line.get_gid() == "limit"} == {
        -20,
        20,
    }


def test_calibration_line_and_one_to_one(bundle):
    c = next(c for c in bundle.quality.calibrations if c.element == "Cu")
    ax = draw_calibration(c, bundle.quality.calibration_pairs)
    x, y = _line(ax, "line").get_data()
    assert np.allclose(y, 10 ** (c.intercept + c.slope * np.log10(x)))
    assert (x[0], x[-1]) == (pytest.approx(c.low), pytest.approx(c.high))
    assert np.array_equal(*_line(ax, "1:1").get_data())
    assert ax.get_xscale() == ax.get_yscale() == "log"
    assert len(_line(ax, "pairs used").get_xdata()) == c.n
    assert ax.get_xlabel() == "xrf [ppm]"
    assert ax.get_ylabel() == "lab_4a [ppm]"


def test_sought_elements_come_first(bundle):
    assert leading_elements(bundle) == ["Cu", "Au", "Mo", "As"]
    assert captions.standard_series(bundle)[0] == ("xrf", "Cu")
