"""Files of associations: the package's own, and the user's."""

import pytest

from geochem.anomalies.associations import choose
from geochem.anomalies.presets import presets, presets_text, read_presets
from geochem.errors import DataRefused


def _file(tmp_path, text):
    path = tmp_path / "ours.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_copy_of_the_file_gives_the_same_presets(tmp_path):
    assert read_presets(_file(tmp_path, presets_text())) == presets()


def test_own_associations_compete_in_the_place_of_the_presets(tmp_path):
    own = read_presets(
        _file(
            tmp_path,
            "[[association]]\nname = 'iron_apatite'\nweights = { P = 1, Fe = 0.8, Si = -0.5 }\n"
            "[[association]]\nname = 'beryl'\nweights = { Be = 1.0, Cs = 0.4 }\n"
            "commodities = ['Be']\ntitle = 'Beryl pegmatite'\nsource = 'our report of last year'\n",
        )
    )
    assert [a.name for a in choose([], None, own)] == ["iron_apatite", "beryl"]
    assert [a.name for a in choose(["Fe"], None, own)] == ["iron_apatite"]
    assert [a.name for a in choose(["Cs"], None, own)] == ["sought_elements"]
    (beryl,) = choose([], "beryl", own)
    assert (beryl.title, beryl.source) == ("Beryl pegmatite", "our report of last year")
    assert own[0].association.title == "iron apatite"
    assert own[0].commodities == ("P", "Fe")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[association]\n", "no valid TOML"),
        ("", "holds no association"),
        ("association = 3", "holds no association"),
        ("[association]\nname = 'a'", "holds no association"),
        ("[[association]]\nweights = { Cu = 1 }", "'name' is None"),
        ("[[association]]\nname = 'Kupfer (alt)'\nweights = { Cu = 1 }", "becomes a column"),
        ("[[association]]\nname = 'a'", "'a' needs 'weights'"),
        ("[[association]]\nname = 'a'\nweights = { Cu = 0 }", "not zero"),
        ("[[association]]\nname = 'a'\nweights = { Xx = 1 }", "'Xx'"),
        ("[[association]]\nname = 'a'\nweigths = { Cu = 1 }", "Did you mean 'weights'?"),
        (
            "[[association]]\nname = 'a'\nweights = { Cu = 1 }\ncommodities = 'Cu'",
            "must be a list",
        ),
        ("[[association]]\nname = 'a'\nweights = { Cu = 1 }\ncommodities = ['cu']", "'cu'"),
        ("[[association]]\nname = 'a'\nweights = { Cu = 1 }\nsource = 1976", "texts in quotes"),
        ("[[rival]]\nname = 'a'", "holds no association"),
    ],
)
def test_a_faulty_file_is_refused_with_its_name(tmp_path, text, said):
    with pytest.raises(DataRefused) as refusal:
        read_presets(_file(tmp_path, text))
    assert said in str(refusal.value)
    assert "ours.toml" in str(refusal.value)


def test_every_fault_is_said_at_once(tmp_path):
    row = "[[association]]\nname = 'a'\nweights = { Cu = 1 }\n"
    bad = "[[association]]\nname = 'b'\nweights = { Cu = 'high' }\n"
    with pytest.raises(DataRefused) as refusal:
        read_presets(_file(tmp_path, row + row + bad + "[other]\nx = 1\n"))
    assert len(refusal.value.reasons) == 3
    assert "comes twice" in str(refusal.value)
    with pytest.raises(DataRefused, match="is not there"):
        read_presets(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes("# Erzgänge\n".encode("latin-1"))
    with pytest.raises(DataRefused, match="UTF-8"):
        read_presets(tmp_path / "latin.toml")
