"""Indices against published and stoichiometric numbers; columns, thresholds, missing values."""

import numpy as np
import pandas as pd
import pytest

from geochem.background.indices import add_indices, alteration_index, index_thresholds
from geochem.composition import ilr, partition_basis
from geochem.elements import OXIDES, crustal_abundance, oxide_factor
from geochem.errors import WrongCall

#: upper continental crust, Rudnick & Gao 2003 (from memory) [wt %]
UCC = {"Al2O3": 15.40, "CaO": 3.59, "Na2O": 3.27, "K2O": 2.80, "MgO": 2.48, "FeO": 5.04}


@pytest.mark.published
@pytest.mark.parametrize(
    ("name", "expected"),
    [("CIA", 50.7620), ("CIW", 56.3961), ("PIA", 50.9523), ("AI", 43.4926), ("CCPI", 55.3348)],
)
def test_upper_crust(name, expected):
    # formulas: Nesbitt & Young 1982, Harnois 1988, Fedo et al. 1995, Ishikawa et al. 1976, Large et
    # al. 2001; numbers worked out from the table of Rudnick & Gao 2003
    assert float(alteration_index(name, UCC)) == pytest.approx(expected, abs=2e-3)


@pytest.mark.published
def test_worked_numbers():
    # average shale (PAAS), Taylor & McLennan 1985 (from memory); the others by hand
    paas = {"Al2O3": 18.9, "CaO": 1.30, "Na2O": 1.20, "K2O": 3.70}
    assert float(alteration_index("CIA", paas)) == pytest.approx(69.3762, abs=2e-3)
    ai = {"MgO": 5.0, "K2O": 3.0, "Na2O": 2.0, "CaO": 1.0}
    assert float(alteration_index("AI", ai)) == pytest.approx(72.7273, abs=1e-4)
    ccpi = {"MgO": 5.0, "FeO": 6.0, "Na2O": 2.0, "K2O": 3.0}
    assert float(alteration_index("CCPI", ccpi)) == pytest.approx(68.75)


@pytest.mark.published
@pytest.mark.parametrize(
    ("al", "ca", "na", "k", "expected"),
    [(1, 0, 1, 0, 50), (2, 2, 0, 0, 50), (1, 0, 0, 1, 50), (3, 0, 0, 1, 75), (1, 0, 0, 0, 100)],
    ids=["albite", "anorthite", "K-feldspar", "muscovite", "kaolinite"],
)
def test_minerals(al, ca, na, k, expected):
    # Nesbitt & Young 1982: fresh feldspar 50, kaolinite 100; atoms per formula; CaO in moles of Ca
    mass = {"Al2O3": 101.961 * al / 2, "CaO": 56.077 * ca / 2, "Na2O": 61.979 * na / 2,
            "K2O": 94.195 * k / 2}  # fmt: skip
    assert float(alteration_index("CIA", mass)) == pytest.approx(expected, abs=0.01)


def test_calcium_of_apatite_is_taken_off():
    # McLennan 1993, J. Geol. 101:295-303: CaO - 10/3 P2O5, then at most Na2O, in moles
    given = {"Al2O3": 15.0, "CaO": 56.077, "Na2O": 61.979, "K2O": 0.0, "P2O5": 0.3 * 141.945}
    corrected = float(alteration_index("CIA", given, correct=True))
    by_hand = 100 * (15 / 101.961) / (15 / 101.961 + 0.0 + 1.0)
    assert corrected == pytest.approx(by_hand, rel=1e-3)
    given["P2O5"] = 0.0
    given["CaO"] = 10 * 56.077
    by_hand = 100 * (15 / 101.961) / (15 / 101.961 + 2.0)
    assert float(alteration_index("CIA", given, correct=True)) == pytest.approx(by_hand, rel=1e-3)


@pytest.fixture
def samples():
    rng = np.random.default_rng(0)
    n = 40
    frame = pd.DataFrame({"sample_id": [f"S{i}" for i in range(n)], "medium": "soil"})
    for oxide, percent in UCC.items():
        frame[f"{OXIDES[oxide]}_ppm"] = (
            1e4 * percent * oxide_factor(oxide) * np.exp(0.1 * rng.standard_normal(n))
        )
    for element in ("Rb", "Sr", "Cu"):
        frame[f"{element}_ppm"] = crustal_abundance()[element] * np.exp(rng.standard_normal(n) / 5)
    frame["Cu_ppm_below"] = np.arange(n) < 3
    return frame


def test_columns(samples):
    sides = {"over": ["K", "Rb"], "under": ["Na", "Ca", "Sr"]}
    out, columns, findings = add_indices(
        samples, indices=["CIA", "CCPI"], ratios=["Rb/Sr", "Cu / Al"], balances={"potassic": sides},
        enrichment=["Cu", "Rb"],
    )  # fmt: skip
    assert columns == [
        "index_CIA", "index_CCPI", "ratio_Rb_Sr", "ratio_Cu_Al", "balance_potassic",
        "enrichment_Cu", "enrichment_Rb",
    ]  # fmt: skip
    assert out["index_CIA"].median() == pytest.approx(50.8, abs=1.5)
    assert out["enrichment_Rb"].median() == pytest.approx(1.0, abs=0.12)
    assert out["ratio_Cu_Al"].isna().sum() == 3
    assert [f.column for f in findings] == ["ratio_Cu_Al", "enrichment_Cu"]
    parts = ["K", "Rb", "Na", "Ca", "Sr"]
    x = samples[[f"{e}_ppm" for e in parts]]
    signs = [[1, 1, -1, -1, -1], [1, -1, 0, 0, 0], [0, 0, 1, 1, -1], [0, 0, 1, -1, 0]]
    assert out["balance_potassic"].to_numpy() == pytest.approx(
        ilr(x, partition_basis(signs))[:, 0]
    )
    # a change of unit moves no balance, no index, no ratio and no enrichment
    values = [c for c in samples if c.endswith("_ppm")]
    again, _, _ = add_indices(
        samples.assign(**{c: 7 * samples[c] for c in values}), indices=["CIA", "CCPI"],
        ratios=["Rb/Sr", "Cu/Al"], balances={"potassic": sides}, enrichment=["Cu", "Rb"],
    )  # fmt: skip
    for column in columns:
        np.testing.assert_allclose(again[column], out[column])


def test_thresholds_of_their_own(samples):
    out, columns, _ = add_indices(samples, indices=["CIA"], ratios=["Rb/Sr"])
    table = index_thresholds(out, columns).set_index("element")
    assert table["transform"].tolist() == ["none", "log10"]
    log = np.log10(out["ratio_Rb_Sr"])
    expected = 10 ** (log.median() + 2 * 1.4826 * (log - log.median()).abs().median())
    assert table.loc["ratio_Rb_Sr", "value"] == pytest.approx(expected, rel=1e-4)
    assert table.loc["ratio_Rb_Sr", "n_beyond"] == (out["ratio_Rb_Sr"] > expected).sum()


def test_refusals(samples):
    with pytest.raises(WrongCall, match="CIA"):
        add_indices(samples, indices=["CIB"])
    with pytest.raises(WrongCall, match="Rb/Sr"):
        add_indices(samples, ratios=["Rb:Sr"])
    with pytest.raises(WrongCall, match="element"):
        add_indices(samples, ratios=["Rb/Zr"])
    with pytest.raises(WrongCall, match="both sides"):
        add_indices(samples, balances={"a": {"over": ["K"], "under": ["K"]}})
    with pytest.raises(WrongCall, match="P2O5"):
        alteration_index("CIA", UCC, correct=True)
