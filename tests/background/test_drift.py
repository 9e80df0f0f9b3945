import numpy as np
import pandas as pd
import pytest

from geochem.background.contacts import contact_findings, near_contact
from geochem.background.data_groups import data_groups
from geochem.background.drift import regression_drift
from geochem.background.report import describe_background
from geochem.errors import WrongCall
from geochem.stats.robust_regression import huber_regression


def _scavenged(soil, seed=0):
    """Zinc follows iron with slope one; ten samples hold four times what iron explains."""
    frame = soil(20, seed=seed)
    frame["geology"] = "granite"
    rng = np.random.default_rng(seed)
    fe = 30000 * 10 ** (0.25 * rng.standard_normal(400))
    zn = 80 * fe / 30000 * 10 ** (0.06 * rng.standard_normal(400))
    rich = np.arange(400) % 40 == 7
    frame["Fe_ppm"], frame["Zn_ppm"] = fe, np.where(rich, 4 * zn, zn)
    for flag in ("below", "above"):
        frame[f"Fe_ppm_{flag}"] = False
    return frame, rich


@pytest.mark.published
def test_regression_as_statsmodels_does_it():
    # statsmodels RLM, HuberT(1.345), scale by MAD about zero
    import statsmodels.api as sm

    rng = np.random.default_rng(0)
    x = rng.standard_normal((300, 2))
    y = 1 + x @ [0.5, -2] + 0.3 * rng.standard_normal(300)
    y[:20] += 10
    got = huber_regression(x, y)
    other = sm.RLM(y, sm.add_constant(x), M=sm.robust.norms.HuberT(1.345)).fit(
        maxiter=200, tol=1e-12
    )
    assert (got.intercept, *got.slopes) == pytest.approx(other.params, abs=2e-3)
    assert np.abs(got.slopes - [0.5, -2]).max() < 0.06
    assert np.abs(sm.OLS(y, sm.add_constant(x)).fit().params[0] - 1) > 0.4


def test_residual_threshold_finds_what_iron_hides(soil):
    frame, rich = _scavenged(soil)
    own = {"Zn": {"on": ["Fe"], "reason": "hydrous iron oxides take up zinc"}}
    plain = describe_background(frame, ["Zn"])
    got = describe_background(frame, ["Zn"], per_element=own)
    threshold = got.threshold_records["soil", "all", "Zn"].value
    local = threshold * 10 ** got.shifts["Zn"]
    zn = frame.sort_values("sample_id")["Zn_ppm"].to_numpy()
    flagged = zn >= local
    assert flagged[rich].all()
    assert flagged[~rich].mean() < 0.05
    raw = zn >= plain.threshold_records["soil", "all", "Zn"].value
    assert raw[rich].mean() < 0.8
    row = got.thresholds.iloc[0]
    assert "Robust regression of log10 Zn on Fe" in row["reason"]
    assert "hydrous iron oxides" in row["reason"]
    assert row["n_beyond"] == flagged.sum()
    # nothing changes without being asked
    assert not plain.shifts


def test_predictors_of_the_association_are_left_out(soil):
    frame, _ = _scavenged(soil)
    own = {"Zn": {"on": ["Fe"], "reason": "x"}}
    got = describe_background(frame, ["Zn"], per_element=own, excluded=["Fe", "Zn"])
    assert not got.shifts
    assert "predictor-left-out" in [f.code for f in got.findings]
    with pytest.raises(WrongCall, match="give the 'reason'"):
        describe_background(frame, ["Zn"], per_element={"Zn": {"on": ["Fe"]}})
    with pytest.raises(WrongCall, match="not both"):
        describe_background(frame, ["Zn"], per_element={"Zn": {"on": ["Fe"], "window": 50}})
    with pytest.raises(WrongCall, match="regressed on itself"):
        regression_drift(frame, "Zn", ["Zn"])
    with pytest.raises(WrongCall, match="unknown predictor 'Fee'"):
        regression_drift(frame, "Zn", ["Fee"])
    few = regression_drift(frame.iloc[:25], "Zn", ["Fe"])
    assert few.findings[0].code == "regression-not-made"
    assert not few.shift.any()


def test_moving_window_follows_the_ground(soil):
    frame = soil(20)
    frame["geology"] = "granite"
    slope = (frame.geometry.x - frame.geometry.x.min()) / 4000
    frame["Zn_ppm"] *= 10**slope
    own = {"Zn": {"window": 40, "reason": "no map, gentle drift"}}
    got = describe_background(frame, ["Zn"], per_element=own)
    assert (
        np.corrcoef(got.shifts["Zn"], frame.sort_values("sample_id")["Zn_ppm"].map(np.log))[0, 1]
        > 0.8
    )
    assert got.backgrounds["scale"].iloc[0] < 0.17
    assert describe_background(frame, ["Zn"]).backgrounds["scale"].iloc[0] > 0.25


def test_background_pinned_to_the_first_stage(soil):
    frame = soil(infill=200)
    frame["stage"] = np.where(np.arange(len(frame)) < 144, "Reconnaissance", "infill")
    first = describe_background(frame.iloc[:144], ["Cu"])
    got = describe_background(frame, ["Cu"], pin_stage="reconnaissance")
    free = describe_background(frame, ["Cu"])
    a = first.backgrounds.set_index("domain")["location"]
    b = got.backgrounds.set_index("domain")["location"]
    assert np.abs(a - b).max() < 0.02
    assert len(got.domains) == 344
    assert free.backgrounds.set_index("domain").loc["granite", "n"] > 200
    assert got.backgrounds.set_index("domain").loc["granite", "n"] == 96
    assert "background-pinned" in [f.code for f in got.findings]
    none = describe_background(frame, ["Cu"], pin_stage="orientation")
    assert "background-not-pinned" in [f.code for f in none.findings]
    pd.testing.assert_frame_equal(none.backgrounds, free.backgrounds)


def test_contacts(soil):
    import geopandas as gpd
    from shapely.geometry import box

    frame = soil()
    units = gpd.GeoDataFrame(
        {"unit": ["granite", "basalt", "granite"]},
        geometry=[box(499_000, 7_499_000, 501_500, 7_504_000),
                  box(501_500, 7_499_000, 504_000, 7_504_000),
                  box(499_000, 7_504_000, 504_000, 7_506_000)], crs=frame.crs,
    )  # fmt: skip
    flag = near_contact(frame, units, "unit", 150.0)
    assert set(frame.geometry.x[flag]) == {501_400.0, 501_600.0}
    got = describe_background(frame, ["Cu"], near_contact=flag)
    assert got.domains["near_contact"].sum() == flag.sum() == 24
    assert (
        "24 samples lie within 150 m" in contact_findings(frame["sample_id"], flag, 150)[0].message
    )
    assert not near_contact(frame, units, "unit", 50.0).any()


def test_groups_from_the_data():
    from types import SimpleNamespace

    rng = np.random.default_rng(0)
    kind = np.repeat([0, 1], [120, 60])
    scores = rng.normal(0, 0.3, (180, 3)) + kind[:, None] * 3.0
    ids = [f"S{i:03d}" for i in range(180)]
    made = [SimpleNamespace(sample_id=np.array(ids, dtype=object), scores=scores)]
    got = data_groups([*ids, "X"], made, 2)
    assert set(got[:120]) == {"group 1"}
    assert set(got[120:180]) == {"group 2"}
    assert got[-1] == "not grouped"
    p = rng.permutation(180)
    mixed = [SimpleNamespace(sample_id=np.array(ids, dtype=object)[p], scores=scores[p])]
    assert (data_groups([*ids, "X"], mixed, 2) == got).all()
    with pytest.raises(WrongCall, match="2 to 12"):
        data_groups(ids, made, 1)
