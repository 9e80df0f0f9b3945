"""The commands: exit status, plain sentences, one JSON document, no traceback."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from geochem.cli.main import main
from geochem.cli.terminal import plain


def call(capsys, *arguments):
    with pytest.raises(SystemExit) as caught:
        main(list(arguments))
    out, err = capsys.readouterr()
    return caught.value.code, out, err


def test_help_and_version(capsys):
    status, out, _ = call(capsys, "--help")
    assert status == 0
    for command in ("new", "inspect", "check", "run", "demo", "plugins"):
        assert command in out
    assert call(capsys, "--version")[1].startswith("geochem ")


def test_a_wrong_command_is_status_2(capsys):
    status, _, err = call(capsys, "rnu")
    assert status == 2
    assert "No such command" in err


def test_a_missing_campaign_is_status_2_and_a_sentence(capsys, tmp_path):
    status, out, err = call(capsys, "run", str(tmp_path / "none.toml"))
    assert (status, out) == (2, "")
    assert "geochem new DIR" in err
    assert "Traceback" not in err


def test_a_wrong_decisions_file_is_status_2_and_names_the_key(capsys, tmp_path):
    (tmp_path / "log.csv").write_text("sample_id,easting,northing\n", "utf-8")
    (tmp_path / "campaign.toml").write_text(
        'title = "A"\ncrs = "EPSG:32735"\n[samples]\npath = "log.csv"\n', "utf-8"
    )
    path = tmp_path / "decisions.toml"
    path.write_text('[targets.decision.T01]\nchoise = "hold"\n', "utf-8")
    status, out, err = call(capsys, "run", str(tmp_path), "--decisions", str(path))
    assert (status, out) == (2, "")
    assert "decisions.toml: [targets.decision.T01] unknown key 'choise'" in err
    assert not (tmp_path / "results").exists()


def test_json_stays_one_document_when_refused(capsys, tmp_path):
    status, out, _ = call(capsys, "check", str(tmp_path), "--json")
    assert status == 2
    assert json.loads(out)["findings"][0]["severity"] == "error"


def test_a_campaign_whose_file_is_missing_is_refused(capsys, tmp_path):
    (tmp_path / "campaign.toml").write_text(
        'title = "t"\ncrs = "EPSG:32735"\n[samples]\npath = "field_log.csv"\n'
    )
    status, _, err = call(capsys, "run", str(tmp_path))
    assert status == 1
    assert "field_log.csv" in err
    assert sorted(p.name for p in tmp_path.iterdir()) == ["campaign.toml"]


def test_plugins_lists_methods_with_options(capsys):
    status, out, _ = call(capsys, "plugins")
    assert status == 0
    assert "median_mad" in out
    assert "median_mad: k (float) = 2" in out
    rows = json.loads(call(capsys, "plugins", "--json")[1])
    assert {r["group"] for r in rows} == {"readers", "thresholds", "rankers", "renderers"}
    assert not any("cannot be loaded" in r["summary"] for r in rows)


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "utf-8"])
def test_piped_output_of_any_encoding_does_not_fail(encoding):
    done = subprocess.run(
        [sys.executable, "-m", "geochem", "plugins"],
        capture_output=True, check=False, cwd=Path(__file__).parent,
        env={**os.environ, "PYTHONIOENCODING": encoding},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr.decode("utf-8", "replace")
    assert b"median_mad" in done.stdout


def test_text_that_a_terminal_cannot_show_is_reduced():
    class Stream:
        encoding = "ascii"

    assert plain("5 µm ± 2 → \x1b[31m", Stream()) == "5 um +/- 2 -> \\x1b[31m"


def test_a_fault_of_the_program_is_a_sentence(capsys, monkeypatch, tmp_path):
    from geochem.campaign import runner

    def broken(*_, **__):
        raise KeyError("something inside")

    monkeypatch.setattr(runner, "run", broken)
    monkeypatch.delenv("GEOCHEM_TRACEBACK", raising=False)
    status, _, err = call(capsys, "run", str(tmp_path))
    assert status == 1
    assert "a fault of this program" in err
    assert "Traceback" not in err
