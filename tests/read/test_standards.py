"""Certified values, long and wide."""

from __future__ import annotations

import numpy as np
import pytest

from geochem.errors import DataRefused
from geochem.read.standards import read_standards


def test_long(write):
    got = read_standards(
        write(
            "standard,element,certified,sd,unit,kind_of_sd,n,status\n"
            "M1,Cu,120,4,ppm,between laboratories,12,certified\n"
            "M1,Fe,3.5,0.1,%,,,certified\n"
            "M1,Fe2O3,5,0.1,%,,,indicative\n"
            "M1,Au,not certified,,ppb,,,\n"
            "M1,Zn,0,1,ppm,,,\n"
            "M2,Cu,50,4,ppm,2SD,,\n"
        )
    )
    f = got.frame
    cu = f[(f["standard"] == "M1") & (f["element"] == "Cu")].iloc[0]
    assert (cu["certified"], cu["sd"], cu["n"]) == (120.0, 4.0, 12.0)
    assert f[f["element"] == "Fe"]["certified"].round(0).tolist() == [35000.0, 34972.0]
    assert np.isnan(f[f["element"] == "Au"]["certified"].iloc[0])
    assert np.isnan(f[f["element"] == "Zn"]["certified"].iloc[0])
    assert f[f["standard"] == "M2"]["sd"].iloc[0] == 2.0
    assert {"certified-zero", "standard-doubled"} <= {x.code for x in got.findings}


def test_wide(write):
    got = read_standards(write("Standard,Cu_ppm,Cu_ppm 2sd,Au_ppb\nM1,120,8,15\nM2,,,30\n"))
    rows = got.frame[["standard", "element", "certified", "sd"]].to_numpy(dtype=object).tolist()
    assert rows[0] == ["M1", "Cu", 120.0, 4.0]
    assert rows[1][:3] == ["M1", "Au", pytest.approx(0.015)]
    assert rows[2][:3] == ["M2", "Au", pytest.approx(0.03)]
    assert len(rows) == 3


def test_without_names(write):
    with pytest.raises(DataRefused, match="names the standard"):
        read_standards(write("a,Cu_ppm\n1,2\n"))
