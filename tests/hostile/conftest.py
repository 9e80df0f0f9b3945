"""A campaign whose every text is hostile, run once with every output."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

SCRIPT = "<script>window.pwned=1</script><img src=x onerror=window.pwned=1>"
TEXTS = [
    SCRIPT,
    "\"'><svg/onload=window.pwned=1>",
    "</script><script>window.pwned=1</script>",
    "{{ 7*7 }}{% raw %}",
    "=cmd|' /C calc'!A0",
    "+1+1",
    "-2+3",
    "@SUM(1,2)",
    "\t=1+1",
    "../../../etc/passwd",
    "..\\..\\windows\\system32",
    "/etc/passwd",
    "C:\\CON",
    "CON",
    "NUL",
    "COM1.txt",
    "\u202eevil\u202c",
    "\u2066rtl\u2069",
    "a\x01b\x08c\x1b[31m",
    "line\nbreak",
    "𝔘𝔫𝔦 é ü 中文 🪨",
    "%s%n{0}$(id)`id`",
    "'; DROP TABLE samples; --",
    "x" * 10_000,
]


def write_hostile(folder: Path) -> Path:
    """Write a campaign of 120 soils whose ids, notes, units and names are hostile."""
    from geochem.testing import write_example_campaign

    path = write_example_campaign(folder)
    log, readings = (
        list(csv.reader((folder / name).read_text("utf-8").splitlines()))
        for name in ("field_log.csv", "readings.csv")
    )
    ids = {row[0]: row[0] for row in log[1:]}
    for number, text in enumerate(TEXTS):
        ids[f"S{number:03d}"] = f"{text}#{number}" if len(text) < 9_000 else text
    log[0] += ["crew", "notes", "lithology", "regolith"]
    for number, row in enumerate(log[1:]):
        row[0] = ids[row[0]]
        row += [TEXTS[number % 23], TEXTS[(number + 5) % 23], SCRIPT, TEXTS[number // 60]]
    readings[0] += ["batch"]
    for number, row in enumerate(readings[1:]):
        row[0] = ids[row[0]]
        row.append(TEXTS[number // 30])
    for name, rows in (("field_log.csv", log), ("readings.csv", readings)):
        with (folder / name).open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream).writerows(rows)
    text = path.read_text("utf-8")
    text = text.replace('title = "Small grid (invented)"', f"title = {json.dumps(SCRIPT)}")
    text = text.replace("[[assays]]", '[[assays]]\nlaboratory = "=1+1 <b>"', 1)
    top = 'prepared_by = "@SUM(1) <script>window.pwned=1</script>"\n'
    path.write_text(text.replace("seed =", f"{top}seed =", 1), encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def hostile_texts():
    return TEXTS


@pytest.fixture(scope="session")
def hostile_campaign():
    return write_hostile


@pytest.fixture(scope="session")
def hostile(tmp_path_factory):
    """The result folder, and what stood around it before."""
    import geochem

    folder = tmp_path_factory.mktemp("around") / "campaign"
    path = write_hostile(folder)
    return geochem.run(path)
