"""Figures of uncertainty, chance and cross-validation show what the records say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.outputs.figures.surface_check import draw_surface_check, draw_variogram
from geochem.outputs.figures.surface_map import draw_surface
from geochem.outputs.figures.surface_uncertainty import draw_uncertainty
from geochem.stats.variogram import experimental_variogram, fit_variogram


@pytest.fixture
def surface(bundle):
    made = bundle.surfaces[0]
    rng = np.random.default_rng(1)
    xy, z = rng.random((200, 2)) * 1000, rng.normal(size=200)
    covered = np.zeros(made.values.shape, dtype=bool)
    covered[3:9, 4:20] = True
    true = rng.normal(size=80)
    return replace(
        made, chance=np.where(np.isfinite(made.values), 0.25, np.nan), threshold=120.0,
        covered=covered,
        details={**made.details, "variogram": fit_variogram(experimental_variogram(xy, z))},
        left_out={"true": true, "predicted": 0.5 * true, "deviation": np.ones(80),
                  "blocked": true},
        cross_validation={**made.cross_validation, "coverage_80": 0.77, "coverage_50": 0.5,
                          "coverage_90": 0.9, "coverage_95": 0.95, "rmse_nearest": 0.3},
    )  # fmt: skip


def words(ax):
    return " ".join(t.get_text() for a in ax.figure.axes for t in a.texts)


def test_interval_is_a_factor_of_concentrations(surface):
    ax = draw_uncertainty(surface)
    (image,) = [i for i in ax.images if i.get_gid() == "interval"]
    # 80 % of a normal distribution lie within 1.2816 deviations; the deviation is 0.1 of log10
    assert np.nanmax(image.get_array()) == pytest.approx(10**0.12816, rel=1e-3)
    said = words(ax)
    assert "77 % fell inside" in said
    assert "Factor of the 80 % interval" in said


def test_chance_names_the_threshold_and_is_refused_without(surface):
    ax = draw_uncertainty(surface, "chance")
    assert "120 ppm Cu" in words(ax)
    with pytest.raises(WrongCall, match="no chance"):
        draw_uncertainty(replace(surface, chance=None), "chance")


def test_cover_is_hatched_and_said(surface):
    ax = draw_surface(surface)
    assert any(c.get_gid() == "transported cover" for c in ax.collections)
    assert "do not mean barren" in words(ax)
    assert not any(
        c.get_gid() == "transported cover"
        for c in draw_surface(replace(surface, covered=None)).collections
    )


def test_check_page_shows_every_bin_and_the_comparison(surface):
    page = draw_surface_check(surface)
    bins = surface.details["variogram"].experimental
    drawn = [line for line in page.axes[0].lines if line.get_gid() == "bin"]
    assert len(drawn) == len(bins.distance)
    said = " ".join(t.get_text() for a in page.axes for t in a.texts)
    assert "nearest sample 0.3" in said
    held = next(line for line in page.axes[2].lines if line.get_gid() == "held")
    assert held.get_ydata().tolist() == pytest.approx([50, 77, 90, 95])
    bare = draw_variogram(replace(surface, details={}))
    assert "no variogram" in [t.get_text() for t in bare.texts]
