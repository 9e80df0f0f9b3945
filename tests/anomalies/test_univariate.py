"""z and probability: hand arithmetic, limits, fallbacks."""

import numpy as np
import pandas as pd
import pytest

from geochem.anomalies import univariate
from geochem.model import tables
from geochem.model.tables import Values


def make(rows=(), thresholds=()):
    return univariate.BackgroundTable(
        tables.conform(pd.DataFrame(list(rows)), tables.BACKGROUNDS),
        tables.conform(pd.DataFrame(list(thresholds)), tables.THRESHOLDS),
    )


def row(domain, location, scale, medium="soil", element="Cu"):
    return {"medium": medium, "domain": domain, "element": element, "location": location,
            "scale": scale}  # fmt: skip


def values(value, below=False, above=False, err=np.nan):
    v = np.atleast_1d(np.asarray(value, dtype=float))
    return Values(
        v, np.broadcast_to(below, v.shape), np.broadcast_to(above, v.shape),
        np.broadcast_to(float(err), v.shape),
    )  # fmt: skip


def where(domains, medium="soil"):
    return univariate.places(
        np.full(len(domains), medium, dtype=object), np.array(domains, dtype=object)
    )


def test_z_uses_the_own_domain_and_falls_back_on_the_whole():
    table = make([row("all", 1.0, 0.5), row("granite", 2.0, 0.25), row("basalt", 1.5, np.nan)])
    level = table.levels(where(["granite", "basalt", "schist", "all"]), "Cu")
    z = univariate.robust_z(values([1000.0] * 4), np.ones(4, bool), level)
    assert z == pytest.approx([4.0, 4.0, 4.0, 4.0])
    assert level.location.tolist() == [2.0, 1.0, 1.0, 1.0]


def test_below_detection_has_no_z_and_above_range_counts_as_its_limit():
    level = make([row("all", 1.0, 0.5)]).levels(where(["all"] * 3), "Cu")
    v = values([100.0, 100.0, 100.0], [True, False, False], [False, True, False])
    z = univariate.robust_z(v, np.array([True, True, False]), level)
    assert z == pytest.approx([np.nan, 2.0, np.nan], nan_ok=True)


def test_probability_is_a_half_at_the_threshold_and_follows_both_errors():
    t = {"medium": "soil", "domain": "all", "element": "Cu", "k": 2.0, "sign": 1, "value": 100.0,
         "low": 80.0, "high": 125.0, "unit": "mg/kg", "method": "median_mad"}  # fmt: skip
    level = make([row("all", 1.0, 0.5)], [t, {**t, "k": 3.0, "value": 300.0}]).levels(
        where(["all"] * 3), "Cu"
    )
    p = univariate.probability_beyond(
        values([100.0, 130.0, 70.0], err=10.0), np.ones(3, bool), level
    )
    from scipy.stats import norm

    sd_threshold = np.log10(125 / 80) / (2 * 1.6448536)
    expected = norm.cdf(np.log10(1.3) / np.hypot(sd_threshold, 10 / (130 * np.log(10))))
    assert p[0] == pytest.approx(0.5)
    assert p[1] == pytest.approx(expected, rel=1e-6)
    assert p[2] < 0.05


def test_without_any_error_the_probability_is_a_step():
    level = make([row("all", 1.0, 0.5)]).levels(where(["all"] * 2), "Cu")
    p = univariate.probability_beyond(values([99.0, 101.0]), np.ones(2, bool), level)
    assert p.tolist() == [0.0, 1.0]  # threshold from location + 2 scales: 100


def test_a_limit_above_the_threshold_is_undecided():
    level = make([row("all", 1.0, 0.5)]).levels(where(["all"] * 2), "Cu")
    p = univariate.probability_beyond(
        values([20.0, 500.0], below=True, err=5.0), np.ones(2, bool), level
    )
    assert p[0] == 0.0
    assert np.isnan(p[1])


def test_depletion_looks_downward():
    level = make([row("all", 2.0, 0.25)]).levels(where(["all"] * 3), "Mn", -1)
    assert np.isnan(level.threshold).all()  # no such element
    level = make([row("all", 2.0, 0.25, element="Mn")]).levels(where(["all"] * 3), "Mn", -1)
    v = values([10.0, 1000.0, 5.0], [False, False, True])
    p = univariate.probability_beyond(v, np.ones(3, bool), level, -1)
    assert p.tolist() == [1.0, 0.0, 1.0]


def test_rock_is_measured_by_the_spread_of_other_media():
    table = make(
        [row("all", 1.0, 0.4), row("all", 1.5, np.nan, "rock"),
         row("all", 0.0, np.nan, "rock", "Bi")]
    )  # fmt: skip
    assert table.levels(where(["all"], "rock"), "Cu").scale[0] == 0.4
    assert table.levels(where(["all"], "rock"), "Bi").scale[0] == univariate.USUAL_SPREAD
