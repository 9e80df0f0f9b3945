from math import factorial

import numpy as np
import pytest
from scipy.stats import norm

from geochem.stats.control_chart import (
    NELSON_CHANCE,
    WESTGARD_CHANCE,
    expected_false_alarms,
    individuals_sigma,
    nelson,
    own_chart,
    westgard,
)


def where(flags):
    return [int(i) for i in np.flatnonzero(flags)]


@pytest.mark.published
@pytest.mark.parametrize(
    ("z", "rule", "at"),
    [
        ([0.5, -1, 2.1, 2.3, 0.1], "2-2s", [3]),
        ([0, 3.2], "1-3s", [1]),
        ([2.2, -2.1], "R-4s", [1]),
        ([1.1, 1.2, 1.5, 1.3], "4-1s", [3]),
        ([0.2] * 10, "10-x", [9]),
    ],
)
def test_westgard_rules(z, rule, at):
    # Rules: Westgard et al. 1981, Clinical Chemistry 27:493-501; series follow from the rules.
    assert where(westgard(z)[rule]) == at


@pytest.mark.published
@pytest.mark.parametrize(
    ("z", "rule", "at"),
    [
        ([0, 3.2], 1, [1]),
        ([0.2] * 9, 2, [8]),
        ([0, 0.1, 0.2, 0.3, 0.4, 0.5], 3, [5]),
        ([0.5, -0.5] * 7, 4, [13]),
        ([2.5, 0, 2.5], 5, [2]),
        ([1.5, 0, 1.5, 1.5, 1.5], 6, [4]),
        ([0.3, -0.3] * 7 + [0.3], 7, [14]),
        ([1.5, -1.5] * 4, 8, [7]),
    ],
)
def test_nelson_rules(z, rule, at):
    # Nelson 1984, Journal of Quality Technology 16:237-239; series follow from the rules.
    assert where(nelson(z)[rule]) == at


def test_nelson_4_does_not_need_the_centre():
    assert where(nelson(np.array([0.5, 0.4] * 7) + 3)[4]) == [13]


def test_r4s_looks_within_one_run():
    assert where(westgard([2.2, -2.1], ["monday", "tuesday"])["R-4s"]) == []


@pytest.mark.published
def test_false_alarm_chances():
    # Arithmetic of the normal distribution.
    assert WESTGARD_CHANCE["1-2s"] == pytest.approx(2 * norm.sf(2), abs=1e-9)
    assert WESTGARD_CHANCE["1-3s"] == pytest.approx(2 * norm.sf(3), abs=1e-9)
    assert WESTGARD_CHANCE["2-2s"] == pytest.approx(2 * norm.sf(2) ** 2, abs=1e-9)
    assert WESTGARD_CHANCE["4-1s"] == pytest.approx(2 * norm.sf(1) ** 4, abs=1e-9)
    assert expected_false_alarms([370.4])["1-3s"] == pytest.approx(1.0, abs=1e-4)


@pytest.mark.published
def test_false_alarm_chances_of_nelson():
    # Arithmetic: runs of fair coins, normal tails, binomial windows; the share of alternating
    # permutations of 14 is 2 E14 / 14! with the secant number E14 = 199360981.
    p1, p2 = norm.sf(1), norm.sf(2)
    expected = {
        "N1": 2 * norm.sf(3), "N2": 2 / 2**9, "N3": 2 / 720, "N4": 2 * 199360981 / factorial(14),
        "N5": 2 * p2 * (1 - (1 - p2) ** 2), "N6": 2 * p1**4 * (4 - 3 * p1),
        "N7": (1 - 2 * p1) ** 15, "N8": (2 * p1) ** 8,
    }  # fmt: skip
    for rule, chance in expected.items():
        assert NELSON_CHANCE[rule] == pytest.approx(chance, rel=1e-6), rule
    assert NELSON_CHANCE["N8"] == pytest.approx(0.00010278, abs=1e-8)


def test_nelson_rings_as_often_as_expected():
    z = np.random.default_rng(2).standard_normal(400_000)
    for rule, flags in nelson(z).items():
        chance = NELSON_CHANCE[f"N{rule}"]
        # Runs come in clumps, so the count scatters more than a Poisson one.
        assert flags.mean() == pytest.approx(chance, abs=5 * np.sqrt(3 * chance / len(z))), rule


def test_alarms_come_as_often_as_expected():
    rng = np.random.default_rng(1)
    z = rng.standard_normal(1_000_000)
    expected = expected_false_alarms([len(z)])
    for rule, flags in westgard(z).items():
        assert flags.sum() == pytest.approx(expected[rule], rel=0.12), rule


@pytest.mark.published
def test_individuals_sigma():
    # d2 = 1.128 for ranges of two: standard table of control-chart constants (from memory).
    assert individuals_sigma([10, 12, 11, 15]) == pytest.approx((2 + 1 + 4) / 3 / 1.128)


def test_own_chart_is_not_moved_by_one_bad_batch():
    rng = np.random.default_rng(2)
    x = rng.normal(100, 3, 32)
    x[12:16] *= 1.28
    chart = own_chart(x, np.repeat(np.arange(8), 4))
    assert chart.centre == pytest.approx(100, abs=2)
    assert 2 < chart.spread < 4.5
    assert chart.n_batches == 8


def test_own_chart_two_batches():
    x, batch = [100, 101, 99, 128, 127, 129], ["a", "a", "a", "b", "b", "b"]
    assert own_chart(x, batch).centre == pytest.approx(100)
    assert own_chart(x, batch, anchor=130, anchor_tolerance=0.2).centre == pytest.approx(128)
    assert own_chart([100, 101, 102, 101], ["a", "a", "b", "b"], floor=1).centre == pytest.approx(
        101
    )


def test_own_chart_one_reading_takes_the_floor():
    chart = own_chart([50.0], ["a"], floor=1.0)
    assert (chart.centre, chart.spread) == (50.0, 1.0)
