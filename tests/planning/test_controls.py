"""Issued ids: one series, blind, every stretch with its controls."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem.errors import WrongCall
from geochem.planning.controls import RATES, count_controls, issue_ids


@settings(max_examples=30, deadline=None)
@given(n=st.integers(20, 400), seed=st.integers(0, 1000))
def test_series(n, seed):
    planned = [f"P{i:04d}" for i in range(1, n + 1)]
    issued = issue_ids(planned, standards=["LOW", "HIGH"], seed=seed)
    key = issued.key
    assert key["sample_id"].tolist() == sorted(key["sample_id"])
    assert key["sample_id"].is_unique
    # every planned point once, in walking order
    assert key["planned_id"].dropna().tolist() == planned
    assert dict(key["role"].value_counts()) == {"routine": n, **issued.counts}
    parents = key.loc[key["role"].str.endswith("duplicate"), ["sample_id", "parent"]]
    assert parents["parent"].is_unique
    assert set(parents["parent"]) <= set(key.loc[key["role"] == "routine", "sample_id"])
    assert (parents["sample_id"] > parents["parent"]).all()
    # the analyst's order is a permutation inside each batch and shows no role
    assert issued.analysis["analysis_order"].tolist() == list(range(1, len(key) + 1))
    assert list(issued.analysis.columns) == ["analysis_order", "batch", "sample_id"]
    assert set(issued.analysis["sample_id"]) == set(key["sample_id"])


@pytest.mark.published
def test_rates_lie_in_the_published_ranges():
    # Abzalov 2008, Exploration and Mining Geology 17:131-144, abstract: field duplicates 5-10 %,
    # pulp duplicates 3-5 %, standards 3-5 % of each batch, blanks in each batch
    counts = count_controls(1000, RATES)
    assert 50 <= counts["field_duplicate"] <= 100
    assert 30 <= counts["pulp_duplicate"] <= 50
    assert 30 <= counts["standard"] <= 50
    assert counts["blank"] > 0


def test_controls_are_spread_and_the_order_is_random():
    issued = issue_ids([f"P{i}" for i in range(400)], standards=["A", "B"])
    standards = np.flatnonzero(issued.key["role"] == "standard")
    assert np.diff(standards).max() < 2.2 * 400 / len(standards) * 1.16
    assert issued.key.loc[standards, "standard"].value_counts().tolist() == [10, 10]
    order = issued.key["analysis_order"].to_numpy()
    rank = np.corrcoef(order[:40], np.arange(40))[0, 1]
    assert abs(rank) < 0.4
    field = issued.crew["also"].notna().sum()
    assert field == issued.counts["field_duplicate"] == 20


def test_bad_calls_are_sentences():
    with pytest.raises(WrongCall, match="more controls than samples"):
        issue_ids(["P1", "P2", "P3"], standards=["A"])
    with pytest.raises(WrongCall, match="more controls than samples"):
        count_controls(10, {"standard": 5})
    with pytest.raises(WrongCall, match="none is named"):
        issue_ids([f"P{i}" for i in range(50)])
    with pytest.raises(WrongCall, match="Did you mean 'standard'"):
        count_controls(10, {"standart": 0.1})
