"""The campaign file: every fault is a sentence, defaults are filled in."""

from __future__ import annotations

from pathlib import Path

import pytest

from geochem.campaign.settings import check_settings, read_campaign
from geochem.errors import WrongCall

MINIMAL = """
title = "Soil grid A"
crs = "EPSG:32735"
[samples]
path = "field_log.csv"
[[assays]]
path = "readings.csv"
source = "pxrf"
"""


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "campaign.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_minimal_file_gets_its_defaults(tmp_path):
    settings = read_campaign(write(tmp_path, MINIMAL))
    assert settings.top["seed"] == 1
    assert settings.tables["samples"][0]["use"] == "full"
    assert settings.tables["assays"][0]["name"] == "pxrf"
    assert settings.table("targets")["max_spacing_m"] == 2000.0
    assert settings.tables["plan"] is None
    assert settings.plain()["samples"][0]["path"] == "field_log.csv"


def test_a_folder_means_its_campaign_file(tmp_path):
    write(tmp_path, MINIMAL)
    assert read_campaign(tmp_path).path.name == "campaign.toml"


def test_defaults_are_not_shared_between_files(tmp_path):
    first = read_campaign(write(tmp_path, MINIMAL))
    first.table("targets")["seek"].append("Cu")
    assert read_campaign(tmp_path).table("targets")["seek"] == []


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("title = ", "titel = ", "unknown key or table 'titel'. Did you mean 'title'?"),
        ('title = "Soil grid A"', "title = 3", "'title' must be a text in quotes, got 3"),
        ('source = "pxrf"', 'source = "pXRF"', "allowed: pxrf, laboratory. Did you mean 'pxrf'?"),
        ('source = "pxrf"', "", r"[[assays]] 1: 'source' is missing"),
        ('path = "field_log.csv"', 'pth = "a"', "unknown key 'pth'"),
        ('source = "pxrf"', 'source = "pxrf"\nsigma = "2"', "'sigma' must be a number"),
        ('[samples]\npath = "field_log.csv"', "", "there is no [[samples]] table"),
        ('source = "pxrf"', 'source = "pxrf"\n[targets]\nseek = ["CU"]', "Did you mean 'Cu'?"),
        (
            'source = "pxrf"',
            'source = "pxrf"\n[background.element.Cu]\nvalue = -5',
            "'value' must be a positive number of ppm",
        ),
        (
            'source = "pxrf"',
            'source = "pxrf"\n[background.element.Cu]\nreason = "x"',
            "chooses nothing",
        ),
        ('source = "pxrf"', 'source = "pxrf"\n[layers]\ngeology = 5', "must be a path in quotes"),
        (
            'source = "pxrf"',
            'source = "pxrf"\n[[assays]]\npath = "b.csv"\nsource = "pxrf"',
            "two tables have the source 'pxrf'",
        ),
    ],
)
def test_faults_are_sentences(tmp_path, old, new, message):
    assert old in MINIMAL
    with pytest.raises(WrongCall) as caught:
        read_campaign(write(tmp_path, MINIMAL.replace(old, new)))
    assert message in str(caught.value)
    assert str(caught.value).startswith("campaign.toml: ")


def test_all_faults_come_at_once(tmp_path):
    with pytest.raises(WrongCall) as caught:
        check_settings({"titel": 1, "seed": "x"}, tmp_path / "campaign.toml")
    assert len(str(caught.value).splitlines()) >= 4


def test_bad_toml_and_missing_file(tmp_path):
    with pytest.raises(WrongCall, match="not valid TOML"):
        read_campaign(write(tmp_path, "title = Soil"))
    with pytest.raises(WrongCall, match="geochem new DIR"):
        read_campaign(tmp_path / "other.toml")


def test_patterns_find_files_in_order(tmp_path):
    settings = read_campaign(write(tmp_path, MINIMAL))
    for name in ("b.csv", "a.csv"):
        (tmp_path / name).write_text("x")
    assert [p.name for p in settings.files("*.csv")] == ["a.csv", "b.csv"]
    with pytest.raises(WrongCall, match="no file matches the pattern"):
        settings.files("*.xlsx")
