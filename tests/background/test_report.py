import numpy as np
import pandas as pd
import pytest

from geochem.background.report import describe_background
from geochem.elements import crustal_abundance
from geochem.errors import WrongCall
from geochem.model import tables
from geochem.model.layers import Spacing


def _background(report, domain, element):
    b = report.backgrounds
    return b[(b["domain"] == domain) & (b["element"] == element)].iloc[0]


def test_contract(soil):
    frame = soil()
    before = frame.copy()
    got = describe_background(frame, ["Zn", "Cu"])
    pd.testing.assert_frame_equal(pd.DataFrame(frame), pd.DataFrame(before))
    assert list(got.backgrounds.columns) == list(tables.BACKGROUNDS)
    assert list(got.thresholds.columns) == list(tables.THRESHOLDS)
    columns = ["sample_id", "medium", "domain", "weight", "near_contact"]
    assert list(got.domains.columns) == columns
    assert got.domains["sample_id"].tolist() == sorted(frame["sample_id"])
    assert got.domains["weight"].mean() == pytest.approx(1)
    assert set(got.domains["domain"]) == {"granite", "basalt"}
    pairs = set(zip(got.backgrounds["domain"], got.backgrounds["element"], strict=True))
    assert pairs == {(d, e) for d in ("all", "granite", "basalt") for e in ("Cu", "Zn")}
    assert set(got.probability_plots) == {("soil", "Cu"), ("soil", "Zn")}
    record = got.threshold_records["soil", "granite", "Cu"]
    row = got.thresholds.query("domain == 'granite' and element == 'Cu' and k == 2").iloc[0]
    assert record.value == row["value"]


def test_threshold_and_z_mean_the_same(soil):
    got = describe_background(soil(), ["Cu"])
    for domain in ("all", "granite", "basalt"):
        b = _background(got, domain, "Cu")
        for k in (2, 3):
            row = got.thresholds.query(f"domain == '{domain}' and k == {k}").iloc[0]
            assert np.log10(row["value"]) == pytest.approx(b["location"] + k * b["scale"])
    granite = _background(got, "granite", "Cu")
    assert granite["location"] == pytest.approx(3.0 / np.log(10), abs=0.05)
    assert granite["scale"] == pytest.approx(0.3 / np.log(10), rel=0.25)


def test_infill_does_not_lift_the_background(soil):
    clean, dense = soil(), soil(infill=200)
    grid = (Spacing("soil", "", 144, 200.0, 200.0, 200.0, 0.0, True, 5.8),)
    a = _background(describe_background(clean, ["Cu"], spacings=grid), "granite", "Cu")
    b = _background(describe_background(dense, ["Cu"], spacings=grid), "granite", "Cu")
    assert abs(b["location"] - a["location"]) < 0.05
    assert b["scale"] < 1.25 * a["scale"]


def test_lines_and_stations_of_an_even_grid_weigh_the_same(soil):
    frame = soil()
    turn = np.deg2rad(30)
    along, across = np.meshgrid(np.arange(12) * 50.0, np.arange(12) * 200.0)
    x = along * np.sin(turn) + across * np.cos(turn)
    y = along * np.cos(turn) - across * np.sin(turn)
    import geopandas as gpd

    frame = frame.set_geometry(gpd.points_from_xy(x.ravel(), y.ravel()), crs=frame.crs)
    grid = (Spacing("soil", "", 144, 50.0, 200.0, 50.0, 30.0, True, 1.4),)
    got = describe_background(frame, ["Cu"], spacings=grid)
    assert got.domains["weight"].to_numpy() == pytest.approx(np.ones(144))


def test_small_domains_lean_on_their_parent(soil):
    frame = soil()
    frame["geology"] = np.where(np.arange(144) < 20, "schist", "granite")
    frame["regolith"] = "residual"
    got = describe_background(frame, ["Zn"])
    own = frame.iloc[:20]["Zn_ppm"]
    small, whole = _background(got, "schist", "Zn"), _background(got, "all", "Zn")
    location = np.median(np.log10(own))
    scale = 1.4826 * np.median(np.abs(np.log10(own) - location))
    # 20 values: half way between 10 and 30
    assert small["location"] == pytest.approx((location + whole["location"]) / 2, abs=1e-9)
    assert small["scale"] == pytest.approx((scale + whole["scale"]) / 2, abs=1e-9)
    assert small["pooled_with"] == "all"
    assert "50 % own" in small["reason"]
    row = got.thresholds.query("domain == 'schist' and k == 2").iloc[0]
    assert np.log10(row["value"]) == pytest.approx(small["location"] + 2 * small["scale"])
    assert row["n"] == 20


def test_an_element_measured_in_few_samples_takes_the_parent(soil):
    frame = soil()
    frame["Au_ppm"] = np.nan
    frame.loc[::8, "Au_ppm"] = np.random.default_rng(0).lognormal(-6, 0.5, 18)
    got = describe_background(frame, ["Au"])
    basalt, whole = _background(got, "basalt", "Au"), _background(got, "all", "Au")
    assert basalt["n"] < 10
    assert basalt["location"] == whole["location"]
    assert basalt["pooled_with"] == "all"


def test_mostly_below_detection_uses_the_censored_fit(soil):
    frame = soil()
    rng = np.random.default_rng(0)
    x = rng.lognormal(1, 0.5, 144)
    limit = np.quantile(x, 0.55)
    frame["As_ppm"], frame["As_ppm_below"] = np.maximum(x, limit), x < limit
    got = describe_background(frame, ["As"])
    b = _background(got, "all", "As")
    assert b["method"] == "censored_lognormal"
    assert b["location"] == pytest.approx(1 / np.log(10), abs=0.06)
    assert b["scale"] == pytest.approx(0.5 / np.log(10), rel=0.25)
    row = got.thresholds.query("domain == 'all'").iloc[0]
    assert row["method"] == "percentile"


def test_a_mineralised_unit_is_called_out(soil):
    frame = soil()
    rich = frame["geology"] == "basalt"
    frame.loc[rich, "Cu_ppm"] *= 8
    got = describe_background(frame, ["Cu", "Zn"])
    found = {f.code: f for f in got.findings}
    assert "Cu" in found["domain-mostly-anomalous"].message
    assert "basalt" in found["domain-and-survey-disagree"].message
    assert "Zn" not in found["domain-mostly-anomalous"].message


def test_rock_is_compared_with_the_crust_and_others_are_mapped_only(soil):
    frame = soil()
    frame.loc[:9, "medium"] = "rock"
    frame.loc[10:14, "medium"] = "vegetation"
    got = describe_background(frame, ["Cu"])
    rock = got.backgrounds[got.backgrounds["medium"] == "rock"].iloc[0]
    assert rock["method"] == "crustal_abundance"
    assert 10 ** rock["location"] == pytest.approx(28)
    assert np.isnan(rock["scale"])
    assert set(got.domains["medium"]) == set(got.thresholds["medium"]) == {"soil"}
    assert len(got.domains) == 129
    assert any(f.code == "medium-without-background" for f in got.findings)


def test_row_order_changes_nothing(soil):
    frame = soil(infill=20)
    mixed = frame.sample(frac=1, random_state=2)
    a, b = describe_background(frame, None), describe_background(mixed, ["Zn", "Cu"])
    pd.testing.assert_frame_equal(a.backgrounds, b.backgrounds, check_exact=True)
    pd.testing.assert_frame_equal(a.thresholds, b.thresholds, check_exact=True)
    pd.testing.assert_frame_equal(a.domains, b.domains, check_exact=True)
    assert [f.message for f in a.findings] == [f.message for f in b.findings]


def test_options_per_element(soil):
    own = {"Cu": {"method": "percentile", "options": {"q": 90}}}
    got = describe_background(soil(), None, options={"k": 2.5}, per_element=own)
    cu = got.thresholds[got.thresholds["element"] == "Cu"]
    zn = got.thresholds[got.thresholds["element"] == "Zn"]
    assert set(cu["method"]) == {"percentile"}
    assert set(zn["k"]) == {2.5}
    assert set(zn["transform"]) == {"log10"}
    with pytest.raises(WrongCall, match="unknown keys methd"):
        describe_background(soil(), None, per_element={"Cu": {"methd": "percentile"}})


def test_a_chosen_threshold_stands_everywhere(soil):
    own = {"Cu": {"value": 120, "method": "percentile", "reason": "limit of the orientation work"}}
    got = describe_background(soil(), None, per_element=own)
    cu = got.thresholds[got.thresholds["element"] == "Cu"]
    assert cu["domain"].tolist() == ["all", "basalt", "granite"]
    assert set(cu["method"]) == {"chosen"}
    assert set(cu["value"]) == {120.0}
    assert cu[["low", "high", "k"]].isna().all(axis=None)
    assert cu["reason"].str.contains("Chosen by the user: limit of the orientation work.").all()
    inside = soil()["Cu_ppm"] >= 120
    assert cu["n_beyond"].iloc[0] == inside.sum()
    # scores keep the background of the values, only the threshold is the user's
    usual = describe_background(soil(), None)
    pd.testing.assert_frame_equal(got.backgrounds, usual.backgrounds)
    assert [(f.code, f.severity) for f in got.findings if f.element == "Cu"] == [
        ("threshold-chosen", "note")
    ]
    silent = describe_background(soil(), ["Cu"], per_element={"Cu": {"value": 120.0}})
    assert next(f for f in silent.findings if f.code == "threshold-chosen").severity == "warning"
    for bad in ({"value": -1}, {"value": True}, {"reason": "because"}):
        with pytest.raises(WrongCall, match=r"background\.element\.Cu"):
            describe_background(soil(), ["Cu"], per_element={"Cu": bad})


def test_a_threshold_may_be_chosen_for_one_medium(soil):
    both = pd.concat(
        [soil(), soil().assign(medium="till", sample_id=lambda t: "T" + t["sample_id"])],
        ignore_index=True,
    )
    own = {"Cu": {"values": {"till": 90.0, "clay": 5.0}, "reason": "orientation"}}
    got = describe_background(both, ["Cu"], per_element=own)
    usual = describe_background(both, ["Cu"])
    by = dict(iter(got.thresholds.groupby("medium")))
    assert set(by["till"]["value"]) == {90.0}
    same = usual.thresholds[usual.thresholds["medium"] == "soil"]
    assert by["soil"]["value"].tolist() == same["value"].tolist()
    assert by["soil"]["reason"].tolist() == same["reason"].tolist()
    codes = {f.code: f.message for f in got.findings if f.element == "Cu"}
    assert "90 mg/kg in till" in codes["threshold-chosen"]
    assert "clay, which no sample is" in codes["threshold-medium-unknown"]


def test_the_assay_comes_from_one_place(soil):
    frame = soil()
    frame["Cu_ppm__xrf"] = frame["Cu_ppm"]
    assert set(describe_background(frame, ["Cu"]).thresholds["assay"]) == {"xrf"}
    analytes = pd.DataFrame(
        {"medium": "soil", "element": "Cu", "assay": ["xrf", "lab"], "accepted": [False, True]}
    )
    known = describe_background(frame, ["Cu"], analytes=analytes)
    assert set(known.thresholds["assay"]) == set(known.backgrounds["assay"]) == {"lab"}


def test_nothing_to_describe(soil):
    got = describe_background(soil().iloc[:0], ["Cu"])
    assert len(got.domains) == len(got.backgrounds) == len(got.thresholds) == 0


@pytest.mark.published
def test_crustal_abundance():
    # Rudnick & Gao 2003; La, Th, Al2O3 15.40 % and K2O 2.80 % repeated by Hu & Gao 2008
    crust = crustal_abundance()
    assert (crust["La"], crust["Th"], crust["Cu"]) == (31, 10.5, 28)
    assert crust["Al"] == pytest.approx(81510, rel=1e-3)
    assert crust["K"] == pytest.approx(23240, rel=1e-3)
