"""Preparation flags; the limits are common practice, no source."""

from __future__ import annotations

import numpy as np

from geochem.samples.preparation import check_preparation


def test_every_kind_of_issue(make_log):
    log = make_log(
        list("abcdefgh"),
        sieve_um=[250, 500, np.nan, 250, 250, 250, 250, 180],
        powder_ml=[8, 8, 3, 6, 8, 8, 8, 8],
        die_fill=[1, 0.9, 0.8, 45, 0.5, 1, 1, 1],
        moisture_pct=[1, 2, 3, 4, 12, 25, np.nan, 5],
        binder_pct=[0, 0, 0, 0, 0, 0, 10, 0],
        mill=[None, None, None, None, None, None, None, "Tungsten carbide bowl"],
    )
    flags, findings = check_preparation(log)
    assert flags.tolist() == [
        None, "sieved at 500 um", "powder 3 mL", "powder just enough; die 45 % filled",
        "moisture 12 %", "moisture 25 %", "binder 10 %", "mill may add W Co",
    ]  # fmt: skip
    severity = {f.code: f.severity for f in findings}
    assert severity == {
        "sieve-coarse": "warning", "die-underfilled": "warning", "mill-contaminates": "warning",
    }  # fmt: skip
    assert next(f for f in findings if f.code == "mill-contaminates").sample_id == "h"


def test_steel_mill_and_constant_binder(make_log):
    flags, findings = check_preparation(make_log(["a"], mill="chrome steel", binder_pct=20.0))
    assert flags.tolist() == ["mill may add Fe Cr Mn Ni"]
    assert {f.code for f in findings} == {"mill-contaminates"}


def test_nothing_known_is_nothing_said(make_log):
    flags, findings = check_preparation(make_log(["a", "b"]))
    assert flags.tolist() == [None, None]
    assert findings == ()
