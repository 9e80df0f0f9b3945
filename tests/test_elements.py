"""Weights, oxides and units against published numbers and an independent package."""

from __future__ import annotations

import pytest

from geochem import elements, units
from geochem.errors import WrongCall


@pytest.mark.published
def test_weights_agree_with_an_independent_table():
    # periodictable, public domain, standard atomic weights
    periodictable = pytest.importorskip("periodictable")
    for symbol, weight in elements.ATOMIC_WEIGHTS.items():
        assert weight == pytest.approx(getattr(periodictable, symbol).mass, rel=2e-5), symbol


@pytest.mark.published
@pytest.mark.parametrize(
    ("oxide", "factor"),
    [("Fe2O3", 0.69943), ("SiO2", 0.46744), ("Al2O3", 0.52926), ("TiO2", 0.59935),
     ("P2O5", 0.43643), ("K2O", 0.83015), ("MnO", 0.77446), ("U3O8", 0.84800), ("WO3", 0.79297)],
)  # fmt: skip
def test_oxide_factors(oxide, factor):
    # arithmetic on the IUPAC weights of 2021; usual handbook values to five digits
    assert elements.oxide_factor(oxide) == pytest.approx(factor, abs=6e-6)


@pytest.mark.published
def test_a_certified_basalt_agrees_with_itself():
    # USGS certificate of basalt BHVO-2: oxides and elements are both printed, in per cent
    for oxide, percent, element in [
        ("SiO2", 49.9, 23.3),
        ("MgO", 7.23, 4.36),
        ("CaO", 11.4, 8.17),
    ]:
        assert percent * elements.oxide_factor(oxide) == pytest.approx(element, rel=0.005)


@pytest.mark.published
def test_ounces_and_tons():
    # exact definitions, NIST Handbook 44 appendix C
    assert units.factor("oz/short ton") == pytest.approx(240 / 7, rel=1e-12)
    assert units.factor("oz/long ton") == pytest.approx(30.612245, rel=1e-7)


@pytest.mark.parametrize("text", ["ppm", "PPM", "(mg/kg)", "g/t", "ug/g", "µg/g"])
def test_spellings_of_ppm(text):
    assert units.factor(text) == 1.0


def test_an_unknown_unit_names_the_nearest():
    with pytest.raises(WrongCall, match="unknown unit 'pmm'"):
        units.factor("pmm")


def test_formulas_are_refused_when_they_are_none():
    with pytest.raises(WrongCall, match="is not a formula"):
        elements.formula_mass("hello")
