"""What changed since the last snapshot, and whether the laboratory keeps up and agrees."""

from __future__ import annotations

from datetime import date, datetime

import numpy as np
import pandas as pd
import pytest

from geochem.model import tables
from geochem.planning.week import laboratory_delays, new_anomalies, ranks_moved, xrf_hit_rate
from geochem.stats.proportion import wilson_interval


def targets(*rows):
    frame = pd.DataFrame(rows, columns=["target", "rank", "score", "samples", "lab_confirmed"])
    frame["status"], frame["elements"], frame["lines"] = "new", "Cu, Mo", 3
    frame["peak_element"], frame["peak"], frame["data_confidence"] = "Cu", 400.0, "moderate"
    return tables.conform(frame, tables.TARGETS)


def test_moves_and_reasons():
    before = targets(
        ("T01", 1, 80, 12, False), ("T02", 2, 70, 9, False), ("T03", 3, 60, 8, False),
        ("T04", 4, 50, 5, False),
    )  # fmt: skip
    now = targets(
        ("T05", 1, 90, 15, False), ("T03", 2, 85, 14, True), ("T01", 3, 80, 12, False),
        ("T02", 4, 70, 9, False),
    )  # fmt: skip
    moves = ranks_moved(before, now).set_index("target")
    assert moves.index.tolist() == ["T05", "T03", "T01", "T02", "T04"]
    assert moves["moved"].tolist() == ["new", "up", "down", "down", "gone"]
    assert "15 samples on 3 lines" in moves.loc["T05", "why"]
    why = moves.loc["T03", "why"]
    for words in ("a laboratory confirmed it", "6 samples more", "score 60 to 85"):
        assert words in why
    # nothing of its own changed: the reason stands above it
    assert moves.loc["T01", "why"] == "T05 new above it; T03 passed it"
    assert moves.loc["T04", "previous_rank"] == 4
    assert moves.loc["T04", "rank"] is pd.NA


def test_no_snapshot_and_no_change():
    assert not len(ranks_moved(None, targets(("T01", 1, 80, 12, False))))
    same = targets(("T01", 1, 80, 12, False))
    assert ranks_moved(same, same)["why"].tolist() == ["unchanged"]
    assert ranks_moved(same.iloc[:0], same)["moved"].tolist() == ["new"]


def test_delays():
    sent = pd.DataFrame(
        {"sample_id": list("abcdef"), "laboratory": "Quill", "job": ["J1", "J1", "J2", "J2", "J3", "J4"],
         "sent": pd.to_datetime(["2026-03-01"] * 4 + ["2026-03-25", "2026-05-01"])}
    )  # fmt: skip
    results = tables.conform(
        pd.DataFrame(
            {"sample_id": list("abc"), "source": "laboratory", "date_received": pd.to_datetime(
                ["2026-03-15", "2026-03-15", "2026-03-20"])}
        ),
        tables.RESULTS,
    )  # fmt: skip
    table = laboratory_delays(sent, results, datetime(2026, 4, 1)).set_index("job")
    assert table["state"].to_dict() == {"J1": "back", "J2": "late", "J3": "waiting"}
    assert table["days"].to_dict() == {"J1": 14, "J2": 31, "J3": 7}
    assert table.loc["J2", "back"] == 1
    # before the first result, and without a date of sending
    early = laboratory_delays(
        sent.assign(sent=pd.NaT), tables.empty(tables.RESULTS), datetime(2026, 4, 1)
    )
    assert early["days"].isna().all()
    assert set(early["state"]) == {"waiting"}


def test_hit_rate():
    n = 40
    camp = np.where(np.arange(n) < 12, 100.0, 20.0)
    told = np.where(np.arange(n) < 9, 110.0, 25.0)
    told[-2:] = 90.0
    told[20:] = np.where(np.arange(20, n) < 30, np.nan, told[20:])
    samples = pd.DataFrame({"sample_id": [f"S{i}" for i in range(n)], "medium": "soil",
                            "Cu_ppm": camp, "Cu_ppm__xrf": camp * 0.5, "Cu_ppm__lab": told})  # fmt: skip
    analytes = tables.conform(
        pd.DataFrame({"assay": ["xrf", "lab"], "source": ["pxrf", "laboratory"], "element": "Cu",
                      "medium": "soil", "accepted": [True, False]}),
        tables.ANALYTES,
    )  # fmt: skip
    limits = tables.conform(
        pd.DataFrame(
            {"medium": ["soil"], "domain": "all", "element": "Cu", "value": 60.0, "sign": 1}
        ),
        tables.THRESHOLDS,
    )
    row = xrf_hit_rate(samples, analytes, limits, ["Cu", "Zn"]).iloc[0]
    assert (row["pairs"], row["flagged"], row["confirmed"], row["missed"]) == (30, 12, 9, 2)
    assert row["rate"] == 0.75
    assert row["low"] < 0.75 < row["high"]
    # the laboratory is accepted: XRF then speaks with its own values, here half as high
    analytes["accepted"] = [False, True]
    assert xrf_hit_rate(samples, analytes, limits, ["Cu"]).iloc[0]["flagged"] == 0


@pytest.mark.published
def test_wilson():
    # Newcombe 1998, Statistics in Medicine 17:857-872, table I, method 3, 95 %: 81 of 263 gives
    # 0.2553 to 0.3662, 15 of 148 gives 0.0624 to 0.1605, 0 of 20 gives 0 to 0.1611 (from memory)
    for hits, n, low, high in (
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0, 0.1611),
    ):
        assert wilson_interval(hits, n, confidence=0.95) == pytest.approx((low, high), abs=5e-5)
    from statsmodels.stats.proportion import proportion_confint

    assert wilson_interval(7, 31) == pytest.approx(proportion_confint(7, 31, 0.1, "wilson"))


def test_only_samples_that_came_after_the_snapshot_are_new():
    anomalies = pd.DataFrame({"sample_id": list("abcd"), "Cu_z": [3.0, 5.0, 2.5, np.nan]})
    results = tables.conform(
        pd.DataFrame({
            "sample_id": ["a", "b", "c", "c", "d"], "source": "pxrf",
            "date_read": pd.to_datetime(
                ["2026-03-01", "2026-03-09", "2026-03-09", "2026-03-02", "2026-03-09"]
            ),
        }),
        tables.RESULTS,
    )  # fmt: skip
    new = new_anomalies(anomalies, results, date(2026, 3, 8), ["Cu", "Zn"])
    assert new["samples"].tolist() == ["b"]  # c was known by its first result, d is not beyond
    assert new[["judged", "beyond"]].to_numpy().tolist() == [[1, 1]]
    # a record without a date counts as known
    undated = results.assign(date_read=pd.NaT)
    assert not len(new_anomalies(anomalies, undated, date(2026, 3, 8), ["Cu"]))
