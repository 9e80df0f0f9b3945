"""Several methods in one table, controls by name, and values that cannot be."""

from __future__ import annotations

import numpy as np
import pytest

from geochem.elements import oxide_factor
from geochem.errors import WrongCall
from geochem.read.assays import read_assays
from geochem.read.field_log import read_field_log


def _by_assay(got):
    r = got.results
    return {
        (a, s, e): (round(v, 6), m)
        for a, s, e, v, m in zip(
            r["assay"], r["sample_id"], r["element"], r["value"], r["method"], strict=True
        )
    }


def test_each_method_is_an_assay_and_the_unknown_one_too(read):
    got = read("sample,method,Cu_ppm,Zn_ppm\nA1,4A,12,4\nA2,AR,13,5\nA3,,14,6\nA1,AR,9,\n")
    assert _by_assay(got) == {
        ("a_4a", "A1", "Cu"): (12.0, "4A"), ("a_ar", "A2", "Cu"): (13.0, "AR"),
        ("a_unknown", "A3", "Cu"): (14.0, None), ("a_ar", "A1", "Cu"): (9.0, "AR"),
        ("a_4a", "A1", "Zn"): (4.0, "4A"), ("a_ar", "A2", "Zn"): (5.0, "AR"),
        ("a_unknown", "A3", "Zn"): (6.0, None),
    }  # fmt: skip
    assert set(got.analytes["assay"]) == {"a_4a", "a_ar", "a_unknown"}
    assert got.analytes["n"].sum() == len(got.results)


def test_different_methods_for_different_elements_are_one_assay(read):
    got = read("Method,FA,ME\nSample,Au_ppb,Cu_ppm\nA1,5,12\nA2,6,13\n")
    assert set(got.results["assay"]) == {"a"}


def test_digestions_are_never_mixed(read):
    got = read("sample,digestion,Cu_ppm\nA1,total,12\nA2,weak,3\n")
    assert set(got.results["assay"]) == {"a_total", "a_weak"}


def test_laboratories_are_kept_and_their_batches_parted(read):
    got = read("sample,laboratory,Cu_ppm\nA1,North,12\nA2,South,13\n")
    assert dict(zip(got.results["assay"], got.results["batch"], strict=True)) == {
        "a_north": "North table", "a_south": "South table",
    }  # fmt: skip
    assert set(got.analytes["laboratory"]) == {"North", "South"}
    stated = read("sample,Cu_ppm\nA1,12\n", laboratory="North")
    assert stated.analytes["laboratory"].tolist() == ["North"]


def test_a_reassay_carries_its_own_text_row_and_method(read):
    got = read("id,Cu_ME_ppm,Cu_OG_%\nA1,>10000,1.53\nA2,120,\nA3,>10000,\n")
    r = got.results.set_index("sample_id")
    assert r["value"].to_dict() == {"A1": 15300.0, "A2": 120.0, "A3": 10000.0}
    assert r["above"].to_dict() == {"A1": False, "A2": False, "A3": True}
    assert r["raw"].to_dict() == {"A1": "1.53", "A2": "120", "A3": ">10000"}
    assert r["method"].to_dict() == {"A1": "OG", "A2": "ME", "A3": "ME"}
    assert set(got.results["assay"]) == {"a"}


def test_a_lower_value_settles_no_over_range(read):
    got = read("id,Cu_ME_ppm,Cu_OG_%\nA1,>10000,0.53\nA2,120,0.0118\n")
    assert set(got.results["assay"]) == {"a_me", "a_og"}
    assert got.results["above"].sum() == 1


def test_control_names(read, codes):
    got = read(
        "id,Cu_ppm\nSTD-A-1,50\nstd-b-1,60\nA2,13\nA2-D,14\nBLK7,<1\n",
        controls={
            "STD-*": "standard", "STD-B*": {"role": "standard", "standard": "CRM 12"},
            "*-D": "Field dup", "blk?": "blank", "X*": "repeat",
        },
    )  # fmt: skip
    roles = got.roles.set_index("sample_id")
    assert roles["role"].dropna().to_dict() == {
        "STD-A-1": "standard", "std-b-1": "standard", "A2-D": "field_duplicate", "BLK7": "blank",
    }  # fmt: skip
    assert roles.loc["STD-A-1", "standard"] == "STD"
    assert roles.loc["std-b-1", "standard"] == "CRM 12"
    assert roles.loc["A2-D", "parent"] == "A2"
    assert {"controls-by-name", "control-name-unused"} <= set(codes(got))


def test_a_role_in_the_table_outweighs_the_name(write):
    path = write("id,easting,northing,role\nSTD1,,,blank\nSTD2,,,\n")
    log = read_field_log(path, controls={"STD*": "standard"})
    assert log.frame["role"].tolist() == ["blank", "standard"]


@pytest.mark.parametrize(
    ("controls", "sentence"),
    [({"*": "blank"}, "every id"), ({"A*": "nonsense"}, "role"), ({"A*": {"rle": "x"}}, "key")],
)
def test_wrong_control_names(controls, sentence, write):
    with pytest.raises(WrongCall, match=sentence):
        read_field_log(write("id,x,y\nA,1,2\n"), controls=controls)


def test_impossible_values_are_not_used_and_named(read):
    got = read("id,Cu_ppm,SiO2_%\nA1,1001000,60\nA2,60,100.1\nA3,>2000000,100\n")
    assert set(zip(got.results["sample_id"], got.results["element"], strict=True)) == {
        ("A1", "Si"), ("A2", "Cu"), ("A3", "Si"),
    }  # fmt: skip
    found = [f for f in got.findings if f.code == "above-hundred-percent"]
    assert [(f.element, f.sample_id, f.row) for f in found] == [
        ("Si", "A2", 3),
        ("Cu", "A1", 2),
    ] or {f.element for f in found} == {"Si", "Cu"}


@pytest.mark.published
def test_a_published_analysis_adds_up(read, codes):
    # USGS BHVO-2 basalt, certificate: wt % SiO2 49.9, Al2O3 13.5, Fe2O3(tot) 12.3, MgO 7.23,
    # CaO 11.4, Na2O 2.22, K2O 0.52, TiO2 2.73, P2O5 0.27 (sum 100.07)
    oxides = {"SiO2": 49.9, "Al2O3": 13.5, "Fe2O3": 12.3, "MgO": 7.23, "CaO": 11.4, "Na2O": 2.22,
              "K2O": 0.52, "TiO2": 2.73, "P2O5": 0.27}  # fmt: skip
    header = ",".join(f"{o}_%" for o in oxides)
    row = ",".join(str(v) for v in oxides.values())
    got = read(f"id,{header},LOI_%\nA1,{row},0.5\n")
    assert not {"total-above-hundred-percent", "oxide-total-low"} & set(codes(got))
    si = got.results.loc[got.results["element"] == "Si", "value"].item()
    # the same certificate gives Si 23.3 +/- 0.3 wt %
    assert si == pytest.approx(233000, abs=3000)
    assert si == pytest.approx(49.9e4 * oxide_factor("SiO2"))
    high = read(f"id,{header},LOI_%\nA1,{row},8\n")
    assert "total-above-hundred-percent" in codes(high)


def test_a_unit_that_is_far_off_is_asked_about(read, codes):
    rng = np.random.default_rng(1)
    values = rng.lognormal(np.log(28), 0.5, 30)

    def rows(scale):
        return "".join(f"A{i},{v * scale:.6f}\n" for i, v in enumerate(values))

    assert "element-range" not in codes(read("id,Cu_ppm\n" + rows(1)))
    assert "element-range" not in codes(read("id,Cu_ppb\n" + rows(1000)))
    assert "element-range" in codes(read("id,Cu_ppm\n" + rows(1000)))
    assert "element-range" in codes(read("id,Cu_%\n" + rows(0.1)))


def test_depths_of_several_files_of_one_assay(tmp_path):
    for name, low, value in (("top", 0, 12), ("deep", 20, 90)):
        (tmp_path / f"{name}.csv").write_text(
            f"id,from (cm),to (cm),Cu_ppm\nA1,{low},{low + 20},{value}\nA2,0,20,5\n"
        )
    got = read_assays(sorted(tmp_path.glob("*.csv")), assay="lab", source="laboratory")
    values = dict(zip(got.results["sample_id"], got.results["value"], strict=True))
    assert values == {"A1@0-0.2": 12, "A1@0.2-0.4": 90, "A2": 5}
    assert got.depths == {"A2": (0, 0.2)}
