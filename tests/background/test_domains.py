import numpy as np
import pandas as pd
import pytest

from geochem.background.domains import divide, join_below, own_share


def _frame(n, **columns):
    return pd.DataFrame({"sample_id": [f"S{i:03d}" for i in range(n)], **columns})


def test_bedrock_counts_where_the_soil_is_residual():
    n = 120
    frame = _frame(
        n,
        geology=np.where(np.arange(n) < 60, "schist", "granite"),
        regolith=np.where(np.arange(n) % 3 == 0, "alluvium", "residual"),
    )
    got = divide(frame, "soil")
    assert set(got.label) == {"schist", "granite", "alluvium"}
    assert (got.label[::3] == "alluvium").all()
    assert got.findings == ()


def test_unknown_regolith_uses_the_unit_and_says_so():
    got = divide(_frame(80, geology=["schist"] * 40 + ["granite"] * 40), "soil")
    assert set(got.label) == {"schist", "granite"}
    assert got.findings[0].code == "regolith-not-known"
    assert "S000, S001" in got.findings[0].message


def test_till_and_sediment_never_use_the_bedrock():
    frame = _frame(80, geology=["schist"] * 40 + ["granite"] * 40)
    assert set(divide(frame, "till").label) == {"all"}
    assert set(divide(frame, "stream sediment").label) == {"all"}


def test_horizons_are_parents_of_units():
    n = 160
    frame = _frame(
        n,
        horizon=np.where(np.arange(n) < 100, "B", "C"),
        geology=np.where(np.arange(n) % 20 == 0, "dyke", "schist"),
        regolith="residual",
    )
    got = divide(frame, "soil")
    # five and three samples on the dyke: they join their horizon
    assert set(got.label) == {"B | schist", "C | schist", "B", "C"}
    assert got.parent["B | schist"] == "B"
    assert got.parent["B"] == "all"
    assert got.member["B"].sum() == 100
    assert "B | dyke (5)" in got.findings[-1].message


def test_unmapped_ground_is_no_unit():
    frame = _frame(90, geology=["schist"] * 50 + ["unmapped"] * 40, regolith="residual")
    assert set(divide(frame, "soil").label) == {"schist", "all"}


def test_by_replaces_the_rule():
    frame = _frame(80, geology="schist", block=["n"] * 40 + ["s"] * 35 + ["t"] * 5)
    got = divide(frame, "stream sediment", by="block")
    assert set(got.label) == {"n", "s", "all"}


@pytest.mark.parametrize(
    ("n", "share"), [(5, 0), (10, 0), (15, 0.25), (20, 0.5), (30, 1), (99, 1)]
)
def test_share_rises_in_a_straight_line(n, share):
    assert own_share(n, 30) == pytest.approx(share)
    assert join_below(30) == 10
