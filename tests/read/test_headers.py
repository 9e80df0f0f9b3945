"""Headers: every rule once, and the words that must not become elements."""

from __future__ import annotations

import pytest

from geochem.read.headers import ENGLISH, understand_header


@pytest.mark.parametrize(
    ("header", "kind", "element", "unit"),
    [
        ("Cu_ppm", "value", "Cu", "ppm"),
        ("Cu (%)", "value", "Cu", "%"),
        ("Fe2O3 wt%", "value", "Fe", "%"),
        ("Au ppb", "value", "Au", "ppb"),
        ("Cu +/-", "error", "Cu", None),
        ("Cu 2s", "error", "Cu", None),
        ("Cu Error", "error", "Cu", None),
        ("Cu_err", "error", "Cu", None),
        ("Cu error 1 sigma", "error", "Cu", None),
        ("Ag_mg/kg", "value", "Ag", "mg/kg"),
        ("Zn", "value", "Zn", None),
        ("Au-FA50_ppb", "value", "Au", "ppb"),
        ("Cu_LOD", "limit", "Cu", None),
        ("C_total_wt%", "value", "C_total", "%"),
        ("C_inorg_wt%", "value", "C_inorganic", "%"),
        ("C_org_wt%", "value", "C_organic", "%"),
        ("LOI", "other", "LOI", "%"),
        ("pH", "other", "pH", "pH"),
        ("Balance", "other", "balance", "%"),
        ("LE", "other", "balance", "%"),
        ("zinc", "value", "Zn", None),
        ("lead", "value", "Pb", None),
        ("PB", "value", "Pb", None),
        ("Fe2O3T", "value", "Fe", None),
    ],
)
def test_understood(header, kind, element, unit):
    got = understand_header(header)
    assert (got.kind, got.element, got.unit) == (kind, element, unit)


@pytest.mark.parametrize(
    "header",
    ["No", "No.", "As received", "In situ", "I D", "Cu/Zn", "K/Rb", "log Cu", "Cu_z", "om", "soil",
     "lime", "dist.m", "Time", "Depth_cm", "Au check", "Note", "Co-ordinates", "Line", ""],
)  # fmt: skip
def test_no_analyte(header):
    assert understand_header(header) is None


@pytest.mark.published
def test_english_names_are_those_of_a_reference_library():
    # periodictable (PyPI) lists element names and symbols; IUPAC spellings there are British for
    # neither aluminium nor sulphur, so that only its own spellings are compared
    import periodictable

    by_name = {e.name: e.symbol for e in periodictable.elements if e.name != "neutron"}
    known = {name: symbol for name, symbol in ENGLISH.items() if name in by_name}
    assert len(known) > 70
    assert all(by_name[name] == symbol for name, symbol in known.items())


def test_method_in_header():
    assert understand_header("Cu_ME4A_ppm").method == "ME4A"
    assert understand_header("ME-ICP Cu ppm").method == "ME-ICP"


def test_small_letters_need_company(read, values, codes):
    got = read("id,cu,zn,as\nA1,12,30,5\n")
    assert set(values(got)) == {("A1", "Cu"), ("A1", "Zn"), ("A1", "As")}
    got = read("id,Cu_ppm,as\nA1,12,5\n")
    assert set(values(got)) == {("A1", "Cu")}
    assert "symbol-in-doubt" in codes(got)


def test_sodium_or_missing(read, values):
    got = read("id,Cu_ppm,NA_%\nA1,12,1.5\nA2,NA,NA\n")
    assert values(got) == {
        ("A1", "Cu"): (12.0, False, False),
        ("A1", "Na"): (15000.0, False, False),
    }


@pytest.mark.parametrize(
    "content",
    [
        "id,Ag_OZ,Co_ppm\nA1,5,6\n", "id,Cu_MGL,Co_ppm\nA1,5,6\n", "id,Au_PPT,Co_ppm\nA1,5,6\n",
        "id,Fe at. %,Co_ppm\nA1,5,6\n", "id,Si mol %,Co_ppm\nA1,5,6\n",
        "id,Ag,Co\n,oz/t,ppm\nA1,5,6\n", "id,Cu,Co\n,mg/L,ppm\nA1,5,6\n",
    ],
)  # fmt: skip
def test_a_strange_unit_is_never_ppm(read, codes, content):
    got = read(content)
    assert got.results["element"].tolist() == ["Co"]
    assert "unit-not-known" in codes(got)
