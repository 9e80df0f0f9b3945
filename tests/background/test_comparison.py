import numpy as np
import pandas as pd
import pytest

from geochem.background import Guideline, MedianMad, compare
from geochem.background.comparison import VARIANTS
from geochem.errors import WrongCall
from geochem.model import tables


def _plain(n=1500, rich=0, seed=0):
    rng = np.random.default_rng(seed)
    x = rng.lognormal(3, 0.35, n)
    if rich:
        x[:rich] = rng.lognormal(5.5, 0.4, rich)
    return pd.DataFrame({"Cu_ppm": x, "Zn_ppm": rng.lognormal(4, 0.3, n)})


def test_every_method_says_the_same_things():
    got = compare(_plain(rich=60), "Cu", bootstrap=0)
    assert list(got.table.columns) == list(tables.COMPARISON)
    assert [v[0] for v in VARIANTS if v[1] != "moving_window"] == [
        label for label in got.table["label"] if "population" not in label
    ]  # fmt: skip
    for row in got.table.itertuples():
        x = got.values
        assert row.n_above == (x >= row.value).sum()
        assert row.share == pytest.approx(row.n_above / 1500)
        assert row.scale in ("raw", "log")
        assert row.reference
    assert (got.table["low"] <= got.table["value"]).sum() >= 14
    assert "recommended" in repr(got)
    # a method that stands in for another is not counted as valid
    assert not got.table.set_index("label").loc["mean + 2 SD, log", "valid"]


def test_recommends_by_stated_rules():
    clear = compare(_plain(rich=60), "Cu", bootstrap=0)
    assert clear.recommended == "probability plot"
    assert "upper population of about 6" in clear.reason
    assert compare(_plain(), "Cu", bootstrap=0).recommended == "median + 2 MAD, log"
    two = compare(_plain(rich=600), "Cu", bootstrap=0)
    assert two.recommended == "median + 2 MAD, log"
    assert "of two kinds" in two.reason
    hidden = _plain()
    hidden["Cu_ppm_below"] = hidden["Cu_ppm"] < 22
    hidden.loc[hidden["Cu_ppm_below"], "Cu_ppm"] = 22.0
    assert "below detection" in compare(hidden, "Cu", bootstrap=0).reason
    coarse = _plain()
    coarse["Cu_ppm"] = np.maximum((coarse["Cu_ppm"] / 4).round(), 1) * 4.0
    assert "rounded so coarsely" in compare(coarse, "Cu", bootstrap=0).reason
    nothing = pd.DataFrame({"Cu_ppm": [5.0] * 40, "Cu_ppm_below": [True] * 40})
    assert compare(nothing, "Cu", bootstrap=0).recommended == ""


def test_agreement():
    methods = [MedianMad(k=2, log=True), MedianMad(k=2, log=True)]
    same = compare(_plain(), "Cu", methods=methods, bootstrap=0)
    assert (same.agreement, same.spread) == (1.0, 1.0)
    far = compare(
        _plain(), "Cu", methods=[MedianMad(k=1, log=True), MedianMad(k=3, log=True)], bootstrap=0
    )
    counts = sorted(far.table["n_above"])
    assert far.agreement == pytest.approx(counts[0] / counts[1])


def test_choice_guideline_and_refusals():
    got = compare(
        _plain(), "Cu", bootstrap=0, chosen=90.0, reason="orientation survey",
        guidelines={"Cu": Guideline(80.0, "own")},
    )  # fmt: skip
    assert (got.chosen, got.chosen_reason) == ("chosen by the user", "orientation survey")
    assert got.table["label"].tolist()[-2:] == ["guideline", "chosen by the user"]
    assert compare(_plain(), "Cu", bootstrap=0, chosen="mixture of two").chosen
    with pytest.raises(WrongCall, match="row of the comparison"):
        compare(_plain(), "Cu", bootstrap=0, chosen="guess")
    with pytest.raises(WrongCall, match="unknown element"):
        compare(_plain(), "Co")
    with pytest.raises(WrongCall, match="medium"):
        compare(_plain(), "Cu", medium="rock")


def test_log_ratio_takes_dilution_out():
    # half of the samples hold sixty per cent of quartz, nothing else differs
    rng = np.random.default_rng(0)
    n = 800
    dilute = np.where(np.arange(n) % 2, 0.4, 1.0)
    frame = pd.DataFrame(
        {f"{e}_ppm": rng.lognormal(m, 0.15, n) * dilute
         for e, m in (("Cu", 3), ("Zn", 4), ("Ni", 3), ("Co", 2), ("Cr", 4))}
    )  # fmt: skip
    got = compare(frame, "Cu", bootstrap=0).records["median + 2 MAD, log-ratio"]
    assert got.transform == "log-ratio"
    flagged = frame["Cu_ppm"].to_numpy() >= got.local
    assert flagged[dilute == 1].mean() == pytest.approx(flagged[dilute < 1].mean(), abs=0.03)
    frame.loc[5, "Cu_ppm"] = np.nan
    some = compare(frame, "Cu", bootstrap=20).table.set_index("label")
    assert np.isfinite(some.loc["median + 2 MAD, log-ratio", ["low", "high"]].astype(float)).all()
    flat = frame["Cu_ppm"].to_numpy() >= MedianMad(log=True).fit(frame["Cu_ppm"]).value
    assert flat[dilute < 1].sum() == 0


def test_blocks_widen_the_interval_where_neighbours_are_alike(soil):
    # soil() has two rock units side by side: one block is nearly all of one
    frame = soil(24)
    ready = [MedianMad(log=True)]
    ground = compare(frame, "Cu", methods=ready, bootstrap=60).table.iloc[0]
    alone = compare(pd.DataFrame(frame.drop(columns="geometry")), "Cu", methods=ready).table.iloc[
        0
    ]
    width = [np.log(r["high"] / r["low"]) for r in (ground, alone)]
    assert width[0] > 1.5 * width[1]
    assert ground["interval"] == "bootstrap of blocks of ground, 60 draws"
    again = frame.sample(frac=1, random_state=3)
    other = compare(again, "Cu", methods=ready, bootstrap=60).table.iloc[0]
    assert (other["low"], other["high"]) == (ground["low"], ground["high"])
