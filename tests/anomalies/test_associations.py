"""Presets are readable and complete; choosing, merging, own tables."""

import pytest

from geochem.anomalies import associations
from geochem.elements import SYMBOLS
from geochem.errors import WrongCall


@pytest.mark.published
def test_presets_hold_the_pathfinders_of_the_handbooks():
    # element lists as in Rose, Hawkes and Webb 1979, Geochemistry in Mineral Exploration, and the
    # deposit models of Cox and Singer 1986, USGS Bulletin 1693 (from memory)
    by_name = {p.association.name: p for p in associations.presets()}
    assert {"Cu", "Mo", "Au"} <= set(by_name["porphyry_copper"].association.weights)
    assert {"Au", "As", "Sb", "W"} <= set(by_name["orogenic_gold"].association.weights)
    assert {"Cu", "Zn", "Pb", "Ag", "Ba"} <= set(
        by_name["volcanogenic_massive_sulfide"].association.weights
    )
    assert by_name["volcanogenic_massive_sulfide"].association.weights["Na"] < 0
    assert {"Ni", "Cu", "Co"} <= set(by_name["magmatic_nickel_copper"].association.weights)


def test_every_preset_is_complete():
    names = [p.association.name for p in associations.presets()]
    assert len(names) == len(set(names)) == 17
    for p in associations.presets():
        a = p.association
        assert set(a.weights) <= SYMBOLS
        assert set(p.commodities) <= set(a.weights)
        assert max(a.weights.values()) > 0
        assert all(0 < abs(w) <= 1 for w in a.weights.values())
        assert "from memory" in a.source


def test_sought_elements_choose_by_commodity():
    assert {a.name for a in associations.choose(["Ni"], None)} == {"magmatic_nickel_copper"}
    assert len(associations.choose([], None)) == 17
    (alone,) = associations.choose(["Ge", "Ga"], None)
    assert alone.name == associations.SOUGHT
    assert alone.weights == {"Ga": 1.0, "Ge": 1.0}


def test_own_table_stands_alone_and_is_checked():
    (own,) = associations.choose(["Cu"], {"Mn": -0.4, "Cu": 1})
    assert own.name == associations.OWN
    assert own.weights == {"Mn": -0.4, "Cu": 1.0}
    assert "Mn-" in own.title
    with pytest.raises(WrongCall, match="Did you mean 'skarn'"):
        associations.choose([], "skarm")
    with pytest.raises(WrongCall, match="not zero"):
        associations.choose([], {"Cu": 0})
    with pytest.raises(WrongCall, match="possible"):
        associations.choose([], {"Xx": 1.0})
    with pytest.raises(WrongCall, match="to seek"):
        associations.choose(["copper"], None)


def test_missing_elements_are_shown_and_poor_presets_are_not_scored():
    kept, said = associations.usable(associations.choose(["Sn", "Li"], None), ["Sn", "W", "As"])
    # skarn comes down to the same three elements; more of this one's weight is measured
    assert [a.name for a in kept] == ["granite_tin_tungsten"]
    assert "Bi" in kept[0].missing
    assert "Skarn" in kept[0].title
    assert {f.code for f in said} == {"association-not-measured", "associations-merged"}


def test_presets_with_the_same_measured_elements_are_scored_once():
    chosen = associations.choose(["Au"], None)
    kept, said = associations.usable(chosen, ["Au", "As", "Sb"])
    merged = next(f for f in said if f.code == "associations-merged")
    keys = [tuple((e, a.weights[e] > 0) for e in a.used) for a in kept]
    assert len(keys) == len(set(keys))
    assert "orogenic_gold" in merged.message
    assert any(" or " in a.title for a in kept)


def test_sign_is_down_only_where_everyone_says_so():
    kept, _ = associations.usable(
        associations.choose([], None), ["Cu", "Mo", "As", "Mn", "Na", "Zn", "Pb"]
    )
    sign = associations.signs(kept, [])
    assert sign["Na"] == -1
    assert sign["Mn"] == 1  # depletion in one, enrichment in others
    assert associations.signs(kept, ["Na"])["Na"] == 1
