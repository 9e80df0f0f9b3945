import importlib
from dataclasses import replace

import numpy as np
import pytest
import shapely


def test_baseline_draws_a_hull_around_what_is_high(yardsticks):
    rng = np.random.default_rng(1)
    x, y = (g.ravel() for g in np.meshgrid(np.arange(0, 6000, 200.0), np.arange(0, 4000, 100.0)))
    value = rng.normal(100, 10, (len(x), 3))
    inside = np.hypot(x - 2000, y - 1500) < 450
    # one element alone is not enough, and other elements do not count
    value[inside, 0] += 100
    assert yardsticks.baseline(x, y, value, ("Cu", "Zn", "Pb")) == []
    value[inside, 1] += 100
    (hull,) = yardsticks.baseline(x, y, value, ("Cu", "Zn", "Pb"))
    assert 0.3e6 < hull.area < 0.7e6
    assert hull.centroid.distance(shapely.Point(2000, 1500)) < 120
    assert yardsticks.baseline(x, y, value, ("Cu", "Rb", "Pb")) == []


def test_baseline_threshold_is_median_and_mad_of_raw_values(yardsticks):
    # 1.4826: scaling of the MAD to a normal standard deviation (Rousseeuw and Croux 1993)
    n = 21
    x, y = np.zeros(n), np.arange(n) * 20.0
    x[::2] = 20.0
    base = np.arange(n, dtype=float)
    limit = 10 + 2 * 1.4826 * 6
    for top, found in ((limit - 0.01, 0), (limit + 0.01, 1)):
        value = np.column_stack([base, base])
        value[-6:] = top
        # the median is 10 and the MAD 6 while the six largest are above both
        got = yardsticks.baseline(x, y, value, ("Cu", "Zn"), fewest=3)
        assert len(got) == found


@pytest.fixture(scope="module")
def quiet(simulator):
    """A small tuning ground with two bodies of twice the usual strength."""
    settings = simulator.NAMED["tuning-eight-deposits"]
    bodies = tuple(replace(b, strength=2 * b.strength) for b in settings.bodies[:3:2])
    return simulator.simulate(
        replace(
            settings,
            seed=5,
            length=6000.0,
            width=5000.0,
            bodies=bodies,
            false_bodies=settings.false_bodies[:1],
            intrusions=settings.intrusions[:1],
        )
    )


def test_informed_filter_finds_what_it_is_told_about(simulator, yardsticks, scoring, quiet):
    truth, area = simulator.truth_frame(quiet), simulator.surveyed_area(quiet)
    noise_free = simulator.noise_free_values(quiet)
    found = yardsticks.informed_filter(simulator, quiet, noise_free, wanted=3)
    assert scoring.score_outlines(found, truth, area)["recall"] == 1.0
    # the same with the values dealt to other places finds nothing but by chance
    shuffled = np.random.default_rng(0).permutation(noise_free)
    found = yardsticks.informed_filter(simulator, quiet, shuffled, wanted=3)
    assert scoring.score_outlines(found, truth, area)["recall"] <= 0.5


def test_informed_filter_of_barren_ground_has_nothing_to_look_for(simulator, yardsticks, quiet):
    barren = replace(quiet, settings=replace(quiet.settings, bodies=()))
    assert yardsticks.informed_filter(simulator, barren, simulator.noise_free_values(quiet)) == []


def test_one_campaign_of_either_kind_is_neither_trivial_nor_hopeless(
    simulator, yardsticks, scoring
):
    # the noise-free filter must see most of what the glued baseline cannot tell apart
    campaign = simulator.simulate(replace(simulator.NAMED["reporting-eight-deposits"], seed=1001))
    truth, area = simulator.truth_frame(campaign), simulator.surveyed_area(campaign)
    _, easting, northing = simulator.sample_points(campaign)
    value, _ = simulator.measured_values(campaign)
    hulls = yardsticks.baseline(easting, northing, value, campaign.settings.elements)
    glued = scoring.score_outlines(hulls, truth, area)
    told = scoring.score_outlines(
        yardsticks.informed_filter(simulator, campaign, simulator.noise_free_values(campaign)),
        truth, area,
    )  # fmt: skip
    assert told["recall"] >= 0.75
    assert glued["recall"] < told["recall"]
    assert 5 < glued["area_km2"] < 70


@pytest.mark.slow
@pytest.mark.parametrize("name", ["tuning-eight-deposits", "reporting-eight-deposits"])
def test_ground_is_as_hard_as_it_should_be(simulator, yardsticks, scoring, name):
    rows = []
    for seed in range(1000, 1020):
        campaign = simulator.simulate(replace(simulator.NAMED[name], seed=seed))
        truth, area = simulator.truth_frame(campaign), simulator.surveyed_area(campaign)
        _, easting, northing = simulator.sample_points(campaign)
        value, _ = simulator.measured_values(campaign)
        outlines = {
            "baseline": yardsticks.baseline(easting, northing, value, campaign.settings.elements),
            "measured": yardsticks.informed_filter(simulator, campaign, value),
            "noise-free": yardsticks.informed_filter(
                simulator, campaign, simulator.noise_free_values(campaign)
            ),
        }
        for method, shapes in outlines.items():
            scores = scoring.score_outlines(shapes, truth, area)
            rows.append({"settings": name, "method": method, "seed": seed, **scores})
    mean = scoring.summarise(rows).set_index(["method", "measure"])["mean"]
    assert 0.25 <= mean["baseline", "recall"] <= 0.6
    assert 16 <= mean["baseline", "area_km2"] <= 34
    assert 0.6 <= mean["measured", "recall"] <= 0.75
    # 0.9-1.0 is meant; the mean of 20 campaigns has an error of 0.02
    assert 0.88 <= mean["noise-free", "recall"] <= 1.0


def test_truth_tables_say_what_was_planted(simulator, quiet):
    truth = simulator.truth_frame(quiet)
    assert set(truth["kind"]) == {"mineralisation", "false body"}
    assert {"ironstone", "black shale", "tailings"} <= set(truth["association"])
    mine = truth[truth["kind"] == "mineralisation"]
    assert len(mine) == 2
    share = mine["core"].area / mine.geometry.area
    assert np.allclose(share, simulator.HALF**2, rtol=0.01)
    spoilt = simulator.spoilt_batches(quiet)
    assert set(spoilt["cause"]) == {"out of order", "contaminated"}
    assert set(spoilt["batch"]) <= set(quiet.readings.table["batch"])
    deposits = importlib.import_module(f"{simulator.__name__}.deposits")
    r = np.array([simulator.HALF])
    assert deposits.shape(r, deposits.Zone(2.0))[0] == pytest.approx(0.5)
