"""Table contracts hold their kinds whatever comes in."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from geochem.errors import WrongCall
from geochem.model import tables


@pytest.mark.parametrize(
    "name",
    ["RESULTS", "CONTROLS", "ANALYTES", "SAMPLES", "FIELD_LOG", "STANDARDS", "THRESHOLDS",
     "BACKGROUNDS", "QUALITY", "TARGETS", "ANOMALIES", "FOLLOW_UP", "HOLES"],
)  # fmt: skip
def test_an_empty_table_has_every_column(name):
    contract = getattr(tables, name)
    frame = tables.empty(contract)
    assert list(frame.columns) == list(contract)
    assert len(frame) == 0


def test_conform_keeps_text_as_text_and_missing_as_none():
    frame = pd.DataFrame(
        {"sample_id": ["007", None], "value": ["1.5", None], "below": [True, None]}
    )
    out = tables.conform(frame, tables.RESULTS)
    assert out["sample_id"].tolist() == ["007", None]
    assert out["sample_id"].dtype == object
    assert out["value"].iloc[0] == 1.5
    assert np.isnan(out["value"].iloc[1])
    assert out["below"].tolist() == [True, False]
    assert out["batch"].tolist() == [None, None]


def test_conform_does_not_change_its_input_and_keeps_extra_columns_last():
    frame = pd.DataFrame({"colour": ["red"], "sample_id": ["A1"]}, index=[9])
    before = frame.copy()
    out = tables.conform(frame, tables.SAMPLES, extra=True)
    pd.testing.assert_frame_equal(frame, before)
    assert out.columns[-1] == "colour"
    assert list(out.index) == [0]


def test_values_of_gives_copies_with_missing_flags_false():
    frame = pd.DataFrame({"Cu_ppm": [1.0, 2.0], "Cu_ppm_below": [True, False]})
    values = tables.values_of(frame, "Cu")
    values.value[0] = 99.0
    assert frame["Cu_ppm"].iloc[0] == 1.0
    assert values.below.tolist() == [True, False]
    assert values.above.tolist() == [False, False]
    assert np.isnan(values.err).all()


def test_values_of_names_what_there_is():
    with pytest.raises(WrongCall, match="unknown element column 'Au_ppm'; possible: Cu_ppm"):
        tables.values_of(pd.DataFrame({"Cu_ppm": [1.0]}), "Au")


def test_elements_come_by_atomic_number_and_species_last():
    frame = pd.DataFrame(
        columns=["Zn_ppm", "C_organic_ppm", "Cu_ppm", "Cu_ppm_below", "Cu_ppm__xrf"]
    )
    assert tables.elements_of(frame) == ["Cu", "Zn", "C_organic"]
    assert tables.assays_of(frame, "Cu") == ["xrf"]
