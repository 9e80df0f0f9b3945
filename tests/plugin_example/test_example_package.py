"""A third-party package, installed for real into a folder of its own, offline."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
NAMES = ("line_list", "upper_tenth", "strongest_first", "target_list")
CODE = "from geochem.cli.main import main; main()"


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """Build and install the package without network and without touching this environment."""
    pytest.importorskip("hatchling", reason="the build backend is not installed")
    place = tmp_path_factory.mktemp("installed")
    source = tmp_path_factory.mktemp("source") / "package"
    shutil.copytree(HERE, source, ignore=shutil.ignore_patterns("test_*", "__pycache__"))
    subprocess.run(
        [
            sys.executable, "-m", "pip", "install", "--no-deps", "--no-build-isolation",
            "--no-index", "--quiet", "--target", str(place), str(source),
        ],
        check=True, capture_output=True,
    )  # fmt: skip
    return {**os.environ, "PYTHONPATH": os.pathsep.join([str(place), *sys.path])}


def geochem(environment, *arguments):
    return subprocess.run(
        [sys.executable, "-c", CODE, *arguments],
        env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_all_four_are_listed_with_their_distribution(installed):
    rows = json.loads(geochem(installed, "plugins", "--json").stdout)
    ours = {r["name"]: r for r in rows if r["from"] == "geochem-example"}
    assert set(ours) == set(NAMES)
    assert ours["upper_tenth"]["options"][0]["name"] == "share"
    described = json.loads(geochem(installed, "plugins", "--describe").stdout)
    share = described["methods"]["thresholds"]["upper_tenth"]["properties"]["share"]
    assert (share["minimum"], share["maximum"], share["default"]) == (0.001, 0.5, 0.1)


@pytest.mark.parametrize("name", NAMES)
def test_each_passes_the_conformance_checks(installed, name):
    done = geochem(installed, "plugins", "--check", name)
    assert (done.returncode, done.stderr) == (0, "")
    assert "passes the checks" in done.stdout


def test_a_run_uses_all_four(installed, tmp_path):
    from geochem.testing import write_example_campaign

    path = write_example_campaign(tmp_path, renderers=["tables", "target_list"])
    lines = (tmp_path / "readings.csv").read_text("utf-8").splitlines()
    elements = [h.removesuffix("_ppm") for h in lines[0].split(",")[1:]]
    rows = [line.split(",") for line in lines[1:]]
    (tmp_path / "readings.lines").write_text(
        "\n".join(f"{r[0]} {e} {v}" for r in rows for e, v in zip(elements, r[1:], strict=True))
    )
    text = path.read_text("utf-8").replace("readings.csv", "readings.lines")
    path.write_text(
        text.replace('seek = ["Cu"]', 'seek = ["Cu"]\nranker = "strongest_first"')
        + '[background]\nmethod = "upper_tenth"\noptions = { share = 0.05 }\n'
    )
    done = geochem(installed, "run", str(tmp_path))
    assert done.returncode == 0, done.stderr
    results = tmp_path / "results"
    assert "T01" in (results / "target_list.txt").read_text("utf-8")
    assert "upper_tenth" in (results / "thresholds.csv").read_text("utf-8")
