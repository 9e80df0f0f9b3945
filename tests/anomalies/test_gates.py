"""Which element may count: source, level, calibration, detection."""

import numpy as np
import pandas as pd
import pytest

from geochem.anomalies import gates
from geochem.model.quality import Calibration

N = 60


def table(**columns):
    data = {"sample_id": [f"S{i:03d}" for i in range(N)]}
    for element, (value, below) in columns.items():
        data[f"{element}_ppm"] = np.broadcast_to(value, N).astype(float).copy()
        data[f"{element}_ppm_below"] = np.broadcast_to(below, N).copy()
        data[f"{element}_ppm_above"] = np.zeros(N, dtype=bool)
        data[f"{element}_ppm_err"] = np.nan
    return pd.DataFrame(data)


def decide(samples, elements, analytes, calibrations=()):
    media = np.full(N, "soil", dtype=object)
    return gates.decide(samples, elements, media, analytes, calibrations)


def calibration(verdict="pass", low=0.5, high=3.0):
    return Calibration(
        "Au", "xrf", "lab", "", 1.0, 0.0, 0.1, 0.1, 0.0, False, 30, 0, low, high, 0.9, 5.0, 0.0,
        verdict, "",
    )  # fmt: skip


@pytest.fixture
def gold():
    return table(Au=(np.linspace(0.1, 6.0, N), False), Cu=(np.linspace(5, 90, N), False))


def test_xrf_gold_never_counts_and_laboratory_gold_does(gold, factory):
    xrf = decide(gold, ["Au", "Cu"], factory.analytes(["Au", "Cu"]))
    assert not xrf["soil", "Au"].open
    assert "laboratory" in xrf["soil", "Au"].reason
    assert xrf["soil", "Cu"].open
    lab = decide(gold, ["Au"], factory.analytes(["Au"], "laboratory", "lab"))
    assert lab["soil", "Au"].open
    assert lab["soil", "Au"].usable.all()


def test_a_source_that_is_not_known_is_not_trusted(gold, factory):
    assert not decide(gold, ["Au"], factory.analytes([]))["soil", "Au"].open


def test_a_passing_calibration_opens_within_its_range_only(gold, factory):
    analytes = factory.analytes(["Au", "Cu"])
    gate = decide(gold, ["Au"], analytes, [calibration()])["soil", "Au"]
    value = gold["Au_ppm"].to_numpy()
    assert gate.open
    assert np.array_equal(gate.usable, (value >= 0.5) & (value <= 3.0))
    for verdict in ("provisional", "fail"):
        assert not decide(gold, ["Au"], analytes, [calibration(verdict)])["soil", "Au"].open


def test_silver_by_xrf_counts_from_its_level_on(factory):
    low = decide(table(Ag=(np.linspace(1, 12, N), False)), ["Ag"], factory.analytes(["Ag"]))
    assert not low["soil", "Ag"].open
    samples = table(Ag=(np.linspace(1, 60, N), False))
    gate = decide(samples, ["Ag"], factory.analytes(["Ag"]))["soil", "Ag"]
    assert gate.open
    assert samples["Ag_ppm"][gate.usable].min() >= 20.0


@pytest.mark.parametrize(
    ("element", "value", "below", "word"),
    [
        ("Cu", 8.0, np.arange(N) < 58, "below detection"),
        ("Cu", 8.0, False, "same number"),
        ("pH", np.linspace(5, 7, N), False, "species"),
        ("Li", np.linspace(5, 70, N), False, "too light"),
        ("Cu", np.where(np.arange(N) < 5, 7.0, np.nan), False, "at least"),
    ],
)
def test_reasons_name_what_is_wrong(element, value, below, word, factory):
    gate = decide(table(**{element: (value, below)}), [element], factory.analytes([element]))
    usable, excluded = gates.reasons(gate, [element])
    assert usable == []
    assert word in excluded[element]
