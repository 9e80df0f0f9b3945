"""A decisions file: checked in sentences, laid over the campaign file, beside the user's register."""

from datetime import date

import pandas as pd
import pytest

from geochem.campaign.decisions import (
    for_outputs,
    lay_over,
    over_register,
    read_decisions,
)
from geochem.campaign.history import REGISTER_COLUMNS
from geochem.errors import WrongCall

HEAD = '[decisions]\ncampaign = "A"\nsaved = 2026-03-20\nby = "R. Example"\n'
REJECT = '[targets.decision.T03]\nchoice = "reject"\nnote = "old smelter"\nby = "R"\n'


def written(tmp_path, text):
    path = tmp_path / "decisions.toml"
    path.write_text(text, encoding="utf-8")
    return path


def register_of(*rows):
    return pd.DataFrame(list(rows), columns=REGISTER_COLUMNS, dtype=object)


def test_the_file_is_read_and_told_back(tmp_path):
    text = f'{HEAD}[background.element.Cu]\nvalue = 90.0\nreason = "a \\"b\\""\n{REJECT}'
    decisions = read_decisions(written(tmp_path, text))
    assert decisions.targets["T03"].choice == "reject"
    assert decisions.plain()["targets"]["T03"]["note"] == "old smelter"
    shown, findings = for_outputs(decisions, {"T03": "dropped"}, {"Cu"})
    assert shown["elements"] == {"Cu": {"value": 90.0, "reason": 'a "b"'}}
    assert shown["targets"]["T03"]["effect"] == "dropped"
    assert findings == []
    _, findings = for_outputs(decisions, {}, {"Zn"})
    assert [f.code for f in findings] == ["decision-without-values"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[background.element.Cu]\nvalu = 90", "unknown key 'valu'.*'value'"),
        ('[background.element.Cu]\nvalue = "90"', "must be a number"),
        ("[background.element.Cx]\nvalue = 9", "'Cx' is no element symbol"),
        ('[samples]\npath = "x.csv"', "'samples' is nothing that a decision may set"),
        ('title = "B"', "'title' is nothing that a decision may set"),
        ('[targets.decision.T01]\nchoice = "rejct"', "allowed: accept, hold, reject.*'reject'"),
        ('[targets.decision.T01]\nchoice = "hold"\nnot = "x"', "unknown key 'not'.*'note'"),
        ('[targets.decision.T01]\nchoice = "hold"\ndate = "x"', "'date' must be a date"),
        ('[targets]\ndecision = "T01"', "write \\[targets.decision.T01\\]"),
        ("[decisions]\nsaved = 3", "'saved' must be a date"),
        ("[targets\n", "not valid TOML"),
    ],
)
def test_every_fault_is_a_sentence_that_names_the_file(tmp_path, text, words):
    with pytest.raises(WrongCall, match=f"(?s)decisions.toml.*{words}"):
        read_decisions(written(tmp_path, text))


def test_a_missing_file_is_said(tmp_path):
    with pytest.raises(WrongCall, match="save one on the map page"):
        read_decisions(tmp_path / "nothing.toml")


def test_an_element_is_replaced_whole_and_the_campaign_file_is_left_alone(tmp_path):
    text = f'{HEAD}[background]\nmin_n = 20\n[background.element.Cu]\nvalue = 90.0\nreason = "r"\n'
    decisions = read_decisions(written(tmp_path, text))
    own = {
        "title": "A",
        "background": {"min_n": 30, "by": ["geology"], "element": {"Cu": {"method": "mixture"}}},
    }
    merged, findings = lay_over(own, decisions)
    assert merged["background"]["element"]["Cu"] == {"value": 90.0, "reason": "r"}
    assert merged["background"]["by"] == ["geology"]
    assert merged["background"]["min_n"] == 20
    assert own["background"]["element"]["Cu"] == {"method": "mixture"}
    assert [f.code for f in findings] == ["decision-over-campaign-file"] * 2
    _, findings = lay_over({"title": "B"}, decisions)
    assert [f.code for f in findings] == ["decisions-other-campaign"]


@pytest.mark.parametrize(
    ("row", "status", "code"),
    [
        (None, "dropped", None),
        (("T03", "checked", "2026-03-10", "U", ""), "dropped", "decision-and-register"),
        (("T03", "checked", None, "U", ""), "dropped", "decision-and-register"),
        (("T03", "drilled", "2026-03-25", "U", ""), "drilled", "decision-and-register"),
        (("T03", "dropped", "2026-03-10", "U", ""), "dropped", None),
    ],
)
def test_the_later_of_register_and_rejection_counts_and_is_said(tmp_path, row, status, code):
    from geochem.targets.identity import latest_status

    decisions = read_decisions(written(tmp_path, HEAD + REJECT))
    register = register_of(*([row] if row else []))
    before = register.copy()
    both, effects, findings = over_register(register, decisions)
    pd.testing.assert_frame_equal(register, before)
    assert latest_status(both)["T03"] == status
    assert effects["T03"] == ("dropped" if status == "dropped" else "register")
    assert [f.code for f in findings] == ([code] if code else [])


def test_acceptance_does_not_lift_a_dropped_target_in_silence(tmp_path):
    decisions = read_decisions(
        written(tmp_path, '[targets.decision.T03]\nchoice = "accept"\ndate = 2026-03-21\n')
    )
    assert decisions.targets["T03"].day == date(2026, 3, 21)
    _, effects, findings = over_register(
        register_of(("T03", "dropped", "2026-03-10", "U", "")), decisions
    )
    assert effects["T03"] == "register"
    assert "register stands" in findings[0].message


def test_values_by_medium_are_told_back(tmp_path):
    text = '[background.element.Cu]\nvalues = { soil = 90.0, "stream sediment" = 60.0 }\nreason = "a"\n'
    shown, _ = for_outputs(read_decisions(written(tmp_path, text)), {}, {"Cu"})
    values = {"soil": 90.0, "stream sediment": 60.0}
    assert shown["elements"] == {"Cu": {"values": values, "reason": "a"}}
    assert shown["others"] == []
    with pytest.raises(WrongCall, match=r"'values' of soil must be a positive number"):
        read_decisions(
            written(tmp_path, "[background.element.Cu]\nvalues = { soil = -1 }\nreason = 'a'\n")
        )
