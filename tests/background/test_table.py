import numpy as np
import pandas as pd
import pytest

from geochem.background import MedianMad, thresholds
from geochem.errors import WrongCall
from geochem.model import tables


@pytest.fixture
def plain():
    rng = np.random.default_rng(0)
    n = 120
    frame = pd.DataFrame(
        {
            "sample_id": [f"A{i:03d}" for i in range(n)],
            "unit": np.where(np.arange(n) < 70, "schist", "granite"),
            "horizon": np.where(np.arange(n) % 2, "A", "B"),
            "Zn_ppm": rng.lognormal(4, 0.3, n), "Cu_ppm": rng.lognormal(3, 0.3, n),
        }
    )  # fmt: skip
    frame.loc[3, "Cu_ppm"] = 500.0
    frame["Cu_ppm_below"] = np.arange(n) == 4
    frame.loc[4, "Cu_ppm"] = 900.0  # a limit far above the threshold
    return frame


def test_defaults_are_log_with_two_k(plain):
    got = thresholds(plain)
    assert list(got.columns) == list(tables.THRESHOLDS)
    assert got[["element", "k"]].to_numpy().tolist() == [
        ["Cu", 2.0], ["Cu", 3.0], ["Zn", 2.0], ["Zn", 3.0],
    ]  # fmt: skip
    assert (got["medium"] == "").all()
    assert (got["domain"] == "all").all()
    assert (got["transform"] == "log10").all()
    assert (got["sign"] == 1).all()
    assert (got["unit"] == "mg/kg").all()
    plain_fit = MedianMad(k=2, log=True).fit(plain["Zn_ppm"])
    assert got.loc[2, "value"] == plain_fit.value


def test_a_limit_never_counts_as_beyond(plain):
    got = thresholds(plain, "Cu", method=MedianMad(k=3, log=True))
    detected = plain.loc[~plain["Cu_ppm_below"], "Cu_ppm"]
    assert got.loc[0, "n_beyond"] == (detected >= got.loc[0, "value"]).sum() >= 1
    assert "1 values are undecided" in got.loc[0, "reason"]
    assert got.loc[0, "n_below"] == 1


def test_ready_object_and_options(plain):
    ready = thresholds(plain, ["Zn"], method=MedianMad(k=3))
    named = thresholds(plain, ["Zn"], method="median_mad", options={"k": 3})
    pd.testing.assert_frame_equal(ready, named)
    assert ready.loc[0, "transform"] == "none"


def test_groups(plain):
    got = thresholds(plain, ["Zn"], by="unit", options={"k": 2, "log": True})
    assert got["domain"].tolist() == ["granite", "schist"]
    assert got["n"].tolist() == [50, 70]
    both = thresholds(plain, ["Zn"], by=["unit", "horizon"], options={"k": 2, "log": True})
    assert both["domain"].tolist() == ["granite | A", "granite | B", "schist | A", "schist | B"]


def test_row_and_column_order_change_nothing(plain):
    mixed = plain.sample(frac=1, random_state=1)[plain.columns[::-1]]
    for method in ("median_mad", "probability_plot", "tukey_fence"):
        a = thresholds(plain, method=method, by="unit")
        b = thresholds(mixed, ["Zn", "Cu"], method=method, by="unit")
        pd.testing.assert_frame_equal(a, b, check_exact=True)


def test_input_is_left_alone(plain):
    before = plain.copy()
    thresholds(plain, by="unit")
    pd.testing.assert_frame_equal(plain, before)


def test_what_was_really_used_is_named(plain):
    plain["Au_ppm"] = np.where(np.arange(120) < 80, 0.01, np.linspace(0.01, 0.3, 120))
    plain["Au_ppm_below"] = np.arange(120) < 80
    got = thresholds(plain, ["Au"])
    assert got["method"].tolist() == ["percentile"]
    assert np.isnan(got.loc[0, "k"])
    assert "67 % of the values are below detection" in got.loc[0, "reason"]


def test_infill_does_not_lift_the_threshold(soil):
    wide, dense = soil(), soil(infill=150)
    a = thresholds(wide, ["Cu"])["value"]
    b = thresholds(dense, ["Cu"])["value"]
    c = thresholds(pd.DataFrame(dense.drop(columns="geometry")), ["Cu"])["value"]
    assert b[0] < 1.15 * a[0]
    assert c[0] > 5 * a[0]
    assert thresholds(wide, ["Cu"])["value"][0] == pytest.approx(
        thresholds(pd.DataFrame(wide.drop(columns="geometry")), ["Cu"])["value"][0]
    )


def test_empty_and_refused(plain):
    assert list(thresholds(plain.iloc[:0]).columns) == list(tables.THRESHOLDS)
    with pytest.raises(WrongCall, match="unknown element 'Cv'; possible: Cu, Zn"):
        thresholds(plain, ["Cv"])
    with pytest.raises(WrongCall, match=r"unknown column in 'by' 'units'.*Did you mean 'unit'"):
        thresholds(plain, by="units")
    with pytest.raises(WrongCall, match="median_madd"):
        thresholds(plain, method="median_madd")
    with pytest.raises(WrongCall, match="no option 'kk'"):
        thresholds(plain, options={"kk": 2})
    with pytest.raises(WrongCall, match="ready object"):
        thresholds(plain, method=MedianMad)
    with pytest.raises(WrongCall, match="set them when it is made"):
        thresholds(plain, method=MedianMad(), options={"k": 2})
