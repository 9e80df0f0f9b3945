"""Maps: what their artists hold, what their legends say."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from geochem.model.tables import values_of
from geochem.outputs.figures import captions
from geochem.outputs.figures.element_map import draw_element
from geochem.outputs.figures.layout import map_window
from geochem.outputs.figures.samples_map import draw_samples
from geochem.outputs.figures.score_map import draw_score
from geochem.outputs.figures.style import RAMP
from geochem.outputs.figures.surface_map import draw_surface
from geochem.outputs.figures.targets_map import draw_targets
from geochem.outputs.leading import leading_association


def test_every_sample_is_drawn_once_and_counted_by_class(bundle, words_of, points_in):
    samples = bundle.survey.samples
    limits, _ = captions.threshold_per_sample(bundle, "Mo")
    ax = draw_element(samples, "Mo", thresholds=limits, layers=bundle.layers, info=bundle.info)
    v = values_of(samples, "Mo")
    known = np.isfinite(v.value)
    undecided = known & v.below & (v.value > limits)
    assert undecided.any()  # the factory makes an instrument day with a poor limit
    assert points_in(ax, "undecided") == undecided.sum()
    assert points_in(ax, "below detection") == (known & v.below & ~undecided).sum()
    assert points_in(ax, "no result") == (~known).sum()
    assert points_in(ax, "class") == (known & ~v.below & ~v.above).sum()
    assert points_in(ax, "beyond threshold") == (known & ~v.below & (v.value > limits)).sum()
    words = words_of(ax)
    assert "Mo [ppm], number of samples" in words
    assert f"{undecided.sum()}" in words
    assert any(w.startswith("undecided") for w in words)


def test_classes_say_both_limits_and_unit_and_sum_up(bundle, words_of):
    ax = draw_element(bundle.survey.samples, "Au", info=bundle.info)
    classes = [w for w in words_of(ax) if w.endswith("ppb") and " to " in w and "(" not in w]
    assert len(classes) >= 3
    lows = [float(w.split(" to ")[0]) for w in classes]
    assert lows == sorted(lows, reverse=True)  # highest first


def test_values_over_range_have_a_shape_of_their_own(bundle, points_in):
    ax = draw_element(bundle.survey.samples, "As")
    v = values_of(bundle.survey.samples, "As")
    assert v.above.any()
    assert points_in(ax, "above range") == v.above.sum()
    shapes = {line.get_gid(): line.get_marker() for line in ax.lines}
    assert shapes["above range"] != shapes["below detection"]


def test_map_furniture_names_grid_crs_north_and_caution(bundle, words_of, inside_page):
    ax = draw_samples(bundle.survey.samples, layers=bundle.layers, spacings=bundle.spacings,
                      info=bundle.info, caption=captions.samples(bundle))  # fmt: skip
    words = words_of(ax)
    assert "Easting [m]" in words
    assert "Northing [m]" in words
    assert "WGS 84 / UTM zone 35S (EPSG:32735), metres" in words
    assert "Arrow: grid north; true north lies 0.36° west of it." in words
    assert "Screening data. A surface anomaly is not a resource." in words
    assert any("n = 400 located samples" in w for w in words)
    assert any(w.endswith(" m") or w.endswith(" km") for w in words)  # bar scale
    west, east = ax.get_xlim()
    x = bundle.survey.samples.geometry.x
    assert west < x.min()
    assert east > x.max()
    ticks = np.diff(ax.get_xticks())
    assert np.allclose(ticks, ticks[0])
    assert ticks[0] / 10 ** np.floor(np.log10(ticks[0])) in (1.0, 2.0, 5.0)
    inside_page(ax)


def test_window_keeps_metres_square():
    west, east, south, north = map_window(
        np.array([0.0, 100.0]), np.array([0.0, 5000.0]), (6.0, 4.0)
    )
    assert (east - west) / 6.0 == pytest.approx((north - south) / 4.0)
    assert north > 5000
    assert south < 0


def test_hostile_text_is_drawn_as_it_stands(bundle, words_of, inside_page):
    samples = bundle.survey.samples.copy()
    title = r"$\frac{1}{0}$ <b>_x_^2 \nofile $"
    samples["medium"] = samples["medium"].replace({"rock": r"rock $\bad{ _1"})
    ax = draw_samples(samples, layers=bundle.layers, info=bundle.info,
                      caption=captions.Caption(title * 9, "n\n\x00 " + title * 20, title))  # fmt: skip
    inside_page(ax)  # drawing would fail if any of it were read as a formula
    words = words_of(ax)
    assert r"rock $\bad{ _1" in words
    assert any("<script>alert(1)</script>" in w for w in words)
    assert all("\x00" not in w for w in words)


def test_targets_carry_rank_and_status(bundle, words_of, points_in):
    lead = leading_association(bundle.evidence)
    ax = draw_targets(bundle.targets, bundle.survey.samples, evidence=bundle.evidence,
                      association=lead, layers=bundle.layers, info=bundle.info)  # fmt: skip
    words = words_of(ax)
    for row in bundle.targets.targets.itertuples():
        assert f"{row.rank}  {row.target}" in words
        assert row.status in words
    assert points_in(ax, "follow-up") == len(bundle.targets.follow_up)
    assert points_in(ax, "holes") == len(bundle.targets.holes)
    outlines = [c for c in ax.collections if c.get_gid() == "targets"]
    assert len(outlines[0].get_paths()) == 3


def test_no_target_is_said_in_words(make_bundle, words_of):
    barren = make_bundle(n=60, barren=True)
    ax = draw_targets(barren.targets, barren.survey.samples, info=barren.info)
    assert "No target" in words_of(ax)
    assert any("two lines" in w for w in words_of(ax))


def test_scores_are_all_drawn(bundle, points_in, words_of):
    lead = leading_association(bundle.evidence)
    ax = draw_score(bundle.evidence, lead, info=bundle.info)
    assert points_in(ax, "score class") == len(bundle.evidence.anomalies)
    assert any("Cu +1" in w for w in words_of(ax))


def test_surface_has_round_ticks_in_real_units(bundle, words_of):
    surface = bundle.surfaces[0]
    ax = draw_surface(surface, samples=bundle.survey.samples, info=bundle.info)
    bar = next(a for a in ax.figure.axes if a.get_gid() == "colour bar")
    assert bar.get_yscale() == "log"
    assert [t.get_text() for t in bar.get_yticklabels()] == ["50", "100", "200"]
    assert "Cu [ppm]" in words_of(ax)
    picture = ax.images[0]
    assert picture.get_array().shape == surface.values.shape
    west, _, _, north = picture.get_extent()
    assert (west, north) == (surface.west, surface.north)


def test_own_axes_are_used_and_settings_left_alone(bundle):
    import matplotlib as mpl
    from matplotlib.figure import Figure

    before = dict(mpl.rcParams)
    page = Figure(figsize=(9, 6))
    mine = page.add_axes((0.1, 0.2, 0.5, 0.7))
    assert draw_element(bundle.survey.samples, "Cu", ax=mine) is mine
    assert len(page.axes) == 2  # the axes and the sheet that the legend stands on
    assert dict(mpl.rcParams) == before


def test_shades_keep_their_order_in_grey():
    from matplotlib.colors import to_rgb

    grey = [0.2126 * r + 0.7152 * g + 0.0722 * b for r, g, b in map(to_rgb, RAMP)]
    assert all(a - b > 0.04 for a, b in itertools.pairwise(grey))
