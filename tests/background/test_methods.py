import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem import plugins
from geochem.background import (
    AdjustedBoxplot,
    ConcentrationArea,
    ConcentrationNumber,
    ExtremeTail,
    MeanSd,
    MedianMad,
    Mixture,
    NaturalBreaks,
    Percentile,
    ProbabilityPlot,
    TukeyFence,
)
from geochem.background.guideline import Guideline
from geochem.errors import WrongCall

ALL = (
    AdjustedBoxplot, ConcentrationArea, ConcentrationNumber, ExtremeTail, MeanSd, MedianMad, Mixture,
    NaturalBreaks, Percentile, ProbabilityPlot, TukeyFence,
)  # fmt: skip


@pytest.mark.published
def test_worked_set_of_sixteen(sixteen):
    # arithmetic of the formulas in Reimann, Filzmoser & Garrett 2005
    assert MedianMad().fit(sixteen).value == pytest.approx(23.8782, abs=1e-9)
    assert MedianMad(k=3).fit(sixteen).value == pytest.approx(29.0673, abs=1e-9)
    assert MedianMad(k=2, log=True).fit(sixteen).value == pytest.approx(32.247994, abs=1e-6)
    assert TukeyFence().fit(sixteen).value == pytest.approx(30.125)
    assert TukeyFence(k=3).fit(sixteen).value == pytest.approx(41.75)
    assert MeanSd().fit(sixteen).value == pytest.approx(92.990016, abs=1e-6)
    assert MeanSd(log=True).fit(sixteen).value == pytest.approx(68.827067, abs=1e-6)
    unscaled = MedianMad(k=2, scaled=False).fit(sixteen).value
    assert unscaled == pytest.approx(13.5 + 2 * 5.1891 / 1.4826)


@pytest.mark.published
def test_meuse_zinc(meuse):
    # R: median, mad, quantile(type = 7), mean, sd on package sp's meuse
    zinc = meuse["zinc"]
    assert len(zinc) == 155
    assert MedianMad(k=2).fit(zinc).value == pytest.approx(824.1536, abs=1e-4)
    assert MeanSd().fit(zinc).value == pytest.approx(1203.864, abs=1e-3)
    assert TukeyFence().fit(zinc).value == pytest.approx(1389.25)


@pytest.mark.published
def test_jura_lead(jura):
    # Goovaerts 1997, Geostatistics for Natural Resources Evaluation, appendix C; thresholds by R
    # (median, mad, mean, sd, quantile(type = 7)) and robustbase::adjboxStats, medcouple 0.238395
    lead = jura["Pb"]
    assert len(lead) == 259
    assert MedianMad(k=2).fit(lead).value == pytest.approx(78.66, abs=0.005)
    assert MeanSd().fit(lead).value == pytest.approx(113.50, abs=0.005)
    assert TukeyFence().fit(lead).value == pytest.approx(96.22, abs=0.005)
    got = AdjustedBoxplot().fit(lead)
    assert got.value == pytest.approx(133.636, abs=0.01)
    assert got.details["medcouple"] == pytest.approx(0.238395, abs=1e-6)


@pytest.mark.published
def test_jura_beyond_the_guide_of_the_country(jura):
    # tolerable maxima of the Swiss guide as Goovaerts 1997 uses them [mg/kg] (from memory), and how
    # many of the 259 samples exceed them
    known = {"Cd": (0.8, 170), "Co": (25, 0), "Cr": (75, 0), "Cu": (50, 22), "Ni": (50, 1),
             "Pb": (50, 109), "Zn": (200, 1)}  # fmt: skip
    for element, (limit, beyond) in known.items():
        values = jura[element].to_numpy()
        got = Guideline(limit, "Swiss guide").fit(values)
        assert (values > got.value).sum() == beyond


def _two(n=5000, seed=0):
    rng = np.random.default_rng(seed)
    low = rng.random(n) < 0.8
    return np.exp(np.where(low, np.log(20), np.log(120)) + 0.4 * rng.standard_normal(n))


@pytest.mark.published
def test_two_populations():
    # Sinclair 1974 / 1976 partition: 99 % of the background 50.71752, 1 % of the upper population
    # 47.32092, equal density 55.44574
    x = _two(20000)
    got = ProbabilityPlot().fit(x)
    assert got.value == pytest.approx(50.71752, rel=0.04)
    assert got.low < got.value < got.high
    assert got.details["lower_edge"] == pytest.approx(47.32092, rel=0.05)
    assert got.details["intersection"] == pytest.approx(55.44574, rel=0.04)
    assert got.details["mixed_field"] == (got.details["lower_edge"], got.details["upper_edge"])
    assert [p["weight"] for p in got.details["populations"]] == pytest.approx([0.8, 0.2], abs=0.02)
    assert Mixture().fit(x).value == pytest.approx(55.44574, rel=0.04)
    # the useless one lies above the median of the anomalous population
    assert MeanSd(log=True).fit(x).value == pytest.approx(147.8, rel=0.05)


@pytest.mark.published
def test_concentration_area_of_two_power_laws():
    # Cheng, Agterberg & Ballantyne 1994: 100 (c/10)^-1 up to 100, 10 (c/100)^-2 above
    area = (np.arange(2000) + 0.5) / 20
    c = np.where(area > 10, 10 * (100 / area), 100 * np.sqrt(10 / area))
    got = ConcentrationArea().fit(c)
    assert got.value == pytest.approx(100, rel=0.05)
    assert got.details["slopes"] == pytest.approx([-1, -2], abs=0.08)
    assert got.low <= got.value <= got.high


def test_log_flags_two_percent_of_barren_ground():
    # raw values of barren lognormal ground are flagged at 9-15 %, logarithms at 2.3 %
    x = np.random.default_rng(2).lognormal(3, 0.6, 50000)
    assert np.mean(x >= MedianMad(k=2, log=True).fit(x).value) == pytest.approx(0.02275, abs=0.002)
    assert 0.07 < np.mean(x >= MedianMad(k=2).fit(x).value) < 0.16


@pytest.mark.parametrize("method", ALL, ids=lambda m: m.name)
class TestEveryMethod:
    def test_says_what_it_is(self, method):
        assert plugins.load("thresholds", method.name) is method
        assert method.summary
        assert method.reference
        assert isinstance(method.needs, tuple)
        plugins.options_of(method)

    def test_order_and_unit_change_nothing(self, method):
        x = _two(400, seed=3)
        w = np.random.default_rng(4).uniform(0.5, 1.5, 400)
        p = np.random.default_rng(5).permutation(400)
        a, b = method().fit(x, weights=w), method().fit(x[p], weights=w[p])
        assert (a.value, a.low, a.high) == (b.value, b.low, b.high)
        c = method().fit(x * 1e-3, weights=w)
        assert c.value == pytest.approx(a.value * 1e-3, rel=1e-3)

    def test_record(self, method):
        x = _two(400, seed=6)
        x[5] = np.nan
        got = method().fit(x)
        assert got.n_used == 399
        assert got.method == method.name
        assert got.low <= got.value <= got.high
        assert "Threshold" in repr(got)

    def test_nothing_detected(self, method):
        got = method().fit([5.0, 5.0, 8.0], below=[True, True, True])
        assert np.isnan(got.value)
        assert "below detection" in got.warnings[-1]
        assert np.isnan(method().fit([]).value)

    def test_constant_and_tiny_input_do_not_crash(self, method):
        for x in ([7.0] * 40, [3.0], [3.0, 4.0], [0.0, 1.0, -1.0, 5.0]):
            method().fit(x)

    def test_refuses(self, method):
        with pytest.raises(WrongCall, match="one dimension"):
            method().fit([[1.0, 2.0]])
        with pytest.raises(WrongCall, match="one per value"):
            method().fit([1.0, 2.0], below=[True])
        with pytest.raises(WrongCall, match="both below and above"):
            method().fit([1.0, 2.0], below=[True, False], above=[True, False])
        with pytest.raises(WrongCall, match="weight"):
            method().fit([1.0, 2.0], weights=[-1.0, 1.0])


class TestValidity:
    def test_above_40_percent_below(self):
        x = np.random.default_rng(0).lognormal(2, 0.5, 4000)
        limit = np.quantile(x, 0.6)
        got = MedianMad(k=2, log=True).fit(np.maximum(x, limit), below=x < limit)
        assert got.method == "percentile"
        assert got.parameters == {"q": 97.5, "of": "lognormal"}
        assert got.value == pytest.approx(np.exp(2 + 1.96 * 0.5), rel=0.05)
        assert "60 % of the values are below detection" in got.warnings[0]
        assert got.low < got.value < got.high

    def test_few_distinct_values_and_zero_spread(self):
        few = MedianMad(k=2).fit(list(range(1, 10)) * 9)
        assert few.method == "percentile"
        assert "9 distinct" in few.warnings[0]
        tied = MedianMad(k=2, log=True).fit([10.0] * 60 + list(range(11, 41)))
        assert tied.method == "percentile"
        assert "spread is zero" in tied.warnings[0]

    def test_two_values_leave_the_detected_ones(self):
        got = MedianMad(k=2).fit([5.0] * 20 + [7.0] * 3, below=[True] * 18 + [False] * 5)
        assert got.parameters["of"] == "detected"
        assert got.value == 7.0
        assert np.isnan(got.high)

    @pytest.mark.parametrize("share", [0.1, 0.25, 0.35])
    def test_limits_do_not_narrow_the_spread(self, share):
        x = np.random.default_rng(1).normal(2, 0.3, 20000)
        limit = np.quantile(x, share)
        got = MedianMad(k=2, log=True).fit(10 ** np.maximum(x, limit), below=x < limit)
        assert np.log10(got.value) == pytest.approx(2.6, abs=0.02)

    def test_limits_above_the_median(self):
        # half of the values come from a laboratory with a high limit
        x = np.random.default_rng(1).normal(2, 0.3, 20000)
        high = (np.arange(20000) % 4 == 0) & (x < 2.1)
        got = MedianMad(k=2, log=True).fit(10 ** np.where(high, 2.1, x), below=high)
        assert np.log10(got.value) == pytest.approx(2.6, abs=0.02)
        assert "Kaplan-Meier" in got.warnings[0]

    def test_percentile_among_limits(self):
        x = np.random.default_rng(0).lognormal(2, 0.5, 500)
        got = Percentile(q=60).fit(
            np.maximum(x, np.quantile(x, 0.8)), below=x < np.quantile(x, 0.8)
        )
        assert got.parameters["of"] == "lognormal"
        assert got.value == pytest.approx(np.quantile(x, 0.6), rel=0.15)

    def test_options_are_checked_when_used(self):
        with pytest.raises(WrongCall, match="'k' of 'median_mad' must lie between 0 and 100"):
            MedianMad(k=-1).fit([1.0, 2.0])
        with pytest.raises(WrongCall, match="'of'"):
            Percentile(of="halves").fit([1.0, 2.0])
        with pytest.raises(WrongCall, match="'breaks'"):
            ConcentrationArea(breaks=3).fit([1.0, 2.0])


@pytest.mark.parametrize("n", [40, 1000])
@pytest.mark.parametrize(
    "method", [MedianMad(k=2, log=True), TukeyFence(log=True), Percentile(q=90)]
)
def test_intervals_cover(method, n):
    truth = method.fit(np.random.default_rng(99).lognormal(2, 0.5, 200000)).value
    inside = 0
    for seed in range(120):
        got = method.fit(np.random.default_rng(seed).lognormal(2, 0.5, n))
        inside += got.low <= truth <= got.high
    assert 96 <= inside <= 119  # 90 % of 120 is 108


@given(st.lists(st.floats(0.01, 1e5), min_size=12, max_size=60), st.floats(0, 0.6))
@settings(max_examples=30, deadline=None)
def test_any_values_give_an_ordered_interval(values, share):
    x = np.array(values)
    below = np.arange(len(x)) < share * len(x)
    for method in (MedianMad(log=True), TukeyFence(log=True), ProbabilityPlot()):
        got = method.fit(x, below=below)
        if np.isfinite(got.low) and np.isfinite(got.high):
            assert got.low <= got.value <= got.high


def test_probability_plot_details_for_figures():
    got = ProbabilityPlot().fit(_two(6000))
    d = got.details
    assert len(d["log10"]) == len(d["normal_score"]) == len(d["probability"]) <= 2000
    assert (np.diff(d["normal_score"]) > 0).all()
    assert {"weight", "mean", "sd"} == set(d["populations"][0])
    assert d["location"] == d["populations"][d["background"]]["mean"]
