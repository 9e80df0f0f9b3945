"""Same input, same answer: whatever the machine is set to and however the rows are ordered."""

from __future__ import annotations

import csv
import io
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from geochem.testing import write_example_campaign

RENDERERS = ["tables", "gis", "map", "figures"]
COMPARED = {".csv", ".geojson", ".png", ".html"}
#: as different as one machine can be
PLAIN = {"PYTHONHASHSEED": "0", "TZ": "UTC", "LC_ALL": "C", "OMP_NUM_THREADS": "1"}
OTHER = {
    "PYTHONHASHSEED": "4711", "TZ": "Asia/Kathmandu", "LC_ALL": "C.UTF-8", "LANG": "de_DE.UTF-8",
    "LC_NUMERIC": "de_DE.UTF-8", "OMP_NUM_THREADS": "4", "OPENBLAS_NUM_THREADS": "4",
    "MKL_NUM_THREADS": "4",
}  # fmt: skip


def outputs(folder: Path, environment: dict[str, str]) -> dict[str, bytes]:
    clean = {k: v for k, v in os.environ.items() if not k.endswith("_NUM_THREADS")}
    done = subprocess.run(
        [
            sys.executable, "-m", "geochem", "run", str(folder), "--until", "2026-03-31",
        ],
        env={**clean, "MPLBACKEND": "Agg", **environment}, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    results = folder / "results"
    return {
        p.relative_to(results).as_posix(): p.read_bytes()
        for p in sorted(results.rglob("*"))
        if p.suffix in COMPARED
    }


@pytest.fixture(scope="module")
def baseline(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plain") / "campaign"
    write_example_campaign(folder, renderers=RENDERERS)
    return outputs(folder, PLAIN)


def differing(one: dict[str, bytes], other: dict[str, bytes]) -> list[str]:
    assert len(one) > 12
    assert {Path(n).suffix for n in one} == COMPARED
    assert set(one) == set(other)
    return [n for n in one if one[n] != other[n]]


def test_hash_seed_time_zone_locale_and_threads(baseline, tmp_path):
    folder = tmp_path / "campaign"
    write_example_campaign(folder, renderers=RENDERERS)
    assert differing(baseline, outputs(folder, OTHER)) == []


def without_row(name: str, content: bytes) -> object:
    """Leave out where in its file a record stands."""
    if name == "map.html":
        return re.sub(rb'"row":\{"t":"u\d+","b":"[^"]*"\}', b"", content)
    if not name.endswith(".csv"):
        return content
    rows = list(csv.reader(io.StringIO(content.decode("utf-8-sig"))))
    at = [i for i, name in enumerate(rows[0]) if name == "row"]
    return [[c for i, c in enumerate(r) if i not in at] for r in rows]


def test_order_of_rows_and_columns(baseline, tmp_path):
    folder = tmp_path / "campaign"
    write_example_campaign(folder, renderers=RENDERERS)
    rng = np.random.default_rng(3)
    for name in ("field_log.csv", "readings.csv"):
        lines = (folder / name).read_text("utf-8").splitlines()
        rows = np.array(list(csv.reader(lines)), dtype=object)
        rows[1:] = rows[1 + rng.permutation(len(rows) - 1)]
        rows = rows[:, rng.permutation(rows.shape[1])]
        with (folder / name).open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream).writerows(rows.tolist())
    other = outputs(folder, PLAIN)
    # `row` alone may differ: it says where in the file a record stands
    left = [
        n
        for n in differing(baseline, other)
        if without_row(n, baseline[n]) != without_row(n, other[n])
    ]
    assert left == []
