"""Chance of a hit: closed formulas, an independent count, published lines."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.stats import qmc

from geochem.errors import WrongCall
from geochem.stats.hit_probability import (
    hit_probability,
    line_hit_by_perimeter,
    line_hit_probability,
    simulated_hit_probability,
    spacing_for_probability,
)

# Averages over uniformly random direction on a square grid, computed independently by numerical
# integration (+/- 0.003); columns are b/a.
RATIOS = (1.0, 0.8, 0.6, 0.5, 0.4, 0.2, 0.1)
RANDOM_DIRECTION = {
    0.2: (0.126, 0.101, 0.075, 0.063, 0.050, 0.025, 0.013),
    0.5: (0.785, 0.628, 0.471, 0.393, 0.314, 0.157, 0.079),
    0.7: (1.000, 0.978, 0.833, 0.713, 0.582, 0.300, 0.152),
    1.0: (1.000, 1.000, 1.000, 0.993, 0.912, 0.550, 0.295),
    1.5: (1.000, 1.000, 1.000, 1.000, 1.000, 0.877, 0.575),
}


def square(a, b, spacing=1.0, **kw):
    return hit_probability(a, b, line_spacing=spacing, station_spacing=spacing, **kw)


@pytest.mark.parametrize("k", [0.1, 0.25, 0.4, 0.5, 0.56, 0.6, 0.65, 0.7, 0.75])
def test_circle_on_a_square_grid_is_the_closed_formula(k):
    # area of a circle less the four segments that stick out of its cell; 1 above 1/sqrt(2)
    want = math.pi * k * k
    if k > 0.5:
        want -= 4 * (k * k * math.acos(1 / (2 * k)) - 0.5 * math.sqrt(k * k - 0.25))
    if k > math.sqrt(0.5):
        want = 1.0
    assert square(k, k) == pytest.approx(want, abs=1e-12)


@pytest.mark.published
def test_circle_of_gilbert_1987():
    # Gilbert 1987, Statistical Methods for Environmental Pollution Monitoring, chapter 10 (from
    # memory): circle, chance to miss 0.10 at L/G = 0.56; L = 100 cm needs G about 180 cm
    assert 1 - square(0.56, 0.56) == pytest.approx(0.10, abs=0.005)
    assert spacing_for_probability(0.90, 100, 100)[0] == pytest.approx(180, abs=2)


@pytest.mark.parametrize("size", RANDOM_DIRECTION)
def test_ellipse_of_unknown_direction(size):
    got = [square(size, size * ratio) for ratio in RATIOS]
    assert got == pytest.approx(RANDOM_DIRECTION[size], abs=0.003)


def test_rectangular_and_triangular_grids():
    # numerical integration, independent of this code
    grid = {"line_spacing": 1.0, "station_spacing": 2.0}
    assert hit_probability(1, 0.5, **grid, angle=0) == pytest.approx(0.7854, abs=1e-4)
    assert hit_probability(1, 0.5, **grid, angle=90) == pytest.approx(0.4783, abs=1e-4)
    assert hit_probability(1, 0.5, **grid) == pytest.approx(0.666, abs=1e-3)
    triangular = {"line_spacing": math.sqrt(3) / 2, "station_spacing": 1.0, "pattern": "staggered"}
    for r, want in {0.2: 0.1451, 0.4: 0.5804, 0.5: 0.9069, 0.55: 0.9905, 0.5774: 1.0}.items():
        assert hit_probability(r, r, **triangular) == pytest.approx(want, abs=1e-4)


@settings(max_examples=25, deadline=None)
@example(a=2.0, ratio=0.15, line=1.0, angle=0.0, staggered=False)
@given(
    a=st.floats(0.15, 2.0), ratio=st.floats(0.15, 1.0), line=st.floats(0.5, 2.0),
    angle=st.floats(0, 180), staggered=st.booleans(),
)  # fmt: skip
def test_formula_agrees_with_counting_bodies(a, ratio, line, angle, staggered):
    """The twin throws bodies on the grid and looks which hold a point."""
    pattern = "staggered" if staggered else "rectangular"
    want = hit_probability(
        a, a * ratio, line_spacing=line, station_spacing=1.0, pattern=pattern, angle=angle
    )
    rows = np.arange(-8, 14)
    x, y = np.meshgrid(np.arange(-6.0, 9.0), rows * line)
    x = x + 0.5 * (rows % 2)[:, None] * staggered
    # spread evenly but in no rows: rows of centres fall into step with a body along the lines
    centres = qmc.Halton(2, scramble=False).random(8192) * (1.0, 2 * line)
    got, _ = simulated_hit_probability(
        np.column_stack([x.ravel(), y.ravel()]), centres, a, a * ratio, azimuth=90 - angle
    )
    assert got == pytest.approx(want, abs=0.012)


@settings(max_examples=30, deadline=None)
@given(st.floats(10, 500), st.floats(0.1, 1.0), st.floats(0.2, 0.99), st.floats(0.5, 4.0))
def test_spacing_for_a_probability_gives_it_back(a, ratio, wanted, lines):
    line, station = spacing_for_probability(wanted, a, a * ratio, ratio=lines, angle=20.0)
    grid = {"angle": 20.0, "line_spacing": line, "station_spacing": station}
    assert hit_probability(a, a * ratio, **grid) == pytest.approx(wanted, abs=1e-4)
    # narrower in both directions; narrower lines alone may fall into step with a known direction
    grid["line_spacing"], grid["station_spacing"] = 0.9 * line, 0.9 * station
    assert hit_probability(a, a * ratio, **grid) >= wanted - 1e-9


@pytest.mark.published
def test_parallel_lines():
    # McCammon 1977, Mathematical Geology 9:369-382, as in Davis, Statistics and Data Analysis in
    # Geology, chapter 5: 2 sqrt((a^2 + b^2)/2)/D; circle 2r/D; line 2l/(pi D) (Buffon)
    assert line_hit_by_perimeter(300, 100, line_spacing=1000) == pytest.approx(0.4472, abs=1e-4)
    assert line_hit_probability(250, 250, line_spacing=1000) == pytest.approx(0.5, abs=1e-9)
    needle = line_hit_probability(250, 0, line_spacing=1000)
    assert needle == pytest.approx(2 * 500 / (math.pi * 1000), abs=1e-5)
    # the approximation reads high for elongate bodies and passes 1 for large ones
    assert line_hit_by_perimeter(300, 10, line_spacing=1000) > 1.05 * line_hit_probability(
        300, 10, line_spacing=1000
    )
    assert line_hit_probability(900, 900, line_spacing=1000) == 1.0


def test_bad_calls_are_sentences():
    with pytest.raises(WrongCall, match="width not larger than the length"):
        square(1, 2)
    with pytest.raises(WrongCall, match="line spacing must be above zero"):
        hit_probability(1, 1, line_spacing=0, station_spacing=1)
    with pytest.raises(WrongCall, match="between 0 and 1"):
        spacing_for_probability(1.0, 1, 1)
    with pytest.raises(WrongCall, match="Did you mean 'staggered'"):
        square(1, 1, pattern="stagered")
