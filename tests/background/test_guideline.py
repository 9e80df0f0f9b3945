import numpy as np
import pytest

from geochem.background import Chosen, Guideline, read_guidelines
from geochem.background.report import describe_background
from geochem.errors import DataRefused, WrongCall

TABLE = """element,value,unit,source
Cu,0.01,%,"own guideline, 2024"
Zn,300,mg/kg,
Au,50,ppb,company
"""


def test_reads_the_users_table(tmp_path):
    path = tmp_path / "guidelines.csv"
    path.write_text(TABLE, encoding="utf-8")
    got = read_guidelines(path)
    assert {e: g.value for e, g in got.items()} == pytest.approx(
        {"Cu": 100, "Zn": 300, "Au": 0.05}
    )
    fitted = got["Cu"].fit([50.0, 150.0, 200.0])
    assert (fitted.value, fitted.n_used, fitted.reference) == (100, 3, "own guideline, 2024")
    assert np.isnan(fitted.low)
    assert "does not say who" in got["Zn"].fit([1.0]).warnings[0]
    path.write_text(TABLE.replace(",", ";").replace("0.01", "0,01").replace("%;", "%;"), "cp1252")
    assert read_guidelines(path)["Cu"].value == pytest.approx(100)


def test_faults_come_together(tmp_path):
    path = tmp_path / "guidelines.csv"
    path.write_text(
        "element,value,unit\nCU,1,ppm\nCu,x,ppm\nZn,1,stones\nPb,-1,ppm\nAs,1,\nAs,2,\n"
    )
    with pytest.raises(DataRefused) as caught:
        read_guidelines(path)
    text = str(caught.value)
    for words in ("row 2: 'CU' is no element", "'x ppm'", "stones", "positive", "has a guideline"):
        assert words in text
    path.write_text("element,limit\nCu,1\n")
    with pytest.raises(DataRefused, match="missing: value, unit"):
        read_guidelines(path)
    with pytest.raises(DataRefused, match="not there"):
        read_guidelines(tmp_path / "no.csv")


def test_as_the_method_of_an_element(soil):
    own = {"Cu": {"method": "guideline", "reason": "permit"}}
    got = describe_background(
        soil(), ["Cu", "Zn"], per_element=own, guidelines={"Cu": Guideline(60.0, "permit 7")}
    )
    cu = got.thresholds[got.thresholds["element"] == "Cu"]
    assert set(cu["method"]) == {"guideline"}
    assert set(cu["value"]) == {60.0}
    with pytest.raises(WrongCall, match="no guideline for Cu"):
        describe_background(soil(), ["Cu"], per_element=own)
    for made in (Guideline(float("nan")), Chosen(0.0)):
        with pytest.raises(WrongCall, match="positive number"):
            made.fit([1.0])
